"""Stacks of the known build-ups and the surroundings that they stand in."""

from dataclasses import dataclass, fields, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from triage.assemblies.alternatives import SHIFT
from triage.assemblies.build_up import BuildUps, State
from triage.assemblies.cases import counts_for, distinct_rows
from triage.assemblies.layers import CASE_FIELDS, build_ups
from triage.contract.assemblies import ELEMENTS, Library
from triage.contract.policy import Policy
from triage.physics.indoor import en_15026_indoor, indoor_climate
from triage.physics.monthly import Boundaries
from triage.physics.vapour import saturation_pressure_pa

Floats = NDArray[np.float64]
_MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
_WETTING = np.array([1, 1, 1, 0, 0, 0, 0, 0, 0, 1, 1, 1], dtype=bool)  # October to March, north
_HIGH_LOAD_CLASS = 4.0
_TODAY = ("interior_vapour_control",)
_PROPOSED = (
    *("measure_group", "measure_material", "measure_thickness_mm", "plane_after"),
    "vapour_control_after",
)
_ROUNDING = 1e-9
_STAND_IN = {"t_mean_c": 10.0, "vp_mean_pa": 800.0}  # where there is no record; never looked at


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Climates with their indoor air, and the drying half-year of each, shape (m, 12).

    `capped` counts the months of each whose vapour pressure was above saturation, shape (m,).
    """

    boundaries: Boundaries
    season: NDArray[np.bool_]
    capped: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Stacks:
    """Stacks of build-ups, padded to one width.

    `lacks` and `invalid` say where a stack could not be drawn and where the monthly method
    cannot judge it; `described` has the words.
    """

    r_m2k_w: Floats
    sd_m: Floats
    r_se: Floats
    r_si: Floats
    u_w_m2k: Floats
    watch: NDArray[np.int64]
    critical: Floats
    deck_slot: NDArray[np.int64]
    deck_kg_m2: Floats
    lacks: NDArray[np.bool_]
    invalid: NDArray[np.bool_]
    described: pl.DataFrame

    def of(self, rows: NDArray[np.int64]) -> "Stacks":
        """The stacks of these rows; their words stay where they are."""
        taken = {f.name: getattr(self, f.name)[rows] for f in fields(self) if f.name != "described"}
        return Stacks(described=self.described, **taken)

    def words(self, column: str, rows: NDArray[np.int64]) -> pl.Series:
        """A described column of some rows."""
        return self.described[column][rows]

    @property
    def r_total(self) -> Floats:
        """Resistance with both surfaces. [m²K/W]."""
        return np.asarray(self.r_m2k_w.sum(axis=1) + self.r_se + self.r_si)

    def up_to(self, values: Floats, place: Floats) -> Floats:
        """Sum of a row's values from outside to a place in slots; n + 0.5 is mid slot n."""
        at = np.maximum(place, 0.0)
        whole = np.floor(at).astype(np.int64)
        sums = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)
        rows = np.arange(len(values))
        inner = np.minimum(whole, values.shape[1] - 1)
        return np.asarray(sums[rows, whole] + (at - whole) * values[rows, inner])

    def from_inside(self, values: Floats, outside: Floats) -> Floats:
        """What is left of a row's values inside a place; rounding cannot make it negative."""
        return np.asarray(np.maximum(values.sum(axis=1) - outside, 0.0))


def surroundings(around: pl.DataFrame, climate: pl.DataFrame, policy: Policy) -> Surroundings:
    """Climates of the known surroundings: each record with its indoor air once.

    Outdoor vapour above saturation at the monthly mean, as damp months of regional means can
    have, is taken as saturated. Surroundings without a record get an invented one: nothing
    refers to them.
    """
    record = around.join(climate, on="climate_id", how="left", maintain_order="left")
    shift = record[SHIFT].fill_null(0.0).to_numpy()[:, np.newaxis]
    t_mean = _monthly(record, "t_mean_c")
    t_out = t_mean + shift
    # A shifted climate keeps its relative humidity.
    unshifted = saturation_pressure_pa(t_mean)
    full = saturation_pressure_pa(t_out)
    humidity = _monthly(record, "vp_mean_pa") / unshifted
    p_out = np.minimum(humidity, 1.0) * full
    # Class 5 is refused before: its stand-in here is never looked at.
    classes = record["humidity_class"].fill_null(1.0).clip(1.0, 4.0).to_numpy()
    # Rooms at a constant 20 degC would be damper in a warm summer than any home is.
    rooms, _ = en_15026_indoor(t_out)
    inside = indoor_climate(
        policy.indoor_model,
        t_out,
        p_out,
        humidity_class=classes,
        margin=policy.number("humidity_margin"),
        indoor_c=rooms,
        high_load=classes >= _HIGH_LOAD_CLASS,
    )
    north = around["is_north"].to_numpy()[:, np.newaxis]
    season = np.where(north, ~_WETTING, _WETTING)
    edges = Boundaries(t_out, p_out, inside.t_in_c, inside.p_in_pa)
    return Surroundings(edges, season, (humidity > 1.0 + _ROUNDING).sum(axis=1))


def _monthly(record: pl.DataFrame, name: str) -> Floats:
    columns = [f"{name}_{month}" for month in _MONTHS]
    months = pl.col(columns).cast(pl.Float64).fill_null(_STAND_IN[name])
    return record.select(months).to_numpy()


def stacks_of(
    layers: pl.DataFrame, library: Library, state: State
) -> tuple[Stacks, NDArray[np.int64]]:
    """Distinct layers of the known build-ups in one state, and which each build-up has."""
    table, numbers = distinct_rows(layers.with_columns(_of_state(state)))
    return _drawn(table, library, state), numbers.to_numpy()


def _of_state(state: State) -> list[pl.Expr]:
    """Fields that are no part of the layers of one state made null, so that like are alike."""
    plane = pl.col("plane_before" if state == "before" else "plane_after")
    counts = counts_for(plane, plane)
    names = _PROPOSED if state == "before" else _TODAY
    blank = {name: pl.lit(None, CASE_FIELDS[name]) for name in names}
    kept = {name: pl.when(test).then(name) for name, test in counts.items() if name not in blank}
    return [expr.alias(name) for name, expr in (kept | blank).items()]


def _drawn(layers: pl.DataFrame, library: Library, state: State) -> Stacks:
    # A build-up of no element is never solved; it stands among the last, where nothing is known.
    elements = layers["element"].fill_null(ELEMENTS[-1]).to_numpy()
    parts: list[BuildUps] = []
    rows: list[NDArray[np.int64]] = []
    for element in ELEMENTS:
        here = np.flatnonzero(elements == element)
        if len(here) or element == ELEMENTS[-1]:  # one part at least, for its columns
            parts.append(build_ups(layers[here], library, state, element))
            rows.append(here)
    width = max(part.r_m2k_w.shape[1] for part in parts)
    place = np.argsort(np.concatenate(rows))

    def padded(values: Floats) -> Floats:
        return np.pad(values, ((0, 0), (0, width - values.shape[1])))

    def joined(name: str) -> Floats:
        return np.concatenate([getattr(part, name) for part in parts])

    described = pl.concat([part.described for part in parts], how="diagonal")
    whole = Stacks(
        r_m2k_w=np.concatenate([padded(part.r_m2k_w) for part in parts]),
        sd_m=np.concatenate([padded(part.sd_m) for part in parts]),
        r_se=joined("r_se"),
        r_si=joined("r_si"),
        u_w_m2k=joined("u_w_m2k"),
        watch=joined("watch").astype(np.int64),
        critical=joined("critical"),
        deck_slot=joined("deck_slot").astype(np.int64),
        deck_kg_m2=joined("deck_kg_m2"),
        lacks=described["missing"].is_not_null().to_numpy(),
        invalid=described["invalid"].is_not_null().to_numpy(),
        described=described,
    )
    return replace(whole.of(place), described=described[place])
