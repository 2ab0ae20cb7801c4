"""Which homes would move if a limit were another: one stock judged with two packs."""

from pathlib import Path

import openpyxl
import polars as pl
import pytest
from cli_helpers import triage
from compare_stock import Estate, compared, home

from triage.compare.policies import policy_changes
from triage.contract.policy_load import load_policy

SAFE_NOW, CASE = "safe-to-insulate: released", "specialist-review: technical"
# M05 holds cavities narrower than this; the homes' are 75 mm and 100 mm wide.
LIMIT = "[cavity_min_width_mm]\nvalue = {}"
WIDER = LIMIT.format(50.0), LIMIT.format(80.0)


@pytest.fixture
def two_widths(tmp_path: Path) -> Estate:
    made = Estate(tmp_path / "estate").write()
    return made.survey("a.xlsx", home("H1"), home("H2", cavity_width_mm=100))


def test_a_limit_moves_the_homes_between_its_two_values(two_widths: Estate) -> None:
    ours = two_widths.pack("ours", *WIDER)
    out = two_widths.folder / "moved"
    answer, told = compared(two_widths.programme, "--policy", "default", ours, "--out", out)
    assert answer.code == 0
    assert told["changes"] == [
        {
            "kind": "parameters",
            "name": "cavity_min_width_mm",
            "what": "value",
            "before": "50.0",
            "after": "80.0",
            "rules": "M05",
        }
    ]
    assert told["moved"] == [
        {
            "property_id": "H1",
            "building_part": "main",
            "measure_code": "cavity_fill",
            "from_state": SAFE_NOW,
            "to_state": CASE,
            "rules": ["M05: clear -> fires"],
        }
    ]
    assert [(row["rule"], row["rows"], row["homes"]) for row in told["by_rule"]] == [("M05", 1, 1)]
    assert pl.read_csv(out / "movement.csv")["rules"].to_list() == ["M05: clear -> fires"]
    assert openpyxl.load_workbook(out / "movement.xlsx").sheetnames == [
        "Queues",
        "By rule",
        "Moved",
        "Differences",
    ]


def test_a_run_is_judged_from_what_it_stored(two_widths: Estate) -> None:
    run = two_widths.run("run")
    ours = two_widths.pack("ours", *WIDER)
    two_widths.survey("a.xlsx", home("H1", cavity_width_mm=100))
    _, told = compared(run, "--policy", ours, "default")
    assert [(m["property_id"], m["rules"]) for m in told["moved"]] == [
        ("H1", ["M05: fires -> clear"])
    ]
    (run / "inputs" / "surveys" / "a.xlsx").unlink()
    refused = triage("compare", run, "--policy", "default", ours)
    assert refused.code == 2
    assert "inputs/surveys/a.xlsx is missing" in refused.err


def test_equal_packs_move_nothing(two_widths: Estate) -> None:
    same = two_widths.pack("same", *(LIMIT.format(50.0),) * 2)
    _, told = compared(two_widths.programme, "--policy", "default", same)
    assert (told["changes"], told["moved"], told["by_rule"]) == ([], [], [])


def test_rules_that_differ_are_listed(two_widths: Estate) -> None:
    severity = 'title = "Cavity not suited to fill"'
    path = two_widths.pack("ours", severity, 'title = "Cavity unfit"', "rules/walls.toml")
    changes = policy_changes(load_policy(two_widths.pack("d", *WIDER[:1] * 2)), load_policy(path))
    assert changes.select("kind", "name", "what", "before", "after").rows() == [
        ("rules", "M05", "title", "Cavity not suited to fill", "Cavity unfit")
    ]


def test_a_pack_that_is_not_there_is_refused(two_widths: Estate) -> None:
    refused = triage("compare", two_widths.programme, "--policy", "default", "defualt")
    assert (refused.code, refused.out) == (2, "")
    assert "there is no policy pack 'defualt'" in refused.err


def test_two_stocks_are_not_judged_at_once(two_widths: Estate) -> None:
    programme = two_widths.programme
    assert triage("compare", programme, programme, "--policy", "default", "default").code == 2
