"""Draws from seeded generators, as object arrays with one entry a home."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.object_]
Stock = dict[str, Column]
Score = NDArray[np.float64]


def column(n: int, value: object = None) -> Column:
    """The same value for every home."""
    return np.full(n, value, dtype=object)


def pick(rng: np.random.Generator, n: int, shares: Mapping[str, float]) -> Column:
    """Independent draws; shares need not add up to one."""
    weights = np.array(list(shares.values()), dtype=float)
    names = np.array(list(shares), dtype=object)
    return names[rng.choice(len(names), size=n, p=weights / weights.sum())]


def pick_by(
    rng: np.random.Generator, key: Column, shares: Mapping[str, Mapping[str, float]]
) -> Column:
    """Draws whose shares depend on another column; key `*` serves the keys not named."""
    drawn = column(len(key))
    for name in sorted(set(key)):
        mask = key == name
        drawn[mask] = pick(rng, int(mask.sum()), shares.get(name, shares.get("*", {"": 1.0})))
    return np.where(drawn == "", None, drawn)


def rank(score: Score) -> Score:
    """Place of each home in its stock, evenly spread over 0 to 1."""
    return np.argsort(np.argsort(score, kind="stable"), kind="stable") / max(len(score) - 1, 1)


def worst(
    rng: np.random.Generator,
    score: Score,
    top: Sequence[tuple[str, float]],
    rest: str,
    tie: float = 0.65,
) -> Column:
    """Give the homes with the highest scores the codes of `top`, by share; others get `rest`.

    `tie` is how much the score counts against chance, so that defects cluster in neglected
    homes without being settled by neglect.
    """
    place = rank(tie * score + (1 - tie) * rng.random(len(score)))
    drawn, above = column(len(score), rest), 1.0
    for code, share in top:
        drawn[(place <= above) & (place > above - share)] = code
        above -= share
    return drawn


def condition(rng: np.random.Generator, score: Score, poor: float) -> Column:
    """Condition codes: `poor` is the share that can let water in, a fifth of it failed."""
    top = [("failed", 0.2 * poor), ("poor", 0.8 * poor), ("fair", 0.3)]
    return worst(rng, score, top, "good")


def chance(rng: np.random.Generator, n: int, share: float | Score) -> NDArray[np.bool_]:
    """True with the given probability."""
    return rng.random(n) < share
