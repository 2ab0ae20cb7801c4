"""Draws up the layers of distinct cases, element by element."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.build_up import BuildUps, State
from triage.assemblies.floor_layers import floor_layers
from triage.assemblies.layer import Bools, Codes, Floats, Layer, LayerMaker
from triage.assemblies.roof_layers import closed_roof, plane_column, roof_layers
from triage.assemblies.stack_facts import foam_is_tight, insulation, timber_mass, transmittance
from triage.assemblies.validity import invalid_reason
from triage.assemblies.wall_layers import CAVITIES, FRAMES, MASONRY, filled_cavity, wall_layers
from triage.contract.assemblies import Element, Library

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
_AT_ONCE = 32_768  # arrays of this many cases stay in the processor's cache: twice as fast


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
        In the order of `cases`. A stack that cannot be drawn up says why; its layers have R = 0
        and sd = 0, its U is NaN.
    """
    starts = range(0, max(cases.height, 1), _AT_ONCE)
    parts = [_built(cases[n : n + _AT_ONCE], library, state, element) for n in starts]
    return parts[0] if len(parts) == 1 else _one_after_another(parts)


def _one_after_another(parts: Sequence[BuildUps]) -> BuildUps:
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in (f.name for f in fields(BuildUps))
        if name not in ("slots", "described")
    }
    described = pl.concat([part.described for part in parts])
    return BuildUps(slots=parts[0].slots, described=described, **joined)


def _built(cases: pl.DataFrame, library: Library, state: State, element: Element) -> BuildUps:
    make = LayerMaker(cases, library.anatomies[element], library.materials)
    made = _MAKERS[element](make, state)
    layers = {name: made[name] for name in make.anatomy.slots}
    missing = _missing(make, layers, state)
    drawn = missing.is_null().to_numpy()
    open_air = ~closed_roof(make, state) if element == "roof" else np.zeros(len(drawn), bool)
    airy = np.stack([layer.ventilated for layer in layers.values()], axis=1)
    counts = ~_outside_of_air(airy) & drawn[:, np.newaxis]
    r = np.where(counts, np.stack([layer.r for layer in layers.values()], axis=1), 0.0)
    sd = np.where(counts, np.stack([layer.sd for layer in layers.values()], axis=1), 0.0)
    r_si = np.full(len(r), make.anatomy.r_si)
    r_se = np.where(airy.any(axis=1) | open_air, make.anatomy.r_si, make.anatomy.r_se)
    where = _where(make, layers, counts, state)
    tight = (
        foam_is_tight(layers["foam"], make)
        if element == "roof"
        else pl.Series([], dtype=pl.Boolean)
    )
    invalid = invalid_reason(make, sd, where.watch, tight, state)
    u = transmittance(layers, r, r_se, r_si, make)
    described = _described(make, layers, counts | ~drawn[:, np.newaxis]).with_columns(
        watch_name=where.name,
        missing=missing,
        invalid=invalid.set(pl.Series(~drawn), None),
        **insulation(layers, tight, r, make),
    )
    return BuildUps(
        slots=make.anatomy.slots,
        r_m2k_w=r,
        sd_m=sd,
        r_se=r_se,
        r_si=r_si,
        u_w_m2k=np.where(drawn, u, np.nan),
        watch=where.watch,
        critical=where.critical,
        deck_slot=where.deck,
        deck_kg_m2=where.deck_kg_m2,
        described=described,
    )


def _outside_of_air(air: Bools) -> Bools:
    """Slots that lie outside the innermost ventilated one, and that one itself."""
    return np.flip(np.logical_or.accumulate(np.flip(air, axis=1), axis=1), axis=1)


def _missing(make: LayerMaker, layers: Mapping[str, Layer], state: State) -> pl.Series:
    """Why a stack cannot be drawn up: the whole, else its outermost unknown layer."""
    whys = np.stack([layer.why for layer in layers.values()], axis=1)
    first, at = (whys != 0).argmax(axis=1), np.arange(len(whys))
    why: Codes = whys[at, first]
    material = np.stack([layer.material for layer in layers.values()], axis=1)[at, first]
    mm = np.stack([layer.mm for layer in layers.values()], axis=1)[at, first]
    for text, holds in reversed(_nothing_known(make, state).items()):
        why = np.where(holds, make.reason(text), why)
    return make.reason_texts(why.astype(np.int16), material, mm)


def _nothing_known(make: LayerMaker, state: State) -> dict[str, Bools]:
    """Why nothing can be drawn at all."""
    column, what = {
        "roof": (plane_column(state), "where the insulation sits is not known"),
        "floor": ("floor_construction", "the floor construction is not known"),
        "wall": ("wall_construction", "the wall construction is not known"),
    }[make.anatomy.element]
    reasons = {what: make.codes(column) < 0}
    if make.anatomy.element == "wall":
        several = make.is_in("wall_insulation_existing", "combined")
        reasons["several insulations of unknown thickness are there"] = several
    return reasons


@dataclass(frozen=True, slots=True)
class _Where:
    """Slots and interfaces that matter, one a case; -1 for none."""

    watch: NDArray[np.int8]
    critical: Floats
    deck: NDArray[np.int8]
    deck_kg_m2: Floats
    name: pl.Series


def _where(make: LayerMaker, layers: Mapping[str, Layer], counts: Bools, state: State) -> _Where:
    slot = {name: n for n, name in enumerate(layers)}
    count, nowhere = make.count, np.full(make.count, _NOWHERE, dtype=np.int8)
    if make.anatomy.element == "roof":
        return _roof_where(make, layers, counts, state)
    if make.anatomy.element == "floor":
        watch = np.full(count, slot["deck"], dtype=np.int8)
        boards = pl.repeat("underside of the floor boards", count, dtype=pl.String, eager=True)
        return _Where(watch, np.full(count, slot["deck"] + 0.5), nowhere, np.zeros(count), boards)
    masonry, frame = (make.is_in("wall_construction", *codes) for codes in (MASONRY, FRAMES))
    after = state == "after"
    outside = make.is_in("measure_group", "EWI") & after
    filled = filled_cavity(make) | (
        make.is_in("measure_group", "CWI") & make.is_in("wall_construction", *CAVITIES) & after
    )
    tests = [outside, filled, masonry]
    places = [slot["finish"], slot["cavity"], slot["inner_insulation"]]
    named = [
        "outer face of the old wall",
        "inner face of the outer leaf",
        "inner face of the old wall",
    ]
    watch = np.select(tests, places, slot["sheathing"] + 1).astype(np.int8)
    critical = np.select(
        [masonry, frame], [slot["outer_leaf"] + 0.5, slot["sheathing"] + 0.5], _NOWHERE
    )
    names = pl.Series([*named, "inner face of the sheathing"])
    which = np.select(tests, range(3), 3).astype(np.uint32)
    return _Where(watch, critical, nowhere, np.zeros(count), names.gather(pl.Series(which)))


def _roof_where(
    make: LayerMaker, layers: Mapping[str, Layer], counts: Bools, state: State
) -> _Where:
    """The inner face of the deck, or of the outermost layer where outside air passes over it."""
    slot = {name: n for n, name in enumerate(layers)}
    full, deck = closed_roof(make, state), slot["deck"]
    used = np.stack([(layer.r > 0) | (layer.sd > 0) for layer in layers.values()], axis=1) & counts
    inner = used[:, deck + 1 :]
    first = np.where(inner.any(axis=1), inner.argmax(axis=1) + deck + 1, _NOWHERE)
    mass = np.where(full & counts[:, deck], timber_mass(layers["deck"], make), 0.0)
    timber = mass > 0
    bare = make.is_in(plane_column(state), "none")
    names = pl.Series(
        ["inner face of the deck", "outer face of the ceiling", "outer face of the insulation"]
    )
    which = np.select([full, bare], [0, 1], 2).astype(np.uint32)
    return _Where(
        watch=np.where(full, deck + 1, first).astype(np.int8),
        critical=np.where(timber, deck + 0.5, np.where(full, deck + 1.0, float(_NOWHERE))),
        deck=np.where(timber, deck, _NOWHERE).astype(np.int8),
        deck_kg_m2=mass,
        name=names.gather(pl.Series(which)),
    )


def _described(make: LayerMaker, layers: Mapping[str, Layer], counts: Bools) -> pl.DataFrame:
    """Material and thickness of each slot that counts."""
    names = pl.Series(make.names, dtype=pl.String)
    columns: dict[str, pl.Series] = {}
    for n, (slot, layer) in enumerate(layers.items()):
        there = counts[:, n] & (layer.material >= 0)
        rows = pl.Series(np.maximum(layer.material, 0).astype(np.uint32)).set(
            pl.Series(~there), None
        )
        columns[slot] = names.gather(rows)
        mm = np.where(there, layer.mm, np.nan)
        columns[f"{slot}_mm"] = pl.Series(mm, nan_to_null=True)
    return pl.DataFrame(columns)
