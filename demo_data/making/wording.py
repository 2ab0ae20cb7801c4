"""Turns codes and values into the cells that people type."""

import tomllib
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, Final

import numpy as np

from making.draw import Column

HERE: Final = Path(__file__).parent
R_SI: Final = 0.1761  # m2K/W of one R
K_LOOSE: Final = 0.044  # W/mK of loose fill, as the profiles declare
Cell = str | float | int | date | None


@dataclass(frozen=True)
class Heading:
    """One column of a form: what it is called, what it holds and in which unit."""

    text: str
    field: str
    unit: str | None


def read_toml(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return tomllib.load(file)


def headings(profile: dict[str, Any]) -> list[Heading]:
    """The columns of a form, in the order in which its profile names them."""
    found = []
    for text, mapped in profile["columns"].items():
        entry = {"field": mapped} if isinstance(mapped, str) else mapped
        found.append(Heading(text, entry["field"], entry.get("unit")))
    return found


class Words:
    """The words of one team: the common ones, those of its form, those of its profile."""

    def __init__(self, profile: dict[str, Any], stem: str, lists: dict[str, str]) -> None:
        common = read_toml(HERE / "words.toml")
        own = common["forms"].get(stem, {})
        self.common = {name: {**words, **own.get(name, {})} for name, words in common.items()}
        self.own: dict[str, dict[str, list[str]]] = {}
        for field, spellings in profile.get("spellings", {}).items():
            for word, code in spellings.items():
                self.own.setdefault(field, {}).setdefault(code, []).append(word)
        self.lists = lists

    def of(self, field: str, code: str) -> list[str]:
        own = self.own.get(field, {}).get(code)
        if own:
            return own
        name = field if field in self.common else self.lists.get(field, field)
        return list(self.common[name][code])

    def knows(self, field: str) -> bool:
        return self.lists.get(field, field) in self.common


def cells(rng: np.random.Generator, heading: Heading, values: Column, words: Words) -> list[Cell]:
    """One column of a form as typed; None stays an empty cell."""
    if words.knows(heading.field):
        return [_coded(rng, heading.field, value, words) for value in values]
    if heading.unit:
        return [_quantity(rng, heading, value) for value in values]
    return [_plain(heading.field, value) for value in values]


def _coded(rng: np.random.Generator, field: str, value: object, words: Words) -> Cell:
    if value is None:
        return None
    typed = []
    for code in str(value).split("; "):
        choices = words.of(field, code)
        # the first word is the commonest; the others share what is left
        typed.append(choices[0] if rng.random() < 0.6 else choices[rng.integers(len(choices))])
    text = "; ".join(typed)
    habit = rng.random()
    if habit < 0.03:
        return text + " "
    if habit < 0.06 and len(text) > 2:
        return text.upper() if habit < 0.045 else text.lower()
    return text


def _quantity(rng: np.random.Generator, heading: Heading, value: Any) -> Cell:  # noqa: ANN401
    if value is None:
        return None
    habit = rng.random()
    match heading.unit:
        case "mm":
            number = round(value)
            return number if habit < 0.8 else f"{number}mm" if habit < 0.9 else f"{number} mm"
        case "in":
            number = round(value / 25.4 * 2) / 2
            return number if habit < 0.3 else f'{number:g}"' if habit < 0.8 else f"{number:g} in"
        case "R":
            number = round(value / 1000 / K_LOOSE / R_SI)
            return number if habit < 0.2 else f"R-{number}" if habit < 0.7 else f"R{number}"
        case "degrees":
            return value if habit < 0.8 else f"{value}°"
        case "ft2":
            number = round(value * 10.7639)
            return number if habit < 0.8 else f"{number} sq ft"
        case "degF":
            number = round(value * 1.8 + 32)
            return number if habit < 0.3 else f"{number}F"
        case "lb/ft3":
            number = round(value / 16.02 * 2) / 2
            return number if habit < 0.3 else f"{number:g} pcf"
        case "kg/m3":
            return value if habit < 0.6 else f"{value} kg/m3"
        case "%":
            return value if habit < 0.7 else f"{value:g}%"
        case _:
            return value


def _plain(field: str, value: Any) -> Cell:  # noqa: ANN401
    if field == "roof_pitch_deg" and value is not None:
        return f"{12 * float(np.tan(np.radians(value))):.2g}:12"
    if field == "vent_free_area_ratio" and value is not None:
        return f"1/{value}"
    if isinstance(value, np.generic):
        return value.item()
    return value
