"""Which order of day, month and year the cells prove, if any."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.contract import Field
from triage.contract.profile import DATE_ORDERS
from triage.intake.dates import DateRules, read_date
from triage.intake.draft_seen import Seen

_THREE_NUMBERS = r"^\s*\d{1,2}[-/. ]\d{1,2}[-/. ](?:\d{4}|\d{2})(?:\D.*)?$"
_MOST_TEXTS = 20_000  # different dates of a column; more than one a day for 50 years
_EXAMPLES = 3


@dataclass(frozen=True, slots=True)
class DateProof:
    """What the dates of the files prove.

    `order` is the one order in which every date can be read, None if there is none or more than
    one. `cells` counts dates of three numbers, whose order matters; `against` is order -> cells
    that it cannot read although another order can; `examples` is order -> such cells.
    `is_contradictory`: no order reads them all.
    """

    order: str | None
    cells: int
    against: Mapping[str, int]
    examples: Mapping[str, tuple[str, ...]]
    is_contradictory: bool


def prove_order(columns: Sequence[tuple[Seen, Field]], as_of: date) -> DateProof:
    """Look at every date of these columns, not at a sample: one cell may contradict a thousand."""
    against = dict.fromkeys(DATE_ORDERS, 0)
    examples: dict[str, list[str]] = {order: [] for order in DATE_ORDERS}
    cells = 0
    for seen, field in columns:
        for text, count in _dates(seen):
            good = [order for order in DATE_ORDERS if _reads(text, order, field, as_of)]
            if not good:
                continue  # a slip in every order: intake refuses the cell
            cells += count
            for order in DATE_ORDERS:
                if order not in good:
                    against[order] += count
                    examples[order].append(text)
    left = [order for order in DATE_ORDERS if not against[order]]
    proved = left[0] if cells and len(left) == 1 else None
    few = {name: tuple(texts[:_EXAMPLES]) for name, texts in examples.items()}
    return DateProof(proved, cells, against, few, is_contradictory=bool(cells) and not left)


def _dates(seen: Seen) -> list[tuple[str, int]]:
    if not seen.series:
        return []
    texts = pl.concat(seen.series).drop_nulls()
    counts = texts.filter(texts.str.contains(_THREE_NUMBERS)).value_counts(name="cells")
    ordered = counts.sort("cells", "text", descending=[True, False]).head(_MOST_TEXTS)
    return list(ordered.iter_rows())


def _reads(text: str, order: str, field: Field, as_of: date) -> bool:
    # The whole year: that a day is still to come is a slip, and proves nothing about the order.
    latest = date(as_of.year, 12, 31) if field.until_as_of else date.max
    rules = DateRules(latest=latest, order=order, earliest=field.earliest)
    return read_date(text, rules).value is not None
