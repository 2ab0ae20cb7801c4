"""What a wave of inspections found, stream by stream: only the random one can feed a rate."""

from dataclasses import dataclass
from typing import Protocol

import polars as pl

from triage.learn.selection import RANDOM, Selection

FAILING = ("fix_water", "specialist", "remove_foam", "unsafe_stop")
DAMAGED = ("d2", "d3", "d4", "dx")
GRAVE = ("d3", "d4", "dx")
_OPENED = ("completed", "partial")
_NOT_OPENED = ("no_access", "refused", "unsafe")


class Drawn(Protocol):
    """What inspections are held against: a selection, or one read back."""

    @property
    def roofs(self) -> pl.DataFrame:
        """The frame, with strata, streams and the reserve."""

    @property
    def strata(self) -> pl.DataFrame:
        """What was planned for each stratum."""


@dataclass(frozen=True, slots=True)
class RandomOpenings:
    """Random inspections of a wave: the only thing that `rates` takes.

    `rows` has one row a roof that the draw brought up: `roof_id`, `stratum`, `status` (opened,
    no_foam, or why not), `is_failing`, `is_damaged`, `is_grave`, `is_water_only`,
    `type_differs`. `strata` has `stratum`, `roofs` and `random_n` as selected: of the roofs that
    no earlier wave had opened, as the draw was made from these. `left_out` counts rows that call
    themselves random of roofs that were not drawn, or not in turn; they are not used.
    """

    rows: pl.DataFrame
    strata: pl.DataFrame
    left_out: int


@dataclass(frozen=True, slots=True)
class OtherFindings:
    """Findings of targeted, complaint and opportunity visits: a list, never a rate.

    `rows` has one row an inspection with `stream`, `stratum` and what was found.
    """

    rows: pl.DataFrame


def random_openings(inspections: pl.DataFrame, selection: Drawn) -> RandomOpenings:
    """The random inspections of a selection, each roof once.

    Of several visits to a roof the first that opened it counts: later ones follow it up.

    Parameters
    ----------
    inspections
        Rows of the table `inspection`, each record once.
    selection
        The selection that sent the inspectors.
    """
    known = _known(inspections, selection)
    random = known.filter(pl.col("selection_stream") == RANDOM)
    was_drawn = ((pl.col("stream") == RANDOM) | pl.col("is_reserve")).fill_null(value=False)
    # Opened before not opened, then by date: a roof reached at the second try was reached.
    first = (
        random.filter(was_drawn)
        .sort(
            *("roof_id", ~pl.col("outcome_status").is_in(list(_OPENED))),
            *("inspected_on", "inspection_id"),
        )
        .unique("roof_id", keep="first", maintain_order=True)
        .select("roof_id", "stratum", "draw_order", *_findings())
    )
    rows = _in_turn(first, selection.strata).drop("draw_order")
    waiting = selection.roofs.filter(~pl.col("is_done")).group_by("stratum")
    roofs = waiting.agg(pl.len().cast(pl.Int64).alias("roofs"))
    return RandomOpenings(
        rows=rows,
        strata=roofs.join(selection.strata.select("stratum", "random_n"), on="stratum").sort(
            "stratum"
        ),
        left_out=random.join(rows, on="roof_id", how="anti").height,
    )


def _in_turn(rows: pl.DataFrame, strata: pl.DataFrame) -> pl.DataFrame:
    """Roofs that were drawn, and as many of the reserve, in its order, as could not be opened.

    One of the reserve that nobody had to fall back on was opened for another reason.
    """
    planned = strata.select("stratum", "random_n")
    reach = planned
    while True:  # a stand-in that could not be opened either calls the next
        near = rows.join(reach.rename({"random_n": "_reach"}), on="stratum", maintain_order="left")
        within = near.filter(pl.col("draw_order") <= pl.col("_reach")).drop("_reach")
        lost = within.filter(~pl.col("status").is_in(["opened", "no_foam"]))
        called = planned.join(lost.group_by("stratum").len(), on="stratum", how="left")
        further = pl.col("random_n") + pl.col("len").cast(pl.Int64).fill_null(0)
        last, reach = reach, called.select("stratum", further.alias("random_n"))
        if reach.sort("stratum").equals(last.sort("stratum")):
            return within


def other_findings(inspections: pl.DataFrame, selection: Drawn) -> OtherFindings:
    """What the other streams found, printed apart from any rate."""
    known = _known(inspections, selection).filter(pl.col("selection_stream") != RANDOM)
    return OtherFindings(
        known.sort("inspection_id").select(
            *("inspection_id", "property_id", "building_part", "roof_id"),
            pl.col("selection_stream").alias("stream"),
            "stratum",
            *_findings(),
        )
    )


def _known(inspections: pl.DataFrame, selection: Drawn) -> pl.DataFrame:
    """Inspections with their roof, and the stratum frozen at selection."""
    roofs = selection.roofs.select(
        *("roof_id", "building_part", "stratum", "stream", "is_reserve", "draw_order"),
        pl.col("foam_type").alias("foam_type_held"),
        pl.col("property_ids").alias("property_id"),
    ).explode("property_id", empty_as_null=False, keep_nulls=False)
    return inspections.drop("stratum").join(roofs, on=["property_id", "building_part"], how="left")


def _findings() -> list[pl.Expr]:
    opened = pl.col("outcome_status").is_in(list(_OPENED)) & pl.col("verdict").is_not_null()
    status = (
        pl.when(opened)
        .then(pl.lit("opened"))
        .when(pl.col("outcome_status") == "not_foam")
        .then(pl.lit("no_foam"))
        .when(pl.col("outcome_status").is_in(list(_NOT_OPENED)))
        .then("outcome_status")
        .otherwise(pl.lit("no verdict"))
    )
    grave = pl.col("decay_grade_max").is_in(list(GRAVE)).fill_null(value=False)
    differs = pl.col("foam_type_found") != pl.col("foam_type_held")
    tests = {
        "is_failing": pl.col("verdict").is_in(list(FAILING)),
        "is_damaged": pl.col("decay_grade_max").is_in(list(DAMAGED)).fill_null(value=False),
        "is_grave": grave | (pl.col("verdict") == "unsafe_stop"),
        "is_water_only": (pl.col("verdict") == "fix_water") & ~grave,
        "type_differs": differs.fill_null(value=False),
    }
    return [status.alias("status"), *((opened & test).alias(n) for n, test in tests.items())]


def stand_ins(inspections: pl.DataFrame, selection: Selection) -> pl.DataFrame:
    """Which roof of the reserve stands in for which random one that could not be opened.

    Returns
    -------
    pl.DataFrame
        `stratum`, `roof_id` and `status` of each random roof that was not opened, and
        `stand_in`: the next of the stratum's reserve in the order of the draw, null where it is
        used up. The roof itself stays in its stratum, unopened.
    """
    rows = random_openings(inspections, selection).rows
    orders = selection.roofs.select("roof_id", "draw_order")
    lost = rows.filter(~pl.col("status").is_in(["opened", "no_foam"])).join(orders, on="roof_id")
    place = pl.col("draw_order").rank("ordinal").over("stratum").cast(pl.Int64).alias("_place")
    # A stand-in that could not be opened either is itself among the lost.
    need = lost.sort("stratum", "draw_order").with_columns(place)
    spare = selection.reserve.select("stratum", pl.col("roof_id").alias("stand_in"), place)
    return need.join(spare, on=["stratum", "_place"], how="left", maintain_order="left").select(
        "stratum", "roof_id", "status", "stand_in"
    )
