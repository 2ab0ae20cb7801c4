"""Two runs side by side: what moved, because of what, and that nothing else did."""

import json
from datetime import date
from pathlib import Path

import duckdb
import openpyxl
import polars as pl
import pytest
from cli_helpers import triage
from compare_stock import (
    DECISION,
    FIX,
    LOOK,
    REPAIR,
    REVIEW,
    SAFE,
    Estate,
    compared,
    home,
    moves,
    queues,
)

pytestmark = pytest.mark.usefixtures("plain_runs")

SAFE_NOW = "safe-to-insulate: released"
EXPIRED = "specialist-review: expired"
DISPUTED = "specialist-review: contradiction"
CASE = "specialist-review: technical"
# The cavities of these homes are 75 mm wide; the default policy asks for 50 mm (M05).
WIDER = ("[cavity_min_width_mm]\nvalue = 50.0", "[cavity_min_width_mm]\nvalue = 80.0")


def test_the_same_inputs_twice_move_nothing_and_have_equal_hashes(estate: Estate) -> None:
    first, second = estate.folder / "one", estate.run("two")
    answer, told = compared(first, second, "--out", estate.folder / "moved")
    assert answer.code == 0
    assert (told["moved"], told["differs"], told["unexplained"]) == ([], [], [])
    assert told["nothing_else_changed"] == {
        "rows": 3,
        "own_inputs_same": 3,
        "own_inputs_same_moved": 0,
        "all_inputs_same": 3,
        "all_inputs_same_moved": 0,
    }
    assert told["before"] == told["after"]
    hashes = pl.read_parquet(estate.folder / "moved" / "hashes.parquet")
    for name in ("evidence", "written", "place", "near_evidence", "policy", "as_of"):
        assert hashes[f"was_{name}"].null_count() == 0
        assert hashes[f"was_{name}"].to_list() == hashes[f"is_{name}"].to_list()
    # H1 and H3 say the same but for their name; the gutter of H2 is another.
    assert hashes["was_evidence"].n_unique() == 3
    record = [json.loads((run / "run.json").read_text(encoding="utf-8")) for run in (first, second)]
    assert record[0]["tables"] == record[1]["tables"]


def test_rows_in_another_order_and_file_are_the_same_evidence(estate: Estate) -> None:
    first = estate.folder / "one"
    (estate.folder / "surveys" / "first.xlsx").unlink()
    estate.survey("b.xlsx", home("H3"), home("H1"))
    estate.survey("c.xlsx", home("H2", gutter_condition="failed"))
    _, told = compared(first, estate.run("two"))
    assert told["moved"] == []
    assert told["nothing_else_changed"]["own_inputs_same"] == 3


def test_a_new_survey_file_moves_its_home_only(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey("second.xlsx", {"property_id": "H3", **LOOK, "gutter_condition": "failed"})
    second = estate.run("two")
    assert queues(second)["H3"] == (REVIEW, "contradiction")
    answer, told = compared(first, second)
    assert answer.code == 0
    assert moves(told) == {"H3": (SAFE_NOW, DISPUTED, ["new_evidence"], "alone")}
    assert told["moved"][0]["because"] == "because of new evidence (surveys/second.xlsx)"
    assert told["differs"] == ["evidence"]
    assert told["nothing_else_changed"]["own_inputs_same"] == 2
    grid = {row["from"]: row for row in told["queues"]}
    assert (grid[SAFE][SAFE], grid[SAFE][REVIEW], grid[SAFE][FIX]) == (1, 1, 0)
    assert (grid[FIX][FIX], grid[FIX]["all"], grid[REVIEW]["all"]) == (1, 1, 0)


def test_time_alone_expires_evidence(estate: Estate) -> None:
    # A look for mould of 16 February 2026 holds for twelve months; no timber is built in.
    first = estate.folder / "one"
    second = estate.write("2027-03-31").run("two")
    _, told = compared(first, second)
    expected = (SAFE_NOW, EXPIRED, ["expiry"], "alone")
    assert moves(told) == {"H1": expected, "H3": expected}
    assert told["moved"][0]["because"] == (
        "because of expiry (judged as of 2027-03-31, before as of 2026-10-31; "
        "expired: visible mould)"
    )


def test_a_limit_of_the_policy_moves_what_it_holds(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.pack("ours", *WIDER)
    second = estate.write(more='policy = "ours"').run("two")
    _, told = compared(first, second)
    expected = (SAFE_NOW, CASE, ["policy"], "alone")
    assert moves(told) == {"H1": expected, "H3": expected}
    assert told["differs"] == ["policy"]


def test_a_repair_that_is_proven_lets_a_home_go(estate: Estate) -> None:
    # The gutter was seen failed, then sound; until a repair says why, the two looks disagree.
    estate.survey("second.xlsx", {"property_id": "H2", **LOOK})
    first = estate.run("begun")
    assert queues(first)["H2"] == (REVIEW, "contradiction")
    estate.record(repair={"property_id": "H2", **REPAIR})
    second = estate.run("two")
    assert queues(second)["H2"][0] == SAFE
    _, told = compared(first, second)
    assert moves(told) == {"H2": (DISPUTED, SAFE_NOW, ["repair"], "alone")}
    assert told["moved"][0]["because"] == "because of repair (repair R-1)"


def test_a_repair_and_the_look_after_it_are_needed_together(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey("second.xlsx", {"property_id": "H2", **LOOK})
    estate.record(repair={"property_id": "H2", **REPAIR})
    _, told = compared(first, estate.run("two"))
    assert moves(told) == {"H2": (FIX, SAFE_NOW, ["new_evidence", "repair"], "together")}
    assert told["moved"][0]["because"] == (
        "together: new evidence (surveys/second.xlsx) and repair (repair R-1)"
    )


def test_a_decision_accepts_a_rule(tmp_path: Path) -> None:
    estate = Estate(tmp_path / "e").write()
    estate.survey("a.xlsx", home("H1", cavity_width_mm=45), home("H2", cavity_width_mm=45))
    first = estate.run("one")
    assert queues(first)["H1"] == (REVIEW, "technical")
    estate.record(decision={"property_id": "H1", "rule_ids": "M05", **DECISION})
    second = estate.run("two")
    _, told = compared(first, second)
    assert set(moves(told)) == {"H1"}
    assert told["moved"][0]["cause"] == ["decision"]
    assert told["moved"][0]["to_state"].startswith(SAFE)
    assert told["moved"][0]["because"] == "because of decision (decision D-1)"


def test_a_storm_ends_the_evidence_of_the_homes_it_reached(estate: Estate) -> None:
    first = estate.folder / "one"
    storm = {
        "event_id": "E-1",
        "event_type": "storm",
        "event_on": "2026-10-20",
        "property_id": "H3",
        "reported_by": "D-2",
    }
    estate.record(event=storm)
    _, told = compared(first, estate.run("two"))
    assert moves(told) == {"H3": (SAFE_NOW, EXPIRED, ["event"], "alone")}
    assert told["moved"][0]["because"] == "because of event (event E-1)"


def test_of_several_differences_each_move_names_its_own(estate: Estate) -> None:
    """H1 is moved by the policy; H2 by a look, a repair and the policy; H3 needs neither alone."""
    first = estate.folder / "one"
    estate.pack("ours", *WIDER)
    estate.write(more='policy = "ours"')
    estate.survey(
        "first.xlsx",
        home("H1"),
        home("H2", gutter_condition="failed"),
        home("H3", cavity_width_mm=45),
    )
    estate.survey("second.xlsx", {"property_id": "H2", **LOOK})
    estate.record(repair={"property_id": "H2", **REPAIR})
    _, told = compared(first, estate.run("two"))
    assert moves(told) == {
        "H1": (SAFE_NOW, CASE, ["policy"], "alone"),
        # Without the look the gutter still comes first, without the repair too: M05 is a question
        # of review, and two looks that disagree about the gutter are a dispute that technical
        # review comes before; so the repair alone is not needed for this lane.
        "H2": (FIX, CASE, ["new_evidence", "policy"], "together"),
        "H3": (SAFE_NOW, CASE, ["new_evidence", "policy"], "either"),
    }
    by_home = {m["property_id"]: m["because"] for m in told["moved"]}
    assert by_home["H3"].startswith("each is enough alone: new evidence (surveys/first.xlsx), or ")


def test_homes_that_come_and_go_and_measures_that_change(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey(
        "first.xlsx",
        home("H1", measure_code="loft_topup", measure_material="mineral_wool"),
        home("H3"),
        home("H4"),
    )
    _, told = compared(first, estate.run("two"))
    found = {
        (m["property_id"], m["measure_code"]): (m["change"], m["cause"]) for m in told["moved"]
    }
    assert found == {
        ("H1", "cavity_fill"): ("gone", ["proposal"]),
        ("H1", "loft_topup"): ("new", ["proposal"]),
        ("H2", "cavity_fill"): ("gone", ["gone_home"]),
        ("H4", "cavity_fill"): ("new", ["new_home"]),
    }
    grid = {row["from"]: row for row in told["queues"]}
    assert grid["not there"]["all"] == 2
    assert sum(row["not there"] for row in told["queues"]) == 2


def test_homes_that_came_back_from_repair_twice_are_listed(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.record(repair={"property_id": "H2", **REPAIR, "reopened_count": 2})
    second = estate.run("two")
    assert queues(second)["H2"] == (REVIEW, "repeat_return")
    _, told = compared(first, second)
    assert [row["property_id"] for row in told["came_back_twice"]] == ["H2"]
    assert moves(told)["H2"][2:] == (["repair"], "alone")
    assert "Came back from repair twice: 1 homes (H2)" in triage("compare", first, second).out


def test_a_place_that_another_part_of_the_home_corrects_is_its_evidence(tmp_path: Path) -> None:
    """The extension's survey moves the whole home from England to the north of Scotland."""
    estate = Estate(tmp_path / "e").write()
    extension = {"building_part": "extension_1", "survey_date": date(2026, 3, 1)}
    estate.survey("a.xlsx", home("H1", exposure_class=None), home("H2"))
    first = estate.run("one")
    far = home("H1", latitude=58.2, longitude=-5.3, **extension, measure_code=None)
    estate.survey("b.xlsx", far)
    second = estate.run("two")
    assert queues(first)["H1"] != queues(second)["H1"]
    answer, told = compared(first, second)
    assert answer.code == 0
    found = {(m["property_id"], m["building_part"]): m for m in told["moved"]}
    assert set(found) == {("H1", "main")}
    assert found["H1", "main"]["because"] == (
        "because of new evidence (elsewhere in the same building or home)"
    )


def _station(path: Path, dri: float) -> None:
    """One station beside the homes, the same all year: 10 °C, 80 %, and its driving-rain index."""
    station: dict[str, object] = {"station_id": "S1", "name": "Mast", "lat": 53.4, "lon": -1.4}
    station |= {"hdd_18_3": 2400.0, "cdd_10": 1000.0, "elevation_m": 80.0}
    station |= {"rain_mm_year": 700.0, "dri_m2_s_year": dri}
    for name, value in (("t_mean_c", 10.0), ("rh_mean_pct", 80.0), ("vp_mean_pa", 982.0)):
        station |= {f"{name}_{month:02}": value for month in range(1, 13)}
    pl.DataFrame([station]).write_csv(path)


def test_another_climate_file_moves_homes_by_their_place(tmp_path: Path) -> None:
    """An index of 4 m²/s is moderate exposure; one of 12 m²/s is severe, which bare brick does not
    take (M05). What is only computed for a place orders no work: it asks for the class.
    """
    estate = Estate(tmp_path / "e").write()
    with estate.programme.open("a", encoding="utf-8") as text:
        text.write('\n[climate]\nstations = "stations.csv"\n')
    estate.survey("a.xlsx", home("H1", exposure_class=None), home("H2", exposure_class="moderate"))
    _station(estate.folder / "stations.csv", 4.0)
    first = estate.run("one")
    _station(estate.folder / "stations.csv", 12.0)
    second = estate.run("two")
    answer, told = compared(first, second)
    assert answer.code == 0
    assert told["differs"] == ["place"]
    assert [(m["property_id"], m["cause"], m["how"]) for m in told["moved"]] == [
        ("H1", ["place"], "alone")
    ]
    assert told["moved"][0]["because"] == "because of place or climate (Mast)"
    assert (queues(first)["H1"][0], queues(second)["H1"]) == (SAFE, (REVIEW, "evidence_gap"))
    assert queues(second)["H2"] == queues(first)["H2"]


def test_a_move_without_any_changed_input_is_an_error(estate: Estate) -> None:
    first, second = estate.folder / "one", estate.run("two")
    con = duckdb.connect(str(first / "store.duckdb"))
    con.execute(f"UPDATE queue SET queue = '{FIX}' WHERE property_id = 'H3'")
    con.close()
    answer, told = compared(first, second)
    assert answer.code == 1
    assert told["unexplained"] == [
        {"property_id": "H3", "building_part": "main", "measure_code": "cavity_fill"}
    ]
    assert "UNEXPLAINED H3 main cavity_fill" in triage("compare", first, second).out


def test_causes_that_cannot_be_judged_apart_are_not_guessed(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey("second.xlsx", {"property_id": "H3", **LOOK, "gutter_condition": "failed"})
    second = estate.write("2027-03-31").run("two")
    (first / "inputs" / "surveys" / "first.xlsx").unlink()
    answer, told = compared(first, second)
    assert answer.code == 0
    assert told["differs"] == ["evidence", "expiry"]
    assert told["notes"] == [
        f"Causes were not separated: {first}: inputs/surveys/first.xlsx is missing."
    ]
    assert moves(told) == {
        "H1": (SAFE_NOW, EXPIRED, ["expiry"], "alone"),
        "H3": (SAFE_NOW, DISPUTED, ["new_evidence", "expiry"], "not separated"),
    }


def _older_tool(run: Path, **queue: str) -> None:
    """Make a run look like that of an older tool, which put some homes in other queues."""
    path = run / "run.json"
    record = json.loads(path.read_text(encoding="utf-8"))
    record["tool"]["sha256"] = "0" * 64
    path.write_text(json.dumps(record), encoding="utf-8")
    with duckdb.connect(str(run / "store.duckdb")) as con:
        for name, value in queue.items():
            con.execute("UPDATE queue SET queue = ? WHERE property_id = ?", [value, name])


def test_what_an_older_tool_said_otherwise_is_told_apart_from_new_evidence(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey("second.xlsx", {"property_id": "H3", **LOOK, "gutter_condition": "failed"})
    # The older tool is made to have held H1 and H3; this one lets both go on the first survey.
    _older_tool(first, H1=FIX, H3=FIX)
    second = estate.run("two")
    _, told = compared(first, second)
    assert told["differs"] == ["evidence", "tool"]
    assert moves(told) == {
        "H1": (FIX, SAFE_NOW, ["tool"], "alone"),
        "H3": (FIX, DISPUTED, ["new_evidence", "tool"], "together"),
    }
    plain = estate.run("three")
    _, told = compared(second, plain)
    assert told["moved"] == []


def test_an_older_tool_that_said_the_same_is_no_cause(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey("second.xlsx", {"property_id": "H3", **LOOK, "gutter_condition": "failed"})
    _older_tool(first)
    _, told = compared(first, estate.run("two"))
    assert moves(told) == {"H3": (SAFE_NOW, DISPUTED, ["new_evidence"], "alone")}


def test_the_files_hold_what_was_said(estate: Estate) -> None:
    first = estate.folder / "one"
    estate.survey("second.xlsx", {"property_id": "H3", **LOOK, "gutter_condition": "failed"})
    second, out = estate.run("two"), estate.folder / "moved"
    _, told = compared(first, second, "--out", out)
    names = ["hashes.parquet", "movement.csv", "movement.parquet", "movement.xlsx"]
    pictures = [
        f"moves_of_{what}.{kind}" for what in ("homes", "measures") for kind in ("png", "svg")
    ]
    assert sorted(path.name for path in out.iterdir()) == names + pictures
    assert sorted(Path(path).name for path in told["outputs"]) == names + pictures
    for name in pictures[1::2]:
        drawn = (out / name).read_text("utf-8")
        assert "1 from safe to insulate to specialist review." in drawn, "H3, disputed now"
        assert "Stayed: safe to insulate 1, fix water first 1." in drawn
    moved = pl.read_parquet(out / "movement.parquet")
    assert moved["property_id"].to_list() == ["H3"]
    assert moved["cause"].to_list() == [["new_evidence"]]
    assert pl.read_csv(out / "movement.csv")["because"].to_list() == [told["moved"][0]["because"]]
    book = openpyxl.load_workbook(out / "movement.xlsx")
    assert book.sheetnames[:4] == ["Queues", "Lanes", "Causes", "Moved"]
    cells = [[cell.value for cell in row] for row in book["Moved"].iter_rows(min_row=3)]
    assert dict(zip(cells[0], cells[1], strict=True))["Because"] == told["moved"][0]["because"]
    again = estate.folder / "again"
    compared(first, second, "--out", again)
    for name in names[:3] + pictures:
        assert (out / name).read_bytes() == (again / name).read_bytes()
    assert triage("compare", first, second, "--out", out).code == 2


def test_text_that_a_sheet_would_run_is_made_inert(tmp_path: Path) -> None:
    estate = Estate(tmp_path / "e").write()
    first = estate.survey("a.xlsx", home("@SUM")).run("one")
    estate.survey("a.xlsx", home("@SUM", gutter_condition="failed"))
    out = tmp_path / "moved"
    compared(first, estate.run("two"), "--out", out)
    assert pl.read_csv(out / "movement.csv")["property_id"].to_list() == ["'@SUM"]


@pytest.mark.parametrize("words", [("one",), ("one", "one", "one")])
def test_two_runs_are_asked_for(estate: Estate, words: tuple[str, ...]) -> None:
    assert triage("compare", *(estate.folder / word for word in words)).code == 2


def test_what_is_no_run_or_of_another_programme_is_refused(estate: Estate, tmp_path: Path) -> None:
    first = estate.folder / "one"
    refused = triage("compare", first, tmp_path)
    assert (refused.code, refused.out) == (2, "")
    assert "TR108 this is not the folder of a finished run" in refused.err
    other = Estate(tmp_path / "other").write().survey("a.xlsx", home("H1"))
    text = other.programme.read_text(encoding="utf-8").replace('"small"', '"large"')
    other.programme.write_text(text, encoding="utf-8")
    refused = triage("compare", first, other.run("run"))
    assert refused.code == 2
    assert "two programmes, 'small' and 'large'" in refused.err
