"""Declared products: the programme's own values in place of a material's design values."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from triage.contract.materials import Material
from triage.contract.section import Section
from triage.contract.text import did_you_mean

MM_PER_INCH = 25.4
UNDESCRIBED: Mapping[str, str] = MappingProxyType(
    {"other": "insulation recorded as other", "mixed": "foam of two types in one roof"}
)
"""Survey codes that no material stands behind until a product is declared for them."""
DECLARED = "DECLARED"
_VAPOUR = ("mu", "sd_m", "permeance_perm", "permeability_perm_in")
_KEYS = (
    *("stands_for", "name", "conductivity_w_mk", "r_us_per_inch", *_VAPOUR, "mu_wet", "at_mm"),
    *("air_impermeable_from_mm", "source"),
)
_FACTOR = 3.0  # a product's conductivity lies nearer than this to its material's


@dataclass(frozen=True, slots=True)
class Product:
    """One `[[products]]` entry of a programme, vapour values already converted.

    Attributes
    ----------
    stands_for
        Material whose place it takes, or a code of `UNDESCRIBED`.
    name, source
        As declared, and where: document and date.
    conductivity_w_mk
        Declared value. [W/(m·K)]
    mu_dry, mu_wet
        Vapour resistance factors; None where `sd_m` holds for the whole product. [-]
    sd_m
        Equivalent air layer of the whole product, whatever its thickness. [m]
    air_impermeable_from_mm
        Thickness from which it is declared air-impermeable; None where nothing is declared. [mm]
    """

    stands_for: str
    name: str
    source: str
    conductivity_w_mk: float
    mu_dry: float | None
    mu_wet: float | None
    sd_m: float | None
    air_impermeable_from_mm: float | None


def with_products(
    materials: Mapping[str, Material], products: Sequence[Product]
) -> Mapping[str, Material]:
    """The materials with each product in the place of the one that it stands for.

    Density, heat capacity and moisture storage stay the material's; the vapour, heat and
    air-tightness values are the product's. What is not declared about air stays the material's.
    """
    merged = dict(materials)
    for product in products:
        merged[product.stands_for] = _as_material(materials.get(product.stands_for), product)
    return MappingProxyType(merged)


def _as_material(base: Material | None, product: Product) -> Material:
    said = product.air_impermeable_from_mm
    start = base if base is not None else _blank(product.stands_for)
    return replace(
        start,
        title=product.name,
        conductivity_w_mk=product.conductivity_w_mk,
        conductivity_range_w_mk=None,
        mu_dry=product.mu_dry,
        mu_wet=product.mu_wet,
        mu_by_humidity=(),
        fixed_sd_m=product.sd_m,
        fixed_sd_wet_m=None,
        facings_sd_m=0.0,
        air_impermeable_from_mm=start.air_impermeable_from_mm if said is None else said,
        air_impermeable_sure_mm=start.air_impermeable_sure_mm if said is None else said,
        source=product.source,
        mark=DECLARED,
        vapour_source=product.source,
        vapour_mark=DECLARED,
        air_source=start.air_source if said is None else product.source,
        air_mark=start.air_mark if said is None else DECLARED,
        doubt=None,
    )


def _blank(code: str) -> Material:
    """A material of which nothing is known but what the product declares."""
    return Material(
        code=code,
        title=UNDESCRIBED[code],
        conductivity_w_mk=None,
        conductivity_range_w_mk=None,
        density_kg_m3=None,
        heat_capacity_j_kgk=None,
        mu_dry=None,
        mu_wet=None,
        fixed_sd_m=None,
        fixed_sd_wet_m=None,
        facings_sd_m=0.0,
        sorption=(),
        mu_by_humidity=(),
        porosity=None,
        free_saturation_kg_m3=None,
        a_value_kg_m2_s05=None,
        mould_class=None,
        air_impermeable_from_mm=None,
        air_impermeable_sure_mm=None,
        thickness_range_mm=None,
        timber=False,
        source="",
        mark="",
        vapour_source="",
        vapour_mark="",
        storage_source=None,
        storage_mark=None,
        air_source=None,
        air_mark=None,
        doubt=None,
    )


def read_products(top: Section, materials: Mapping[str, Material]) -> tuple[Product, ...]:
    """The `[[products]]` of a programme; every slip is kept in the section's errors."""
    found: dict[str, Product] = {}
    for entry in top.tables("products"):
        product = _product(entry, materials)
        if product is None:
            continue
        if product.stands_for in found:
            what = f"two products stand for {product.stands_for!r}"
            entry.blame(what, "keep one: a programme is judged with one of them", "stands_for")
        found[product.stands_for] = product
    return tuple(found.values())


def _product(s: Section, materials: Mapping[str, Material]) -> Product | None:
    before = len(s.errors)
    s.only(*_KEYS)
    code = s.need("stands_for", str, '"spf_closed"') or ""
    known = {*materials, *UNDESCRIBED}
    if code and code not in known:
        s.blame(f"there is no material {code!r}", did_you_mean(code, sorted(known)), "stands_for")
    name = s.need("name", str, '"Foam of the 2026 contract"') or ""
    source = s.need("source", str, '"declaration of performance, 2026-03-01"') or ""
    conductivity = _conductivity(s, materials.get(code))
    mu, sd = _vapour(s)
    air = _positive(s, "air_impermeable_from_mm")
    wet = _positive(s, "mu_wet")
    if wet is not None and (mu is None or wet > mu):
        s.blame("'mu_wet' wants a 'mu' that is not below it", "correct the two", "mu_wet")
    if len(s.errors) > before or conductivity is None:
        return None
    return Product(code, name, source, conductivity, mu, wet if wet else mu, sd, air)


def _conductivity(s: Section, base: Material | None) -> float | None:
    """Declared conductivity, or that of a declared resistance an inch."""
    from triage.physics.vapour import R_US_M2K_W  # noqa: PLC0415  (numpy only where needed)

    given = [key for key in ("conductivity_w_mk", "r_us_per_inch") if key in s.data]
    if len(given) != 1:
        fix = "write conductivity_w_mk, or r_us_per_inch in h·ft²·°F/Btu"
        s.blame(f"heat values declared: {', '.join(given) or 'none'}", fix, *given[:1])
        return None
    key = given[0]
    value = _positive(s, key)
    if value is not None and key == "r_us_per_inch":
        value = MM_PER_INCH / 1000 / (value * R_US_M2K_W)
    usual = None if base is None else base.conductivity_w_mk
    if value and usual and not usual / _FACTOR <= value <= usual * _FACTOR:
        what = f"a conductivity of {value:g} W/(m·K), where {usual:g} is usual"
        fix = "write W/(m·K): not mW, not a thermal resistance, not Btu"
        s.blame(what, fix, key)
        return None
    return value


def _vapour(s: Section) -> tuple[float | None, float | None]:
    """Resistance factor, or equivalent air layer, of whichever of the four is declared."""
    from triage.physics.vapour import SD_OF_ONE_PERM_M  # noqa: PLC0415  (numpy only where needed)

    given = [key for key in _VAPOUR if key in s.data]
    if len(given) != 1:
        fix = f"write one of {', '.join(_VAPOUR)}"
        s.blame(f"vapour values declared: {', '.join(given) or 'none'}", fix, *given[:1])
        return None, None
    key = given[0]
    value, thickness = _positive(s, key), _positive(s, "at_mm")
    if (key == "permeance_perm") != ("at_mm" in s.data):
        fix = "write permeance_perm with at_mm, the thickness in millimetres that was tested"
        s.blame("a permeance holds for one thickness: 'at_mm' goes with it alone", fix, key)
        return None, None
    if value is None or (key == "permeance_perm" and thickness is None):
        return None, None
    if key == "sd_m":
        return None, value
    tested_mm = thickness or MM_PER_INCH  # a permeability is that of one inch
    mu = value if key == "mu" else SD_OF_ONE_PERM_M / value * 1000 / tested_mm
    if mu < 1:
        s.blame(f"{key!r} {value:g} is more open than still air", "check value and unit", key)
        return None, None
    return mu, None


def _positive(s: Section, key: str) -> float | None:
    value = s.get(key, float)
    if value is not None and not 0 < value < float("inf"):
        s.blame(f"{key!r} is {value:g}", "write a number above zero", key)
        return None
    return value
