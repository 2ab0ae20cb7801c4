"""Layers of a roof today and once the measure is done."""

import polars as pl

from triage.assemblies.build_up import State
from triage.assemblies.foam import SPRAYED
from triage.assemblies.layer import NO_LAYER, Layer, LayerMaker

AGAINST_DECK = ("rafter_unvented", "mixed", "above_deck")
_WITH_RAFTERS = ("rafter_ventilated", "rafter_unvented", "mixed")
_WITH_CEILING = ("ceiling", "mixed")
_OPEN_LOFT = ("pitched_cold",)
_BETWEEN_JOISTS_MM = 100.0  # what lies between joists of the usual depth; the rest covers them
_FOAMS = {
    "open_cell": "spf_open",
    "closed_cell": "spf_closed",
    "closed_cell_roofing": "spf_roofing",
}


def plane(state: State) -> pl.Expr:
    """Plane of the insulation in this state."""
    return pl.col("plane_before" if state == "before" else "plane_after")


def roof_layers(make: LayerMaker, state: State) -> dict[str, Layer]:
    """The layer of every slot, by its name."""
    full = plane(state).is_in(AGAINST_DECK)
    done = state == "after"
    above = done & (pl.col("measure_group") == "EXTR") if done else pl.lit(value=False)
    spray = pl.col("measure_material").is_in(list(SPRAYED))
    raft = pl.col("measure_group") == "RAFT" if done else pl.lit(value=False)
    return {
        **_outside(make, full, above),
        "foam": _foam(make, raft & spray).when(plane(state).is_in(_WITH_RAFTERS)),
        **_at_rafters(make, state, raft & ~spray),
        "void": make.fixed("space", "void", "void", "inner").when(plane(state) == "mixed"),
        **_at_ceiling(make, state),
        "vapour_control": _vapour_control(make, state),
        "lining": _lining(make, state),
    }


def _outside(make: LayerMaker, full: pl.Expr, above: pl.Expr) -> dict[str, Layer]:
    """Covering, insulation above the deck, underlay and deck, where they count."""
    recorded = pl.col("roof_outer_class").is_not_null()
    covering = NO_LAYER.when(recorded, make.coded("roof_covering", "covering", "outer"))
    coating = make.fixed("new_cover", "coating", "covering", "outer")
    sheet = make.fixed("new_cover", "sheet", "covering", "outer")
    new = coating.when(pl.col("measure_material") == "spf_roofing", sheet)
    proposed = make.of(
        *(pl.col("measure_material"), pl.col("measure_thickness_mm"), "outer"),
        "the proposed insulation",
    )
    on_top = pl.col("foam_deck_top_only").fill_null(value=False)
    foam = make.of(
        pl.lit("spf_roofing"), pl.col("foam_thickness_mm"), "outer", "the foam on the deck"
    )
    there = pl.col("plane_before") == "above_deck"
    old = make.fixed("existing", "above_deck", "above_deck", "outer").when(there)
    underlay = make.coded("roof_outer_class", "underlay", "outer").when(
        recorded, make.coded("roof_underlay", "underlay", "outer")
    )
    return {
        "covering": new.when(above, covering).when(full),
        "above_deck": proposed.when(above, foam.when(on_top, old)).when(full),
        "old_covering": make.coded("roof_covering", "covering", "outer").when(above & full),
        # A new cover above makes the old underlay one layer among others.
        "underlay": underlay.when(full),
        "deck": make.coded("roof_deck", "deck", "outer").when(full),
    }


def _foam(make: LayerMaker, sprayed: pl.Expr) -> Layer:
    """Foam at the rafters: the proposed one, else the one that is there."""
    there = pl.col("foam_at_rafters").fill_null(value=False)
    kind = pl.col("foam_class").replace_strict(
        _FOAMS, default=pl.col("foam_class"), return_dtype=pl.String
    )
    today = make.of(kind, pl.col("foam_thickness_mm"), "inner", "the foam")
    new = make.of(
        *(pl.col("measure_material"), pl.col("measure_thickness_mm"), "inner"),
        "the proposed foam",
    )
    both = make.of(pl.lit("mixed"), pl.col("measure_thickness_mm"), "inner", "foam over foam")
    return both.when(there & sprayed, new.when(sprayed, today.when(there)))


def _at_rafters(make: LayerMaker, state: State, filled: pl.Expr) -> dict[str, Layer]:
    """Insulation at the rafters other than foam: what was there, and what is proposed."""
    foamed = pl.col("foam_at_rafters").fill_null(value=False)
    there = pl.col("plane_before").is_in(_WITH_RAFTERS) & ~foamed
    # "Mixed" by a ceiling layer under foam that is only proposed holds nothing at the rafters yet.
    existing = make.fixed("existing", "rafters", "rafter_existing", "inner")
    proposed = make.of(
        *(pl.col("measure_material"), pl.col("measure_thickness_mm"), "inner"),
        "the proposed insulation",
    )
    at = plane(state).is_in(_WITH_RAFTERS)
    return {
        "rafter_existing": existing.when(there & at),
        "rafter_insulation": proposed.when(filled & at),
    }


def _at_ceiling(make: LayerMaker, state: State) -> dict[str, Layer]:
    """Ceiling insulation; a top-up brings the layer to the proposed depth."""
    there = pl.col("ceiling_insulation_mm")
    mm, material = there, pl.lit("mineral_wool")
    if state == "after":
        laid = pl.col("measure_group") == "CEIL"
        mm = pl.when(laid).then(pl.max_horizontal("measure_thickness_mm", there)).otherwise(there)
        # Without a proposed depth the layer is not known, whatever lies there already.
        mm = pl.when(laid & pl.col("measure_thickness_mm").is_null()).then(None).otherwise(mm)
        material = pl.when(laid).then(pl.col("measure_material")).otherwise(material)
    on = plane(state).is_in(_WITH_CEILING) & (mm != 0.0).fill_null(value=True)
    between = pl.min_horizontal(mm, pl.lit(_BETWEEN_JOISTS_MM))
    between = pl.when(mm.is_not_null()).then(between)
    over = mm - _BETWEEN_JOISTS_MM
    what = "the ceiling insulation"
    return {
        "ceiling_over": make.of(material, over, "inner", what).when(on & (over > 0)),
        "ceiling_between": make.of(material, between, "inner", what).when(on),
    }


def _vapour_control(make: LayerMaker, state: State) -> Layer:
    column = "interior_vapour_control" if state == "before" else "vapour_control_after"
    layer = make.coded("interior_vapour_control", "vapour_control", "inner", column)
    return layer.when(plane(state) != "none")


def _lining(make: LayerMaker, state: State) -> Layer:
    """A board, but for foam that stays bare in an open loft."""
    board = make.fixed("ceiling", "board", "lining", "inner")
    bare = (plane(state) == "rafter_unvented") & pl.col("roof_form").is_in(_OPEN_LOFT)
    return NO_LAYER.when(bare, board)
