"""Shares of failing roofs with their intervals, and how many to open for a given width."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from triage.learn.whole import first_true, whole_up

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimation:
    """A sample that would estimate a share to within a margin."""

    roofs: int | None
    half_width: float
    confidence: float
    share: float
    design_effect: float
    openings: int


def wilson(
    failing: ArrayLike, opened: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Score interval of a share, for display.

    Parameters
    ----------
    failing, opened
        Counts that broadcast, 0 <= failing <= opened; need not be whole.
    confidence
        Two-sided, between 0 and 1.

    Returns
    -------
    tuple of arrays
        Lower and upper bound, 0 to 1; NaN where nothing was opened.

    References
    ----------
    Wilson 1927; recommended by Newcombe 1998, Statistics in Medicine 17, 857-872 (B45).
    """
    x, n = _counts(failing, opened, confidence)
    z = float(stats.norm.ppf(0.5 + confidence / 2))
    with np.errstate(divide="ignore", invalid="ignore"):
        p = x / n
        centre = (p + z * z / (2 * n)) / (1 + z * z / n)
        half = z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n)) / (1 + z * z / n)
    # At 0 and n one end is exact; rounding must not leave a share of 1e-18.
    low = np.where(x == 0, np.where(n > 0, 0.0, np.nan), centre - half)
    return low, np.where((x == n) & (n > 0), 1.0, centre + half)


def clopper_pearson(
    failing: ArrayLike, opened: ArrayLike, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact interval of a share, for "at most" statements; parameters as for `wilson`.

    References
    ----------
    Clopper and Pearson 1934, as beta quantiles; 0 and 1 at the ends.
    """
    x, n = _counts(failing, opened, confidence)
    tail = (1.0 - confidence) / 2
    with np.errstate(invalid="ignore"):
        low = np.where(x == 0, 0.0, stats.beta.ppf(tail, x, n - x + 1))
        high = np.where(x == n, 1.0, stats.beta.ppf(1 - tail, x + 1, n - x))
    none = n == 0
    return np.where(none, np.nan, low), np.where(none, np.nan, high)


def at_most_share(failing: ArrayLike, opened: ArrayLike, confidence: float = 0.95) -> Floats:
    """One-sided exact upper bound of a share; 1 where nothing was opened."""
    x, n = _counts(failing, opened, confidence)
    with np.errstate(invalid="ignore"):
        return np.where(x == n, 1.0, stats.beta.ppf(confidence, x + 1, n - x))


def failing_range(
    failing: int, opened: int, roofs: int, confidence: float = 0.95
) -> tuple[int, int]:
    """Fewest and most failing roofs of a finite stratum that the openings leave possible.

    Parameters
    ----------
    failing, opened, roofs
        x, n and N, with 0 <= x <= n <= N.
    confidence
        Two-sided.

    Returns
    -------
    tuple of int
        Both ends are possible: with each, the chance of a result as extreme exceeds half of
        1 - confidence. 0 and N where nothing was opened.

    References
    ----------
    Inverted hypergeometric; exact, so it covers with the confidence or more.
    """
    if not 0 <= failing <= opened <= roofs:
        raise ValueError(f"{failing} failing in {opened} opened of {roofs} roofs cannot be")
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence of {confidence:g} is not between 0 and 1")
    tail = (1.0 - confidence) / 2
    most = roofs - opened + failing  # every roof that was not opened fails

    def enough(total: int) -> bool:
        return bool(stats.hypergeom.sf(failing - 1, roofs, total, opened) > tail)

    def too_many(total: int) -> bool:
        return bool(stats.hypergeom.cdf(failing, roofs, total, opened) <= tail)

    low = first_true(enough, failing, most)
    beyond = first_true(too_many, failing, most)
    return (most if low is None else low), (most if beyond is None else beyond - 1)


def openings_to_estimate(
    roofs: int | None,
    half_width: float,
    confidence: float = 0.95,
    share: float = 0.5,
    effect: float = 1.0,
) -> Estimation:
    """Roofs to open to estimate a share to within plus or minus `half_width`.

    Parameters
    ----------
    roofs
        Roofs of the stratum; None for a stock without limit.
    half_width
        Margin as a share, above 0 and below 1: 0.05 is five points.
    confidence
        Two-sided, between 0 and 1.
    share
        Expected share; 0.5 is the worst case.
    effect
        Design effect of clusters; the number is multiplied by it, never more than all roofs.

    References
    ----------
    Normal approximation with finite correction: n = n0 / (1 + (n0 - 1) / N).
    """
    if not 0 < half_width < 1 or not 0 < confidence < 1 or not 0 < share < 1:
        raise ValueError("half-width, confidence and share lie between 0 and 1")
    if effect < 1 or (roofs is not None and roofs < 1):
        raise ValueError("a design effect is 1 or more, and there is one roof at least")
    z = float(stats.norm.ppf(0.5 + confidence / 2))
    unlimited = z * z * share * (1 - share) / half_width**2
    alone = unlimited if roofs is None else unlimited / (1 + (unlimited - 1) / roofs)
    openings = max(1, whole_up(max(1, whole_up(alone)) * effect))
    openings = openings if roofs is None else min(roofs, openings)
    return Estimation(roofs, half_width, confidence, share, effect, openings)


def _counts(failing: ArrayLike, opened: ArrayLike, confidence: float) -> tuple[Floats, Floats]:
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence of {confidence:g} is not between 0 and 1")
    x, n = np.broadcast_arrays(np.asarray(failing, float), np.asarray(opened, float))
    if not ((x >= 0) & (x <= n)).all():
        raise ValueError("the failing lie between none and all of those opened")
    return x, n
