"""Foam, repairs and contractors: counted by hand, and told to each reader as he may read them."""

from collections import Counter
from pathlib import Path

import polars as pl
import pytest
from invented import AS_OF, counted, invented
from statsmodels.stats.proportion import proportion_confint

from triage.contract.disclosure import load_disclosure
from triage.contract.policy_load import policy_dir
from triage.learn.suppression import suppress
from triage.report.document import Grid, Section, Words
from triage.resources import resource_dir
from triage.store import Store
from triage.summary.areas import SCHEMA as PLACED
from triage.summary.facts import Facts
from triage.summary.findings import last_parts
from triage.summary.roofs import roof_tables, share_interval
from triage.summary.told import Told

RULES = load_disclosure(policy_dir("default")).audiences


def _facts() -> Facts:
    places = pl.DataFrame({"area": ["PL13", "EX8"], "lat": [50.3, 50.6], "lon": [-4.4, -3.3]})
    return Facts({}, "N", "P", "", "", None, "", (), {}, {}, (), "", "", "", places)


def _parts(frames: dict[str, pl.DataFrame], audience: str) -> dict[str, Section]:
    counts = counted(frames, "one")
    told = Told(suppress(counts.tables, RULES[audience], (), counts.links))
    with Store(Path(":memory:")) as store:
        for name, frame in frames.items():
            store.put(name, frame)
        store.put("report_place", pl.DataFrame(schema=PLACED))
        for path in sorted((resource_dir("pipelines") / "sql").glob("9?_report_*.sql")):
            store.run(path.read_text(encoding="utf-8"), {"as_of": AS_OF})
        return {s.title.split("  ")[0]: s for s in last_parts(told, _facts(), store)}


def _grid(section: Section, name: str) -> list[tuple[str, ...]]:
    (found,) = [b for b in section.blocks if isinstance(b, Grid) and b.name == name]
    return list(found.rows)


def _words(section: Section) -> str:
    return " ".join(b.text for b in section.blocks if isinstance(b, Words))


@pytest.fixture(scope="module")
def frames() -> dict[str, pl.DataFrame]:
    return invented(5, 1500)


def test_strata_say_what_was_opened_and_the_interval(frames: dict[str, pl.DataFrame]) -> None:
    roofs = frames["report_roof"].to_dicts()
    rows = {row[0]: row[1:] for row in _grid(_parts(frames, "internal")["7"], "foam_strata")}
    strata = {str(r["stratum"]) for r in roofs}
    assert set(rows) == strata | {"All strata"}
    for stratum in strata:
        mine = [r for r in roofs if r["stratum"] == stratum]
        status = Counter(r["status"] for r in mine)
        failing = sum(bool(r["is_failing"]) for r in mine)
        expected = [len(mine), status["opened"], failing, status["not completed"]]
        assert [int(x) for x in rows[stratum][:4]] == expected
        low, high = proportion_confint(failing, status["opened"], method="wilson")
        assert rows[stratum][4] == f"{low:.0%} to {high:.0%}"
    # Strata are opened at unlike rates: their sum has no interval.
    assert rows["All strata"][4:] == ("–", "–")


def test_an_outsider_reads_the_widest_interval_of_the_rounded_counts() -> None:
    """60 opened may be 58 to 62, and 10 failing 10 to 12."""
    low = proportion_confint(10, 62, method="wilson")[0]
    high = proportion_confint(12, 58, method="wilson")[1]
    assert share_interval((10, 12), (58, 62)) == pytest.approx((low, high))
    assert share_interval((0, 0), (0, 0)) is None
    # Never more failing than opened.
    assert share_interval((8, 12), (10, 10)) == pytest.approx(
        (proportion_confint(8, 10, method="wilson")[0], 1.0)
    )


def test_targeted_findings_are_counted_and_never_a_rate(frames: dict[str, pl.DataFrame]) -> None:
    found = frames["report_finding"]
    for audience in RULES:
        rows = _grid(_parts(frames, audience)["7"], "foam_targeted")
        assert "%" not in str(rows)
    inside = _grid(_parts(frames, "internal")["7"], "foam_targeted")
    assert sum(int(row[2]) for row in inside) == found.height
    assert sum(int(row[4]) for row in inside) == int(found["is_failing"].sum())


def test_a_stratum_of_one_stream_changes_no_rate(frames: dict[str, pl.DataFrame]) -> None:
    """Whatever targeted visits find, the table of random openings is the same."""
    worse = {**frames, "report_finding": frames["report_finding"].with_columns(is_failing=True)}
    one, two = (_grid(_parts(f, "internal")["7"], "foam_strata") for f in (frames, worse))
    assert one == two


def test_repairs_are_counted_by_hand(frames: dict[str, pl.DataFrame]) -> None:
    repairs = frames["record_repair"].to_dicts()

    def state(row: dict[str, object]) -> str:
        if row["repair_verified"] == "failed":
            return "failed verification"
        if row["completed_on"] is None:
            return "ordered, not completed"
        return "verified" if row["repair_verified"] == "yes" else "completed, not verified"

    by_hand = Counter(state(row) for row in repairs)
    told = dict(_grid(_parts(frames, "internal")["8"], "repairs"))
    for name, n in by_hand.items():
        assert told[f"Repairs {name}"] == f"{n:,}"
    assert told["Repairs ordered in all"] == f"{len(repairs):,}"
    assert told["Median days from order to completion"] == "61"  # 1 March to 1 May
    costs = sorted(float(str(r["cost_amount"])) for r in repairs)
    assert told["Spend a repair, all, GBP"] == f"{costs[0]:,.0f} to {costs[-1]:,.0f}"
    outside = dict(_grid(_parts(frames, "funder")["8"], "repairs"))
    assert not [name for name in outside if "all, GBP" in name]


def test_few_repairs_tell_an_outsider_neither_days_nor_spend() -> None:
    few = invented(3, 40)
    assert 0 < few["record_repair"].height < 20
    outside = dict(_grid(_parts(few, "public")["8"], "repairs"))
    assert outside["Median days from order to completion"] == "–"
    assert outside["Spend a repair, middle half, GBP"] == "–"


def test_contractors_stay_with_the_programme(frames: dict[str, pl.DataFrame]) -> None:
    looked = [
        r for r in frames["record_repair"].to_dicts() if r["repair_verified"] in ("yes", "failed")
    ]
    done = [r for r in looked if r["completed_on"] or r["repair_verified"] == "failed"]
    rows = _grid(_parts(frames, "internal")["10"], "contractors")
    for who, n, failed, _ in rows:
        mine = [r for r in done if r["contractor_id"] == who]
        assert int(n) == len(mine)
        assert int(failed) == sum(r["repair_verified"] == "failed" for r in mine)
    for audience in ("funder", "lender", "public"):
        section = _parts(frames, audience)["10"]
        assert "not printed for this reader" in _words(section)
        assert "C1" not in str(section)


def test_a_roof_of_a_run_is_in_one_stratum_and_late_visits_are_not_known() -> None:
    """Through the run's own tables: two roofs, one opened at random, one visited for risk."""
    from datetime import date

    from triage.contract.inspection import load_inspection

    facts = pl.DataFrame(
        {
            "property_id": ["A", "B", "C"],
            "building_part": ["main"] * 3,
            "measure_code": ["foam_in_place"] * 3,
            "measure_group": ["FOAM"] * 3,
            "building_id": [None] * 3,
            "region_name": ["R"] * 3,
            "exposure": ["moderate"] * 3,
            "lat": [50.0] * 3,
            "lon": [-4.0] * 3,
            "fired": [[], [], []],
        },
        schema_overrides={"building_id": pl.String, "fired": pl.List(pl.String)},
    )
    visits = pl.DataFrame(
        {
            "inspection_id": ["I1", "I2", "I3", "I4"],
            "property_id": ["A", "A", "B", "C"],
            "building_part": ["main"] * 4,
            "stratum": ["frozen"] * 4,
            "inspected_on": [
                date(2026, 3, 1),
                date(2026, 4, 1),
                date(2026, 4, 1),
                date(2027, 1, 1),
            ],
            "selection_stream": ["random", "random", "targeted", "random"],
            "outcome_status": ["no_access", "completed", "completed", "completed"],
            "verdict": [None, "fix_water", "remove_foam", "fix_water"],
            "decay_grade_max": [None, "d0", "d3", "d0"],
            "record_row": [1, 2, 3, 4],
        },
        schema_overrides={"record_row": pl.UInt32},
    )
    keys = facts.select("property_id", "building_part", "measure_code")
    with Store(Path(":memory:")) as run:
        run.put("queue", facts)
        run.put("current_evidence", keys.drop("measure_code"))
        run.put("quantity", keys)
        # As a run has them: a visit that came to nothing is told, and is no evidence.
        run.put("record_inspection", visits.filter(pl.col("outcome_status") != "no_access"))
        run.put("inspection_told", visits.drop("verdict", "decay_grade_max"))
        told = roof_tables(run, load_inspection(policy_dir("default")), AS_OF)
    roofs = {r["roof_id"]: r for r in told["report_roof"].to_dicts()}
    assert len(roofs) == 3
    (opened,) = [r for r in roofs.values() if r["status"] == "opened"]
    assert opened["roof_id"].startswith("A")
    assert opened["stratum"] == "frozen"
    assert opened["is_failing"]
    (targeted,) = told["report_finding"].to_dicts()
    assert (targeted["is_failing"], targeted["is_damaged"]) == (True, True)
    others = [r["status"] for r in roofs.values() if r is not opened]
    assert others == ["not selected at random"] * 2
