"""The counts of a programme summary as tables that are printed together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from triage.learn.cells import ALL, HOMES, Table
from triage.report.labels import (
    ENTERED,
    FIX,
    LANES,
    LEFT,
    MEASURE_GROUPS,
    NOT_JUDGED,
    REVIEW,
    SAFE,
)
from triage.store import Store
from triage.summary.links import Links

QUEUES = (SAFE, FIX, REVIEW)
COVERAGE = ("decidable", "not decidable", "out of date", "nothing proposed", "not surveyed")
EXPOSURES = ("very_severe", "severe", "moderate", "sheltered", "not known")
REPAIR_STATES = (
    *("ordered, not completed", "failed verification"),
    *("completed, not verified", "verified"),
)
OPENED = ("opened", "no foam found", "not completed", "not selected at random")
NOT_YET = "not visited yet"  # drawn, as a wave tells
FOUND = ("failing", "not failing", "not opened")


@dataclass(frozen=True, slots=True)
class Stock:
    """Names of the populations of one run: the same run has the same homes.

    `wave` names the wave whose frame the roofs are, empty if they are those of the run.
    """

    run: str
    wave: str = ""

    def of(self, what: str) -> str:
        """Name of the homes, judged, measures, review, safe, roofs, foamed, opened ... of a run."""
        if self.wave and what in ("roofs", "opened"):
            return f"{self.run} {what} of {self.frame}"
        return f"{self.run} {what}"

    @property
    def frame(self) -> str:
        """All roofs of the wave: the same in every report of it."""
        return f"wave {self.wave}"


@dataclass(frozen=True, slots=True)
class Counted:
    """All tables of one report, and what else a reader knows of how their cells hang together."""

    tables: tuple[Table, ...]
    links: pl.DataFrame


def count_all(
    store: Store,
    stock: Stock,
    total: int | None,
    moved: pl.DataFrame | None,
    *,
    by_area: bool = True,
) -> Counted:
    """Count the tables that the SQL steps made.

    Parameters
    ----------
    store
        Holds report_home and the others.
    stock
        Names the populations.
    total
        Homes in the programme; None if it was not declared: then those surveyed.
    moved
        Homes of both reports: `queue_before`, `queue`, `population_before` (one value).
    """
    homes = store.table("report_home")
    judged = homes.filter(pl.col("queue").is_not_null())
    tables = [
        _coverage(homes, total, stock),
        Table("queues", stock.of("judged"), _count(judged, queue=QUEUES)),
        *_by_measure(store.table("report_measure"), stock),
        *_overlapping(store, judged, stock),
        _flags(judged, stock),
        Table("repairs", stock.of("repairs"), _repairs(store.table("report_repair"))),
        *_roofs(store.table("report_roof"), stock),
        Table("targeted", stock.of("targeted"), _targeted(store.table("report_finding"))),
    ]
    if by_area:
        tables += _by_area(judged, store.table("report_roof_class"), stock)
    if moved is not None:
        tables.append(_movement(moved, stock))
    return Counted(tuple(t for t in tables if t.counts.height), _links(tables, stock))


def _count(rows: pl.DataFrame, **categories: Sequence[str]) -> pl.DataFrame:
    """Rows by every combination of the categories; a category without rows is there with 0."""
    names = list(categories)
    grid = pl.DataFrame({names[0]: list(categories[names[0]])}, schema={names[0]: pl.String})
    for name in names[1:]:
        each = pl.DataFrame({name: list(categories[name])}, schema={name: pl.String})
        grid = grid.join(each, how="cross")
    counted = rows.group_by(names).agg(pl.len().cast(pl.Int64).alias(HOMES))
    joined = grid.join(counted, on=names, how="left", maintain_order="left")
    if joined[HOMES].sum() != rows.height:
        raise ValueError(f"rows outside the categories of {names}")
    return joined.with_columns(pl.col(HOMES).fill_null(0))


def _sorted(rows: pl.DataFrame, name: str) -> list[str]:
    return [str(value) for value in rows[name].unique().sort()]


def _coverage(homes: pl.DataFrame, total: int | None, stock: Stock) -> Table:
    counts = _count(homes.select("coverage"), coverage=COVERAGE)
    missing = max(0, (total or homes.height) - homes.height)
    unseen = pl.when(pl.col("coverage") == COVERAGE[-1]).then(missing).otherwise(HOMES)
    return Table("coverage", stock.of("homes"), counts.with_columns(unseen.alias(HOMES)))


def _by_measure(measures: pl.DataFrame, stock: Stock) -> list[Table]:
    known = [group for group in MEASURE_GROUPS if (measures["measure_group"] == group).any()]
    groups = known + sorted(set(measures["measure_group"]) - set(known))
    told = measures.with_columns(
        decidable=pl.when("decidable").then(pl.lit("yes")).otherwise(pl.lit("no")),
        seen=pl.when("well_seen").then(pl.lit("observed or better")).otherwise(pl.lit("below")),
    )
    review = told.filter(pl.col("queue") == REVIEW)
    lanes = [*LANES, *(["no_lane"] if (review["lane"] == "no_lane").any() else [])]
    safe = told.filter(pl.col("queue") == SAFE)
    grades = ("observed or better", "below")
    return [
        Table("measures", stock.of("measures"), _count(told, measure_group=groups, queue=QUEUES)),
        Table(
            "decidable",
            stock.of("measures"),
            _count(told, measure_group=groups, decidable=("yes", "no")),
        ),
        Table(
            "lanes",
            stock.of("review"),
            _count(review, measure_group=groups, lane=lanes),
            parts_of=("measure_group",),
        ),
        Table("clearances", stock.of("safe"), _count(safe, seen=grades)),
    ]


def _overlapping(store: Store, judged: pl.DataFrame, stock: Stock) -> list[Table]:
    """Tables in which a home may count more than once: never more than all homes."""
    sources = (
        ("reasons", "report_reason", "rule_id"),
        ("gaps", "report_gap", "field"),
        ("override_rules", "report_override", "rule_id"),
        ("override_reasons", "report_override", "reason_code"),
    )
    made = []
    for name, source, column in sources:
        dimension = f"{name}_{column}" if name.startswith("override") else column
        rows = store.table(source).select("property_id", pl.col(column).alias(dimension)).unique()
        made.append(_with_whole(name, dimension, rows, judged.height, stock.of("judged")))
    return made


def _with_whole(name: str, dimension: str, rows: pl.DataFrame, whole: int, of: str) -> Table:
    counts = rows.group_by(dimension).agg(pl.len().cast(pl.Int64).alias(HOMES)).sort(dimension)
    if counts.height:
        every = pl.DataFrame({dimension: [ALL], HOMES: [whole]})
        counts = pl.concat([counts, every])
    return Table(name, of, counts, overlapping=(dimension,))


def _flags(judged: pl.DataFrame, stock: Stock) -> Table:
    flags = {
        "contradiction open": judged.filter("contradiction_open"),
        "evidence ends within 90 days": judged.filter("expires_soon"),
    }
    rows = pl.DataFrame(
        {"flag": [*flags, ALL], HOMES: [*(f.height for f in flags.values()), judged.height]}
    )
    return Table("quality", stock.of("judged"), rows, overlapping=("flag",))


def _repairs(repairs: pl.DataFrame) -> pl.DataFrame:
    """Homes by the state of the repair that is least far."""
    if not repairs.height:
        return pl.DataFrame(schema={"state": pl.String, HOMES: pl.Int64})
    rank = pl.col("state").replace_strict(
        list(REPAIR_STATES), list(range(len(REPAIR_STATES))), return_dtype=pl.Int8
    )
    least = repairs.group_by("property_id").agg(rank.min().alias("rank"))
    state = pl.lit(pl.Series(REPAIR_STATES)).gather(pl.col("rank")).alias("state")
    return _count(least.select(state), state=REPAIR_STATES)


def _roofs(roofs: pl.DataFrame, stock: Stock) -> list[Table]:
    strata = _sorted(roofs, "stratum") if roofs.height else []
    found = roofs.filter(pl.col("status") == "opened")
    empty = pl.DataFrame(schema={"stratum": pl.String, "status": pl.String, HOMES: pl.Int64})
    if not strata:
        return [Table("roofs", stock.of("roofs"), empty)]
    verdicts = found.with_columns(
        verdict=pl.when("is_failing").then(pl.lit("failing")).otherwise(pl.lit("not failing"))
    )
    statuses = (*OPENED, NOT_YET) if stock.wave else OPENED
    frame = {"stratum": (stock.frame, "stratum")} if stock.wave else {}
    by_status = _count(roofs, stratum=strata, status=statuses)
    return [
        Table("roofs", stock.of("roofs"), by_status, stands_for=frame),
        Table(
            "roof_verdicts",
            stock.of("opened"),
            _count(verdicts, stratum=strata, verdict=("failing", "not failing")),
            parts_of=("stratum",),
        ),
    ]


def _targeted(findings: pl.DataFrame) -> pl.DataFrame:
    """Roofs visited for another reason than chance, each by the worst that a visit found."""
    rank = (
        pl.when("is_failing").then(0).when(pl.col("status") == "opened").then(1).otherwise(2)
    ).min()
    worst = findings.group_by("roof_id").agg(rank.alias("rank"))
    found = worst.select(pl.lit(pl.Series(FOUND)).gather(pl.col("rank")).alias("found"))
    return _count(found, found=FOUND) if findings.height else _count(found.clear(), found=())


def _by_area(judged: pl.DataFrame, classed: pl.DataFrame, stock: Stock) -> list[Table]:
    """What the maps draw; nothing where all homes are in one area."""
    if judged["area"].n_unique() < 2:
        return []
    made = []
    for name, dimension, categories in (
        ("areas", "queue", QUEUES),
        ("area_gaps", "coverage", COVERAGE[:3]),
        ("area_exposure", "exposure", EXPOSURES),
    ):
        classes = {"area": _sorted(judged, "area"), dimension: categories}
        counts = _count(judged, **classes)
        made.append(Table(name, stock.of("judged"), counts, area="area"))
    if classed["area"].n_unique() > 1:
        classes = {"area": _sorted(classed, "area"), "foam_class": _sorted(classed, "foam_class")}
        counts = _count(classed, **classes)
        made.append(Table("area_foam", stock.of("foamed"), counts, area="area"))
    return made


def _movement(moved: pl.DataFrame, stock: Stock) -> Table:
    before = str(moved["population_before"][0]) if moved.height else "none"
    places = {
        "queue_before": (*QUEUES, NOT_JUDGED, ENTERED),
        "queue": (*QUEUES, NOT_JUDGED, LEFT),
    }
    stands_for = {"queue_before": (before, "queue"), "queue": (stock.of("judged"), "queue")}
    counts = _count(moved.select("queue_before", "queue"), **places)
    return Table("movement", f"{before} to {stock.run}", counts, stands_for=stands_for)


def _total(table: Table) -> int:
    return int(table.counts[HOMES].sum())


def _links(tables: Sequence[Table], stock: Stock) -> pl.DataFrame:
    by_name: Mapping[str, Table] = {table.name: table for table in tables}
    links = Links()
    judged, measures = stock.of("judged"), stock.of("measures")
    homes, review = stock.of("homes"), stock.of("review")
    with_measure = [links.cell(homes, coverage=c) for c in COVERAGE[:3]]
    links.equal(with_measure, links.cell(judged))
    for coverage in COVERAGE[:3] if "area_gaps" in by_name else ():
        links.equal([links.cell(judged, coverage=coverage)], links.cell(homes, coverage=coverage))
    links.at_most([links.cell(judged)], [links.cell(measures)])
    links.at_most([with_measure[0]], [links.cell(measures, decidable="yes")])
    for queue in QUEUES:
        whole = [links.cell(measures, queue=queue)]
        links.at_most([links.cell(judged, queue=queue)], whole)
    for group in sorted(set(by_name["measures"].counts["measure_group"])):
        one = {"measure_group": group}
        links.at_most([links.cell(measures, **one)], [links.cell(judged)])
        links.at_most([links.cell(measures, **one, queue=FIX)], [links.cell(judged, queue=FIX)])
        links.at_most([links.cell(measures, **one, decidable="no")], with_measure[1:])
        safe = links.cell(measures, **one, queue=SAFE)
        links.at_most([safe], [links.cell(measures, **one, decidable="yes")])
        links.equal([links.cell(review, **one)], links.cell(measures, **one, queue=REVIEW))
        expired = links.cell(review, **one, lane="expired")
        links.at_most([expired], [links.cell(measures, **one, decidable="no")])
    links.equal([links.cell(review)], links.cell(measures, queue=REVIEW))
    links.equal([links.cell(stock.of("safe"))], links.cell(measures, queue=SAFE))
    if by_name["roofs"].counts.height:
        _roof_links(links, by_name["roofs"], stock)
    if "area_foam" in by_name and _total(by_name["area_foam"]) == _total(by_name["roofs"]):
        links.equal([links.cell(stock.of("foamed"))], links.cell(stock.of("roofs")))
    return links.frame()


def _roof_links(links: Links, roofs: Table, stock: Stock) -> None:
    of, opened = stock.of("roofs"), stock.of("opened")
    for stratum in sorted(set(roofs.counts["stratum"])):
        whole = links.cell(of, stratum=stratum, status="opened")
        links.equal([links.cell(opened, stratum=stratum)], whole)
    links.equal([links.cell(opened)], links.cell(of, status="opened"))
