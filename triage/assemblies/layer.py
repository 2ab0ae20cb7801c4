"""A layer of many cases at once, as expressions over their columns."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import polars as pl

from triage.contract.assemblies import Anatomy, LayerSpec
from triage.contract.materials import Material

Side = Literal["outer", "inner"]
_NOTHING_TEXT = pl.lit(None, pl.String)
_NO_NUMBER = pl.lit(None, pl.Float64)
_ZERO = pl.lit(0.0)
_FALSE = pl.lit(value=False)


@dataclass(frozen=True, slots=True)
class Layer:
    """Material, thickness, resistance and air layer of a slot, and why they are not known.

    All are Polars expressions over the cases. A slot that is not used has R = 0 and sd = 0;
    `why` is null where the layer is known; `ventilated` says that outside air passes behind it.
    """

    material: pl.Expr = _NOTHING_TEXT
    mm: pl.Expr = _NO_NUMBER
    r: pl.Expr = _ZERO
    sd: pl.Expr = _ZERO
    why: pl.Expr = _NOTHING_TEXT
    ventilated: pl.Expr = _FALSE

    def when(self, test: pl.Expr, otherwise: "Layer | None" = None) -> "Layer":
        """Take this layer where the test holds, else the other one or none."""
        other = otherwise or NO_LAYER
        sure = test.fill_null(value=False)

        def pick(one: pl.Expr, two: pl.Expr) -> pl.Expr:
            return pl.when(sure).then(one).otherwise(two)

        return Layer(
            pick(self.material, other.material),
            pick(self.mm, other.mm),
            pick(self.r, other.r),
            pick(self.sd, other.sd),
            pick(self.why, other.why),
            pick(self.ventilated, other.ventilated),
        )


NO_LAYER = Layer()
_ANY_MM = (0.0, 2000.0)  # plausible thickness of a material that gives no range of its own


class LayerMaker:
    """Makes layers from materials and from what the tables of an element say.

    On the outer side of the critical layer the drier, higher vapour resistance counts, on the
    inner side the wetter, lower one: vapour comes in easily and leaves with difficulty, which is
    the choice against the build-up (the standard leaves it open).
    """

    def __init__(self, anatomy: Anatomy, materials: Mapping[str, Material]) -> None:
        self.anatomy, self.materials = anatomy, materials

    def of(self, material: pl.Expr, mm: pl.Expr, side: Side, what: str) -> Layer:
        """A layer of a material and a thickness in mm that columns give.

        A material without conductivity counts for vapour only.
        """
        dry = side == "outer"
        known = self.materials
        fixed = {c: _fixed_sd(m, dry=dry) for c, m in known.items()}
        mu = {c: m.mu_dry if dry else m.mu_wet for c, m in known.items()}
        conductivity = {c: m.conductivity_w_mk for c, m in known.items()}
        facings = {c: m.facings_sd_m for c, m in known.items()}
        why = self._why(material, mm, what, {c for c, v in fixed.items() if v is None})
        good = why.is_null()
        resistance = (mm / 1000.0 / _value(material, conductivity)).fill_null(0.0)
        through = pl.coalesce(
            _value(material, fixed), _value(material, mu) * mm / 1000.0 + _value(material, facings)
        )
        return Layer(
            material=material,
            mm=mm,
            r=pl.when(good).then(resistance).otherwise(0.0),
            sd=pl.when(good).then(through).otherwise(0.0),
            why=why,
        )

    def _why(self, material: pl.Expr, mm: pl.Expr, what: str, thick: set[str]) -> pl.Expr:
        """Why a layer cannot be drawn; `thick` are the materials whose thickness counts."""
        ranges = {c: m.thickness_range_mm or _ANY_MM for c, m in self.materials.items()}
        low = _value(material, {c: r[0] for c, r in ranges.items()})
        high = _value(material, {c: r[1] for c, r in ranges.items()})
        wrong = (mm <= 0) | (mm < low) | (mm > high) | mm.is_nan()
        stranger = material.is_not_null() & ~material.is_in(list(self.materials))
        named = pl.lit(what)
        return (
            pl.when(material.is_null())
            .then(pl.lit(f"the material of {what} is not known"))
            .when(stranger)
            .then(pl.format("no values are held for {} as {}: declare a product", material, named))
            .when(material.is_in(sorted(thick)) & mm.is_null())
            .then(pl.lit(f"the thickness of {what} is not known"))
            .when(wrong.fill_null(value=False))
            .then(pl.format("{} mm is no thickness of {} ({})", mm.round(1), named, material))
        )

    def coded(self, table: str, slot: str, side: Side, column: str | None = None) -> Layer:
        """The layer that a survey code stands for in a slot; nothing where the code has none."""
        codes = {c: m.layers.get(slot) for c, m in self.anatomy.tables[table].items()}
        field = pl.col(column or table)
        specs = {c: s for c, s in codes.items() if s is not None}
        told = pl.lit(slot.replace("_", " "))
        named = (column or table).replace("_", " ")
        missing = (
            pl.when(field.is_null())
            .then(pl.lit(f"the {named} is not known"))
            .when(~field.is_in(list(codes)))
            .then(pl.format("no layer is held for {} as {}", field, told))
        )
        layer = self._specified(field, specs, side, slot)
        return Layer(
            layer.material,
            layer.mm,
            layer.r,
            layer.sd,
            pl.coalesce(missing, layer.why),
            layer.ventilated,
        )

    def fixed(self, table: str, code: str, slot: str, side: Side) -> Layer:
        """The layer of one entry, the same in every case but for a thickness that a field gives."""
        return self._specified(
            pl.lit(code), {code: self.anatomy.tables[table][code].layers[slot]}, side, slot
        )

    def _specified(
        self, field: pl.Expr, specs: Mapping[str, LayerSpec], side: Side, slot: str
    ) -> Layer:
        made_of = {c: s.material for c, s in specs.items() if s.material is not None}
        given = {c: s.mm for c, s in specs.items() if s.mm is not None}
        mm = _value(field, given)
        for name in sorted({s.mm_of for s in specs.values() if s.mm_of is not None}):
            codes = [c for c, s in specs.items() if s.mm_of == name]
            mm = pl.when(field.is_in(codes)).then(pl.col(name)).otherwise(mm)
        made = NO_LAYER
        if made_of:
            material = field.replace_strict(made_of, default=None, return_dtype=pl.String)
            made = self.of(material, mm, side, f"the {slot.replace('_', ' ')}").when(
                field.is_in(list(made_of))
            )
        r = {c: s.r for c, s in specs.items() if s.r is not None}
        sd = {c: s.sd for c, s in specs.items() if s.sd is not None}
        airy = [c for c, s in specs.items() if s.ventilated]
        return Layer(
            made.material,
            made.mm,
            pl.coalesce(_value(field, r), made.r),
            pl.coalesce(_value(field, sd), made.sd),
            made.why,
            field.is_in(airy).fill_null(value=False) if airy else _FALSE,
        )


def _fixed_sd(material: Material, *, dry: bool) -> float | None:
    """Air layer of a film or whole product; None where the thickness counts. [m]."""
    wet = material.fixed_sd_wet_m
    return wet if wet is not None and not dry else material.fixed_sd_m


def _value(key: pl.Expr, values: Mapping[str, float | None]) -> pl.Expr:
    """Number of each key; null where it has none."""
    known = {k: v for k, v in values.items() if v is not None}
    if not known:
        return _NO_NUMBER
    return key.replace_strict(known, default=None, return_dtype=pl.Float64)
