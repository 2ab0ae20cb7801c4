"""Climate zones from temperatures and rain: thermal number and moisture letter.

Two families of editions are kept apart, because they give different answers for one climate:

``"2010-"``
    90.1-2004/2007/2010, IECC 2006 to 2018: eight zones, the number depends on the marine test.
``"2013+"``
    169-2013 and later, IECC 2021: zone 0 added, the number no longer depends on the letter.

Thermal limits, marine test and the single dry line were read in public copies (SEEN);
the cooling limit of zones 4 and 5 of "2013+", its three-line dry rule and the rule for missing
rain are from memory (MEMORY): check them against the adopted code before they decide a case.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Edition = Literal["2010-", "2013+"]
Floats = NDArray[np.float64]

HEATING_BASE_C = 18.3  # limits are exact 1.8 multiples of the 65 °F ones; 18.0 moves stations
COOLING_BASE_C = 10.0
UNKNOWN_ZONE = -1  # 0 is a zone
_NORTH_COLD_SEASON = np.array([1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1], dtype=bool)  # Oct to Mar
_MARINE_FALLBACK_CDD = {3: 2500.0, 4: 1500.0, 5: 1000.0}  # MEMORY: IECC 2021 C301.3


@dataclass(frozen=True, slots=True)
class ClimateClass:
    """A climate zone with the edition and the rule that gave it.

    `zone` is None where the number hangs on a letter that is not known; `letter` is None where
    it is unknown or where the zone carries none: `letter_rule` says which.
    """

    zone: int | None
    letter: str | None
    letter_rule: str
    edition: Edition


def daily_means(hourly_c: Floats) -> Floats:
    """Mean of each 24 hourly values. [°C] Raises ValueError unless days are whole."""
    values = np.asarray(hourly_c, dtype=np.float64)
    if values.ndim != 1 or values.size % 24:
        raise ValueError(f"hourly values must be one row of whole days, got shape {values.shape}")
    return np.asarray(values.reshape(-1, 24).mean(axis=1), dtype=np.float64)


def degree_days(daily_mean_c: Floats, base_c: float, *, heating: bool) -> float:
    """Sum over days of the daily mean's distance below or above the base, in K·day.

    Parameters
    ----------
    daily_mean_c
        Daily mean air temperatures, one year for an annual sum, shape (days,). [°C]
        NaN in any day gives NaN: a year with holes has no honest sum.
    base_c
        18.3 for heating, 10.0 for cooling, as the zone limits want it. [°C]
    heating
        True sums what is below the base, False what is above it.

    References
    ----------
    Definition as in the ASHRAE Handbook climate chapter (SEEN in a public summary).
    """
    days = np.asarray(daily_mean_c, dtype=np.float64)
    gap = base_c - days if heating else days - base_c
    return float(np.maximum(gap, 0.0).sum())


def thermal_zone(
    hdd_18_3: Floats, cdd_10: Floats, edition: Edition, is_marine: NDArray[np.bool_] | bool = False
) -> NDArray[np.int8]:
    """Thermal zone number from annual degree-days, element by element.

    Parameters
    ----------
    hdd_18_3, cdd_10
        Heating (base 18.3 °C) and cooling (base 10 °C) degree-days, same shape. [K·day]
    edition
        Family of editions; see the module's text.
    is_marine
        Result of the marine test; only "2010-" uses it.

    Returns
    -------
    NDArray[np.int8]
        0 to 8; `UNKNOWN_ZONE` where an input is NaN.

    References
    ----------
    "2010-": 90.1-2007 tables B-2 to B-4; "2013+": 169-2013 table A-3 (public copies).
    """
    hdd, cdd = np.asarray(hdd_18_3, dtype=np.float64), np.asarray(cdd_10, dtype=np.float64)
    marine = np.asarray(is_marine, dtype=bool)
    if edition == "2013+":
        tests = [cdd > 6000, cdd > 5000, cdd > 3500, hdd <= 2000, hdd <= 3000]
        names = [0, 1, 2, 3, 4]
    elif edition == "2010-":
        dry_or_humid_3 = (cdd > 2500) & (hdd <= 3000)
        tests = [cdd > 5000, cdd > 3500, dry_or_humid_3, marine & (hdd <= 2000), hdd <= 3000]
        names = [1, 2, 3, 3, 4]
    else:
        raise ValueError(f"edition {edition!r} is not one of '2010-', '2013+'")
    tests += [hdd <= 4000, hdd <= 5000, hdd <= 7000, hdd > 7000]
    names += [5, 6, 7, 8]
    zone = np.select(tests, names, default=UNKNOWN_ZONE)
    known = np.isfinite(hdd) & np.isfinite(cdd)
    return np.where(known, zone, UNKNOWN_ZONE).astype(np.int8)


def cold_season(*, north: bool) -> NDArray[np.bool_]:
    """Months of the cold half-year, January first: October to March, in the south the others."""
    return _NORTH_COLD_SEASON if north else ~_NORTH_COLD_SEASON


def is_marine(month_mean_c: Floats, month_rain_mm: Floats | None, *, north: bool) -> bool | None:
    """Whether a climate is marine: all four tests must hold.

    Parameters
    ----------
    month_mean_c
        Twelve monthly mean temperatures, January first. [°C]
    month_rain_mm
        Twelve monthly sums of rain and melted snow, or None if there are none. [mm]
    north
        True on the northern half of the globe.

    Returns
    -------
    bool or None
        None if the three temperature tests hold and there is no rain to settle the fourth.

    References
    ----------
    IECC table C301.3(2) marine definition (SEEN in two public quotations of the code text).
    """
    warm = _twelve(month_mean_c, "monthly mean temperatures")
    mild_winter = -3.0 < warm.min() < 18.0
    if not (mild_winter and warm.max() < 22.0 and int((warm > 10.0).sum()) >= 4):
        return False
    if month_rain_mm is None:
        return None
    rain = _twelve(month_rain_mm, "monthly rain")
    cold = cold_season(north=north)
    return bool(rain[cold].max() >= 3.0 * rain[~cold].min())


def is_dry(
    year_mean_c: float, year_rain_mm: float, summer_share: float | None, edition: Edition
) -> bool | None:
    """Whether a climate that is not marine is dry: yearly rain below a line in temperature.

    Parameters
    ----------
    year_mean_c, year_rain_mm
        Annual mean temperature and annual rain. [°C, mm]
    summer_share
        Share of the rain that falls in the warm half-year, 0 to 1; None if not known.
        "2010-" has a single line and does not use it.
    edition
        Family of editions; see the module's text.

    Returns
    -------
    bool or None
        None where the share is not known and the lines disagree.
    """
    lines = {"low": 20.0 * year_mean_c, "mid": 20.0 * (year_mean_c + 7)}
    lines["high"] = 20.0 * (year_mean_c + 14)
    if edition == "2010-":
        return year_rain_mm < lines["mid"]
    if summer_share is None:
        answers = {year_rain_mm < line for line in lines.values()}
        return answers.pop() if len(answers) == 1 else None
    season = "high" if summer_share >= 0.7 else "low" if summer_share <= 0.3 else "mid"
    return year_rain_mm < lines[season]


def classify(
    hdd_18_3: float,
    cdd_10: float,
    month_mean_c: Floats,
    month_rain_mm: Floats | None,
    *,
    north: bool,
    edition: Edition,
) -> ClimateClass:
    """Zone number and letter of one climate, with the rule that gave the letter.

    Rain that is not known never makes a climate humid: the letter is then unknown, unless the
    code's own rule for missing rain makes it marine. Zones 7 and 8 carry no letter.
    """
    marine = is_marine(month_mean_c, month_rain_mm, north=north)
    numbers = {
        int(thermal_zone(np.array(hdd_18_3), np.array(cdd_10), edition, case))
        for case in ((True, False) if marine is None else (marine,))
    }
    zone = numbers.pop() if len(numbers) == 1 else UNKNOWN_ZONE
    if zone in (7, 8):
        letter, rule = None, "zones 7 and 8 carry no letter"
    elif marine:
        letter, rule = "C", "marine: all four tests hold"
    elif month_rain_mm is None:
        letter, rule = _letter_without_rain(zone, cdd_10, marine, edition)
    else:
        letter, rule = _dry_or_humid(month_mean_c, month_rain_mm, north, edition)
    return ClimateClass(None if zone == UNKNOWN_ZONE else zone, letter, rule, edition)


def _letter_without_rain(
    zone: int, cdd_10: float, marine: bool | None, edition: Edition
) -> tuple[str | None, str]:
    # The short rule belongs to "2013+"; "2010-" had none.
    limit = _MARINE_FALLBACK_CDD.get(zone) if edition == "2013+" else None
    if marine is None and limit is not None and cdd_10 <= limit:
        return "C", "marine by the rule for missing rain (from memory)"
    return None, "letter unknown: no monthly rain"


def _dry_or_humid(
    month_mean_c: Floats, month_rain_mm: Floats, north: bool, edition: Edition
) -> tuple[str | None, str]:
    rain = _twelve(month_rain_mm, "monthly rain")
    total = float(rain.sum())
    share = float(rain[~cold_season(north=north)].sum()) / total if total > 0 else None
    dry = is_dry(float(np.mean(month_mean_c)), total, share, edition)
    if dry is None:
        return None, "letter unknown: no rain at all and dry lines that disagree"
    return ("B", "dry: rain below the dry line") if dry else ("A", "humid: neither marine nor dry")


def _twelve(values: Floats, what: str) -> Floats:
    months = np.asarray(values, dtype=np.float64)
    if months.shape != (12,) or not np.isfinite(months).all():
        raise ValueError(f"{what} must be twelve known numbers, got {months!r}")
    return months
