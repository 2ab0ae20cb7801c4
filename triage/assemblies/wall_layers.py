"""Layers of a wall today and once the measure is done."""

import numpy as np

from triage.assemblies.build_up import State
from triage.assemblies.layer import Bools, Floats, Layer, LayerMaker, shut

SOLID = ("brick_solid", "stone_dense", "stone_soft", "block_solid", "earth", "concrete")
CAVITIES = ("cavity_brick", "cavity_block_rendered")
MASONRY = (*SOLID, *CAVITIES)
FRAMES = ("frame_brick_veneer", "frame_clad", "frame_direct_render")
_FILLED = ("filled_sound", "filled_voided", "filled_wet", "foam_uf")
_MEASURED = "wall_thickness_mm"


def filled_cavity(make: LayerMaker) -> Bools:
    """The cavity is filled today."""
    said = make.is_in("wall_insulation_existing", "cavity_fill")
    return make.is_in("wall_construction", *CAVITIES) & (
        said | make.is_in("cavity_state", *_FILLED)
    )


def wall_layers(make: LayerMaker, state: State) -> dict[str, Layer]:
    """The layer of every slot, by its name."""
    none, done = make.nothing, state == "after"
    outside, inside = (done & make.is_in("measure_group", code) for code in ("EWI", "IWI"))
    clad = make.is_in("wall_insulation_existing", "external")
    lined = make.is_in("wall_insulation_existing", "internal")
    what = (make.codes("measure_material"), make.numbers("measure_thickness_mm"))
    old_outer = make.fixed("existing", "external", "outer_insulation", "outer").when(clad, none)
    old_inner = make.fixed("existing", "internal", "inner_insulation", "inner").when(lined, none)
    render = make.fixed("new_render", "thin", "outer_render", "outer")
    board = make.fixed("new_lining", "board", "lining", "inner")
    finish = make.coded("wall_finish_external", "finish", "outer")
    plaster = make.coded("wall_construction", "old_lining", "inner")
    added = np.where(lined, old_inner.mm + board.mm, 0.0) + np.where(
        clad, old_outer.mm + render.mm, 0.0
    )
    mm = make.numbers(_MEASURED) - plaster.mm - np.nan_to_num(finish.mm) - added
    leaf = make.coded("wall_construction", "outer_leaf", "outer", {_MEASURED: mm})
    return {
        "outer_render": render.when(outside | clad, none),
        "outer_insulation": make.of(*what, "outer", "the proposed insulation").when(
            outside, old_outer
        ),
        # Hung tiles, boards and veneers under new insulation are no longer ventilated.
        "finish": shut(finish).when(outside, finish),
        "outer_leaf": shut(leaf).when(outside, leaf),
        "cavity": _cavity(make, state),
        "inner_leaf": make.coded("wall_construction", "inner_leaf", "inner"),
        "sheathing": make.coded("wall_construction", "sheathing", "outer"),
        "frame_fill": _frame_fill(make, state),
        "old_lining": plaster,
        "inner_insulation": make.of(*what, "inner", "the proposed insulation").when(
            inside, old_inner
        ),
        "vapour_control": none,
        "lining": board.when(inside | lined, none),
    }


def _cavity(make: LayerMaker, state: State) -> Layer:
    """The cavity: empty, with a board, filled long ago, or filled by the measure."""
    empty = make.coded("wall_construction", "cavity", "inner")
    width = make.numbers("cavity_width_mm")
    new = make.of(make.codes("measure_material"), width, "inner", "the cavity fill")
    old = make.of(make.code("mineral_wool"), width, "inner", "the old cavity fill")
    unknown: Floats = np.full(make.count, np.nan)
    board = make.of(make.code("pir_pur_board"), unknown, "inner", "the board in the cavity")
    hollow = make.is_in("wall_construction", *CAVITIES)
    part_filled = hollow & make.is_in("cavity_state", "part_filled")
    today = board.when(part_filled, old.when(filled_cavity(make), empty))
    measured = make.is_in("measure_group", "CWI") & hollow & (state == "after")
    return new.when(measured & ~part_filled, today)


def _frame_fill(make: LayerMaker, state: State) -> Layer:
    """Between the studs: air, batts of old, or the proposed fill."""
    empty = make.coded("wall_construction", "frame_fill", "inner")
    batts = make.fixed("existing", "frame_fill", "frame_fill", "inner")
    usual = float(make.anatomy.tables["frame"]["depth"].layers["frame_fill"].mm or 0.0)
    named = make.numbers("measure_thickness_mm")
    depth = np.where(np.isnan(named), usual, named)
    fill = make.of(make.codes("measure_material"), depth, "inner", "the proposed fill")
    framed = make.is_in("wall_construction", *FRAMES, "steel_clad")
    there = make.is_in("wall_insulation_existing", "frame_fill")
    measured = make.is_in("measure_group", "FWI") & (state == "after")
    return fill.when(framed & measured, batts.when(framed & there, empty))
