"""Tries the plausible answers where a layer, the indoor air or the climate is not known."""

from dataclasses import dataclass

import polars as pl

from triage.assemblies.cases import SURROUNDINGS, Cases, distinct_rows
from triage.assemblies.layers import CASE_FIELDS
from triage.contract.assemblies import Library
from triage.contract.expressions import bind

SHIFT = "climate_shift_k"
Lists = dict[str, tuple[pl.Expr, pl.Expr]]
"""By field: the test that it is open, and the values to try where it is."""
_POOLS = 5.0  # a humidity class that the method does not cover


@dataclass(frozen=True, slots=True)
class Tries:
    """What is solved for every pair of a build-up and its surroundings.

    `layers` and `around` are the known build-ups and surroundings, each once. `table` has one row
    a try: `pair`, `layers` and `around` (rows of those two, null where nothing can be tried),
    `tried` (how many the pair has), `open_fields` (what was open, in words) and `refused`, why
    nothing can be tried.
    """

    layers: pl.DataFrame
    around: pl.DataFrame
    table: pl.DataFrame


def expanded(cases: Cases, library: Library, doubt_k: float) -> Tries:
    """Every pair once for each combination of plausible answers to what it leaves open.

    Parameters
    ----------
    cases
        Distinct cases.
    library
        Gives the alternatives.
    doubt_k
        A climate join of low quality is tried this much warmer and colder too. [K]
    """
    most = library.most_combinations
    layers, of_layers = _tried(cases.layers, _layer_lists(library), most)
    # One answer about the inner layer stands for today and for afterwards.
    both = pl.coalesce("vapour_control_after", "interior_vapour_control")
    layers = layers.with_columns(both.alias("vapour_control_after"))
    unshifted = cases.around.with_columns(pl.lit(None, pl.Float64).alias(SHIFT))
    around, of_around = _tried(unshifted, _air_lists(library, doubt_k), most)
    around = around.with_columns(pl.col(SHIFT).fill_null(0.0))
    known_layers, layer_of = distinct_rows(layers)
    known_around, around_of = distinct_rows(around)
    left = of_layers.with_columns(pl.Series("known_layers", layer_of))
    right = of_around.with_columns(pl.Series("known_around", around_of))
    return Tries(known_layers, known_around, _paired(cases, left, right, most))


def _paired(cases: Cases, layers: pl.DataFrame, around: pl.DataFrame, most: int) -> pl.DataFrame:
    """Tries of each pair: all build-ups with all surroundings."""
    counts = cases.pairs.with_row_index("pair").with_columns(pl.col("pair").cast(pl.Int64))
    facts = [
        table.group_by("parent", maintain_order=True)
        .agg(pl.col("tried").first(), pl.col("open_fields").first())
        .rename({"parent": name, "tried": f"{name}_tried", "open_fields": f"{name}_open"})
        for name, table in (("layers", layers), ("around", around))
    ]
    for name, table in zip(("layers", "around"), facts, strict=True):
        counts = counts.join(table, on=name, how="left", maintain_order="left")
    climate = cases.around["climate_id"][counts["around"]]
    humidity = cases.around["humidity_class"][counts["around"]]
    opened = pl.concat_str(["layers_open", "around_open"], separator=", ", ignore_nulls=True)
    counts = counts.with_columns(
        (pl.col("layers_tried") * pl.col("around_tried")).alias("tried"),
        pl.when(opened != "").then(opened).alias("open_fields"),
    )
    refused = (
        pl.when(pl.lit(climate).is_null())
        .then(pl.lit("there is no climate record with every month for this place"))
        .when(pl.lit(humidity) >= _POOLS)
        .then(pl.lit("pools, spas and commercial kitchens are outside the humidity classes"))
        .when(pl.col("tried") > most)
        .then(pl.format("too much is not known to try it all: {}", "open_fields"))
    )
    counts = counts.with_columns(refused.alias("refused"))
    good = counts.filter(pl.col("refused").is_null())
    wide = good.join(
        layers.select("parent", "known_layers"),
        left_on="layers",
        right_on="parent",
        how="inner",
        maintain_order="left_right",
    ).join(
        around.select("parent", "known_around"),
        left_on="around",
        right_on="parent",
        how="inner",
        maintain_order="left_right",
    )
    none = pl.lit(None, pl.Int64)
    rest = counts.filter(pl.col("refused").is_not_null())
    rest = rest.with_columns(none.alias("known_layers"), none.alias("known_around"))
    columns = ["pair", "known_layers", "known_around", "tried", "open_fields", "refused"]
    told = pl.concat([wide.select(columns), rest.select(columns)])
    # The rows of the distinct cases give way to those of the known ones.
    named = told.rename({"known_layers": "layers", "known_around": "around"})
    return named.sort("pair", maintain_order=True)


def _tried(rows: pl.DataFrame, lists: Lists, most: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows with every plausible answer in turn; and `parent`, `tried`, `open_fields` of each.

    A row with more than `most` combinations stands once, as it is: it is refused later.
    """
    numbered = rows.with_row_index("parent").with_columns(pl.col("parent").cast(pl.Int64))
    open_to = pl.any_horizontal(test for test, _ in lists.values())
    some = numbered.select(open_to.alias("some")).to_series()
    # Whoever leaves nothing open needs no lists; that is most of them in a good survey.
    parts = [_known(numbered.filter(~some)), *_combined(numbered.filter(some), lists, most)]
    every = pl.concat(parts).sort("parent", maintain_order=True)
    return every.select(rows.columns), every.select("parent", "tried", "open_fields")


def _known(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows that leave nothing open."""
    nothing = pl.lit(None, pl.String).alias("open_fields")
    return rows.with_columns(pl.lit(1, pl.Int64).alias("tried"), nothing)


def _combined(rows: pl.DataFrame, lists: Lists, most: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows that stand once, and the others in every combination."""
    names = list(lists)
    wide = rows.with_columns(values.alias(f"try|{name}") for name, (_, values) in lists.items())
    count = pl.lit(1, pl.Int64)
    for name in names:
        count = count * pl.col(f"try|{name}").list.len().fill_null(1).cast(pl.Int64)
    said = [
        pl.when(pl.col(f"try|{name}").is_not_null()).then(pl.lit(_word(name))) for name in names
    ]
    told = pl.concat_str(said, separator=", ", ignore_nulls=True)
    wide = wide.with_columns(
        count.alias("tried"), pl.when(told != "").then(told).alias("open_fields")
    )
    single = (pl.col("tried") == 1) | (pl.col("tried") > most)
    once = wide.filter(single).with_columns(pl.col(f"try|{name}").list.first() for name in names)
    many = wide.filter(~single)
    for name in names:
        many = many.explode(f"try|{name}", empty_as_null=True, keep_nulls=True)
    known = [pl.coalesce(name, f"try|{name}").alias(name) for name in names]
    drop = [f"try|{name}" for name in names]
    return once.with_columns(known).drop(drop), many.with_columns(known).drop(drop)


def _word(field: str) -> str:
    """What is open, as a reader would call it."""
    if field == SHIFT:
        return "climate, whose record is far away"
    return field.removesuffix("_mm").replace("_", " ")


def _layer_lists(library: Library) -> Lists:
    """What is tried for each layer field that is open."""
    found: Lists = {}
    for entry in library.alternatives:
        if entry.field in CASE_FIELDS:
            counts = pl.col(entry.field).is_null() & bind(entry.when, {})
            _add(found, entry.field, counts, entry.values, CASE_FIELDS[entry.field])
    return found


def _air_lists(library: Library, doubt_k: float) -> Lists:
    """Humidity classes to try, and shifts of a climate record of low quality."""
    found: Lists = {}
    for entry in library.alternatives:
        if entry.field in SURROUNDINGS:
            counts = pl.col(entry.field).is_null() & bind(entry.when, {})
            _add(found, entry.field, counts, entry.values, SURROUNDINGS[entry.field])
    doubtful = pl.col("climate_doubtful") & pl.col("climate_id").is_not_null()
    _add(found, SHIFT, doubtful, (0.0, -doubt_k, doubt_k), pl.Float64())
    return found


def _add(
    found: Lists, field: str, counts: pl.Expr, values: tuple[str | float, ...], kind: pl.DataType
) -> None:
    """One more list for a field: where `counts` holds, else what stands there already."""
    sure = counts.fill_null(value=False)
    listed = pl.lit(pl.Series([list(values)])).first()
    test, rest = found.get(field, (pl.lit(value=False), pl.lit(None, pl.List(kind))))
    found[field] = (test | sure, pl.when(sure).then(listed).otherwise(rest))
