"""The programme file that the README shows is one, to the last key."""

import re
from pathlib import Path

from triage.contract import load_programme
from triage.resources import resource_dir

README = Path(__file__).parents[2] / "README.md"


def test_the_programme_of_the_readme_is_read(tmp_path: Path) -> None:
    (shown,) = re.findall(r"```toml\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    (tmp_path / "surveys").mkdir()
    for name in ("stations.parquet", "zones.gpkg", "exposure.gpkg", "wards.gpkg"):
        (tmp_path / name).touch()
    (tmp_path / "surveys" / "north_1.xlsx").touch()
    profile = next((resource_dir("schemas") / "profiles").glob("*.toml"))
    (tmp_path / "north.toml").write_bytes(profile.read_bytes())
    path = tmp_path / "programme.toml"
    path.write_text(shown, encoding="utf-8")
    programme = load_programme(path)
    assert programme.areas is not None
    assert programme.areas.shapes == tmp_path / "wards.gpkg"
    assert programme.climate is not None
    assert programme.exposure is not None
    assert [source.profile is not None for source in programme.sources] == [True]
    assert [proposal.code for proposal in programme.measures] == ["loft_topup"]
