"""`triage profile` as a person runs it."""

import json
import tomllib
from pathlib import Path

from cli_helpers import triage, write_book

HEAD = ["property_id", "building_part", "Gutters", "Odd"]
ROWS = [[f"H{n}", "main", "good", "x"] for n in range(6)]


def test_the_draft_is_written_and_what_is_open_is_said(tmp_path: Path) -> None:
    book = write_book(tmp_path / "s.xlsx", {"Roofs": [HEAD, *ROWS]})
    out = tmp_path / "p.toml"
    answer = triage("profile", book, "--out", out)
    assert answer.code == 1
    assert "3 headings mapped, 1 left to decide" in answer.out
    assert tomllib.loads(out.read_text(encoding="utf-8"))["columns"] == {
        "property_id": "property_id",
        "building_part": "building_part",
        "Gutters": "gutter_condition",
    }
    refused = triage("check", book, "--profile", out)
    assert refused.code == 2
    assert "'Odd'" in refused.out + refused.err


def test_with_every_heading_sure_the_profile_can_be_used(tmp_path: Path) -> None:
    book = write_book(tmp_path / "s.xlsx", {"Roofs": [HEAD[:3], *(row[:3] for row in ROWS)]})
    out = tmp_path / "p.toml"
    answer = triage("profile", book, "--out", out, "--json")
    data = json.loads(answer.out)
    assert (answer.code, data["exit_code"], data["sure"], data["to_decide"]) == (0, 0, 3, 0)
    assert triage("check", book, "--profile", out).code == 0


def test_a_file_that_is_there_is_never_overwritten(tmp_path: Path) -> None:
    book = write_book(tmp_path / "s.xlsx", {"Roofs": [HEAD, *ROWS]})
    out = tmp_path / "p.toml"
    out.write_text("mine", encoding="utf-8")
    answer = triage("profile", book, "--out", out)
    assert answer.code == 2
    assert "exists already" in answer.err
    assert out.read_text(encoding="utf-8") == "mine"


def test_two_headings_for_one_field_are_refused_with_the_line(tmp_path: Path) -> None:
    book = write_book(tmp_path / "s.xlsx", {"Roofs": [HEAD, *ROWS]})
    profile = tmp_path / "twice.toml"
    lines = ['name = "t"', "[columns]", *(f'"{name}" = "{name}"' for name in HEAD[:2])]
    lines += ['"Gutters" = "gutter_condition"', '"Odd" = "gutter_condition"']
    profile.write_text("\n".join(lines) + "\n", encoding="utf-8")
    programme = tmp_path / "programme.toml"
    programme.write_text(
        'name = "A"\nprogramme_id = "A"\ncountry_code = "GB"\nas_of = 2026-10-31\n'
        '[[sources]]\nfiles = "s.xlsx"\nprofile = "twice.toml"\n',
        encoding="utf-8",
    )
    for words in (
        ("check", book, "--profile", profile),
        ("run", programme, "--out", tmp_path / "out"),
    ):
        answer = triage(*words)
        assert answer.code == 2
        assert "'Gutters' and 'Odd' both claim 'gutter_condition'" in answer.err
        assert "twice.toml" in answer.err
        assert "line 6" in answer.err
        assert "put the other in [ignore]" in answer.err


def test_the_help_is_plain() -> None:
    answer = triage("profile", "--help")
    assert answer.code == 0
    assert "guesses stay" in answer.out
    assert "--out" in answer.out
