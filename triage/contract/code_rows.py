"""The code tables of a policy pack: rows by climate zone, in the units as printed."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

ZONES = tuple(range(1, 9))
LETTERS = ("A", "B", "C")
PERMISSIONS = ("permitted", "conditional", "not_permitted")  # from lenient to strict
RETARDERS = ("class_1", "class_2", "class_3")
_OTHER = "(any other)"


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """One row: where it fits, and its figures.

    Attributes
    ----------
    zones, letters, coverings
        Climate zones, moisture letters and roof coverings; empty letters or coverings fit all.
    figures
        Key -> figures as printed; permissions as their index in `PERMISSIONS`.
    vented_over
        Sheathings over which a ventilated cladding will do.
    wall_alternatives
        (cavity, continuous) resistances of frame walls. [h·ft²·°F/Btu]
    source, mark
        Where the row comes from.
    """

    zones: tuple[int, ...]
    letters: tuple[str, ...]
    coverings: tuple[str, ...]
    figures: Mapping[str, tuple[float, ...]]
    vented_over: tuple[str, ...]
    wall_alternatives: tuple[tuple[float, float], ...]
    source: str
    mark: str

    def fits(self, zone: int, letter: str, covering: str) -> bool:
        """Whether the row holds for a place and a roof covering, all three known."""
        return (
            zone in self.zones
            and (not self.letters or letter in self.letters)
            and (not self.coverings or covering in self.coverings)
        )


@dataclass(frozen=True, slots=True)
class ZoneTable:
    """Rows of which the first that fits counts."""

    rows: tuple[ZoneRow, ...]

    @property
    def coverings(self) -> tuple[str, ...]:
        """Roof coverings that some row names."""
        return tuple(sorted({name for row in self.rows for name in row.coverings}))

    def candidates(
        self, zone: int, letter: str | None = None, covering: str | None = None
    ) -> tuple[ZoneRow | None, ...]:
        """The row that fits, or every one that could where letter or covering is unknown.

        None stands among them where the table has no row for such a place.
        """
        letters = LETTERS if letter is None else (letter,)
        coverings = (*self.coverings, _OTHER) if covering is None else (covering,)
        return tuple(_distinct([self._first(zone, *pair) for pair in product(letters, coverings)]))

    def strictest(
        self, key: str, zone: int, letter: str | None = None, covering: str | None = None
    ) -> float | None:
        """Highest first figure of the rows that could fit; None where none could."""
        rows = self.candidates(zone, letter, covering)
        return max((row.figures[key][0] for row in rows if row is not None), default=None)

    def _first(self, zone: int, letter: str, covering: str) -> ZoneRow | None:
        return next((row for row in self.rows if row.fits(zone, letter, covering)), None)


@dataclass(frozen=True, slots=True)
class UnventedRoof:
    """Conditions of unvented roofs beside the table of least resistances."""

    class_2_zones: tuple[int, ...]
    no_class_1_inside: bool
    wood_shingle_gap_mm: float
    deck_month_min_c: float
    deck_indoor_c: float


@dataclass(frozen=True, slots=True)
class DiffusionPort:
    """What a vapour diffusion port must be."""

    zones: tuple[int, ...]
    from_top_max_mm: float
    ceiling_area_share_min: float
    permeance_min_perm: float
    pitch_min_deg: float
    clearance_min_mm: float


@dataclass(frozen=True, slots=True)
class CodeTables:
    """The tables of one edition. Resistances as printed, in h·ft²·°F/Btu."""

    edition: str
    editions: tuple[str, ...]
    edition_in_force: str
    foam_r: ZoneTable
    foam_share: ZoneTable
    inside_retarder: ZoneTable
    class_3: ZoneTable
    class_2: ZoneTable
    insulation: ZoneTable
    retarder_max_perm: Mapping[str, float]
    unvented_roof: UnventedRoof
    diffusion_port: DiffusionPort


def _distinct(rows: list[ZoneRow | None]) -> list[ZoneRow | None]:
    kept: list[ZoneRow | None] = []
    for row in rows:
        if not any(row is other for other in kept):
            kept.append(row)
    return kept
