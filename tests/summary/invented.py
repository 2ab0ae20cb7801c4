"""Invented runs, as lopsided as they come, through the steps that a report counts with."""

from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl

from triage.report.labels import ENTERED, LEFT, NOT_JUDGED
from triage.resources import resource_dir
from triage.store import Store
from triage.summary.areas import SCHEMA as PLACED
from triage.summary.counts import OPENED, Counted, Stock, count_all

HOSTILE = '<script>alert(1)</script> =HYPERLINK("x") \u202egnp.exe & "Sons"'
AS_OF = date(2026, 10, 31)
GROUPS = ("CEIL", "CWI", "IWI", "FOAM")
LANES = ("technical", "safety", "evidence_gap", "expired")
EXPOSED = ("severe", "moderate", "sheltered")
QUEUES = ("fix-water-first", "specialist-review", "safe-to-insulate")
TEXTS = pl.List(pl.String)


def invented(seed: int, homes: int | None = None) -> dict[str, pl.DataFrame]:
    """Tables of a run, by name."""
    rng = np.random.default_rng(seed)
    n = homes or int(rng.choice([9, 40, 150, 600]))
    ids = [f"H{k:04d}" for k in range(n)]
    areas = rng.choice(["PL13 2AB", "EX8 1ZZ", "25801", ""], n, p=rng.dirichlet([0.8] * 4))
    mix = rng.dirichlet(np.full(3, rng.choice([0.4, 1.0, 4.0])), size=len(GROUPS))
    rows = []
    for home in ids:
        for g in np.flatnonzero(rng.random(len(GROUPS)) < [0.7, 0.3, 0.15, 0.12]):
            for part in ("main", "extension")[: 1 + (rng.random() < 0.1)]:
                queue = QUEUES[rng.choice(3, p=mix[g])]
                lane = str(rng.choice(LANES)) if queue == QUEUES[1] else None
                open_ = queue == QUEUES[0] and rng.random() < 0.4
                gap = lane in ("evidence_gap", "expired")
                fired = queue != QUEUES[2]
                rows.append(
                    {
                        "property_id": home,
                        "building_part": part,
                        "measure_code": GROUPS[g].lower(),
                        "measure_group": GROUPS[g],
                        "queue": queue,
                        "lane": lane,
                        "undecidable": ["R01"] if gap or open_ else [],
                        "expired": ["gutter_condition"] if lane == "expired" else [],
                        "evidence_quality": str(rng.choice(["observed", "reported"])),
                        "fired": [str(r) for r in rng.choice(["W01", "R02", "F04"], fired * 2)],
                        "open_fields": ["void_seen"] if gap else [],
                        "overridden": ["W09"] if rng.random() < 0.05 else [],
                    }
                )
    lists = dict.fromkeys(("undecidable", "expired", "fired", "open_fields", "overridden"), TEXTS)
    queue = pl.DataFrame(rows, schema_overrides={**lists, "lane": pl.String})
    return {
        "queue": queue,
        "home": pl.DataFrame({"property_id": ids, "postal_code": areas}),
        "home_queue": _home_queue(rng, ids, queue),
        "contradiction": pl.DataFrame({"property_id": ids, "holds": rng.random(n) < 0.06}),
        "expiry_calendar": pl.DataFrame(
            {
                "property_id": ids,
                "expires_on": [AS_OF + timedelta(int(d)) for d in rng.integers(0, 900, n)],
            }
        ),
        **_records(rng, ids),
        **_roofs(rng, queue),
    }


def _home_queue(rng: np.random.Generator, ids: list[str], queue: pl.DataFrame) -> pl.DataFrame:
    rank = {q: k for k, q in enumerate(QUEUES)}
    worst = {home: min(qs, key=rank.__getitem__) for home, qs in _by_home(queue).items()}
    return pl.DataFrame(
        {
            "property_id": ids,
            "queue": [worst.get(home) for home in ids],
            "lat": [50.0 + k / 1000 for k in range(len(ids))],
            "lon": [-4.0 for _ in ids],
            "exposure": rng.choice(EXPOSED, len(ids), p=rng.dirichlet([0.6] * 3)),
        },
        schema_overrides={"queue": pl.String, "exposure": pl.String},
    )


def _by_home(queue: pl.DataFrame) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for home, name in queue.select("property_id", "queue").iter_rows():
        found.setdefault(home, []).append(name)
    return found


def _records(rng: np.random.Generator, ids: list[str]) -> dict[str, pl.DataFrame]:
    mended = [home for home in ids if rng.random() < 0.15]
    n = len(mended)
    repairs = pl.DataFrame(
        {
            "repair_id": [f"R{k}" for k in range(n)],
            "property_id": mended,
            "contractor_id": [str(c) for c in rng.choice(["C1", "C2"], n)],
            "repair_verified": [str(c) for c in rng.choice(["yes", "no", "failed"], n)],
            "ordered_on": [date(2026, 3, 1)] * n,
            "completed_on": [date(2026, 5, 1) if rng.random() < 0.8 else None for _ in mended],
            "cost_amount": rng.integers(100, 9000, n).astype(float),
            "cost_currency": ["GBP"] * n,
            "record_row": range(n),
        },
        schema_overrides={
            "property_id": pl.String,
            "completed_on": pl.Date,
            "ordered_on": pl.Date,
            **dict.fromkeys(
                ("repair_id", "contractor_id", "repair_verified", "cost_currency"), pl.String
            ),
            "record_row": pl.UInt32,
        },
    )
    decisions = pl.DataFrame(
        schema={
            **dict.fromkeys(
                ("property_id", "building_part", "measure_code", "reason_code"), pl.String
            ),
            "rule_ids": TEXTS,
            "decided_on": pl.Date,
            "expires_on": pl.Date,
        }
    )
    use = pl.DataFrame(schema={"kind": pl.String, "record_row": pl.UInt32, "why_not": pl.String})
    return {"record_repair": repairs, "record_decision": decisions, "record_use": use}


def _roofs(rng: np.random.Generator, queue: pl.DataFrame) -> dict[str, pl.DataFrame]:
    foamed = queue.filter(pl.col("measure_group") == "FOAM")["property_id"].unique().sort()
    n = len(foamed)
    status = rng.choice(OPENED, n, p=[0.5, 0.05, 0.1, 0.35])
    roofs = pl.DataFrame(
        {
            "roof_id": foamed,
            "stratum": [str(s) for s in rng.choice(["closed | slate", "open | tile"], n)],
            "status": [str(s) for s in status],
            "why_not": [None] * n,
            "is_failing": (rng.random(n) < 0.3) & (status == "opened"),
            "is_damaged": [False] * n,
        },
        schema_overrides={
            **dict.fromkeys(("stratum", "status", "why_not"), pl.String),
            **dict.fromkeys(("is_failing", "is_damaged"), pl.Boolean),
        },
    )
    targeted = roofs.filter(pl.Series(rng.random(n) < 0.5)).with_columns(stream=pl.lit("targeted"))
    classes = roofs.select("roof_id").with_columns(
        pl.Series("foam_class", rng.choice(["1", "2", "3"], n, p=[0.1, 0.3, 0.6]).tolist())
    )
    return {
        "report_roof": roofs,
        "report_finding": targeted.drop("why_not"),
        "roof_class": classes.cast(pl.String),
    }


def later(frames: dict[str, pl.DataFrame], seed: int) -> dict[str, pl.DataFrame]:
    """The same homes some time on: a few moved, a few left, a few are new."""
    rng = np.random.default_rng(seed + 1)
    fresh = invented(seed + 77, frames["home"].height)
    moved = pl.Series(rng.random(frames["home"].height) < rng.choice([0.02, 0.2]))
    changed = frames["home"].filter(moved)["property_id"].implode()
    gone = frames["home"].filter(pl.Series(rng.random(frames["home"].height) < 0.03))
    out = {}
    for name, frame in frames.items():
        key = (
            "roof_id" if name in ("report_roof", "report_finding", "roof_class") else "property_id"
        )
        if key not in frame.columns:
            out[name] = frame
            continue
        stay = frame.filter(~pl.col(key).is_in(changed))
        both = pl.concat([stay, fresh[name].filter(pl.col(key).is_in(changed))])
        out[name] = both.filter(~pl.col(key).is_in(gone["property_id"].implode())).sort(key)
    return out


def counted(
    frames: dict[str, pl.DataFrame], stock: str, before: tuple[str, pl.DataFrame] | None = None
) -> Counted:
    """Count as a report does: the SQL steps, then the tables."""
    store, steps = _counting()
    for name, frame in frames.items():
        store.put(name, frame)
    store.put("report_place", pl.DataFrame(schema=PLACED))
    for sql in steps:
        store.run(sql, {"as_of": AS_OF})
    areas = store.table("report_home").select(pl.col("property_id").alias("roof_id"), "area")
    store.put("report_roof_class", frames["roof_class"].join(areas, on="roof_id"))
    moved = None if before is None else _moved(frames, *before)
    total = frames["home"].height + 14
    return count_all(store, Stock(stock), total, moved)


@cache
def _counting() -> tuple[Store, list[str]]:
    """One store for all portfolios, whose tables each of them replaces, and the SQL steps."""
    paths = sorted((resource_dir("pipelines") / "sql").glob("9?_report_*.sql"))
    return Store(Path(":memory:")), [path.read_text(encoding="utf-8") for path in paths]


def _moved(frames: dict[str, pl.DataFrame], then_name: str, then: pl.DataFrame) -> pl.DataFrame:
    now = dict(frames["home_queue"].select("property_id", "queue").iter_rows())
    was = dict(then.select("property_id", "queue").iter_rows())
    rows = []
    for home in sorted({*now, *was}):
        pair = (
            (was[home] or NOT_JUDGED) if home in was else ENTERED,
            (now[home] or NOT_JUDGED) if home in now else LEFT,
        )
        if now.get(home) or was.get(home):
            rows.append((*pair, Stock(then_name).of("judged")))
    names = ["queue_before", "queue", "population_before"]
    return pl.DataFrame(rows, dict.fromkeys(names, pl.String), orient="row")
