"""Rain of a weather file: whether its column can be believed, and what follows if it can."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from triage.physics.frost import freezing_days_after_wetting
from triage.physics.vapour import Floats
from triage.physics.wind_rain import airfield_annual_index_l_m2, driving_rain_hourly_l_m2
from triage.place.weather_hours import HOURS_IN_DAY, WeatherHours, calendar_months

MONTH_DAYS = np.array([31.0, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
READ_SHARE = 0.95  # POLICY: of the hours of every month
LONGER_SUMS_SHARE = 0.05  # POLICY: of all rain
DRY_MONTHS = 6  # POLICY: more months without a drop look like months without a gauge
YEAR_LIMIT_MM = 5000.0  # POLICY: more is tenths of millimetres more often than weather
TMY3_DOUBTFUL_FROM = 8.0  # TMY3 uncertainty codes: 7 as the weather service measures (MEMORY)
WALLS_DEG = np.arange(0.0, 360.0, 45.0)


@dataclass(frozen=True, slots=True)
class Rain:
    """Rain that can be believed, or the reason why there is none.

    `month_mm` holds twelve monthly sums of a mean year [mm], `hourly_mm` the hours [mm/h]; both
    None where `verdict` says why the column cannot be used.
    """

    verdict: str
    month_mm: Floats | None = None
    hourly_mm: Floats | None = None


@dataclass(frozen=True, slots=True)
class WallRain:
    """Driving rain on the wall that gets most, and falls of frost soon after it."""

    annual_l_m2: float | None
    wall_deg: float | None
    freeze_thaw_index: float | None


def judge_rain(hours: WeatherHours) -> Rain:
    """Decide on the rain column of a file.

    Sums over three, six or 24 hours stand on top of hourly readings in many files, modelled rain
    and missing months are common, and a yearly sum can look right by accident. So only hourly
    readings count, and nearly all hours of every month must have one.

    References
    ----------
    Errors of this kind were found in public typical-year files (SEEN in the files); limits POLICY.
    """
    depth, period = hours.rain_mm, hours.rain_hours
    total = float(np.nansum(depth))
    if not total > 0:
        return Rain("no rain in the file")
    longer = np.isfinite(depth) & (period > 1)
    if float(np.nansum(depth[longer])) > LONGER_SUMS_SHARE * total:
        return Rain(f"{int(longer.sum())} readings are sums over several hours")
    is_read = np.isfinite(depth) & (period == 1) & ~(hours.rain_doubt >= TMY3_DOUBTFUL_FROM)
    if not is_read.any():
        return Rain("every reading is marked as modelled or doubtful, or gives no period")
    share = np.array([_share(is_read, month) for _, month in calendar_months(hours)])
    if share.min() < READ_SHARE:
        worst = int(share.argmin())
        return Rain(f"month {worst + 1} has hourly readings in {share[worst]:.0%} of its hours")
    hourly = np.where(is_read, depth, 0.0)
    month_mm = np.array(
        [
            hourly[month].sum() / is_read[month].sum() * HOURS_IN_DAY * days
            for (_, month), days in zip(calendar_months(hours), MONTH_DAYS, strict=True)
        ]
    )
    if int((month_mm == 0).sum()) > DRY_MONTHS:
        return Rain(f"{int((month_mm == 0).sum())} months have no rain at all")
    if month_mm.sum() > YEAR_LIMIT_MM:
        return Rain(f"{month_mm.sum():.0f} mm a year: the unit is in doubt")
    return Rain("hourly readings", month_mm, hourly)


def _share(flags: NDArray[np.bool_], month: NDArray[np.bool_]) -> float:
    return float(flags[month].mean()) if month.any() else 0.0


def wall_rain(hours: WeatherHours, rain: Rain, *, is_typical: bool) -> WallRain:
    """Driving rain on the worst of eight walls, and frost soon after it.

    Rain below 0 °C is taken for snow, which wets no wall. The freeze-thaw index is left out for
    typical years: they are chosen for temperature and sun, and chance decides how rain and frost
    meet. All three are None where rain, wind or temperature have gaps.
    """
    if rain.hourly_mm is None:
        return WallRain(None, None, None)
    wet = (rain.hourly_mm > 0) & (hours.t_c >= 0)
    wind = np.where(wet, hours.wind_ms, 0.0)
    blows_from = np.where(wet & (wind > 0), hours.wind_from_deg, 0.0)
    if not (np.isfinite(wind).all() and np.isfinite(blows_from).all()):
        return WallRain(None, None, None)
    liquid = np.where(wet, rain.hourly_mm, 0.0)
    hourly = driving_rain_hourly_l_m2(wind, liquid, blows_from, WALLS_DEG[:, np.newaxis])
    annual = airfield_annual_index_l_m2(hourly)
    worst = int(annual.argmax())
    index = None
    if not is_typical and np.isfinite(hours.t_c).all():
        index = round(float(freezing_days_after_wetting(hours.t_c, hourly).max()), 1)
    return WallRain(round(float(annual[worst]), 1), float(WALLS_DEG[worst]), index)
