"""The solved cases as a table: what an explanation shows of layers, months and verdict."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.alternatives import SHIFT
from triage.assemblies.build_up import STATES, State
from triage.assemblies.figures import Known
from triage.contract.assemblies import ELEMENTS, Library
from triage.contract.policy import Policy
from triage.physics.deck import DeckYear
from triage.physics.monthly import VERDICTS

_INDOOR = {
    "en_15026": "EN 15026 Annex C indoor air by outdoor temperature",
    "ashrae_160": "ASHRAE 160 simplified indoor air by outdoor temperature",
}
_LAYER = ("name", "material", "thickness_mm", "r_m2k_w", "sd_m")


def case_names(
    known: Known, around: pl.DataFrame, rows: NDArray[np.int64], tried: pl.DataFrame
) -> pl.DataFrame:
    """`case_before` and `case_after` of known cases, by their content alone.

    What was open and tried, columns `tried` and `open_fields`, is part of it.
    """
    layers = _content(known.layers)[known.of_layers[rows]]
    air = _content(around)[known.of_around[rows]]
    opened = tried.select(pl.format("{} {}", "tried", "open_fields")).to_series()
    both = pl.DataFrame({"layers": layers, "air": air, "open": opened}).select(
        pl.col("layers").hash(seed=1) ^ pl.col("air").hash(seed=2) ^ pl.col("open").hash(seed=3)
    )
    number = both.to_series().alias("number")
    return pl.DataFrame({"number": number}).select(
        pl.format(state[0] + "{}", "number").alias(f"case_{state}") for state in STATES
    )


def _content(rows: pl.DataFrame) -> pl.Series:
    """A number of each row that hangs on its values alone."""
    mixed = pl.lit(0, pl.UInt64)
    for n, name in enumerate(rows.columns):
        mixed = mixed ^ pl.col(name).hash(seed=n)
    return rows.select(mixed.alias("content")).to_series()


def case_table(
    shown: pl.DataFrame, known: Known, around: pl.DataFrame, policy: Policy, library: Library
) -> pl.DataFrame:
    """One row a solved stack of the cases shown, before and after; layers outside to inside.

    Parameters
    ----------
    shown
        Distinct cases, each with `known`, the alternative to show, its `case_before` and
        `case_after`, `tried` and `open_fields`.
    known, around
        The known cases, and their surroundings in words.
    policy, library
        Name the indoor model and the slots.
    """
    wanted = shown.drop_nulls("known").unique("case_after", maintain_order=True)
    rows = wanted["known"].to_numpy()
    text = pl.format("{} tried, since not known: {}", "tried", "open_fields")
    tried = wanted.select(pl.when(pl.col("tried") > 1).then(text).alias("alternatives"))
    parts = [
        _rows(state, rows, known, around, policy, library)
        .with_columns(wanted[f"case_{state}"].alias("case"), state=pl.lit(state))
        .hstack(tried)
        for state in STATES
    ]
    return pl.concat(parts).unique("case", maintain_order=True).sort("case")


def _rows(
    state: State,
    rows: NDArray[np.int64],
    known: Known,
    around: pl.DataFrame,
    policy: Policy,
    library: Library,
) -> pl.DataFrame:
    solved, edges = known.states[state], known.around.boundaries
    stacks, at = solved.stacks, solved.at[rows]
    year, deck, has_deck = solved.years.again(at)
    edge, layer = known.of_around[rows], solved.rows[rows]
    told, air = stacks.described[layer], around[edge]
    elements = known.layers["element"][known.of_layers[rows]]
    months = {
        "t_out_c": edges.t_out_c[edge],
        "p_out_pa": edges.p_out_pa[edge],
        "t_in_c": edges.t_in_c[edge],
        "p_in_pa": edges.p_in_pa[edge],
        "watch_t_c": year.watch_t_c,
        "watch_p_pa": year.watch_p_pa,
        "watch_psat_pa": year.watch_psat_pa,
        "condensate_g_m2": year.condensate_g_m2,
    }
    return pl.DataFrame(
        {
            "element": elements,
            "climate_id": air["climate_id"],
            "climate_shift_k": air[SHIFT],
            "indoor": _indoor(air, policy) + _capped(known.around.capped[edge]),
            "slots": _slots(elements, told, stacks.r_m2k_w[layer], stacks.sd_m[layer], library),
            "r_se": stacks.r_se[layer],
            "r_si": stacks.r_si[layer],
            "u_w_m2k": pl.Series(stacks.u_w_m2k[layer], nan_to_null=True),
            "method": told["invalid"],
            "missing": told["missing"],
            "watch_name": told["watch_name"],
            "verdict": pl.Series(list(VERDICTS))[year.verdict.astype(np.int64)],
            "peak_g_m2": year.peak_g_m2,
            "residual_g_m2": year.residual_g_m2,
            "peak_month": year.peak_month,
            **{name: pl.Series(name, values).arr.to_list() for name, values in months.items()},
            "deck_mc_pct": _deck(deck, has_deck),
        }
    )


def _capped(months: NDArray[np.int64]) -> pl.Series:
    """A word on months whose vapour was above saturation; nothing where there are none."""
    count = pl.Series("capped", months)
    text = pl.format("; outdoor vapour above saturation in {} months, taken as saturated", count)
    return pl.select(pl.when(count > 0).then(text).otherwise(pl.lit(""))).to_series()


def _indoor(air: pl.DataFrame, policy: Policy) -> pl.Series:
    """Which indoor air was taken, in words."""
    model, margin = policy.indoor_model, policy.number("humidity_margin")
    if model != "iso_13788":
        return pl.repeat(_INDOOR[model], air.height, dtype=pl.String, eager=True)
    number = pl.col("humidity_class").cast(pl.Int8)
    text = pl.format(
        "ISO 13788 humidity class {}, rooms 20 to 25 degC, margin {}", number, pl.lit(margin)
    )
    return air.select(text.alias("indoor")).to_series()


def _deck(deck: DeckYear, has_deck: NDArray[np.bool_]) -> pl.Series:
    """Monthly moisture of the deck; null where there is none. [percent of dry mass]."""
    row = np.where(has_deck, np.cumsum(has_deck) - 1, -1)
    months = deck.mc_pct
    taken = months[np.maximum(row, 0)] if len(months) else np.zeros((len(row), 12))
    lists = pl.Series("deck_mc_pct", taken, nan_to_null=True).arr.to_list()
    frame = pl.DataFrame({"there": row >= 0, "deck_mc_pct": lists})
    return frame.select(pl.when("there").then("deck_mc_pct")).to_series()


def _slots(
    elements: pl.Series,
    told: pl.DataFrame,
    r: NDArray[np.float64],
    sd: NDArray[np.float64],
    library: Library,
) -> pl.Series:
    """The used slots of each case, outside to inside."""
    parts = []
    for element in ELEMENTS:
        here = (elements == element).arg_true()
        some = told[here]
        layers = {}
        for n, slot in enumerate(library.anatomies[element].slots[: r.shape[1]]):
            own = {"r_m2k_w": r[here, n], "sd_m": sd[here, n]}
            known = slot in some.columns
            values = (
                pl.lit(slot),
                pl.col(slot) if known else pl.lit(None, pl.String),
                pl.col(f"{slot}_mm") if known else pl.lit(None, pl.Float64),
                *(pl.lit(pl.Series(name, values)) for name, values in own.items()),
            )
            layer = pl.struct(v.alias(key) for key, v in zip(_LAYER, values, strict=True))
            used = (own["r_m2k_w"] > 0) | (own["sd_m"] > 0)
            layers[f"layer{n}"] = pl.when(pl.lit(pl.Series("used", used))).then(layer)
        frame = some.select(expr.alias(key) for key, expr in layers.items())
        listed = frame.select(pl.concat_list(list(layers)).list.drop_nulls().alias("slots"))
        parts.append(listed.with_columns(here.alias("at")))
    return pl.concat(parts).sort("at")["slots"]
