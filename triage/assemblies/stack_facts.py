"""What the layers of a stack come to: transmittance, shares of insulation, mass of the deck."""

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.layer import Bools, Codes, Floats, Layer, LayerMaker
from triage.contract.materials import Material
from triage.physics.heat import MAX_LIMIT_RATIO, combined_limits

_FIBROUS = ("rafter_existing", "rafter_insulation", "ceiling_over", "ceiling_between")


def timber_mass(deck: Layer, make: LayerMaker) -> Floats:
    """Dry mass of each timber deck; 0 where the deck is of something else or none. [kg/m²]."""
    density = _of_material(
        make.materials, {c: m.density_kg_m3 for c, m in make.materials.items() if m.timber}
    )
    per_m3 = density[_held(deck.material, make)]
    return np.nan_to_num(per_m3 * deck.mm / 1000.0)


def foam_is_tight(foam: Layer, make: LayerMaker) -> pl.Series:
    """Whether foam stops air at its thickness; null between what some and what all products need.

    True where there is no foam.
    """
    known = make.materials
    some = _of_material(known, {c: m.air_impermeable_from_mm for c, m in known.items()})
    sure = _of_material(
        known,
        {c: m.air_impermeable_sure_mm or m.air_impermeable_from_mm for c, m in known.items()},
    )
    row = _held(foam.material, make)
    stops = (foam.material < 0) | (foam.mm >= sure[row])
    perhaps = foam.mm >= some[row]
    return pl.Series(stops).set(pl.Series(~stops & perhaps), None)


def insulation(
    layers: Mapping[str, Layer], tight: pl.Series, r: Floats, make: LayerMaker
) -> dict[str, pl.Series]:
    """Resistance of insulation that stops air against the deck, and of what lies inside it.

    Null where it is not sure that the foam stops air at its thickness. [m²K/W]
    """
    if make.anatomy.element != "roof":
        blank = pl.repeat(None, make.count, dtype=pl.Float64, eager=True)
        return {"air_impermeable_r": blank, "air_permeable_r": blank}
    slot = {name: n for n, name in enumerate(layers)}
    foam, above = r[:, slot["foam"]], r[:, slot["above_deck"]]
    inside = r[:, [slot[name] for name in _FIBROUS]].sum(axis=1)
    stops = tight.fill_null(value=False).to_numpy()
    unsure = tight.is_null()
    shares = {
        "air_impermeable_r": np.where(stops, foam, 0.0) + above,
        "air_permeable_r": np.where(stops, 0.0, foam) + inside,
    }
    return {name: pl.Series(share).set(unsure, None) for name, share in shares.items()}


def transmittance(
    layers: Mapping[str, Layer], r: Floats, r_se: Floats, r_si: Floats, make: LayerMaker
) -> Floats:
    """U by the combined method; NaN where timber and insulation differ too much for it.

    Where two slots are bridged by unlike shares, the larger share holds for both: the timbers are
    taken to stand above one another.
    """
    if not len(r):
        return np.empty(0)
    share = np.zeros(len(r))
    timber = r.copy()
    slots = list(layers)
    for bridge in make.anatomy.bridging:
        wood = make.materials[bridge.material].conductivity_w_mk or 1.0
        for name in bridge.slots:
            n = slots.index(name)
            mm = np.nan_to_num(layers[name].mm)
            bridged = (mm > 0) & (r[:, n] > 0) & _insulates(layers[name], make)
            timber[bridged, n] = mm[bridged] / 1000.0 / wood
            share[bridged] = np.maximum(share[bridged], bridge.share)
    upper, lower = combined_limits([1.0 - share, share], [list(r.T), list(timber.T)], r_se, r_si)
    good = upper <= MAX_LIMIT_RATIO * lower
    return np.where(good, 2.0 / (upper + lower), np.nan)


def _insulates(layer: Layer, make: LayerMaker) -> Bools:
    """Not an empty space, whose resistance is of another kind."""
    return np.asarray(layer.material != make.number_of("air_still"))


def _of_material(materials: Mapping[str, Material], values: Mapping[str, float | None]) -> Floats:
    """A number of every material in order, and NaN at the end for none."""
    return np.array([*(values.get(code) for code in materials), None], dtype=np.float64)


def _held(material: Codes, make: LayerMaker) -> NDArray[np.int16]:
    """Row of a table of materials; the blank at its end for what is no material."""
    return np.where(material < len(make.materials), material, np.int16(-1))
