"""Why rows moved: from hashes where one input differs, from judging again where several do."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from triage.compare.judging import STATE, judge_again, states
from triage.compare.sides import TOOL, Inputs, Side, current_tool, swapped
from triage.errors import TriageError
from triage.rules.table import ID

ALONE, TOGETHER, EITHER, COMBINED, NOT_SEPARATED, UNEXPLAINED = (
    *("alone", "together", "either", "combined", "not separated", "unexplained"),
)
_ROW = "_row"


@dataclass(frozen=True, slots=True)
class Attribution:
    """`table` has one row per changed row, in order: `causes` (list of factors) and `how`.

    An input is needed where the row, judged with that input alone as it was before, is not where
    it is now. `how` is alone (one input is needed, and no other), together (each of several is
    needed), either (none is needed, as each alone is enough), combined (none is needed and none
    is enough), not separated (several differ and could not be judged apart), unexplained.
    """

    table: pl.DataFrame
    notes: tuple[str, ...]


def attribute(
    changed: pl.DataFrame,
    possible: pl.DataFrame,
    sides: tuple[Side, Side],
    homes: pl.DataFrame,
    say: Callable[[str], None],
) -> Attribution:
    """Find the causes of changed rows.

    Parameters
    ----------
    changed
        The key, `from_…` and `to_…` states.
    possible
        In the same order a Boolean for each factor that differs between the runs.
    sides
        The two runs.
    homes
        `property_id` and `building_id` of all homes of both runs.
    say
        Told what is about to happen.
    """
    table = _listed(
        changed.with_row_index(_ROW), dict(zip(possible.columns, possible, strict=True))
    )
    count = pl.col("causes").list.len()
    table = table.with_columns(
        pl.when(count == 0)
        .then(pl.lit(UNEXPLAINED))
        .when(count == 1)
        .then(pl.lit(ALONE))
        .otherwise(pl.lit(NOT_SEPARATED))
        .alias("how")
    )
    doubtful = table.filter(pl.col("how") == NOT_SEPARATED)
    if doubtful.is_empty():
        return Attribution(table.select("causes", "how"), ())
    inputs = sides[0].inputs, sides[1].inputs
    factors = [name for name in possible.columns if name != TOOL]
    why = _why_not(sides)
    if why is None and inputs[0] is not None and inputs[1] is not None:
        judge = _Judge(_neighbourhood(doubtful, homes), say)
        try:
            separate = _separate_from_tool if TOOL in possible.columns else _separate
            settled = separate(doubtful, factors, inputs[0], inputs[1], judge)
        except TriageError as problem:
            why = f"the inputs of the two runs cannot be judged together: {problem.what}"
        else:
            table = table.drop("causes", "how").join(
                pl.concat([table.filter(pl.col("how") != NOT_SEPARATED), settled]).select(
                    _ROW, "causes", "how"
                ),
                on=_ROW,
                how="left",
                maintain_order="left",
            )
    notes = () if why is None else (f"Causes were not separated: {why}.",)
    return Attribution(table.select("causes", "how"), notes)


def _why_not(sides: tuple[Side, Side]) -> str | None:
    """Why inputs cannot be judged again as the runs did."""
    for side in sides:
        if side.problem is not None:
            return side.problem
    before, after = sides
    # An earlier run of an older tool will do: its inputs are then judged with this one.
    for side in (after,) if before.tool != after.tool else sides:
        if side.tool != current_tool():
            return f"another version of the tool, or of its libraries, made {side.folder}"
    return None


def _neighbourhood(rows: pl.DataFrame, homes: pl.DataFrame) -> pl.DataFrame:
    """The homes of some rows and all others of their buildings."""
    near = homes.with_columns(pl.coalesce("building_id", "property_id").alias("_building"))
    buildings = near.join(rows.select("property_id"), on="property_id", how="semi")
    mine = near.join(buildings.select("_building"), on="_building", how="semi")
    return mine.select("property_id").unique().sort("property_id")


@dataclass(frozen=True, slots=True)
class _Judge:
    homes: pl.DataFrame
    say: Callable[[str], None]

    def found(self, rows: pl.DataFrame, inputs: Inputs, told: str) -> pl.DataFrame:
        """The rows, in order, with the state in which these inputs put them."""
        self.say(told)
        judged = states(judge_again(inputs, self.homes))
        return rows.join(judged, on=ID, how="left", maintain_order="left")

    def in_state(self, rows: pl.DataFrame, inputs: Inputs, state: str, told: str) -> pl.Series:
        """Whether each row, judged on these inputs, is in its `from` or `to` state."""
        return _in(self.found(rows, inputs, told), state)


def _in(found: pl.DataFrame, state: str) -> pl.Series:
    tests = (pl.col(f"{state}_{name}").eq_missing(pl.col(name)) for name in STATE)
    return found.select(pl.all_horizontal(tests).alias("x"))["x"]


def _separate_from_tool(
    rows: pl.DataFrame, factors: Sequence[str], before: Inputs, after: Inputs, judge: _Judge
) -> pl.DataFrame:
    """Judge the earlier inputs with this tool first: what moves then was moved by the tool."""
    told = f"judging {rows.height} moved rows again, all inputs as before, with this tool"
    found = judge.found(rows, before, told)
    moved, all_of_it = ~_in(found, "from"), _in(found, "to")
    by_tool = rows.filter(all_of_it).with_columns(
        pl.lit([TOOL], pl.List(pl.String)).alias("causes"), pl.lit(ALONE).alias("how")
    )
    rest = rows.filter(~all_of_it)
    if rest.is_empty():
        return by_tool
    settled = _separate(rest, factors, before, after, judge)
    also = settled[_ROW].is_in(rows.filter(moved)[_ROW].implode())
    known = also & (settled["how"] != UNEXPLAINED)
    added = settled.with_columns(
        pl.when(known)
        .then(pl.concat_list("causes", pl.lit(TOOL)))
        .otherwise("causes")
        .alias("causes"),
        pl.when(known).then(pl.lit(TOGETHER)).otherwise("how").alias("how"),
    )
    return pl.concat([by_tool, added])


def _separate(
    rows: pl.DataFrame, factors: Sequence[str], before: Inputs, after: Inputs, judge: _Judge
) -> pl.DataFrame:
    """Put each input back by itself; where that settles nothing, change each by itself."""
    stays = {
        name: judge.in_state(
            rows,
            swapped(after, before, name),
            "to",
            f"judging {rows.height} moved rows again, {name} as before",
        )
        for name in factors
    }
    needed = _listed(rows, {name: ~test for name, test in stays.items()})
    count = pl.col("causes").list.len()
    settled = needed.with_columns(
        pl.when(count == 1).then(pl.lit(ALONE)).otherwise(pl.lit(TOGETHER)).alias("how")
    ).filter(count > 0)
    rest = needed.filter(count == 0)
    if rest.is_empty():
        return _checked(settled, rows)
    forward = {
        name: judge.in_state(
            rest,
            swapped(before, after, name),
            "to",
            f"judging {rest.height} moved rows again, only {name} as now",
        )
        for name in factors
    }
    enough = _listed(rest, forward).with_columns(
        pl.when(count == 0)
        .then(pl.lit(COMBINED))
        .when(count == 1)
        .then(pl.lit(ALONE))
        .otherwise(pl.lit(EITHER))
        .alias("how")
    )
    own = rows.select(_ROW, pl.col("causes").alias("_possible"))
    enough = enough.join(own, on=_ROW, how="left", maintain_order="left").with_columns(
        pl.when(count == 0).then("_possible").otherwise("causes").alias("causes")
    )
    return _checked(pl.concat([settled, enough.select(settled.columns)]), rows)


def _listed(rows: pl.DataFrame, tests: Mapping[str, pl.Series]) -> pl.DataFrame:
    """`rows` with `causes`: the names of the tests that hold."""
    marks = pl.DataFrame({"_none": pl.Series([None] * rows.height, dtype=pl.String), **tests})
    told = [pl.when(pl.col(name)).then(pl.lit(name)) for name in tests]
    causes = pl.concat_list("_none", *told).list.drop_nulls()
    bare = rows.drop("causes", strict=False)
    return bare.with_columns(marks.select(causes.alias("causes"))["causes"])


def _checked(settled: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """A row that followed an input which is none of its own is unexplained."""
    own = rows.select(_ROW, pl.col("causes").alias("_possible"))
    foreign = pl.col("causes").list.set_difference("_possible").list.len() > 0
    return (
        settled.join(own, on=_ROW, how="left", maintain_order="left")
        .with_columns(pl.when(foreign).then(pl.lit(UNEXPLAINED)).otherwise("how").alias("how"))
        .select(rows.columns)
    )
