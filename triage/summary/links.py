"""What a reader knows of how cells of several tables hang together, besides shared totals."""

from collections.abc import Sequence

import polars as pl

_SEP = "\x1f"
SCHEMA = pl.Schema({"sum_id": pl.String, "cell": pl.String, "sign": pl.Int8, "exact": pl.Boolean})


class Links:
    """Collects equalities and "at most" between cells, in the form of `learn.cells.sums_of`."""

    def __init__(self) -> None:
        self._rows: list[tuple[str, str, int, bool]] = []

    @staticmethod
    def cell(population: str, **named: str) -> str:
        """Name of a cell, as `learn.cells` names it."""
        return _SEP.join([population, *(f"{k}={named[k]}" for k in sorted(named))])

    def equal(self, parts: Sequence[str], whole: str) -> None:
        """The parts add up to the whole."""
        self._add(parts, [whole], exact=True)

    def at_most(self, parts: Sequence[str], wholes: Sequence[str]) -> None:
        """The parts together are no more than the wholes together."""
        self._add(parts, wholes, exact=False)

    def _add(self, parts: Sequence[str], wholes: Sequence[str], *, exact: bool) -> None:
        name = "link" + _SEP + "+".join(parts) + ("=" if exact else "<") + "+".join(wholes)
        self._rows += [(name, cell, 1, exact) for cell in parts]
        self._rows += [(name, cell, -1, exact) for cell in wholes]

    def frame(self) -> pl.DataFrame:
        """`sum_id`, `cell`, `sign`, `exact`."""
        return pl.DataFrame(self._rows, schema=SCHEMA, orient="row")
