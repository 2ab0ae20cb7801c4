"""Profiles: what a good one says, and every slip with its line and a way out."""

from datetime import date
from pathlib import Path

import pytest

from triage.contract import Contract, Profile, load_profile
from triage.errors import HeadingError, ManyErrors, ProfileError, TriageError
from triage.resources import resource_dir


def read(folder: Path, text: str, contract: Contract) -> Profile:
    path = folder / "profile.toml"
    path.write_text('name = "north"\n' + text, encoding="utf-8")
    return load_profile(path, contract)


def refused(folder: Path, text: str, contract: Contract) -> TriageError:
    with pytest.raises(TriageError) as caught:
        read(folder, text, contract)
    assert not isinstance(caught.value, ManyErrors), str(caught.value)
    assert caught.value.where.file == str(folder / "profile.toml")
    return caught.value


def test_the_example_says_what_its_comments_say(contract: Contract) -> None:
    profile = load_profile(resource_dir("schemas") / "profiles" / "example.toml", contract)
    assert profile.layout.sheets == ("Roofs",)
    assert (profile.layout.header_row, profile.layout.header_lines) == (4, 2)
    assert profile.reading.date_order == "DMY"
    assert profile.reading.encoding is None
    assert profile.blank == {"building_part": "=main", "gutter_condition": "not_seen"}
    assert profile.zero == {"ceiling_insulation_mm": "not_seen"}
    assert profile.not_applicable == {"pointing_condition"}
    loft = profile.columns["loft / ins"]
    assert (loft.heading, loft.field, loft.unit) == ("Loft / Ins", "ceiling_insulation_mm", "in")
    assert profile.columns["foam / type"].grade == "reported"
    assert profile.constants["survey_reach_inside"] == "void_hatch"
    assert profile.grade == "observed"
    assert profile.ignore == {"notes": "Notes", "photo folder": "Photo folder"}
    assert profile.spellings["roof_covering_condition"]["nail sick"] == "poor"
    assert profile.thermal_r == {"ceiling_insulation_mm": 0.044}


def test_a_profile_may_be_almost_empty(tmp_path: Path, contract: Contract) -> None:
    profile = read(tmp_path, "", contract)
    assert profile.layout.sheets == ("*",)
    assert profile.layout.header_row == 1
    assert profile.blank_default == "blank"
    assert profile.grade is None


def test_constants_are_typed(tmp_path: Path, contract: Contract) -> None:
    text = """
[constants]
survey_date = 2025-06-30
occupants = 3
storeys = 2.5
access_limits = "boarded; height"
"""
    constants = read(tmp_path, text, contract).constants
    assert constants == {
        "survey_date": date(2025, 6, 30),
        "occupants": 3,
        "storeys": 2.5,
        "access_limits": ("boarded", "height"),
    }


@pytest.mark.parametrize(
    ("text", "line", "hint"),
    [
        ("[layuot]\nheader_row = 1", 2, "'layout'"),
        ("[layout]\nheaderrow = 3", 3, "'header_row'"),
        ("[layout]\nheader_row = 0", 3, "correct"),
        ('[layout]\nheader_row = "4"', 3, "correct"),
        ("[layout]\nheader_row = true", 3, "correct"),
        ("[layout]\nsheets = []", 3, "all"),
        ('[layout]\nsheets = "Roofs"', 3, "correct"),
        ('[reading]\ndate_order = "DMYY"', 3, "'DMY'"),
        ('[reading]\nencoding = "cp12522"', 3, "utf-8"),
        ('[reading]\ndelimiter = ";;"', 3, '";"'),
        ('[reading]\ndecimal = ";"', 3, "','"),
        ('[blank]\ndefault = "not_sen"', 3, "'not_seen'"),
        ('[blank]\nbuilding_part = "main"', 3, '"=main"'),
        ('[blank]\nbuilding_part = "=mane"', 3, "'main'"),
        ('[blank]\nbuilding_prt = "=main"', 3, "'building_part'"),
        ('[zero]\nroof_covering = "not_seen"', 3, "[zero]"),
        ('[zero]\nceiling_insulation_mm = "unseen"', 3, "'not_seen'"),
        ('[not_applicable]\nfields = ["roof_form"]', 3, "N/A"),
        ('[columns]\n"Covr" = "roof_coverin"', 3, "'roof_covering'"),
        ('[columns]\n"Covr" = 3', 3, "field_name"),
        ('[columns]\n"Covr" = { unit = "in" }', 3, "field"),
        ('[columns]\n"Covr" = { field = "roof_covering", unit = "in" }', 3, "leave the unit out"),
        ('[columns]\n"Covr" = { field = "roof_covering", grad = "reported" }', 3, "'grade'"),
        ('[columns]\n"Covr" = { field = "roof_covering", grade = "reportd" }', 3, "'reported'"),
        ('[constants]\ncountry_code = "UK"', 3, "GB"),
        ("[constants]\noccupants = 2.5", 3, "0 to 20"),
        ("[constants]\nstoreys = true", 3, "0.5 to 60"),
        ('[constants]\nsurvey_date = "30/06/2025"', 3, "without quotes"),
        ("[constants]\nsurveyor_id = 7", 3, "quotes"),
        ('[constants]\nfoam_present = "unknown"', 3, "leave it out"),
        ('[evidence]\ngrade = "seen"', 3, "use one of"),
        ('[spellings.roof_form]\n"spiky" = "pitchd_cold"', 3, "'pitched_cold'"),
        ('[spellings.storeys]\n"two" = "2"', 2, "take its spellings out"),
        ("[thermal_r]\nceiling_insulation_mm = 44", 3, "W/mK"),
        ("[thermal_r]\nroof_form = 0.04", 3, "[thermal_r]"),
    ],
)
def test_slips(tmp_path: Path, contract: Contract, text: str, line: int, hint: str) -> None:
    error = refused(tmp_path, text, contract)
    assert isinstance(error, ProfileError)
    assert error.where.row == line
    assert hint in error.fix


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[columns]\n"Loft" = "ceiling_insulation_mm"\n"Attic" = "ceiling_insulation_mm"', 4),
        ('[columns]\n"Loft" = "ceiling_insulation_mm"\n"LOFT " = "roof_form"', 4),
        ('[columns]\n"Loft" = "roof_form"\n[constants]\nroof_form = "mixed"', 5),
        ('[columns]\n"Loft" = "roof_form"\n[ignore]\nheadings = ["loft"]', 5),
    ],
)
def test_one_field_has_one_source(tmp_path: Path, contract: Contract, text: str, line: int) -> None:
    error = refused(tmp_path, text, contract)
    assert isinstance(error, HeadingError)
    assert error.where.row == line


def test_spellings_that_fold_together_must_agree(tmp_path: Path, contract: Contract) -> None:
    text = '[spellings.roof_form]\n"spiky top" = "mixed"\n"Spiky-Top" = "pitched_cold"'
    assert "two codes" in refused(tmp_path, text, contract).what


def test_a_profile_without_a_name(tmp_path: Path, contract: Contract) -> None:
    (tmp_path / "p.toml").write_text("[layout]\n", encoding="utf-8")
    with pytest.raises(ProfileError, match="'name' is missing"):
        load_profile(tmp_path / "p.toml", contract)
