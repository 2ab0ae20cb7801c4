"""Programmes: what a good one says, and every slip with its line and a way out."""

from datetime import date
from pathlib import Path

import pytest

from triage.contract import Programme, load_programme
from triage.errors import HeadingError, ManyErrors, ProfileError, TriageError

HEAD = """name = "North estate"
programme_id = "north-2026"
country_code = "GB"
as_of = 2026-10-31
"""
SOURCES = """[[sources]]
files = "surveys/*.xlsx"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("b.xlsx", "a.xlsx", "~$a.xlsx", "c.csv"):
        (tmp_path / "surveys").mkdir(exist_ok=True)
        (tmp_path / "surveys" / name).write_bytes(b"")
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "north.toml").write_text('name = "north"\n', encoding="utf-8")
    return tmp_path


def read(folder: Path, text: str) -> Programme:
    path = folder / "programme.toml"
    path.write_text(text, encoding="utf-8")
    return load_programme(path)


def refused(folder: Path, text: str) -> TriageError:
    with pytest.raises(TriageError) as caught:
        read(folder, text)
    assert not isinstance(caught.value, ManyErrors), str(caught.value)
    return caught.value


def test_a_programme_in_full(folder: Path) -> None:
    (folder / "stations.csv").write_bytes(b"")
    (folder / "zones.gpkg").write_bytes(b"")
    text = (
        HEAD
        + 'policy = "default"\nstock_total = 1250\n'
        + SOURCES
        + """[[sources]]
files = "surveys/c.csv"
profile = "profiles/north.toml"
[[measures]]
code = "loft_topup"
where = "roof_form = 'pitched_cold' AND COALESCE(ceiling_insulation_mm < 200, TRUE)"
material = "mineral_wool"
thickness_mm = 300
[[measures]]
code = "foam_check"
[climate]
stations = "stations.csv"
zones = "zones.gpkg"
zone_column = "zone"
[exposure]
zones = "zones.gpkg"
column = "class"
"""
    )
    programme = read(folder, text)
    assert programme.folder == folder
    assert programme.as_of == date(2026, 10, 31)
    assert programme.stock_total == 1250
    first, second = programme.sources
    # in the order of their names; what an office program leaves beside an open file is no source
    assert [path.name for path in first.files] == ["a.xlsx", "b.xlsx"]
    assert first.profile is None
    assert second.profile is not None
    assert second.profile.name == "north"
    loft, foam = programme.measures
    assert (loft.material, loft.thickness_mm) == ("mineral_wool", 300.0)
    assert foam.where is None
    assert programme.climate is not None
    assert programme.climate.zone_column == "zone"
    assert programme.exposure is not None
    assert programme.exposure.column == "class"


def test_what_may_be_left_out(folder: Path) -> None:
    programme = read(folder, HEAD + SOURCES)
    assert programme.policy == "default"
    assert programme.stock_total is None
    assert programme.measures == ()
    assert programme.climate is None
    assert programme.exposure is None


@pytest.mark.parametrize(
    ("text", "line", "hint"),
    [
        (HEAD, None, "surveys/*.xlsx"),
        (HEAD.replace("as_of", "as_off") + SOURCES, 4, "'as_of'"),
        (HEAD.replace("2026-10-31", '"31/10/2026"') + SOURCES, 4, "correct"),
        (HEAD.replace("2026-10-31", "2026-10-31T00:00:00") + SOURCES, 4, "correct"),
        (HEAD.replace('"GB"', '"UK"') + SOURCES, 3, "GB"),
        (HEAD.replace('"north-2026"', '""') + SOURCES, 2, "programme_id"),
        (HEAD + "stock_total = 0\n" + SOURCES, 5, "how many"),
        (HEAD + "stock_total = 12.5\n" + SOURCES, 5, "correct"),
        (HEAD + '[[sources]]\nfiles = "surveys/*.ods"\n', 6, "take the source out"),
        (HEAD + '[[sources]]\nfiles = "../other/*.xlsx"\n', 6, "inside"),
        (HEAD + '[[sources]]\nfiles = "/etc/*.xlsx"\n', 6, "inside"),
        (HEAD + SOURCES + 'profil = "x"\n', 7, "'profile'"),
        (HEAD + SOURCES + 'profile = "profiles/south.toml"\n', 7, "looked for"),
        (HEAD + SOURCES + '[[sources]]\nfiles = "surveys/a*"\n', 8, "narrow"),
        (HEAD + SOURCES + "[[measures]]\nthickness_mm = 100\n", 7, "loft_topup"),
        (HEAD + SOURCES + '[[measures]]\ncode = "x"\nthickness_mm = 3000\n', 9, "10 to 500"),
        (HEAD + SOURCES + '[[measures]]\ncode = "x"\nmaterial = "wool"\n', 9, "mineral_wool"),
        (HEAD + SOURCES + '[[measures]]\ncode = "x"\nwhere = "roof_form = 3 AND"\n', 9, "SQL"),
        (HEAD + SOURCES + '[[measures]]\ncode = "x"\nwhere = "roof_from = 1"\n', 9, "'roof_form'"),
        (HEAD + SOURCES + '[climate]\nzones = "z.gpkg"\nzone_column = "z"\n', 8, "looked for"),
        (HEAD + SOURCES + '[climate]\nzone_column = "z"\n', 7, "neither"),
        (HEAD + SOURCES + '[exposure]\ncolumn = "z"\n', 7, "exposure.gpkg"),
        (HEAD + "sources = 3\n", 5, "correct"),
    ],
)
def test_slips(folder: Path, text: str, line: int | None, hint: str) -> None:
    with pytest.raises(TriageError) as caught:
        read(folder, text)
    many = caught.value.errors if isinstance(caught.value, ManyErrors) else [caught.value]
    hits = [error for error in many if hint in error.fix]
    assert hits, str(caught.value)
    assert isinstance(hits[0], ProfileError)
    assert hits[0].where.row == line


def test_errors_of_all_profiles_come_together_each_once(folder: Path) -> None:
    bad = 'name = "north"\n[columns]\n"Loft" = "roof_form"\n"Attic" = "roof_form"\n'
    (folder / "profiles" / "north.toml").write_text(bad, encoding="utf-8")
    text = HEAD + SOURCES + 'profile = "profiles/north.toml"\n'
    text += '[[sources]]\nfiles = "surveys/c.csv"\nprofile = "profiles/north.toml"\n'
    text += '[[sources]]\nfiles = "surveys/*.ods"\n'
    with pytest.raises(ManyErrors) as caught:
        read(folder, text)
    assert sorted(type(error).__name__ for error in caught.value.errors) == [
        "HeadingError",
        "ProfileError",
    ]
    assert isinstance(caught.value.errors[0], HeadingError)


def test_no_condition_reaches_a_file(folder: Path) -> None:
    text = HEAD + SOURCES + '[[measures]]\ncode = "x"\nwhere = "read_csv(\'surveys/c.csv\')"\n'
    assert "cannot read the condition" in refused(folder, text).what
