"""Layers of a roof today and once the measure is done."""

import numpy as np

from triage.assemblies.build_up import State
from triage.assemblies.foam import SPRAYED
from triage.assemblies.layer import Bools, Layer, LayerMaker, part, shut
from triage.contract.materials import FOAM_MATERIALS

AGAINST_DECK = ("rafter_unvented", "mixed", "above_deck")
_WITH_RAFTERS = ("rafter_ventilated", "rafter_unvented", "mixed")
_WITH_CEILING = ("ceiling", "mixed")
_OPEN_LOFT = ("pitched_cold",)
_WITHOUT_LOFT = (
    *("pitched_cathedral", "pitched_room"),
    *("low_slope_cold", "low_slope_warm", "low_slope_unknown"),
)
_BOARDS = ("boards_gapped", "boards_close")


def plane_column(state: State) -> str:
    """Column that holds the plane of the insulation in this state."""
    return f"plane_{state}"


def closed_roof(make: LayerMaker, state: State) -> Bools:
    """No outside air between the lining and the deck, so that deck and covering count.

    So it is with insulation against or above the deck, and without any where there is no loft.
    """
    plane = plane_column(state)
    bare = make.is_in(plane, "none") & make.is_in("roof_form", *_WITHOUT_LOFT)
    return make.is_in(plane, *AGAINST_DECK) | bare


def roof_layers(make: LayerMaker, state: State) -> dict[str, Layer]:
    """The layer of every slot, by its name."""
    plane, none = plane_column(state), make.nothing
    spray = make.is_in("measure_material", *SPRAYED)
    raft = _measured(make, state, "RAFT")
    board = make.fixed("ceiling", "board", "lining", "inner")
    bare = make.is_in(plane, "rafter_unvented") & make.is_in("roof_form", *_OPEN_LOFT)
    # Between the deck and a ceiling below it lies still air, unless insulation fills it.
    space = make.is_in(plane, "mixed", "above_deck", "none") & closed_roof(make, state)
    return {
        **_outside(make, state),
        "foam": _foam(make, raft & spray).when(make.is_in(plane, *_WITH_RAFTERS), none),
        **_at_rafters(make, state, raft & ~spray),
        "void": make.fixed("space", "void", "void", "inner").when(space, none),
        **_at_ceiling(make, state),
        "vapour_control": _vapour_control(make, state),
        "lining": none.when(bare, board),
    }


def _measured(make: LayerMaker, state: State, group: str) -> Bools:
    return make.is_in("measure_group", group) & (state == "after")


def _outside(make: LayerMaker, state: State) -> dict[str, Layer]:
    """Covering, insulation above the deck, underlay and deck, where they count."""
    full, none = closed_roof(make, state), make.nothing
    above = _measured(make, state, "EXTR")
    recorded = make.codes("roof_outer_class") >= 0
    covering = none.when(recorded, make.coded("roof_covering", "covering", "outer"))
    coating = make.fixed("new_cover", "coating", "covering", "outer")
    sheet = make.fixed("new_cover", "sheet", "covering", "outer")
    foamed = make.is_in("measure_material", "spf_roofing")
    # Slates and tiles come off and are laid again on battens over the new insulation.
    laid_again = covering.ventilated & ~foamed
    new = covering.when(laid_again, coating.when(foamed, sheet))
    proposed = make.of(
        *(make.codes("measure_material"), make.numbers("measure_thickness_mm"), "outer"),
        "the proposed insulation",
    )
    foam = make.of(
        *(make.code("spf_roofing"), make.numbers("foam_thickness_mm"), "outer"),
        "the foam on the deck",
    )
    old = make.fixed("existing", "above_deck", "above_deck", "outer")
    old = old.when(make.is_in("plane_before", "above_deck"), none)
    underlay = make.coded_by("roof_outer_class", "roof_outer_class", "underlay", "outer").when(
        recorded, make.coded("roof_underlay", "underlay", "outer")
    )
    today = foam.when(make.told("foam_deck_top_only"), old)
    return {
        "covering": new.when(above, covering).when(full, none),
        "above_deck": proposed.when(above, today).when(full, none),
        # What stays under new insulation is one layer among others, without air behind it.
        "old_covering": shut(covering).when(above & full & ~laid_again, none),
        "underlay": underlay.when(full, none),
        "deck": _deck(make).when(full, none),
    }


def _deck(make: LayerMaker) -> Layer:
    """The deck. Boards that were noted as the underlay are the deck, and count once."""
    boards = make.fixed("roof_deck", "boards_close", "deck", "outer")
    no_other = make.is_in("roof_deck", "battens_only") | (make.codes("roof_deck") < 0)
    noted_above = make.is_in("roof_underlay", "boards") & no_other
    return boards.when(noted_above, make.coded("roof_deck", "deck", "outer"))


def _foam(make: LayerMaker, sprayed: Bools) -> Layer:
    """Foam at the rafters: what is there, what is proposed, or both where they are of a kind."""
    there = make.told("foam_at_rafters")
    kind = make.codes("foam_class")
    for code, material in FOAM_MATERIALS.items():
        kind = np.where(make.is_in("foam_class", code), make.code(material), kind)
    mm, more = make.numbers("foam_thickness_mm"), make.numbers("measure_thickness_mm")
    proposed = make.codes("measure_material")
    today = make.of(kind, mm, "inner", "the foam")
    new = make.of(proposed, more, "inner", "the proposed foam")
    both = make.of(kind, mm + more, "inner", "foam over foam")
    other = make.of(make.code("mixed"), mm + more, "inner", "foam over foam")
    over = both.when(kind == proposed, other)
    return over.when(there & sprayed, new.when(sprayed, today.when(there, make.nothing)))


def _at_rafters(make: LayerMaker, state: State, filled: Bools) -> dict[str, Layer]:
    """Insulation at the rafters other than foam: what was there, and what is proposed."""
    # "Mixed" by a ceiling layer under foam that is only proposed holds nothing at the rafters yet.
    there = make.is_in("plane_before", *_WITH_RAFTERS) & ~make.told("foam_at_rafters")
    existing = make.fixed("existing", "rafters", "rafter_existing", "inner")
    proposed = make.of(
        *(make.codes("measure_material"), make.numbers("measure_thickness_mm"), "inner"),
        "the proposed insulation",
    )
    at = make.is_in(plane_column(state), *_WITH_RAFTERS)
    return {
        "rafter_existing": existing.when(there & at, make.nothing),
        "rafter_insulation": proposed.when(filled & at, make.nothing),
    }


def _at_ceiling(make: LayerMaker, state: State) -> dict[str, Layer]:
    """Ceiling insulation; a top-up brings the layer to the proposed depth, never to less."""
    mm, material = make.numbers("ceiling_insulation_mm"), make.code("mineral_wool")
    laid = _measured(make, state, "CEIL")
    depth = make.numbers("measure_thickness_mm")
    # Without a proposed depth the layer is not known, whatever lies there already.
    mm = np.where(laid, np.where(np.isnan(depth), depth, np.fmax(depth, mm)), mm)
    material = np.where(laid, make.codes("measure_material"), material)
    on = make.is_in(plane_column(state), *_WITH_CEILING) & (mm != 0.0)
    whole = make.of(material, mm, "inner", "the ceiling insulation").when(on, make.nothing)
    joists = float(make.anatomy.tables["joists"]["depth"].layers["ceiling_between"].mm or 0.0)
    between, over = part(whole, np.fmin(mm, joists)), part(whole, mm - joists)
    return {
        "ceiling_over": over.when(on & (mm > joists), make.nothing),
        "ceiling_between": between,
    }


def _vapour_control(make: LayerMaker, state: State) -> Layer:
    column = "interior_vapour_control" if state == "before" else "vapour_control_after"
    layer = make.coded_by(column, "interior_vapour_control", "vapour_control", "inner")
    return make.nothing.when(make.is_in(plane_column(state), "none"), layer)
