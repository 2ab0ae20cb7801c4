"""What a comparison of two runs found, as counts, rows, words and plain values."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from triage.report.labels import QUEUES, visible
from triage.rules.table import ID

NOT_THERE = "not there"
_WHOLE = {"expiry", "policy", "proposal", "product", "tool"}
_SHOWN = 20
_PLAIN = (*ID, "change", "from_state", "to_state", "cause", "how", "because")


def state(prefix: str) -> pl.Expr:
    """Queue with its lane, or with whether a safe row is released, in words."""
    queue, lane = pl.col(f"{prefix}queue"), pl.col(f"{prefix}lane")
    released = pl.when(pl.col(f"{prefix}released")).then(pl.lit("released"))
    more = pl.coalesce(lane.str.replace_all("_", " "), released, pl.lit("checks open"))
    return (
        pl.when(queue.is_null())
        .then(pl.lit(NOT_THERE))
        .when(queue == "fix-water-first")
        .then(queue)
        .otherwise(pl.format("{}: {}", queue, more))
    )


def matrix(rows: pl.DataFrame, before: pl.Expr, after: pl.Expr) -> pl.DataFrame:
    """Rows by state before (down) and after (across): `from`, a column a state, `all`."""
    pairs = rows.select(before.alias("from"), after.alias("to"))
    names = pl.concat([pairs["from"], pairs["to"]]).unique().to_list()
    order = {look.queue: place for place, look in enumerate(QUEUES)}
    names.sort(key=lambda n: (n == NOT_THERE, order.get(n.split(":")[0], len(order)), n))
    counted = pairs.group_by("from", "to").len()
    down = pl.DataFrame({"from": names}, schema={"from": pl.String})
    table = down
    for name in names:
        column = counted.filter(pl.col("to") == name).select("from", pl.col("len").alias(name))
        table = table.join(column, on="from", how="left", maintain_order="left")
    filled = table.with_columns(pl.col(name).fill_null(0).cast(pl.Int64) for name in names)
    every = pl.sum_horizontal(names) if names else pl.lit(0)
    return filled.with_columns(every.alias("all"))


@dataclass(frozen=True)
class Comparison:
    """Two runs compared.

    `rows` has every home-part-measure of either run with its hashes; `moved` those that moved,
    with `cause`, `how` and `because`. `differs` names what is not the same in the two runs.
    """

    before: Mapping[str, Any]
    after: Mapping[str, Any]
    rows: pl.DataFrame
    moved: pl.DataFrame
    differs: tuple[str, ...]
    notes: tuple[str, ...]
    outputs: tuple[Path, ...] = ()

    @property
    def unexplained(self) -> pl.DataFrame:
        """Rows that moved though none of their inputs changed."""
        return self.moved.filter(pl.col("how") == "unexplained")

    @property
    def returned(self) -> pl.DataFrame:
        """Rows of homes that came back from repair for a second time."""
        return self.rows.filter(pl.col("to_lane") == "repeat_return")

    @property
    def exit_code(self) -> int:
        """0 every move has a cause, 1 one has none."""
        return 1 if self.unexplained.height else 0

    def queues(self) -> pl.DataFrame:
        """Queue by queue."""
        names = (pl.col(f"{at}_queue").fill_null(NOT_THERE) for at in ("from", "to"))
        return matrix(self.rows, *names)

    def lanes(self) -> pl.DataFrame:
        """Queue with lane or release by queue with lane or release."""
        return matrix(self.rows, pl.col("from_state"), pl.col("to_state"))

    def causes(self) -> pl.DataFrame:
        """Moved rows and homes by cause; a row that needed two causes counts for both."""
        long = self.moved.select("property_id", "cause", "how").explode(
            "cause", empty_as_null=True, keep_nulls=True
        )
        return (
            long.with_columns(pl.col("cause").fill_null("unexplained"))
            .group_by("cause", "how")
            .agg(pl.len().alias("rows"), pl.col("property_id").n_unique().alias("homes"))
            .sort("rows", "cause", "how", descending=[True, False, False])
        )

    def proof(self) -> dict[str, int]:
        """How many rows stand on the same inputs by their hashes, and how many of those moved.

        `own_inputs_same` leaves out what holds for all rows: day of judging, policy, proposals,
        products, tool. `all_inputs_same` is none of the rows where any of these differs.
        """
        own = self.rows.filter("same_inputs")
        whole = _WHOLE & set(self.differs)
        same = own.head(0) if whole else own
        moved = pl.col("change") != "same"
        return {
            "rows": self.rows.height,
            "own_inputs_same": own.height,
            "own_inputs_same_moved": own.filter(moved).height,
            "all_inputs_same": same.height,
            "all_inputs_same_moved": same.filter(moved).height,
        }

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain values, for JSON."""
        return {
            "format": 1,
            "before": _named(self.before),
            "after": _named(self.after),
            "differs": list(self.differs),
            "notes": list(self.notes),
            "queues": self.queues().to_dicts(),
            "lanes": self.lanes().to_dicts(),
            "causes": self.causes().to_dicts(),
            "moved": self.moved.select(_PLAIN).to_dicts(),
            "came_back_twice": self.returned.select(*ID, "change").to_dicts(),
            "nothing_else_changed": self.proof(),
            "unexplained": self.unexplained.select(ID).to_dicts(),
            "outputs": [path.as_posix() for path in self.outputs],
        }

    def lines(self) -> Iterator[str]:
        """The comparison in words."""
        for word, record in (("before", self.before), ("after", self.after)):
            named = _named(record)
            run_of = f"run {named['run_id']}, as of {named['as_of']}"
            yield f"{word:6} {run_of}, policy {named['policy']}"
        yield f"differs: {', '.join(self.differs) or 'nothing, both runs have the same inputs'}"
        yield from (visible(f"note: {note}") for note in self.notes)
        yield ""
        yield from grid(self.queues())
        yield ""
        yield from self._moves()
        yield from self._returned()
        proof = self.proof()
        own, moved = proof["own_inputs_same"], proof["own_inputs_same_moved"]
        yield (
            f"{own:,} of {proof['rows']:,} rows have the same evidence, records and place by their "
            f"hashes; {moved:,} of these moved."
        )
        for row in self.unexplained.head(_SHOWN).iter_rows(named=True):
            yield f"UNEXPLAINED {home_words(row)}: it moved, and no input of it has changed"
        yield from (f"wrote {path}" for path in self.outputs)

    def _moves(self) -> Iterator[str]:
        homes = self.moved["property_id"].n_unique()
        yield f"{self.moved.height:,} home-part-measures of {homes:,} homes moved."
        for row in self.causes().iter_rows(named=True):
            yield f"  {row['rows']:,} {row['cause'].replace('_', ' ')} ({row['how']})"
        for row in self.moved.head(_SHOWN).iter_rows(named=True):
            move = f"{row['from_state']} -> {row['to_state']}"
            yield f"  {home_words(row)}: {move}, {visible(row['because'])}"
        if self.moved.height > _SHOWN:
            yield f"  and {self.moved.height - _SHOWN:,} more: see --out or --json"

    def _returned(self) -> Iterator[str]:
        back = self.returned
        if back.height:
            names = ", ".join(map(visible, back["property_id"].unique().sort().head(_SHOWN)))
            yield f"Came back from repair twice: {back['property_id'].n_unique():,} homes ({names})"


def _named(record: Mapping[str, Any]) -> dict[str, Any]:
    policy = record["policy"]
    text = f"{policy['name']} {policy['version']} ({policy['sha256'][:12]})"
    return {"run_id": record["run_id"], "as_of": record["as_of"], "policy": text}


def home_words(row: Mapping[str, Any]) -> str:
    """Home, part and measure of a row, safe to print."""
    return visible(" ".join(str(row[name]) for name in ID))


def grid(table: pl.DataFrame) -> Iterator[str]:
    """A table as aligned text."""
    rows = [table.columns, *([str(cell) for cell in row] for row in table.rows())]
    widths = [max(len(row[place]) for row in rows) for place in range(table.width)]
    for row in rows:
        cells = [row[0].ljust(widths[0])]
        cells += [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        yield "  ".join(cells)
