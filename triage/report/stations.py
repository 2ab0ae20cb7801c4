"""Station table on the terminal."""

import polars as pl

_HEAD = f"{'station':<12} {'name':<30} {'HDD18.3':>8} {'CDD10':>8}  zone now / before 2013; rain"


def station_lines(stations: pl.DataFrame) -> list[str]:
    """One line a station: degree days, zone by both families of editions, and its rain."""
    lines = [_HEAD]
    for row in stations.iter_rows(named=True):
        zones = " / ".join(
            _zone(row[f"zone_num_{key}"], row[f"moist_letter_{key}"], row[f"zone_rule_{key}"])
            for key in ("2013", "2010")
        )
        lines.append(
            f"{row['station_id']:<12} {row['name'][:30]:<30} {row['hdd_18_3']:>8.1f} "
            f"{row['cdd_10']:>8.1f}  {zones}; {row['rain_basis']}"
        )
    return lines


def _zone(number: int | None, letter: str | None, rule: str) -> str:
    if number is None:
        return f"({rule})"
    if letter is None:
        return str(number) if number in (7, 8) else f"{number} (letter unknown)"
    return f"{number}{letter}"
