"""From what a survey says of a home's place to one latitude and longitude.

Sources are tried in order: coordinates, grid reference, grid metres, postcode, ZIP. One that is
refused leaves a problem, and the next is used; nothing is moved to where it looks plausible.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.place.coordinates import (
    COUNTRY_BOXES,
    WORDS,
    Pairs,
    coordinate_fault,
    decimal_size_m,
    in_country,
)
from triage.place.grid import METRES_WORDS, metres_fault, parse_grid_references, to_degrees
from triage.place.postcodes import uk_postcodes, zip_codes
from triage.place.sphere import Floats, great_circle_km

Texts = NDArray[np.str_]

PROBLEMS = pl.Schema(dict.fromkeys(("property_id", "kind", "raw", "message"), pl.String()))
CODE_COLUMNS = (
    *("postcode_prefix", "region_code", "area_rain_mm", "area_dri", "figures_of"),
    "state",
)
# A place and its own post code further apart than the largest area is wide (PRACTICE).
CONFLICT_KM = 150.0
UK_AREA_SIZE_M, ZIP_SIZE_M = 30_000.0, 10_000.0  # typical width of what a centroid stands for
NORTHERN_IRELAND = 21  # region_code
_UK, _US = ("GB", "IE"), ("US",)


@dataclass(frozen=True, slots=True)
class Located:
    """Places and problems. `homes` has one row a property, in the order given."""

    homes: pl.DataFrame
    problems: pl.DataFrame


def locate(homes: pl.DataFrame) -> Located:
    """Latitude, longitude, source and precision of each home.

    Parameters
    ----------
    homes
        `property_id`, `latitude`, `longitude`, `grid_reference`, `easting_m`, `northing_m`,
        `postal_code`, `country_code`; one row a property.

    Returns
    -------
    Located
        `homes`: `property_id`, `country_code`, `lat`, `lon`, `location_source`,
        `location_precision` (list LP), `location_precision_m`, and what the post code gives
        (`CODE_COLUMNS`), null where it contradicts the place.
    """
    codes = post_codes(homes)
    country = homes["country_code"].fill_null("").to_numpy().astype(np.str_)
    candidates = {
        "coordinates": _coordinates(homes, country, codes),
        "grid_reference": _grid_reference(homes, country),
        "grid_metres": _grid_metres(homes, country, codes),
        "postcode": _post_code(homes, codes, "uk", UK_AREA_SIZE_M),
        "zip": _post_code(homes, codes, "zip", ZIP_SIZE_M),
    }
    chosen = _first_usable(candidates)
    conflicts = _conflicts(homes, chosen, codes)
    # A post code that belongs elsewhere must not lend its region's climate to the place.
    agrees = conflicts["kind"].is_null()
    kept = codes.select(pl.when(agrees).then(pl.col(*CODE_COLUMNS)))
    placed = pl.concat(
        [homes.select("property_id", "country_code"), chosen, kept], how="horizontal"
    )
    notes = [*candidates.values(), conflicts, _unplaced(chosen)]
    key = homes.select("property_id")
    problems = [
        pl.concat([key, note.select("kind", "raw", "message")], how="horizontal")
        .filter(pl.col("kind").is_not_null())
        .cast(PROBLEMS)
        for note in notes
    ]
    order = ("property_id", "kind", "raw")
    return Located(placed, pl.concat(problems).sort(order, nulls_last=True))


def post_codes(homes: pl.DataFrame) -> pl.DataFrame:
    """What the postcode or ZIP of each home gives; each distinct one is looked up once.

    Columns of the UK look-up carry the prefix `uk_`, those of the ZIP look-up `zip_`, where both
    have them. A home of unknown country is read by the look of its code.
    """
    keys = homes.select(
        code=pl.col("postal_code").cast(pl.String), country=pl.col("country_code").fill_null("")
    )
    distinct = keys.unique(maintain_order=True)
    begins_with_letter = pl.col("code").str.contains(r"^\s*[A-Za-z]")
    is_known = pl.col("country").is_in([*_UK, *_US])
    texts = distinct.select(
        uk=pl.when(pl.col("country").is_in(_UK) | ~is_known & begins_with_letter).then("code"),
        us=pl.when(pl.col("country").is_in(_US) | ~is_known & ~begins_with_letter).then("code"),
    )
    shared = ("lat", "lon", "kind", "why")
    uk = uk_postcodes(texts["uk"]).rename({name: f"uk_{name}" for name in shared})
    us = zip_codes(texts["us"]).rename({name: f"zip_{name}" for name in shared})
    table = pl.concat([distinct, uk, us], how="horizontal")
    found = keys.join(
        table, on=["code", "country"], nulls_equal=True, how="left", maintain_order="left"
    )
    middle = {f"code_{name}": pl.coalesce(f"uk_{name}", f"zip_{name}") for name in ("lat", "lon")}
    return found.drop("code", "country").with_columns(**middle)


def _coordinates(homes: pl.DataFrame, country: Texts, codes: pl.DataFrame) -> pl.DataFrame:
    lat, lon = _floats(homes["latitude"]), _floats(homes["longitude"])
    middle = _floats(codes["code_lat"]), _floats(codes["code_lon"])
    kind = coordinate_fault(Pairs(lat, lon, country, *middle))
    shown = homes.select(
        pl.col(name).cast(pl.Float64).cast(pl.String).fill_null("nothing")
        for name in ("latitude", "longitude")
    )
    filled = pl.col("words")
    for name, place in (("latitude", "{lat}"), ("longitude", "{lon}")):
        filled = filled.str.replace_all(place, pl.col(name), literal=True)
    raw = shown.select(pl.format("{}, {}", "latitude", "longitude")).to_series()
    words = shown.with_columns(words=_spelled(kind, WORDS)).select(filled).to_series()
    message = pl.select(pl.format("coordinates {}: {}", raw, words)).to_series()
    size = decimal_size_m(lat, lon)
    return _candidate(lat, lon, size, kind=kind, raw=raw, message=message)


def _grid_reference(homes: pl.DataFrame, country: Texts) -> pl.DataFrame:
    raw = homes["grid_reference"].cast(pl.String)
    raw = raw.set(raw.str.strip_chars() == "", None)
    read = parse_grid_references(raw)
    half = _floats(read["size_m"]) / 2  # a reference names a corner; the middle is the best guess
    lat, lon = _degrees(_floats(read["easting_m"]) + half, _floats(read["northing_m"]) + half)
    away = pl.Series(_away(lat, lon, country))
    kind = read["kind"].set(away, "outside_country")
    words = read["why"].set(away, WORDS["outside_country"])
    message = pl.select(pl.format("grid reference {}: {}", raw, words)).to_series()
    return _candidate(lat, lon, 2 * half, kind=kind, raw=raw, message=message)


def _grid_metres(homes: pl.DataFrame, country: Texts, codes: pl.DataFrame) -> pl.DataFrame:
    easting, northing = _floats(homes["easting_m"]), _floats(homes["northing_m"])
    is_northern = (codes["region_code"] == NORTHERN_IRELAND).fill_null(value=False).to_numpy()
    fault = metres_fault(easting, northing, is_northern | (country == "IE"))
    usable = fault.is_null().to_numpy()
    lat, lon = _degrees(np.where(usable, easting, np.nan), np.where(usable, northing, np.nan))
    kind = fault.set(pl.Series(_away(lat, lon, country)), "outside_country")
    shown = [
        homes[name].cast(pl.Float64).cast(pl.String).fill_null("nothing")
        for name in ("easting_m", "northing_m")
    ]
    raw = pl.select(pl.format("{}, {}", *shown)).to_series()
    words = _spelled(kind, METRES_WORDS | {"outside_country": WORDS["outside_country"]})
    message = pl.select(pl.format("grid metres {} {}", raw, words)).to_series()
    return _candidate(lat, lon, np.ones(len(lat)), kind=kind, raw=raw, message=message)


def _post_code(homes: pl.DataFrame, codes: pl.DataFrame, which: str, size_m: float) -> pl.DataFrame:
    raw = homes["postal_code"].cast(pl.String)
    message = pl.select(pl.format("postal code {} {}", raw, codes[f"{which}_why"])).to_series()
    lat, lon = _floats(codes[f"{which}_lat"]), _floats(codes[f"{which}_lon"])
    size = np.full(len(lat), size_m)
    kind = codes[f"{which}_kind"]
    refused = kind != "zip_zero_restored"
    return _candidate(lat, lon, size, kind=kind, raw=raw, message=message, refused=refused)


def _candidate(
    lat: Floats,
    lon: Floats,
    size_m: Floats,
    *,
    kind: pl.Series,
    raw: pl.Series,
    message: pl.Series,
    refused: pl.Series | None = None,
) -> pl.DataFrame:
    """One source's answer: a place, null if refused or not given, and what is wrong with it."""
    is_refused = kind.is_not_null() if refused is None else refused.fill_null(value=False)
    places = {"lat": lat, "lon": lon, "size_m": size_m}
    frame = pl.DataFrame(places, nan_to_null=True).with_columns(kind=kind, raw=raw, message=message)
    given = ~is_refused & frame["lat"].is_not_null() & frame["lon"].is_not_null()
    return frame.with_columns(pl.when(given).then(pl.col(*places)))


def _first_usable(candidates: dict[str, pl.DataFrame]) -> pl.DataFrame:
    places = pl.DataFrame(
        frame.select(
            pl.when(pl.col("lat").is_not_null())
            .then(pl.struct("lat", "lon", "size_m", pl.lit(name).alias("location_source")))
            .alias(name)
        ).to_series()
        for name, frame in candidates.items()
    )
    chosen = places.select(pl.coalesce(*candidates).alias("place")).unnest("place")
    return chosen.select(
        "lat",
        "lon",
        pl.col("location_source").fill_null("none"),
        location_precision=_precision(),
        location_precision_m="size_m",
    )


def _precision() -> pl.Expr:
    """Code of list LP. A survey's own coordinate is never taken for a roof: nothing proves it."""
    size, source = pl.col("size_m"), pl.col("location_source")
    steps = [
        (source.is_null(), "unplaced"),
        (source == "postcode", "admin_area"),
        (source == "zip", "post_sector"),
        (size <= 15, "address"),
        (size <= 150, "post_unit"),
        (size <= 1500, "post_sector"),
    ]
    code = pl.lit("admin_area")
    for test, name in reversed(steps):
        code = pl.when(test).then(pl.lit(name)).otherwise(code)
    return code


def _conflicts(homes: pl.DataFrame, chosen: pl.DataFrame, codes: pl.DataFrame) -> pl.DataFrame:
    """Homes whose place and post code are too far apart for both to be right."""
    place = _floats(chosen["lat"]), _floats(chosen["lon"])
    apart = great_circle_km(*place, _floats(codes["code_lat"]), _floats(codes["code_lon"]))
    raw = homes["postal_code"].cast(pl.String)
    km = pl.Series(apart, nan_to_null=True).round(0).cast(pl.Int64)
    words = "postal code {} is {} km from the place given; the place was used, check both"
    kind = pl.when(pl.Series(apart > CONFLICT_KM)).then(pl.lit("location_conflict"))
    return pl.select(kind=kind, raw=raw, message=pl.format(words, raw, km))


def _unplaced(chosen: pl.DataFrame) -> pl.DataFrame:
    words = "home has no usable place: give coordinates, a grid reference or a postal code"
    kind = pl.when(pl.col("location_source") == "none").then(pl.lit("no_location"))
    nothing = pl.lit(None, dtype=pl.String)
    return chosen.select(kind=kind, raw=nothing, message=pl.lit(words))


def _spelled(kind: pl.Series, words: dict[str, str]) -> pl.Series:
    return kind.replace_strict(words, default=None, return_dtype=pl.String)


def _degrees(easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
    known = np.isfinite(easting) & np.isfinite(northing)
    lat, lon = np.full(len(easting), np.nan), np.full(len(easting), np.nan)
    if known.any():
        lat[known], lon[known] = to_degrees(easting[known], northing[known])
    return lat, lon


def _away(lat: Floats, lon: Floats, country: Texts) -> NDArray[np.bool_]:
    has_box = np.isin(country, list(COUNTRY_BOXES)) & np.isfinite(lat)
    return np.asarray(has_box & ~in_country(lat, lon, country), dtype=bool)


def _floats(series: pl.Series) -> Floats:
    return np.asarray(series.cast(pl.Float64).to_numpy(), dtype=np.float64)
