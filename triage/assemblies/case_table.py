"""The solved cases as a table: what an explanation shows of layers, months and verdict."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.alternatives import SHIFT
from triage.assemblies.build_up import STATES, State
from triage.assemblies.cases import KEYS
from triage.assemblies.solve import Solved, Surroundings
from triage.contract.assemblies import ELEMENTS, Library
from triage.contract.policy import Policy
from triage.physics.monthly import VERDICTS

_INDOOR = {
    "en_15026": "EN 15026 Annex C indoor air by outdoor temperature",
    "ashrae_160": "ASHRAE 160 simplified indoor air by outdoor temperature",
}
_LAYER = ("name", "material", "thickness_mm", "r_m2k_w", "sd_m")
_LAYERS: dict[str, type[pl.DataType]] = {
    **dict.fromkeys(("row", "place"), pl.Int64),
    **dict.fromkeys(("name", "material"), pl.String),
    **dict.fromkeys(_LAYER[2:], pl.Float64),
}


def case_names(known: pl.DataFrame) -> pl.DataFrame:
    """`case_before` and `case_after` of each known case, by its content alone."""
    key = pl.struct([*KEYS, SHIFT]).hash(seed=0)
    return known.select(
        "known", *(pl.format(state[0] + "{}", key).alias(f"case_{state}") for state in STATES)
    )


def case_table(
    shown: pl.DataFrame,
    known: pl.DataFrame,
    around: Surroundings,
    states: dict[State, Solved],
    policy: Policy,
    library: Library,
) -> pl.DataFrame:
    """One row a solved stack of the cases shown, before and after; layers outside to inside.

    Parameters
    ----------
    shown
        Distinct cases, each with `known`, the alternative to show, `tried` and `open_fields`.
    known, around, states
        Known cases, their surroundings, and both states solved.
    policy, library
        Name the indoor model and the slots.
    """
    wanted = shown.drop_nulls("known").unique("known", maintain_order=True).sort("known")
    index = wanted["known"].to_numpy()
    parts = [
        _rows(state, index, known, around, states[state], policy, library).with_columns(
            pl.Series("alternatives", _tried(wanted))
        )
        for state in STATES
    ]
    return pl.concat(parts).sort("case")


def _tried(wanted: pl.DataFrame) -> pl.Series:
    text = pl.format("{} tried, since not known: {}", "tried", "open_fields")
    return wanted.select(pl.when(pl.col("tried") > 1).then(text)).to_series()


def _rows(
    state: State,
    index: NDArray[np.int64],
    known: pl.DataFrame,
    around: Surroundings,
    solved: Solved,
    policy: Policy,
    library: Library,
) -> pl.DataFrame:
    stacks, year, edges = solved.stacks, solved.year, around.boundaries
    told, case = stacks.described[index], known[index]
    edge, r, sd = around.which[index], stacks.r_m2k_w[index], stacks.sd_m[index]
    months = {
        "t_out_c": edges.t_out_c[edge],
        "p_out_pa": edges.p_out_pa[edge],
        "t_in_c": edges.t_in_c[edge],
        "p_in_pa": edges.p_in_pa[edge],
        "watch_t_c": year.watch_t_c[index],
        "watch_p_pa": year.watch_p_pa[index],
        "watch_psat_pa": year.watch_psat_pa[index],
        "condensate_g_m2": year.condensate_g_m2[index],
    }
    return pl.DataFrame(
        {
            "case": case_names(known)[f"case_{state}"][index],
            "state": pl.repeat(state, len(index), dtype=pl.String, eager=True),
            "element": case["element"],
            "climate_id": case["climate_id"],
            "climate_shift_k": case[SHIFT],
            "indoor": _indoor(case, policy),
            "slots": _slots(case["element"], told, r, sd, library),
            "r_se": stacks.r_se[index],
            "r_si": stacks.r_si[index],
            "u_w_m2k": pl.Series(stacks.u_w_m2k[index], nan_to_null=True),
            "method": told["invalid"],
            "missing": told["missing"],
            "watch_name": told["watch_name"],
            "verdict": pl.Series(list(VERDICTS))[year.verdict[index].astype(np.int64)],
            "peak_g_m2": year.peak_g_m2[index],
            "residual_g_m2": year.residual_g_m2[index],
            "peak_month": year.peak_month[index],
            **{name: pl.Series(name, values).arr.to_list() for name, values in months.items()},
            "deck_mc_pct": _deck(solved, index),
        }
    )


def _indoor(case: pl.DataFrame, policy: Policy) -> pl.Series:
    """Which indoor air was taken, in words."""
    model, margin = policy.indoor_model, policy.number("humidity_margin")
    if model != "iso_13788":
        return pl.repeat(_INDOOR[model], case.height, dtype=pl.String, eager=True)
    number = pl.col("humidity_class").cast(pl.Int8)
    text = pl.format("ISO 13788 humidity class {}, 20 degC, margin {}", number, pl.lit(margin))
    return case.select(text.alias("indoor")).to_series()


def _deck(solved: Solved, index: NDArray[np.int64]) -> pl.Series:
    """Monthly moisture of the deck; null where there is none. [percent of dry mass]."""
    row = np.where(solved.has_deck, np.cumsum(solved.has_deck) - 1, -1)[index]
    months = solved.deck.mc_pct
    taken = months[np.maximum(row, 0)] if len(months) else np.zeros((len(index), 12))
    lists = pl.Series("deck_mc_pct", taken, nan_to_null=True).arr.to_list()
    there = pl.Series(row >= 0)
    frame = pl.DataFrame({"there": there, "deck_mc_pct": lists})
    return frame.select(pl.when("there").then("deck_mc_pct")).to_series()


def _slots(
    elements: pl.Series,
    told: pl.DataFrame,
    r: NDArray[np.float64],
    sd: NDArray[np.float64],
    library: Library,
) -> pl.Series:
    """The used slots of each case, outside to inside."""
    used = (r > 0) | (sd > 0)
    parts = [pl.DataFrame(schema=_LAYERS)]
    for element in ELEMENTS:
        own = (elements == element).to_numpy()
        for n, slot in enumerate(library.anatomies[element].slots if own.any() else ()):
            rows = np.flatnonzero(own & used[:, n])
            layer = {
                "row": rows,
                "place": np.full(len(rows), n),
                "name": pl.repeat(slot, len(rows), dtype=pl.String, eager=True),
                "material": told[slot].gather(rows),
                "thickness_mm": told[f"{slot}_mm"].gather(rows),
                "r_m2k_w": r[rows, n],
                "sd_m": sd[rows, n],
            }
            parts.append(pl.DataFrame(layer, schema=_LAYERS))
    layers = pl.concat(parts).sort("row", "place").select("row", pl.struct(_LAYER).alias("slots"))
    lists = layers.group_by("row", maintain_order=True).agg("slots")
    every = pl.DataFrame({"row": np.arange(len(r))})
    joined = every.join(lists, on="row", how="left", maintain_order="left")
    return joined["slots"].fill_null([])
