"""Printed counts as words: what is withheld stays withheld in every share and sentence."""

from dataclasses import dataclass

import polars as pl

from triage.contract.disclosure import Disclosure
from triage.learn.cells import ALL, HOMES
from triage.learn.suppression import Release

STAR = "*"
NO_SHARE = "–"


@dataclass(frozen=True)
class Told:
    """Looks up printed counts by table and category."""

    release: Release

    @property
    def rule(self) -> Disclosure:
        """What this audience may read."""
        return self.release.rule

    def has(self, table: str) -> bool:
        """Whether there was anything to count."""
        return table in self.release.tables

    def homes(self, table: str, **where: str) -> int | None:
        """A printed count; dimensions that are not named are taken together; null: withheld."""
        rows = self.release.tables[table]
        names = [c for c in rows.columns if c not in (HOMES, "is_withheld")]
        if set(where) - set(names):
            raise ValueError(f"table {table} has no {set(where) - set(names)}")
        found = rows.filter(pl.col(name) == where.get(name, ALL) for name in names)
        if found.is_empty():  # a category that nobody has
            return 0
        value = found[HOMES].item()
        return None if value is None else int(value)

    def text(self, value: int | None) -> str:
        """A count as it is printed."""
        return STAR if value is None else f"{value:,}"

    def share(self, part: int | None, whole: int | None) -> str:
        """Whole percent of printed counts; a dash where the policy prints none."""
        if part is None or whole is None or whole < self.rule.percent_min:
            return NO_SHARE
        return f"{min(100, round(100 * part / whole))}%"

    def possible(self, printed: int, *, least: bool) -> int:
        """Least or most that a printed count may stand for."""
        base = self.rule.rounding
        if printed == 0:
            return 0
        low, high = printed - base // 2, printed + (base - 1) // 2
        return max(low, self.rule.cell_min) if least else high

    @property
    def notes(self) -> tuple[str, ...]:
        """What stands under every table of counts."""
        if not self.rule.withholds:
            return ()
        return (f"{STAR} {self.rule.sign}. {NO_SHARE} no share. See part 2.",)

    @property
    def reading(self) -> tuple[tuple[str, str], ...]:
        """How to read the counts: lines of the definitions box."""
        rule = self.rule
        small = f"a dash stands where fewer than {rule.percent_min} would be divided by"
        if not rule.withholds:
            return (("share", small),)
        return (
            (
                f"{STAR} and {NO_SHARE}",
                f"{STAR}: a count under {rule.cell_min}, or one withheld so that no such count can "
                f"be worked out; {NO_SHARE}: no share, as a count is withheld or {small[7:]}",
            ),
            (
                "rounding",
                f"every count to {rule.rounding}, totals by themselves; parts may not add",
            ),
        )
