"""Puts recorded rows on a team's form: order of columns, words, slips of the keyboard."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from making.draw import Stock, column
from making.stories import Stories
from making.survey import UNSEEN, guess, unseen_word
from making.teams import Habits
from making.wording import Cell, Words, cells, headings, read_toml

Row = list[Cell]
# The forms in which the composed homes were first surveyed.
FULL_FORMS = {"1_fabric_survey", "1_energy_audit"}


@dataclass(frozen=True)
class Form:
    """One team's form, as its source profile describes it."""

    stem: str
    profile: dict[str, Any]
    words: Words
    habits: Habits

    @classmethod
    def load(cls, folder: Path, stem: str, lists: dict[str, str], habits: Habits) -> "Form":
        profile = read_toml(folder / "profiles" / f"{stem}.toml")
        return cls(stem, profile, Words(profile, stem, lists), habits)

    @property
    def titles(self) -> list[str]:
        return [heading.text for heading in headings(self.profile)]

    @property
    def ignored(self) -> list[str]:
        return list(self.profile.get("ignore", {}).get("headings", []))

    def position(self, field: str) -> int:
        fields = [heading.field for heading in headings(self.profile)]
        return fields.index(field)


def join(stock: Stock, more: Stock) -> Stock:
    """Rows of both; a field that one of them lacks is empty there."""
    sizes = len(stock["property_id"]), len(more["property_id"])
    joined = {}
    for field in sorted({*stock, *more}):
        parts = [table.get(field, column(n)) for table, n in zip((stock, more), sizes, strict=True)]
        joined[field] = np.concatenate([part.astype(object) for part in parts])
    return joined


def fill(rng: np.random.Generator, form: Form, rows: Stock, stories: Stories | None) -> list[Row]:
    """The cells of a form. Composed homes get no slips, and their told cells stand as told."""
    ids = list(rows["property_id"])
    composed = stories.ids if stories else set()
    exact = stories.raw() if stories and form.stem in FULL_FORMS else {}
    table = []
    for heading in headings(form.profile):
        values = rows.get(heading.field, column(len(ids)))
        missing = values == UNSEEN
        typed = cells(rng, heading, np.where(missing, None, values), form.words)
        finished = [
            unseen_word(rng, heading.field, form.habits)
            if unseen
            else cell
            if home in composed
            else guess(rng, heading.field, cell, form.habits)
            for home, cell, unseen in zip(ids, typed, missing, strict=True)
        ]
        named = zip(ids, finished, strict=True)
        table.append([exact.get((home, heading.field), cell) for home, cell in named])
    return [list(row) for row in zip(*table, strict=True)]
