"""Weather files for tests: invented years whose figures follow by hand, and those of packages."""

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from importlib.util import find_spec
from pathlib import Path

Hour = dict[str, float | int | str]
CALM: Hour = {
    "t": 10.0,
    "dew": 5.0,
    "rh": 80,
    "from": 270,
    "wind": 5.0,
    "rain": 999.0,
    "period": 99,
}
HEADER = (
    "LOCATION,Anyton,XX,USA,{source},{station},40.5,-99.5,-6.0,500.0",
    *("DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"),
    *("HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,", "COMMENTS 2,"),
    "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
)


def days_of(year: int) -> list[date]:
    first = date(year, 1, 1)
    return [first + timedelta(n) for n in range((date(year + 1, 1, 1) - first).days)]


def epw_line(day: date, hour: int, values: Hour) -> str:
    """One line of 35 fields; hours 1 to 24, as the format has them."""
    v = CALM | values
    fields: list[object] = [day.year, day.month, day.day, hour, 60, "?9", v["t"], v["dew"], v["rh"]]
    fields += [101325, *[0] * 10, v["from"], v["wind"], 0, 0, 16.1, 3300, 9, 999999999]
    return ",".join(map(str, [*fields, 89, 0.03, 0, 88, 0.33, v["rain"], v["period"]]))


def epw_text(
    weather: Callable[[date, int], Hour],
    days: Iterable[date] = (),
    *,
    source: str = "measured",
    station: str = "123456",
) -> list[str]:
    """Lines of an EPW file of 2023, or of the days given."""
    head = [line.format(source=source, station=station) for line in HEADER]
    chosen = list(days) or days_of(2023)
    return head + [epw_line(day, h, weather(day, h)) for day in chosen for h in range(1, 25)]


def write(path: Path, lines: list[str]) -> Path:
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return path


def packaged(package: str, pattern: str) -> list[Path]:
    """Weather files that an installed package brings, by name."""
    spec = find_spec(package)  # found without running the package
    assert spec is not None
    assert spec.origin is not None
    return sorted((Path(spec.origin).parent / "data").rglob(pattern))


def station_files() -> list[Path]:
    """The 18 typical years of the published table."""
    tmy3 = [path for name in ("723170TYA.CSV", "703165TY.csv") for path in packaged("pvlib", name)]
    return packaged("pyenergyplus", "*_TMY3.epw") + tmy3
