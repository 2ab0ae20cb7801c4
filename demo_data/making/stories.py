"""Homes composed by hand: full survey rows, and the queue that the rule texts give them."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from making.draw import Stock, column
from making.wording import HERE, read_toml

QUEUES: Final = {
    "safe": "safe-to-insulate",
    "fix": "fix-water-first",
    "review": "specialist-review",
}
EXPECTED: Final = (
    "property_id",
    "building_part",
    "measure_code",
    "expected_queue",
    "expected_lane",
    "main_rule",
    "why",
)


class Stories:
    """The composed homes of one programme, those of one part of its file."""

    def __init__(self, name: str, part: str = "story") -> None:
        data = read_toml(HERE / f"stories_{name}.toml")
        bases = {"": {}, **data.get("bases", {})}
        self.told: list[dict[str, Any]] = data[part]
        self.rows = [
            {**data["base"], **bases[s.get("base", "")], **s.get("set", {})} for s in self.told
        ]

    @property
    def ids(self) -> set[str]:
        return {story["id"] for story in self.told}

    def stock(self) -> Stock:
        """All composed homes as survey rows, in codes."""
        fields = sorted({field for row in self.rows for field in row})
        stock = {field: column(len(self.rows)) for field in fields}
        for position, row in enumerate(self.rows):
            for field, value in row.items():
                stock[field][position] = None if value == "" else value
        stock["property_id"] = np.array([s["id"] for s in self.told], dtype=object)
        stock["measure_code"] = np.array(
            [_proposed(story["expect"]) for story in self.told], dtype=object
        )
        return stock

    def raw(self) -> dict[tuple[str, str], str]:
        """Cells that stand exactly as told, by home and field."""
        return {
            (story["id"], field): text
            for story in self.told
            for field, text in story.get("raw", {}).items()
        }

    def second(self) -> list[dict[str, Any]]:
        """What a second visit of equal grade wrote, by home."""
        return [{"property_id": s["id"], **s["second"]} for s in self.told if "second" in s]

    def expected(self) -> list[dict[str, str]]:
        """The lines of expected_queues.csv."""
        return [
            {
                "property_id": story["id"],
                "building_part": "main",
                "measure_code": told["measure"],
                "expected_queue": QUEUES[told["queue"]],
                "expected_lane": told.get("lane", ""),
                "main_rule": told.get("rule", ""),
                "why": told["why"],
            }
            for story in self.told
            for told in story["expect"]
        ]


def _proposed(expect: list[dict[str, str]]) -> str | None:
    # a foam check is never proposed by hand: every home with foam gets its row
    measures = [told["measure"] for told in expect if told["measure"] != "foam_check"]
    return "; ".join(measures) or None


def write_expected(parts: Sequence[Stories], path: Path) -> None:
    """Write the hand-made expectations as a csv with one line a row."""
    lines = [",".join(EXPECTED)]
    for row in (row for stories in parts for row in stories.expected()):
        lines.append(",".join(_quoted(row[name]) for name in EXPECTED))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if "," in text or '"' in text else text
