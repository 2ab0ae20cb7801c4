"""What the layers of a stack come to: transmittance, shares of insulation, mass of the deck."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.contract.assemblies import Anatomy, Library
from triage.physics.heat import MAX_LIMIT_RATIO, combined_limits


def timber_deck(
    drawn: pl.DataFrame, deck: NDArray[np.int8], library: Library, anatomy: Anatomy
) -> tuple[NDArray[np.int8], NDArray[np.float64]]:
    """Slot and dry mass in kg/m² of each timber deck; -1 and 0 where there is none."""
    if anatomy.element != "roof":
        return deck, np.zeros(drawn.height)
    density = {
        code: m.density_kg_m3
        for code, m in library.materials.items()
        if m.timber and m.density_kg_m3 is not None
    }
    per_m3 = drawn["material|deck"].replace_strict(density, default=None, return_dtype=pl.Float64)
    mass = (per_m3 * drawn["mm|deck"] / 1000.0).fill_null(0.0).to_numpy()
    timber = (deck >= 0) & (mass > 0)
    return np.where(timber, deck, -1).astype(np.int8), np.where(timber, mass, 0.0)


def insulation(
    drawn: pl.DataFrame, r: NDArray[np.float64], library: Library, anatomy: Anatomy
) -> dict[str, pl.Series]:
    """Resistance of insulation that stops air against the deck, and of what lies inside it.

    Null where it is not sure that the foam stops air at its thickness. [m²K/W]
    """
    if anatomy.element != "roof":
        blank = pl.repeat(None, drawn.height, dtype=pl.Float64, eager=True)
        return {"air_impermeable_r": blank, "air_permeable_r": blank}
    slot = {name: n for n, name in enumerate(anatomy.slots)}
    some = {c: m.air_impermeable_from_mm for c, m in library.materials.items()}
    sure = {c: m.air_impermeable_sure_mm for c, m in library.materials.items()}
    tight = drawn.select(
        pl.when(pl.col("material|foam").is_null())
        .then(statement=False)
        .when(pl.col("mm|foam") >= _number("material|foam", {c: sure[c] or some[c] for c in some}))
        .then(statement=True)
        .when((pl.col("mm|foam") >= _number("material|foam", some)).fill_null(value=False))
        .then(None)
        .otherwise(statement=False)
        .alias("tight")
    )["tight"]
    foam, above = pl.Series(r[:, slot["foam"]]), pl.Series(r[:, slot["above_deck"]])
    fibrous = ("rafter_existing", "rafter_insulation", "ceiling_over", "ceiling_between")
    inside = pl.Series(r[:, [slot[name] for name in fibrous]].sum(axis=1))
    known = pl.DataFrame({"tight": tight, "foam": foam, "above": above, "inside": inside})
    stops = pl.when("tight").then("foam").when(~pl.col("tight")).then(0.0)
    passes = pl.when("tight").then(0.0).when(~pl.col("tight")).then("foam")
    shares = known.select(
        air_impermeable_r=stops + pl.col("above"), air_permeable_r=passes + pl.col("inside")
    )
    return {name: shares[name] for name in shares.columns}


def _number(column: str, values: dict[str, float | None]) -> pl.Expr:
    known = {k: v for k, v in values.items() if v is not None}
    return pl.col(column).replace_strict(known, default=None, return_dtype=pl.Float64)


def transmittance(
    drawn: pl.DataFrame,
    r: NDArray[np.float64],
    r_se: NDArray[np.float64],
    r_si: NDArray[np.float64],
    library: Library,
    anatomy: Anatomy,
) -> NDArray[np.float64]:
    """U by the combined method; NaN where timber and insulation differ too much for it."""
    if not len(r):
        return np.empty(0)
    share = np.zeros(len(r))
    timber = r.copy()
    for bridge in anatomy.bridging:
        wood = library.materials[bridge.material].conductivity_w_mk or 1.0
        for name in bridge.slots:
            n = anatomy.slots.index(name)
            mm = drawn[f"mm|{name}"].fill_null(0.0).to_numpy()
            bridged = (mm > 0) & (r[:, n] > 0)
            timber[bridged, n] = mm[bridged] / 1000.0 / wood
            share[bridged] = np.maximum(share[bridged], bridge.share)
    upper, lower = combined_limits([1.0 - share, share], [list(r.T), list(timber.T)], r_se, r_si)
    good = upper <= MAX_LIMIT_RATIO * lower
    return np.where(good, 2.0 / (upper + lower), np.nan)
