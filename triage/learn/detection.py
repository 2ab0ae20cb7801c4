"""How many roofs to open to find a failing one, and what finding few or none then says."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from triage.learn.whole import check_share, first_true, whole_up

_TIE = 1e-9  # relative: a chance equal to 1 - confidence counts as reaching it


@dataclass(frozen=True, slots=True)
class Detection:
    """A sample that would find at least one failing roof, and on what it rests.

    `openings` is null where even opening every roof does not reach the confidence, because an
    inspection may miss a failing roof; `reached` is then what opening all of them reaches.
    `failing` is the whole number of failing roofs meant by the share; null without limit.
    """

    roofs: int | None
    share: float
    failing: int | None
    confidence: float
    sensitivity: float
    design_effect: float
    openings: int | None
    reached: float


def failing_roofs(roofs: int, share: float) -> int:
    """Whole number of roofs meant by "this share or more": rounded up, at least 1.

    The product is taken as the decimal number that was written: 0.07 of 100 is 7, not 8.
    """
    check_share(share, "share")
    return max(1, whole_up(roofs * share))


def design_effect(cluster_roofs: float, correlation: float) -> float:
    """Factor on a sample where roofs of a cluster fail alike: 1 + (m - 1) rho.

    Parameters
    ----------
    cluster_roofs
        Roofs opened in one terrace, block or installer's run, 1 or more.
    correlation
        Of failing, within a cluster, 0 to 1.
    """
    if cluster_roofs < 1 or not 0 <= correlation <= 1:
        raise ValueError("a cluster has 1 or more roofs and a correlation from 0 to 1")
    return 1.0 + (cluster_roofs - 1.0) * correlation


def chance_of_finding_none(
    roofs: int, failing: int, opened: int, sensitivity: float = 1.0
) -> float:
    """Chance that none of the failing roofs is found, drawing without replacement.

    Parameters
    ----------
    roofs, failing, opened
        N, D and n, with D and n up to N.
    sensitivity
        Chance that an inspection of a failing roof finds it, above 0 up to 1.

    References
    ----------
    Hypergeometric: C(N - D, n) / C(N, n); with s below 1, the mean of (1 - s)^K over the K
    failing roofs among those opened.
    """
    check_share(sensitivity, "sensitivity")
    if not 0 <= failing <= roofs or not 0 <= opened <= roofs:
        raise ValueError("failing and opened lie between 0 and the number of roofs")
    return float(_missed(roofs, failing, np.array([opened]), sensitivity)[0])


def _missed(
    roofs: int, failing: int, opened: NDArray[np.int64], sensitivity: float
) -> NDArray[np.float64]:
    """Chance of finding none, for several sample sizes."""
    if sensitivity == 1.0:
        return np.asarray(stats.hypergeom.pmf(0, roofs, failing, opened))
    met = np.arange(min(failing, int(opened.max(initial=0))) + 1)
    chance = stats.hypergeom.pmf(met[:, None], roofs, failing, opened[None, :])
    return np.asarray(((1.0 - sensitivity) ** met) @ chance)


def openings_to_detect(
    roofs: int | None,
    share: float,
    confidence: float = 0.95,
    sensitivity: float = 1.0,
    effect: float = 1.0,
) -> Detection:
    """Smallest number of roofs to open to find one at least, if `share` or more of them fail.

    Parameters
    ----------
    roofs
        Roofs of the stratum, 1 or more; None for a stock without limit.
    share
        Share of failing roofs to detect, above 0 up to 1.
    confidence
        Chance of finding one at least, above 0 and below 1.
    sensitivity
        Chance that an inspection of a failing roof finds it, above 0 up to 1.
    effect
        Design effect of clusters, 1 or more; the number is multiplied by it, and is never more
        than all roofs.

    Raises
    ------
    ValueError
        If an argument lies outside its range.
    """
    _check(share, confidence, sensitivity, effect, roofs)
    if roofs is None:
        alone = max(1, whole_up(math.log1p(-confidence) / math.log1p(-share * sensitivity)))
        openings: int | None = whole_up(alone * effect)
        reached = -math.expm1(alone * math.log1p(-share * sensitivity)) if share < 1 else 1.0
        return Detection(None, share, None, confidence, sensitivity, effect, openings, reached)
    failing = failing_roofs(roofs, share)
    most = (1.0 - confidence) * (1.0 + _TIE)

    def enough(opened: int) -> bool:
        return chance_of_finding_none(roofs, failing, opened, sensitivity) <= most

    found = first_true(enough, 1, roofs)
    openings = None if found is None else min(roofs, whole_up(found * effect))
    missed = chance_of_finding_none(roofs, failing, found or roofs, sensitivity)
    return Detection(roofs, share, failing, confidence, sensitivity, effect, openings, 1.0 - missed)


def _check(
    share: float, confidence: float, sensitivity: float, effect: float, roofs: int | None
) -> None:
    check_share(share, "share")
    check_share(sensitivity, "sensitivity")
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence of {confidence:g} is not between 0 and 1")
    if effect < 1:
        raise ValueError(f"a design effect of {effect:g} is below 1")
    if roofs is not None and roofs < 1:
        raise ValueError(f"{roofs} roofs: there must be one at least")


def at_most_failing(
    roofs: int,
    opened: int,
    found: int = 0,
    confidence: float = 0.95,
    sensitivity: float = 1.0,
    effect: float = 1.0,
) -> int:
    """Largest number of failing roofs, among all, with which so few would still be found.

    One-sided. With clusters the openings count as `opened / effect`, rounded down, and the
    failing roofs that were found in proportion, rounded up.

    Parameters
    ----------
    roofs, opened, found
        N, n and x, with 0 <= x <= n <= N.
    confidence, sensitivity, effect
        As for `openings_to_detect`.

    Returns
    -------
    int
        Failing roofs, those found included. All roofs where none was opened.

    Raises
    ------
    ValueError
        If an argument lies outside its range.
    """
    _check(1.0, confidence, sensitivity, effect, roofs)
    if not 0 <= found <= opened <= roofs:
        raise ValueError(f"{found} found in {opened} opened of {roofs} roofs cannot be")
    if opened < roofs:  # clusters say nothing more once every roof was opened
        share = found / opened if opened else 0.0
        opened = math.floor(opened / effect)
        found = min(opened, whole_up(share * opened))
    floor = (1.0 - confidence) * (1.0 + _TIE)

    def ruled_out(failing: int) -> bool:
        return _chance_of_up_to(found, roofs, failing, opened, sensitivity) <= floor

    first = first_true(ruled_out, found, roofs)
    return roofs if first is None else max(found, first - 1)


def _chance_of_up_to(
    found: int, roofs: int, failing: int, opened: int, sensitivity: float
) -> float:
    """Chance of finding `found` failing roofs or fewer."""
    if sensitivity == 1.0:
        return float(stats.hypergeom.cdf(found, roofs, failing, opened))
    met = np.arange(min(failing, opened) + 1)
    chance = stats.hypergeom.pmf(met, roofs, failing, opened)
    return float(chance @ stats.binom.cdf(found, met, sensitivity))
