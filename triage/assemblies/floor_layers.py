"""Layers of a suspended floor today and once the measure is done."""

import polars as pl

from triage.assemblies.build_up import State
from triage.assemblies.layer import NO_LAYER, Layer, LayerMaker


def floor_layers(make: LayerMaker, state: State) -> dict[str, Layer]:
    """The layer of every slot, by its name. Insulation between or under the joists, from below."""
    proposed = make.of(
        *(pl.col("measure_material"), pl.col("measure_thickness_mm"), "outer"),
        "the proposed insulation",
    )
    built = {
        slot: make.coded("floor_construction", slot, "outer" if slot == "deck" else "inner")
        for slot in ("deck", "covering")
    }
    return {"insulation": proposed if state == "after" else NO_LAYER, **built}
