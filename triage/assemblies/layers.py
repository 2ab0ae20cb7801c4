"""Draws up the layers of distinct cases, element by element."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import BuildUps, State
from triage.assemblies.floor_layers import floor_layers
from triage.assemblies.layer import Layer, LayerMaker
from triage.assemblies.roof_layers import AGAINST_DECK, plane, roof_layers
from triage.assemblies.stack_facts import insulation, timber_deck, transmittance
from triage.assemblies.validity import invalid_reason
from triage.assemblies.wall_layers import FRAMES, MASONRY, wall_layers
from triage.contract.assemblies import Anatomy, Element, Library

CASE_FIELDS: dict[str, pl.DataType] = {
    "element": pl.String(),
    "measure_group": pl.String(),
    "measure_material": pl.String(),
    "measure_thickness_mm": pl.Float64(),
    "plane_before": pl.String(),
    "plane_after": pl.String(),
    "foam_class": pl.String(),
    "foam_thickness_mm": pl.Float64(),
    "foam_at_rafters": pl.Boolean(),
    "foam_cracked": pl.Boolean(),
    "foam_deck_top_only": pl.Boolean(),
    "ceiling_insulation_mm": pl.Float64(),
    "interior_vapour_control": pl.String(),
    "vapour_control_after": pl.String(),
    "roof_form": pl.String(),
    "roof_covering": pl.String(),
    "roof_underlay": pl.String(),
    "roof_deck": pl.String(),
    "roof_outer_class": pl.String(),
    "vapour_diffusion_port": pl.String(),
    "wall_construction": pl.String(),
    "wall_thickness_mm": pl.Float64(),
    "wall_finish_external": pl.String(),
    "wall_insulation_existing": pl.String(),
    "cavity_width_mm": pl.Float64(),
    "cavity_state": pl.String(),
    "floor_construction": pl.String(),
    "existing_insulation_mm": pl.Float64(),
}
"""What the layers of a case are drawn from; a column more than the survey has:
`existing_insulation_mm`, insulation whose thickness no field holds. [mm]"""

_MAKERS = {"roof": roof_layers, "wall": wall_layers, "floor": floor_layers}
_NOWHERE = -1


def build_ups(cases: pl.DataFrame, library: Library, state: State, element: Element) -> BuildUps:
    """Layer stacks of the cases of one element.

    Parameters
    ----------
    cases
        Distinct cases, columns `CASE_FIELDS`; what is unknown and matters makes a stack missing.
    library
        Materials and layer tables.
    state
        Before the measure or after it.
    element
        Element of all the cases.

    Returns
    -------
    BuildUps
        In the order of `cases`. A stack that cannot be drawn up has zeros and says why.
    """
    anatomy = library.anatomies[element]
    layers = _MAKERS[element](LayerMaker(anatomy, library.materials), state)
    drawn = cases.select(
        *(
            column.alias(f"{key}|{slot}")
            for slot in anatomy.slots
            for key, column in _parts(layers[slot]).items()
        )
    )
    numbers = {
        key: np.stack([drawn[f"{key}|{slot}"].to_numpy() for slot in anatomy.slots], axis=1)
        for key in ("r", "sd", "air")
    }
    return _assembled(cases, drawn, numbers, library, state, anatomy)


def _parts(layer: Layer) -> dict[str, pl.Expr]:
    return {
        "material": layer.material,
        "mm": pl.when(layer.material.is_not_null()).then(layer.mm),
        "r": layer.r.cast(pl.Float64).fill_null(0.0),
        "sd": layer.sd.cast(pl.Float64).fill_null(0.0),
        "why": layer.why,
        "air": layer.ventilated.fill_null(value=False),
    }


@dataclass(frozen=True, slots=True)
class _Where:
    """Slots and interfaces that matter, one a case; -1 for none."""

    watch: NDArray[np.int8]
    critical: NDArray[np.float64]
    deck: NDArray[np.int8]
    name: pl.Series


def _assembled(
    cases: pl.DataFrame,
    drawn: pl.DataFrame,
    numbers: dict[str, NDArray[np.float64]],
    library: Library,
    state: State,
    anatomy: Anatomy,
) -> BuildUps:
    r, sd, air = numbers["r"], numbers["sd"], numbers["air"].astype(bool)
    ventilated = air.any(axis=1) | (_loft_air(cases, state) if anatomy.element == "roof" else False)
    outside = _outside_of_air(air)
    r, sd = np.where(outside, 0.0, r), np.where(outside, 0.0, sd)
    r_si = np.full(len(r), anatomy.r_si)
    r_se = np.where(ventilated, anatomy.r_si, anatomy.r_se)
    why = drawn.select(
        pl.coalesce(
            *(f"why|{slot}" for slot in anatomy.slots),
            pl.lit(None, pl.String),
        ).alias("missing")
    )["missing"]
    why = _first_known(_not_drawn(cases, anatomy.element, state), why)
    where = _where(cases, drawn, r, sd, state, anatomy)
    deck, mass = timber_deck(drawn, where.deck, library, anatomy)
    described = _described(drawn, outside, anatomy).with_columns(
        watch_name=where.name,
        missing=why,
        invalid=invalid_reason(cases, sd, where.watch, state, anatomy),
        **insulation(drawn, r, library, anatomy),
    )
    return BuildUps(
        slots=anatomy.slots,
        r_m2k_w=r,
        sd_m=sd,
        r_se=r_se,
        r_si=r_si,
        u_w_m2k=transmittance(drawn, r, r_se, r_si, library, anatomy),
        watch=where.watch,
        critical=where.critical,
        deck_slot=deck,
        deck_kg_m2=mass,
        described=described,
    )


def _first_known(one: pl.Series, other: pl.Series) -> pl.Series:
    """The first of two texts that is there."""
    both = pl.DataFrame({"one": one, "other": other})
    return both.select(pl.coalesce("one", "other").alias("missing")).to_series()


def _loft_air(cases: pl.DataFrame, state: State) -> NDArray[np.bool_]:
    """Outside air passes between the insulation and the covering."""
    shut = cases.select(plane(state).is_in(AGAINST_DECK).fill_null(value=False)).to_series()
    return ~shut.to_numpy()


def _outside_of_air(air: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Slots that lie outside the innermost ventilated one, and that one itself."""
    return np.flip(np.logical_or.accumulate(np.flip(air, axis=1), axis=1), axis=1)


def _not_drawn(cases: pl.DataFrame, element: Element, state: State) -> pl.Series:
    """Why nothing can be drawn at all."""
    tests = {
        "roof": pl.when(plane(state).is_null()).then(
            pl.lit("where the insulation sits is not known")
        ),
        "floor": pl.when(pl.col("floor_construction").is_null()).then(
            pl.lit("the floor construction is not known")
        ),
        "wall": pl.when(pl.col("wall_construction").is_null())
        .then(pl.lit("the wall construction is not known"))
        .when(pl.col("wall_insulation_existing") == "combined")
        .then(pl.lit("several insulations of unknown thickness are there")),
    }
    return cases.select(tests[element].alias("why")).to_series()


def _where(
    cases: pl.DataFrame,
    drawn: pl.DataFrame,
    r: NDArray[np.float64],
    sd: NDArray[np.float64],
    state: State,
    anatomy: Anatomy,
) -> _Where:
    slot = {name: n for n, name in enumerate(anatomy.slots)}
    count = cases.height
    deck = np.full(count, _NOWHERE, dtype=np.int8)
    if anatomy.element == "roof":
        full = ~_loft_air(cases, state)
        inner_face = np.full(count, slot["deck"] + 1)
        first = _first_layer(r, sd, slot["foam"])
        watch = np.where(full, inner_face, first)
        there = drawn["material|deck"].is_not_null().to_numpy() & full
        critical = np.where(there, slot["deck"] + 0.5, np.where(full, slot["deck"] + 1.0, _NOWHERE))
        deck[there] = slot["deck"]
        inside = pl.Series(np.where(full, "inner face of the deck", "outer face of the insulation"))
        return _Where(watch.astype(np.int8), critical, deck, inside)
    if anatomy.element == "floor":
        watch = np.full(count, slot["deck"], dtype=np.int8)
        critical = np.full(count, slot["deck"] + 0.5)
        boards = pl.repeat("underside of the floor boards", count, eager=True)
        return _Where(watch, critical, deck, boards)
    return _wall_where(cases, slot)


def _wall_where(cases: pl.DataFrame, slot: dict[str, int]) -> _Where:
    """Masonry: its inner face for insulation inside, its outer face for insulation outside."""
    count = cases.height
    masonry = cases["wall_construction"].is_in(MASONRY).fill_null(value=False).to_numpy()
    frame = cases["wall_construction"].is_in(FRAMES).fill_null(value=False).to_numpy()
    outside = (cases["measure_group"] == "EWI").fill_null(value=False).to_numpy()
    inner = np.where(masonry, slot["inner_insulation"], slot["sheathing"] + 1)
    watch = np.where(outside, slot["finish"], inner)
    critical = np.where(
        masonry, slot["outer_leaf"] + 0.5, np.where(frame, slot["sheathing"] + 0.5, _NOWHERE)
    )
    name = np.where(
        outside,
        "outer face of the old wall",
        np.where(masonry, "inner face of the old wall", "inner face of the sheathing"),
    )
    nowhere = np.full(count, _NOWHERE, dtype=np.int8)
    return _Where(watch.astype(np.int8), critical.astype(np.float64), nowhere, pl.Series(name))


def _first_layer(r: NDArray[np.float64], sd: NDArray[np.float64], start: int) -> NDArray[np.int64]:
    """First used slot from `start` inwards: the interface at its outer face."""
    used = (r[:, start:] > 0) | (sd[:, start:] > 0)
    first = np.argmax(used, axis=1) + start
    return np.where(used.any(axis=1), first, _NOWHERE)


def _described(drawn: pl.DataFrame, outside: NDArray[np.bool_], anatomy: Anatomy) -> pl.DataFrame:
    """Material and thickness of each slot that counts."""
    columns = {}
    for n, slot in enumerate(anatomy.slots):
        counts = pl.lit(pl.Series(~outside[:, n]))
        columns[slot] = pl.when(counts).then(pl.col(f"material|{slot}"))
        columns[f"{slot}_mm"] = pl.when(counts).then(pl.col(f"mm|{slot}"))
    return drawn.select(expr.alias(name) for name, expr in columns.items())
