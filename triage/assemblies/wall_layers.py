"""Layers of a wall today and once the measure is done."""

import polars as pl

from triage.assemblies.build_up import State
from triage.assemblies.layer import NO_LAYER, Layer, LayerMaker, Side

MASONRY = (
    *("brick_solid", "stone_dense", "stone_soft", "block_solid", "earth", "concrete"),
    *("cavity_brick", "cavity_block_rendered"),
)
FRAMES = ("frame_brick_veneer", "frame_clad", "frame_direct_render")
_CAVITY = ("cavity_brick", "cavity_block_rendered")
_FILLED = ("filled_sound", "filled_voided", "filled_wet", "foam_uf")


def wall_layers(make: LayerMaker, state: State) -> dict[str, Layer]:
    """The layer of every slot, by its name."""
    built = {
        slot: make.coded("wall_construction", slot, _side(slot))
        for slot in ("outer_leaf", "inner_leaf", "sheathing", "old_lining")
    }
    existing = pl.col("wall_insulation_existing")
    group = pl.col("measure_group") if state == "after" else pl.lit(None, pl.String)
    outside, inside = group == "EWI", group == "IWI"
    clad = existing == "external"
    lined = existing == "internal"
    proposed = {
        side: make.of(
            pl.col("measure_material"),
            pl.col("measure_thickness_mm"),
            "outer" if side == "outer" else "inner",
            "the proposed insulation",
        )
        for side in ("outer", "inner")
    }
    old_outer = make.fixed("existing", "external", "outer_insulation", "outer")
    old_inner = make.fixed("existing", "internal", "inner_insulation", "inner")
    render = make.fixed("new_render", "thin", "outer_render", "outer")
    board = make.fixed("new_lining", "board", "lining", "inner")
    return {
        "outer_render": render.when(outside | clad),
        "outer_insulation": proposed["outer"].when(outside, old_outer.when(clad)),
        # Hung tiles and boards come off, or stay outside the new insulation's air.
        "finish": _unless_airy(make.coded("wall_finish_external", "finish", "outer"), outside),
        **built,
        "outer_leaf": _unless_airy(built["outer_leaf"], outside),
        "cavity": _cavity(make, group),
        "frame_fill": _frame_fill(make, group),
        "inner_insulation": proposed["inner"].when(inside, old_inner.when(lined)),
        "vapour_control": NO_LAYER,
        "lining": board.when(inside | lined),
    }


def _side(slot: str) -> Side:
    return "outer" if slot in ("outer_leaf", "sheathing") else "inner"


def _unless_airy(layer: Layer, covered: pl.Expr) -> Layer:
    """A ventilated layer outside new insulation counts for nothing and ventilates nothing."""
    closed = Layer(layer.material, layer.mm, layer.r, layer.sd, layer.why)
    return closed.when(covered, layer)


def _cavity(make: LayerMaker, group: pl.Expr) -> Layer:
    """The cavity: empty, filled long ago, or filled by the measure."""
    empty = make.coded("wall_construction", "cavity", "inner")
    width = pl.col("cavity_width_mm")
    new = make.of(pl.col("measure_material"), width, "inner", "the cavity fill")
    old = make.of(pl.lit("mineral_wool"), width, "inner", "the old cavity fill")
    hollow = pl.col("wall_construction").is_in(_CAVITY)
    filled = (pl.col("wall_insulation_existing") == "cavity_fill") | pl.col("cavity_state").is_in(
        _FILLED
    )
    return new.when(hollow & (group == "CWI"), old.when(hollow & filled, empty))


def _frame_fill(make: LayerMaker, group: pl.Expr) -> Layer:
    """Between the studs: air, batts of old, or the proposed fill."""
    empty = make.coded("wall_construction", "frame_fill", "inner")
    batts = make.fixed("existing", "frame_fill", "frame_fill", "inner")
    depth = float(make.anatomy.tables["frame"]["depth"].layers["frame_fill"].mm or 0.0)
    fill = make.of(
        pl.col("measure_material"),
        pl.coalesce("measure_thickness_mm", pl.lit(depth)),
        "inner",
        "the proposed fill",
    )
    framed = pl.col("wall_construction").is_in([*FRAMES, "steel_clad"])
    there = pl.col("wall_insulation_existing") == "frame_fill"
    return fill.when(framed & (group == "FWI"), batts.when(framed & there, empty))
