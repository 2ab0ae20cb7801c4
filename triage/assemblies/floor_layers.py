"""Layers of a suspended floor today and once the measure is done."""

from triage.assemblies.build_up import State
from triage.assemblies.layer import Layer, LayerMaker


def floor_layers(make: LayerMaker, state: State) -> dict[str, Layer]:
    """The layer of every slot, by its name. Insulation between or under the joists, from below."""
    proposed = make.of(
        *(make.codes("measure_material"), make.numbers("measure_thickness_mm"), "outer"),
        "the proposed insulation",
    )
    laid = make.is_in("measure_group", "FLR") & (state == "after")
    return {
        "insulation": proposed.when(laid, make.nothing),
        "deck": make.coded("floor_construction", "deck", "outer"),
        "covering": make.coded("floor_construction", "covering", "inner"),
    }
