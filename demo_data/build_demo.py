"""Writes the two invented programmes, always the same: `python demo_data/build_demo.py [FOLDER]`.

Nothing in them is measured or real but the places, which are known only as coordinates, postcode
areas and ZIP areas. Homes that were composed by hand, with the queue that the rule texts give
them, stand in making/stories_*.toml; all others are drawn from seeded generators.
"""

import shutil
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from making import coastal, county  # noqa: E402

from triage.contract import load_contract  # noqa: E402

PROGRAMMES = {"coastal_association": coastal.build, "county_weatherisation": county.build}


def build(out: Path) -> None:
    """Write both programmes into `out`, with their programme files and profiles."""
    contract = load_contract()
    lists = {name: field.code_list for name, field in contract.fields.items() if field.code_list}
    for name, write in PROGRAMMES.items():
        folder = out / name
        if folder.resolve() != (HERE / name).resolve():
            shutil.copytree(HERE / name / "profiles", folder / "profiles", dirs_exist_ok=True)
            shutil.copy(HERE / name / "programme.toml", folder / "programme.toml")
        write(folder, lists)


if __name__ == "__main__":
    build(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
