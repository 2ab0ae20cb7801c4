"""Reads one material and refuses values that no material can have."""

from itertools import pairwise
from typing import Any

from triage.contract.section import Section

Amounts = tuple[tuple[float, float], ...]
MARKS = ("SEEN", "MEMORY", "COMPUTED", "POLICY", "PRACTICE")
MOULD_CLASSES = ("very_sensitive", "sensitive", "medium_resistant", "resistant")
_WATER_KG_M3 = 1000.0
_NUMBERS = {  # key: least and greatest value that a building material has
    "conductivity_w_mk": (0.004, 400.0),
    "density_kg_m3": (1.0, 12000.0),
    "heat_capacity_j_kgk": (100.0, 3000.0),
    "mu_dry": (1.0, 1e6),
    "mu_wet": (1.0, 1e6),
    "sd_m": (1e-3, 1e6),
    "sd_wet_m": (1e-3, 1e6),
    "facings_sd_m": (1e-3, 1e6),
    "porosity": (0.0, 1.0),
    "free_saturation_kg_m3": (0.0, 1000.0),
    "a_value_kg_m2_s05": (0.0, 5.0),
    "air_impermeable_from_mm": (0.0, 1000.0),
    "air_impermeable_sure_mm": (0.0, 1000.0),
}
_RANGES = ("conductivity_range_w_mk", "thickness_range_mm", "moisture_at_65_pct")
_TABLES = ("sorption", "mu_by_humidity")
_SOURCES = ("source", "vapour_source", "storage_source", "air_source")
_TEXTS = (
    *("title", "mould_class", "doubt", "timber"),
    *_SOURCES,
    *(name.replace("source", "mark") for name in _SOURCES),
)


def read_material(s: Section) -> dict[str, Any] | None:
    """The fields of a `Material`, or None with the reasons kept in the section's errors."""
    before = len(s.errors)
    s.only(*_NUMBERS, *_RANGES, *_TABLES, *_TEXTS)
    values: dict[str, Any] = {key: _number(s, key) for key in _NUMBERS}
    values |= {key: _range(s, key) for key in _RANGES}
    values |= {key: _points(s, key) for key in _TABLES}
    values |= {key: s.get(key, str) for key in _TEXTS if key != "timber"}
    values["title"] = s.need("title", str, '"Softwood"')
    values["mould_class"] = s.choice("mould_class", MOULD_CLASSES)
    values["timber"] = s.get("timber", bool) or False
    values["facings_sd_m"] = values["facings_sd_m"] or 0.0
    values["fixed_sd_m"], values["fixed_sd_wet_m"] = values.pop("sd_m"), values.pop("sd_wet_m")
    _check_vapour(s, values)
    _check_air(s, values)
    _check_storage(s, values)
    _check_sources(s, values)
    return None if len(s.errors) > before else values


def _number(s: Section, key: str) -> float | None:
    value = s.get(key, float)
    low, high = _NUMBERS[key]
    if value is not None and not low <= value <= high:
        fix = f"write a value of {low:g} to {high:g}, in the unit that ends its name"
        s.blame(f"{key!r} is {value:g}", fix, key)
        return None
    return value


def _range(s: Section, key: str) -> tuple[float, float] | None:
    values = s.get(key, list)
    if values is None:
        return None
    if len(values) != 2 or not all(type(v) in (int, float) for v in values):
        s.blame(f"{key!r} should be two numbers", f"write {key} = [lowest, highest]", key)
        return None
    low, high = float(values[0]), float(values[1])
    if not 0 < low <= high:
        s.blame(f"{key!r} runs from {low:g} to {high:g}", "write the lower one first", key)
        return None
    return low, high


def _points(s: Section, key: str) -> Amounts:
    values = s.get(key, list) or []
    pairs = [v for v in values if isinstance(v, list) and len(v) == 2]
    numbers = all(type(x) in (int, float) for pair in pairs for x in pair)
    if len(pairs) != len(values) or not numbers or len(pairs) == 1:
        fix = f"write {key} = [[0.5, 4.4], [0.8, 9.2]]: relative humidity, value"
        s.blame(f"every point of {key!r} should be two numbers, and two points at least", fix, key)
        return ()
    points = tuple((float(x), float(y)) for x, y in pairs)
    humidities = [x for x, _ in points]
    rising = all(a < b for a, b in pairwise(humidities))
    if not rising or not all(0 <= x <= 1 for x in humidities):
        s.blame(f"the humidities of {key!r} do not rise from 0 to 1", "put them in order", key)
    return points


def _check_vapour(s: Section, values: dict[str, Any]) -> None:
    dry, wet, sd = values["mu_dry"], values["mu_wet"], values["fixed_sd_m"]
    given = [key for key in ("mu_dry", "mu_wet", "sd_m") if key in s.data]
    if given not in (["mu_dry", "mu_wet"], ["sd_m"]):
        fix = "write mu_dry and mu_wet, or sd_m alone for a film or a whole product"
        s.blame(f"vapour values given: {', '.join(given) or 'none'}", fix, *given[:1])
    if dry is not None and wet is not None and wet > dry:
        s.blame(f"'mu_wet' {wet:g} is above 'mu_dry' {dry:g}", "no wet cup is tighter", "mu_wet")
    sd_wet = values["fixed_sd_wet_m"]
    if sd_wet is not None and ("sd_m" not in s.data or (sd is not None and sd_wet > sd)):
        s.blame("'sd_wet_m' wants an 'sd_m' that is not below it", "correct the two", "sd_wet_m")
    if "conductivity_w_mk" not in s.data and "sd_m" not in s.data:
        fix = "add conductivity_w_mk; only a film with sd_m may do without"
        s.blame("'conductivity_w_mk' is missing", fix)
    span, value = values["conductivity_range_w_mk"], values["conductivity_w_mk"]
    if span and value and not span[0] <= value <= span[1]:
        fix = "widen the range or correct the value"
        s.blame(f"{value:g} W/(m·K) lies outside its own range", fix, "conductivity_range_w_mk")


def _check_air(s: Section, values: dict[str, Any]) -> None:
    low, sure = values["air_impermeable_from_mm"], values["air_impermeable_sure_mm"]
    if sure is not None and (low is None or sure < low):
        fix = "write the thickness that some products need, then the one that all meet"
        s.blame(
            "'air_impermeable_sure_mm' is below the lower bound", fix, "air_impermeable_sure_mm"
        )


def _check_storage(s: Section, values: dict[str, Any]) -> None:
    """A table must rise, fit into the pores, and hold what wood holds (M&D faults 9.1)."""
    contents = [w for _, w in values["sorption"]]
    band = values.pop("moisture_at_65_pct")
    if any(a > b for a, b in pairwise(contents)) or min(contents, default=0) < 0:
        s.blame("the water contents of 'sorption' fall", "put the points in order", "sorption")
    porosity = values["porosity"]
    if contents and porosity is not None and contents[-1] > _WATER_KG_M3 * porosity:
        what = f"'sorption' ends at {contents[-1]:g} kg/m³, more than its pores hold"
        s.blame(what, f"the porosity {porosity:g} allows {_WATER_KG_M3 * porosity:g}", "sorption")
    if band and contents and values["density_kg_m3"]:
        _check_wood(s, values, band)


def _check_wood(s: Section, values: dict[str, Any], band: tuple[float, float]) -> None:
    points: Amounts = values["sorption"]
    below = max((p for p in points if p[0] <= 0.65), default=None)
    above = min((p for p in points if p[0] >= 0.65), default=None)
    if below is None or above is None:
        s.blame("'sorption' does not reach 65 % humidity", "take the band out", "sorption")
        return
    step = above[0] - below[0]
    water = below[1] if step == 0 else below[1] + (above[1] - below[1]) * (0.65 - below[0]) / step
    percent = 100 * water / values["density_kg_m3"]
    if not band[0] <= percent <= band[1]:
        what = f"'sorption' gives {percent:.1f} % moisture at 65 % humidity"
        s.blame(what, f"wood holds {band[0]:g} to {band[1]:g} %: use another table", "sorption")


def _check_sources(s: Section, values: dict[str, Any]) -> None:
    """Each kind of value names its source and mark; heat and vapour may share one."""
    s.need("source", str, '"ISO 10456 table"')
    s.need("mark", str, '"MEMORY"')
    values["vapour_source"] = values["vapour_source"] or values["source"] or ""
    values["vapour_mark"] = values["vapour_mark"] or values["mark"] or ""
    storage = ("sorption", "porosity", "free_saturation_kg_m3", "a_value_kg_m2_s05")
    for kind, keys in (("storage", storage), ("air", ("air_impermeable_from_mm",))):
        if any(key in s.data for key in keys):
            s.need(f"{kind}_source", str, '"measured set"')
            s.need(f"{kind}_mark", str, '"SEEN MOD"')
    for name in _SOURCES:
        key = name.replace("source", "mark")
        mark = values[key]
        if mark is not None and not mark.startswith(MARKS):
            s.blame(f"{mark!r} is no mark", f"begin it with one of {', '.join(MARKS)}", key)
