"""Profiles drafted for the demo's surveys, against the ones that were written for them by hand."""

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from draft_helpers import ROOT, decide, draft_of, field_of

from triage.contract import Contract, load_profile, normalise
from triage.contract.programme import load_programme
from triage.intake import Intake, read_sources
from triage.intake.draft import Draft

COAST, COUNTY = "coastal_association", "county_weatherisation"
# Folder, survey, hand-written profile, headings of it that must at least be sure.
TEAMS = [
    (COAST, "fabric_survey_2025-26.xlsx", "1_fabric_survey", 85),
    (COAST, "loft_programme_2024-26.xls", "2_loft_programme", 25),
    (COAST, "estate_walk_2026.ods", "3_estate_walk", 22),
    (COAST, "certificate_extract.csv", "4_certificate_extract", 8),
    (COAST, "second_visit_2026.xlsx", "5_second_visit", 14),
    (COUNTY, "energy_audit_2026.xlsx", "1_energy_audit", 75),
    (COUNTY, "attic_and_crawl_visits.xlsx", "2_attic_and_crawl_visits", 14),
]
Team = tuple[Path, Path, int]
Drafted = tuple[Draft, str]


@pytest.fixture(scope="module", params=TEAMS, ids=[team[2] for team in TEAMS])
def team(request: pytest.FixtureRequest) -> Team:
    folder, survey, profile, least = request.param
    demo = ROOT / "demo_data" / folder
    return demo / "surveys" / survey, demo / "profiles" / f"{profile}.toml", least


@pytest.fixture(scope="module")
def hand(team: Team) -> dict[str, Any]:
    return tomllib.loads(team[1].read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def drafted(team: Team, contract: Contract) -> Drafted:
    return draft_of(contract, team[0])


def test_every_sure_heading_is_what_the_team_means(
    team: Team, hand: dict[str, Any], drafted: Drafted
) -> None:
    expected = {normalise(key): field_of(entry) for key, entry in hand["columns"].items()}
    lines = tomllib.loads(drafted[1])["columns"]
    wrong = {
        heading: field_of(entry)
        for heading, entry in lines.items()
        if expected.get(normalise(heading)) != field_of(entry)
    }
    assert wrong == {}
    assert len(lines) >= team[2]


def test_what_is_open_names_the_right_field_more_often_than_not(
    hand: dict[str, Any], drafted: Drafted
) -> None:
    expected = {normalise(key): field_of(entry) for key, entry in hand["columns"].items()}
    asked = [d for d in drafted[0].open if normalise(d.seen.heading) in expected]
    named = [
        decision
        for decision in asked
        if expected[normalise(decision.seen.heading)] in {c.field for c in decision.candidates}
    ]
    assert len(named) >= 0.6 * len(asked)


def test_every_heading_is_sure_or_asked_about(hand: dict[str, Any], drafted: Drafted) -> None:
    draft, text = drafted
    headings = {normalise(d.seen.heading) for d in draft.decisions}
    known = {normalise(heading) for heading in hand["columns"]}
    ignored = {normalise(heading) for heading in hand.get("ignore", {}).get("headings", [])}
    assert headings >= known
    assert headings <= known | ignored
    assert len(draft.sure) + len(draft.open) == len(draft.decisions)
    assert f"# To decide: {len(draft.open)} headings." in text


def test_nothing_but_sure_headings_and_the_layout_is_live(
    drafted: Drafted, tmp_path: Path, contract: Contract
) -> None:
    path = tmp_path / "draft.toml"
    path.write_text(drafted[1], encoding="utf-8")
    profile = load_profile(path, contract)
    assert set(profile.columns) == {normalise(d.seen.heading) for d in drafted[0].sure}
    assert not profile.constants
    assert not profile.ignore
    assert not profile.blank
    assert not profile.zero
    assert not profile.not_applicable
    assert not profile.thermal_r
    assert not any(profile.spellings.values())
    assert profile.grade is None


def test_the_layout_is_found(drafted: Drafted, hand: dict[str, Any]) -> None:
    usual = {"sheets": ["*"], "header_row": 1, "header_lines": 1, "units_row": False}
    found = tomllib.loads(drafted[1])["layout"]
    assert usual | found == usual | hand.get("layout", {})


def test_decided_by_hand_it_reads_the_file_as_the_finished_profile_does(
    team: Team, hand: dict[str, Any], drafted: Drafted, tmp_path: Path, contract: Contract
) -> None:
    path = tmp_path / "decided.toml"
    path.write_text(decide(drafted[1], hand, drafted[0]), encoding="utf-8")
    read = _read(team, path, contract)
    wanted = _read(team, team[1], contract)
    assert wanted.clean.height > 50
    for frame in ("raw", "clean", "unknowns", "rows", "problems"):
        assert getattr(read, frame).equals(getattr(wanted, frame)), frame
    assert read.columns.drop("status").equals(wanted.columns.drop("status"))


def _read(team: Team, profile: Path, contract: Contract) -> Intake:
    programme = load_programme(team[0].parents[1] / "programme.toml")
    source = replace(
        programme.sources[0], files=(team[0],), profile=load_profile(profile, contract)
    )
    return read_sources(replace(programme, sources=(source,)), contract, {})


def test_a_proved_unit_is_the_team_s(drafted: Drafted, hand: dict[str, Any]) -> None:
    """A unit that the draft states as sure is the one of the finished profile."""
    folds = {"m²": "m2", "W/m²K": "W/m2K"}
    columns = {normalise(key): entry for key, entry in hand["columns"].items()}
    for heading, entry in tomllib.loads(drafted[1])["columns"].items():
        wanted = columns[normalise(heading)]
        if isinstance(entry, dict) and isinstance(wanted, dict) and "unit" in wanted:
            assert folds.get(entry["unit"], entry["unit"]) == wanted["unit"], heading
