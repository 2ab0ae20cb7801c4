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
_ELEMENTS = ("roof", "wall", "floor")
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
    reduced = pl.concat([frame.select(_reduced(policy)) for frame in frames])
    judged = reduced["element"].is_not_null()
    layers, of_layers = _distinct(reduced.select(list(CASE_FIELDS)))
    around, of_around = _distinct(reduced.select(list(SURROUNDINGS)))
    both = pl.DataFrame({"layers": of_layers, "around": of_around})
    pairs, of_rows = _numbered(both.filter(judged))
    numbers = np.full(reduced.height, -1, dtype=np.int64)
    numbers[judged.to_numpy()] = of_rows.to_numpy()
    heights = np.cumsum([frame.height for frame in frames])[:-1]
    return Cases(layers, around, pairs, np.split(numbers, heights))


def with_months(cases: Cases, climate: pl.DataFrame) -> Cases:
    """The same cases, without climate records that lack a month of temperature or vapour."""
    months = pl.col(r"^(t_mean_c|vp_mean_pa)_\d\d$").is_finite()
    whole = climate.filter(pl.all_horizontal(months).fill_null(value=False))["climate_id"]
    known = pl.when(pl.col("climate_id").is_in(whole.implode())).then("climate_id")
    return replace(cases, around=cases.around.with_columns(known))


def _distinct(rows: pl.DataFrame) -> tuple[pl.DataFrame, pl.Series]:
    """Distinct rows in order of first appearance, and the number of each row's."""
    first, numbers = _numbered(_codes(rows).with_row_index("at"), but="at")
    return rows[first["at"]], numbers


def _numbered(rows: pl.DataFrame, but: str | None = None) -> tuple[pl.DataFrame, pl.Series]:
    """First row of each kind, and the number of each row's kind; `but` is no part of the kind."""
    keys = [name for name in rows.columns if name != but]
    first = rows.unique(keys, keep="first", maintain_order=True)
    numbers = rows.join(
        first.select(keys).with_row_index("number"), on=keys, how="left", maintain_order="left"
    )["number"]
    return first, numbers.cast(pl.Int64)


def _reduced(policy: Policy) -> list[pl.Expr]:
    """Each key, null where it does not matter for the element, so that like cases are alike."""
    element = pl.col("measure_element")
    judged = element.is_in(_ELEMENTS) & (pl.col("measure_group") != "AIR")
    what = pl.when(judged).then(element)
    changes = judged & ~pl.col("measure_group").is_in(_UNCHANGED)
    in_roof = pl.col("foam_in_roof").fill_null(value=False)
    on_top = pl.col("foam_deck_top_only").fill_null(value=False)
    values: dict[str, pl.Expr] = {
        "element": what,
        "measure_group": pl.when(judged).then("measure_group"),
        "measure_material": pl.when(changes).then("measure_material"),
        "measure_thickness_mm": pl.when(changes).then("measure_thickness_mm"),
        "plane_before": plane_today(policy),
        "foam_class": pl.when(in_roof).then("foam_class_resolved").otherwise(pl.lit("none")),
        "foam_thickness_mm": pl.when(in_roof | on_top).then("foam_thickness_mm"),
        "foam_at_rafters": foam_at_rafters().fill_null(value=False),
        "foam_cracked": has_any("foam_defects", _CRACKS).fill_null(value=False),
        "existing_insulation_mm": pl.lit(None, pl.Float64),
        "climate_id": pl.when(judged).then("climate_id"),
        "humidity_class": pl.when(judged).then(pl.col("humidity_class").cast(pl.Float64)),
        "climate_doubtful": judged & (pl.col("join_quality") != "good").fill_null(value=False),
        "is_north": judged & pl.col("latitude_north").fill_null(value=True),
    }
    by_element = {**dict.fromkeys(_ROOF, "roof"), **dict.fromkeys(_WALL, "wall")}
    by_element |= dict.fromkeys(_FLOOR, "floor")
    counts = _counts(values["plane_before"], pl.col("plane_after"))
    told = []
    for name, dtype in KEYS.items():
        value = values.get(name, pl.col(name))
        if name in counts:
            value = pl.when(counts[name]).then(value)
        if name in by_element:
            value = pl.when(judged & (element == by_element[name])).then(value)
        if dtype == pl.Float64 and name.endswith("_mm"):
            tenths = (value * _STEPS_PER_MM).round().clip(-_MOST_TENTHS, _MOST_TENTHS)
            value = pl.when(value.is_finite()).then(tenths / _STEPS_PER_MM)
        told.append(value.cast(dtype).alias(name))
    return told


def _counts(before: pl.Expr, after: pl.Expr) -> dict[str, pl.Expr]:
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
        pl.col(pl.Boolean).cast(pl.Int64),
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
