"""Reduces assessment rows to the distinct cases of layers, climate and indoor air behind them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.foam import has_any
from triage.assemblies.layers import CASE_FIELDS
from triage.assemblies.planes import foam_at_rafters, plane_today
from triage.assemblies.roof_layers import AGAINST_DECK
from triage.assemblies.wall_layers import CAVITIES, SOLID
from triage.contract.assemblies import ELEMENTS
from triage.contract.policy import Policy

SURROUNDINGS: dict[str, pl.DataType] = {
    "climate_id": pl.String(),
    "humidity_class": pl.Float64(),
    "climate_doubtful": pl.Boolean(),
    "is_north": pl.Boolean(),
}
KEYS = {**CASE_FIELDS, **SURROUNDINGS}
_CRACKS = ("crack", "gap_at_timber", "delaminated", "shrinkage")
_ROOF = (
    *("plane_before", "plane_after", "foam_class", "foam_thickness_mm", "foam_at_rafters"),
    *("foam_cracked", "foam_deck_top_only", "ceiling_insulation_mm", "interior_vapour_control"),
    *("vapour_control_after", "roof_form", "roof_covering", "roof_underlay", "roof_deck"),
    *("roof_outer_class", "vapour_diffusion_port"),
)
_WALL = (
    *("wall_construction", "wall_thickness_mm", "wall_finish_external"),
    *("wall_insulation_existing", "cavity_width_mm", "cavity_state"),
)
_FLOOR = ("floor_construction",)
_OUTER = (
    *("roof_covering", "roof_underlay", "roof_deck", "roof_outer_class", "vapour_diffusion_port"),
    "foam_deck_top_only",
)
_UNCHANGED = ("FOAM",)  # a check changes no layer: what is proposed does not matter
_MOST_TENTHS = 1e8  # far beyond any layer, so that it is refused; whole numbers hold it
_STEPS_PER_MM = 10.0  # thicknesses are told apart to a tenth of a millimetre


@dataclass(frozen=True, slots=True)
class Cases:
    """Distinct build-ups, distinct surroundings, the pairs of them that occur, and who has which.

    `layers` has the columns `CASE_FIELDS`, `around` the columns `SURROUNDINGS`, both in order of
    first appearance; `pairs` has `layers` and `around`, rows of those. `of_rows` holds one array a
    frame: row of `pairs`, or -1 where nothing is to be calculated.
    """

    layers: pl.DataFrame
    around: pl.DataFrame
    pairs: pl.DataFrame
    of_rows: list[NDArray[np.int64]]


def distinct_cases(frames: Sequence[pl.DataFrame], policy: Policy) -> Cases:
    """Every distinct case behind the rows of all frames, in order of first appearance.

    Parameters
    ----------
    frames
        Assessment rows with the derived quantities; the same row in several readings.
    policy
        Gives the limits by which planes are told.
    """
    heights = [frame.height for frame in frames]
    of_layers = np.full(sum(heights), -1, dtype=np.int64)
    layers, count = [], 0
    for element in ELEMENTS:
        # Each element has its own few keys: a wall need not be told apart by its roof.
        rows, mask = _selected(frames, _of(element), _layer_keys(element, policy))
        coded = rows.lazy().select(_layer_keys(element, policy, coded=True)).collect()
        first, numbers = numbered(_codes(coded).with_row_index("at"), but="at")
        table = rows[first["at"]].select(_layer_keys(element, policy))
        of_layers[mask] = numbers.to_numpy() + count
        layers.append(_wide(table, element))
        count += table.height
    every = pl.any_horizontal([_of(element) for element in ELEMENTS])
    rows, judged = _selected(frames, every, _around_keys())
    around, of_around = distinct_rows(rows.select(_around_keys()))
    both = pl.DataFrame({"layers": of_layers[judged], "around": of_around})
    pairs, of_pairs = numbered(both)
    of_rows = np.full(len(judged), -1, dtype=np.int64)
    of_rows[judged] = of_pairs.to_numpy()
    return Cases(pl.concat(layers), around, pairs, np.split(of_rows, np.cumsum(heights)[:-1]))


def _of(element: str) -> pl.Expr:
    """Rows of an element whose layers a measure can change."""
    is_element = pl.col("measure_element") == element
    return (is_element & (pl.col("measure_group") != "AIR")).fill_null(value=False)


def _selected(
    frames: Sequence[pl.DataFrame], test: pl.Expr, keys: list[pl.Expr]
) -> tuple[pl.DataFrame, NDArray[np.bool_]]:
    """What the keys read of the rows of all frames that pass a test, and which rows those are."""
    names = list(dict.fromkeys(name for key in keys for name in key.meta.root_names()))
    masks = [frame.select(test.alias("mask")).to_series() for frame in frames]
    parts = [frame.select(names).filter(mask) for frame, mask in zip(frames, masks, strict=True)]
    return pl.concat(parts), np.concatenate([mask.to_numpy() for mask in masks])


def _wide(rows: pl.DataFrame, element: str) -> pl.DataFrame:
    """Distinct rows of an element with every case field; what is not its own is null."""
    known = rows.with_columns(pl.lit(element).alias("element"))
    blank = [
        pl.lit(value=False if kind == pl.Boolean else None, dtype=kind).alias(name)
        for name, kind in CASE_FIELDS.items()
        if name not in known.columns
    ]
    return known.with_columns(blank).select(list(CASE_FIELDS))


def with_months(cases: Cases, climate: pl.DataFrame) -> Cases:
    """The same cases, without climate records that lack a month of temperature or vapour."""
    months = pl.col(r"^(t_mean_c|vp_mean_pa)_\d\d$").is_finite()
    whole = climate.filter(pl.all_horizontal(months).fill_null(value=False))["climate_id"]
    known = pl.when(pl.col("climate_id").is_in(whole.implode())).then("climate_id")
    return replace(cases, around=cases.around.with_columns(known))


def distinct_rows(rows: pl.DataFrame) -> tuple[pl.DataFrame, pl.Series]:
    """Distinct rows in order of first appearance, and the number of each row's."""
    first, numbers = numbered(_codes(rows).with_row_index("at"), but="at")
    return rows[first["at"]], numbers


def numbered(rows: pl.DataFrame, but: str | None = None) -> tuple[pl.DataFrame, pl.Series]:
    """First row of each kind, and the number of each row's kind; `but` is no part of the kind."""
    keys = [name for name in rows.columns if name != but]
    first = rows.unique(keys, keep="first", maintain_order=True)
    numbers = rows.join(
        first.select(keys).with_row_index("number"), on=keys, how="left", maintain_order="left"
    )["number"]
    return first, numbers.cast(pl.Int64)


def _layer_keys(element: str, policy: Policy, *, coded: bool = False) -> list[pl.Expr]:
    """What the layers of an element hang on, null where it does not matter, so like are alike.

    `coded` gives whole numbers in the place of texts, which are quicker to tell apart.
    """
    changes = ~pl.col("measure_group").is_in(_UNCHANGED)
    in_roof = pl.col("foam_in_roof").fill_null(value=False)
    on_top = pl.col("foam_deck_top_only").fill_null(value=False)
    before, there = plane_today(policy), foam_at_rafters()
    values: dict[str, pl.Expr] = {
        "measure_material": pl.when(changes).then("measure_material"),
        "measure_thickness_mm": pl.when(changes).then("measure_thickness_mm"),
        "plane_before": before,
        # Foam of which nobody said where it is may lie at the rafters: nothing is known of it.
        "foam_class": pl.when(in_roof & there.is_not_null())
        .then("foam_class_resolved")
        .when(~in_roof)
        .then(pl.lit("none")),
        "foam_thickness_mm": pl.when(in_roof | on_top).then("foam_thickness_mm"),
        "foam_at_rafters": pl.coalesce(there, in_roof),
        # A port outside its zones answers nothing: the layers are judged as without one.
        "vapour_diffusion_port": pl.when(
            (pl.col("vapour_diffusion_port") == "yes") & ~pl.col("port_counts")
        )
        .then(pl.lit("no"))
        .otherwise("vapour_diffusion_port"),
        "foam_cracked": has_any("foam_defects", _CRACKS).fill_null(value=False),
    }
    counts = counts_for(before, pl.col("plane_after"))
    own = {"roof": _ROOF, "wall": _WALL, "floor": _FLOOR}[element]
    told = []
    for name in ("measure_group", "measure_material", "measure_thickness_mm", *own):
        value, kind = values.get(name, pl.col(name)), CASE_FIELDS[name]
        if coded and kind == pl.String:
            value, kind = value.cast(pl.Categorical).to_physical(), pl.UInt32()
        if name in counts:
            value = pl.when(counts[name]).then(value)
        if name.endswith("_mm"):
            tenths = (value * _STEPS_PER_MM).round().clip(-_MOST_TENTHS, _MOST_TENTHS)
            value = pl.when(value.is_finite()).then(tenths / _STEPS_PER_MM)
        told.append(value.cast(kind).alias(name))
    return told


def _around_keys() -> list[pl.Expr]:
    """Climate and indoor air of a row."""
    values = {
        "climate_id": pl.col("climate_id"),
        "humidity_class": pl.col("humidity_class"),
        "climate_doubtful": (pl.col("join_quality") != "good").fill_null(value=False),
        "is_north": pl.col("latitude_north").fill_null(value=True),
    }
    return [values[name].cast(kind).alias(name) for name, kind in SURROUNDINGS.items()]


def counts_for(before: pl.Expr, after: pl.Expr) -> dict[str, pl.Expr]:
    """When a field can be part of the layers, today or afterwards; others always can."""

    def either(*planes: str) -> pl.Expr:
        return before.is_in(list(planes)) | after.is_in(list(planes))

    construction = pl.col("wall_construction")
    hollow = construction.is_in(list(CAVITIES))
    return {
        **dict.fromkeys(_OUTER, either(*AGAINST_DECK, "none")),
        "roof_form": either(*AGAINST_DECK, "none"),
        "ceiling_insulation_mm": either("ceiling", "mixed"),
        "wall_thickness_mm": construction.is_in(list(SOLID)),
        **dict.fromkeys(("cavity_width_mm", "cavity_state"), hollow),
        # A cavity is filled to its width whatever thickness was written.
        "measure_thickness_mm": pl.col("measure_group") != "CWI",
    }


def _codes(reduced: pl.DataFrame) -> pl.DataFrame:
    """The same rows as few whole numbers, alike exactly where the rows are alike."""
    whole = reduced.select(
        pl.col(pl.String).cast(pl.Categorical).to_physical(),
        (pl.col(pl.Float64) * _STEPS_PER_MM).cast(pl.Int64),
        pl.col(pl.Boolean, pl.UInt32).cast(pl.Int64),
    ).cast(pl.Int64)
    whole = whole.with_columns(pl.all() - pl.all().min() + 1).fill_null(0)
    sizes = [int(size or 0) + 1 for size in whole.select(pl.all().max()).row(0)]
    packed: list[pl.Expr] = []
    word, room = pl.lit(0, pl.Int64), 2**62
    for name, size in zip(whole.columns, sizes, strict=True):
        if size > room:
            packed.append(word)
            word, room = pl.lit(0, pl.Int64), 2**62
        word, room = word * size + pl.col(name), room // size
    packed.append(word)
    return whole.select(expr.cast(pl.Int64).alias(f"k{n}") for n, expr in enumerate(packed))
