"""A layer of many cases at once: arrays over the cases, and why one is not known."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.contract.assemblies import Anatomy, LayerSpec
from triage.contract.materials import Material

Side = Literal["outer", "inner"]
Bools = NDArray[np.bool_]
Codes = NDArray[np.int16]
Floats = NDArray[np.float64]
_ANY_MM = (0.0, 2000.0)  # plausible thickness of a material that gives no range of its own
_NONE = -1  # no code; as an index it meets the blank that every table has at its end
_KNOWN = 0  # the first reason is no reason


@dataclass(frozen=True, slots=True)
class Layer:
    """Material, thickness, resistance and air layer of a slot, and why they are not known.

    Each is one value a case. A slot that is not used has R = 0, sd = 0 and no material (-1).
    `mm` is NaN where no thickness is known; `why` is the number of a reason of the maker, 0 where
    the layer is known; `ventilated` says that outside air passes behind it.
    """

    material: Codes
    mm: Floats
    r: Floats
    sd: Floats
    why: Codes
    ventilated: Bools

    def when(self, test: Bools, otherwise: "Layer") -> "Layer":
        """Take this layer where the test holds, else the other one."""
        return Layer(
            np.where(test, self.material, otherwise.material),
            np.where(test, self.mm, otherwise.mm),
            np.where(test, self.r, otherwise.r),
            np.where(test, self.sd, otherwise.sd),
            np.where(test, self.why, otherwise.why),
            np.where(test, self.ventilated, otherwise.ventilated),
        )

    def taken(self, rows: Codes) -> "Layer":
        """The layer of each of these rows."""
        return Layer(
            self.material[rows],
            self.mm[rows],
            self.r[rows],
            self.sd[rows],
            self.why[rows],
            self.ventilated[rows],
        )


def shut(layer: Layer) -> Layer:
    """The same layer without outside air behind it."""
    return replace(layer, ventilated=np.zeros_like(layer.ventilated))


def part(layer: Layer, mm: Floats) -> Layer:
    """A slice of a layer, 0 to all of its thickness. [mm]."""
    some = layer.mm > 0.0  # no part of a layer without thickness, or of one that is not known
    share = np.clip(np.nan_to_num(np.divide(mm, layer.mm, out=np.zeros_like(mm), where=some)), 0, 1)
    return replace(layer, mm=mm, r=share * layer.r, sd=share * layer.sd)


class LayerMaker:
    """Makes layers from materials and from what the tables of an element say.

    On the outer side of the critical layer the drier, higher vapour resistance counts, on the
    inner side the wetter, lower one: vapour comes in easily and leaves with difficulty, which is
    the choice against the build-up (the standard leaves it open).
    """

    def __init__(
        self, cases: pl.DataFrame, anatomy: Anatomy, materials: Mapping[str, Material]
    ) -> None:
        self.cases, self.anatomy, self.materials = cases, anatomy, materials
        self.count = cases.height
        self.names = list(materials)
        self.reasons = [""]
        self._numbers = {code: n for n, code in enumerate(self.names)}
        self._read: dict[str, Codes] = {}
        blank = np.full(self.count, np.nan)
        zero, no = np.zeros(self.count), np.zeros(self.count, dtype=bool)
        self.nothing = Layer(self.code(None), blank, zero, zero, no.astype(np.int16), no)
        self._tables: dict[Side, dict[str, Floats]] = {
            "outer": self._table(dry=True),
            "inner": self._table(dry=False),
        }

    def code(self, name: str | None) -> Codes:
        """The number of one code, once a case; -1 for none."""
        number = _NONE if name is None else self.number_of(name)
        return np.full(self.count, number, dtype=np.int16)

    def codes(self, column: str) -> Codes:
        """A column of codes as numbers of `names`; -1 where it is null."""
        if column not in self._read:
            values = self.cases[column]
            known = {value: self.number_of(value) for value in values.unique().drop_nulls()}
            numbers = values.replace_strict(known, default=_NONE, return_dtype=pl.Int16)
            self._read[column] = numbers.fill_null(_NONE).to_numpy()
        return self._read[column]

    def numbers(self, column: str) -> Floats:
        """A column of numbers; NaN where it is null."""
        return self.cases[column].cast(pl.Float64).to_numpy()

    def told(self, column: str) -> Bools:
        """A column of yes and no; no where it is null."""
        return self.cases[column].cast(pl.Boolean).fill_null(value=False).to_numpy()

    def is_in(self, column: str, *wanted: str) -> Bools:
        """Whether a column holds one of some codes; no where it is null."""
        return np.isin(self.codes(column), [self.number_of(name) for name in wanted])

    def number_of(self, name: str) -> int:
        """The number of a code, the same in all columns."""
        number = self._numbers.setdefault(name, len(self.names))
        if number == len(self.names):
            self.names.append(name)
        return number

    def reason(self, text: str) -> int:
        """The number of a reason, which may name `{code}` and `{mm}` of its layer."""
        if text not in self.reasons:
            self.reasons.append(text)
        return self.reasons.index(text)

    def _table(self, *, dry: bool) -> dict[str, Floats]:
        """Values of every material, and a blank at the end for none. NaN where it has none."""
        known = list(self.materials.values())
        ranges = [m.thickness_range_mm or _ANY_MM for m in known]
        columns: dict[str, list[float | None]] = {
            "conductivity": [m.conductivity_w_mk for m in known],
            "fixed": [_fixed_sd(m, dry=dry) for m in known],
            "mu": [m.mu_dry if dry else m.mu_wet for m in known],
            "facings": [m.facings_sd_m for m in known],
            "low": [low for low, _ in ranges],
            "high": [high for _, high in ranges],
        }
        return {name: np.array((*v, None), dtype=np.float64) for name, v in columns.items()}

    def of(self, material: Codes, mm: Floats, side: Side, what: str) -> Layer:
        """A layer of a material and a thickness in mm, one a case.

        A material without conductivity counts for vapour only.
        """
        held = material < len(self.materials)
        row = np.where(held, material, _NONE)
        value = {name: column[row] for name, column in self._tables[side].items()}
        no_mm = np.isnan(mm)
        wrong = ~no_mm & ((mm <= 0) | (mm < value["low"]) | (mm > value["high"]))
        why = np.select(
            [material == _NONE, ~held, np.isnan(value["fixed"]) & no_mm, wrong],
            [
                self.reason(f"the material of {what} is not known"),
                self.reason(f"no values are held for {{code}} as {what}: declare a product"),
                self.reason(f"the thickness of {what} is not known"),
                self.reason(f"{{mm}} mm is no thickness of {what} ({{code}})"),
            ],
            _KNOWN,
        ).astype(np.int16)
        good = why == _KNOWN
        metres = np.where(good, mm, 0.0) / 1000.0
        resistance = metres / value["conductivity"]
        through = value["mu"] * metres + value["facings"]
        through = np.where(np.isnan(value["fixed"]), through, value["fixed"])
        return Layer(
            material=material,
            mm=mm,
            r=np.nan_to_num(resistance, nan=0.0),
            sd=np.where(good, through, 0.0),
            why=why,
            ventilated=np.zeros(len(material), dtype=bool),
        )

    def coded(
        self, table: str, slot: str, side: Side, given: Mapping[str, Floats] | None = None
    ) -> Layer:
        """The layer that a survey code stands for in a slot; nothing where the code has none.

        `table` is the field too. `given` holds thicknesses that stand for those of the survey.
        """
        return self.coded_by(table, table, slot, side, given)

    def coded_by(
        self,
        column: str,
        table: str,
        slot: str,
        side: Side,
        given: Mapping[str, Floats] | None = None,
    ) -> Layer:
        """As `coded`, for a field that is not named as its table is."""
        meanings = self.anatomy.tables[table]
        field = self.codes(column)
        specs = {code: told.layers[slot] for code, told in meanings.items() if slot in told.layers}
        layer = self._specified(field, specs, side, slot, given or {})
        listed = np.isin(field, [self.number_of(code) for code in meanings])
        named = column.removesuffix("_after").replace("_", " ")
        unlisted = self.reason(f"no layer is held for {{code}} as {slot.replace('_', ' ')}")
        missing = self.reason(f"the {named} is not known")
        why = np.where(listed, layer.why, np.where(field == _NONE, missing, unlisted))
        material = np.where(listed, layer.material, field)
        return Layer(material, layer.mm, layer.r, layer.sd, why.astype(np.int16), layer.ventilated)

    def fixed(self, table: str, code: str, slot: str, side: Side) -> Layer:
        """The layer of one entry, the same in every case but for a thickness that a field gives."""
        spec = self.anatomy.tables[table][code].layers[slot]
        return self._specified(self.code(code), {code: spec}, side, slot, {})

    def _specified(
        self,
        field: Codes,
        specs: Mapping[str, LayerSpec],
        side: Side,
        slot: str,
        given: Mapping[str, Floats],
    ) -> Layer:
        layer = self._by_code(specs, side, slot).taken(field)
        for name in sorted({s.mm_of for s in specs.values() if s.mm_of is not None}):
            codes = [self.number_of(code) for code, s in specs.items() if s.mm_of == name]
            mm = given.get(name, self.numbers(name))
            made = self.of(layer.material, mm, side, f"the {slot.replace('_', ' ')}")
            layer = made.when(np.isin(field, codes), layer)
        return layer

    def _by_code(self, specs: Mapping[str, LayerSpec], side: Side, slot: str) -> Layer:
        """What each code of `names` stands for, and nothing at the end for none.

        Far fewer than the cases; a thickness that a field gives is still unknown here.
        """
        count = 1 + max([len(self.names), *(self.number_of(code) + 1 for code in specs)])
        own_mm, own_r, own_sd = (np.full(count, np.nan) for _ in range(3))
        material = np.full(count, _NONE, dtype=np.int16)
        airy = np.zeros(count, dtype=bool)
        for code, spec in specs.items():
            row = self.number_of(code)
            own_mm[row], own_r[row] = _or_nan(spec.mm), _or_nan(spec.r)
            own_sd[row], airy[row] = _or_nan(spec.sd), spec.ventilated
            material[row] = _NONE if spec.material is None else self.number_of(spec.material)
        made = self.of(material, own_mm, side, f"the {slot.replace('_', ' ')}")
        is_made = material != _NONE
        r = np.where(np.isnan(own_r), np.where(is_made, made.r, 0.0), own_r)
        sd = np.where(np.isnan(own_sd), np.where(is_made, made.sd, 0.0), own_sd)
        # A layer without a material goes by the name of its code.
        unnamed = ~is_made & ((r > 0) | (sd > 0))
        named = np.where(unnamed, np.arange(count), material).astype(np.int16)
        why = np.where(is_made, made.why, _KNOWN).astype(np.int16)
        return Layer(named, own_mm, r, sd, why, airy)

    def reason_texts(self, why: Codes, material: Codes, mm: Floats) -> pl.Series:
        """Reasons in words, null where there is none, with the code and thickness they name."""
        frame = pl.DataFrame(
            {
                "why": pl.Series(self.reasons).gather(pl.Series(why.astype(np.uint32))),
                "code": pl.Series(self.names).gather(
                    pl.Series(np.maximum(material, 0)).cast(pl.UInt32)
                ),
                "mm": pl.Series(mm).round(1).cast(pl.String),
            }
        )
        return frame.select(
            pl.when(pl.col("why") != "")
            .then(
                pl.col("why")
                .str.replace("{code}", pl.col("code"), literal=True)
                .str.replace("{mm}", pl.col("mm"), literal=True)
            )
            .alias("missing")
        ).to_series()


def _fixed_sd(material: Material, *, dry: bool) -> float | None:
    """Air layer of a film or whole product; None where the thickness counts. [m]."""
    wet = material.fixed_sd_wet_m
    return wet if wet is not None and not dry else material.fixed_sd_m


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else value
