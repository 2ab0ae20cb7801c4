"""The figure of the water that a build-up holds month by month, before and after a measure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from triage.report.build_up_facts import MONTHS
from triage.report.build_up_section import VAPOUR
from triage.report.build_up_text import same_state, verdict_words
from triage.report.document import Figure, Look, Year

Entry = Mapping[str, Any]
_BEFORE: Look = ("Before the measure", "#9A9A95", "////")
_AFTER: Look = ("After the measure", VAPOUR, "")
_BOTH: Look = ("Before and after: the measure adds no layer", VAPOUR, "")
_LAYERS, _TITLE = 9, 32  # layers that are named; characters of a name that is told whole


@dataclass(frozen=True, slots=True)
class YearWords:
    """Which case it is: `covers` says how many homes, `limit` what the rules ask."""

    measure: str
    covers: str
    climate: str
    limit: tuple[float, str] | None
    notes: tuple[str, ...] = ()


def year_figure(before: Entry | None, after: Entry, words: YearWords) -> Figure:
    """Draw the water of a year.

    Parameters
    ----------
    before, after
        States of a build-up as `build_up_facts` gives them; `after` has months, and the monthly
        method can judge it. Where it cannot judge the state before, that state is not drawn.
    words
        What is said of the case.
    """
    shown = _states(before, after)
    first = start_month([s for _, s in shown])
    order = [(first + step) % len(MONTHS) for step in range(len(MONTHS))]
    states = tuple(
        (look[0], tuple(float(s["months"][m]["condensate_g_m2"]) for m in order))
        for look, s in shown
    )
    months = tuple(MONTHS[m] for m in order)
    unit = (
        "Water held in the build-up at the end of each month [g/m²], from the month in which it "
        f"starts to condense. {words.covers} Climate {words.climate}; inside: {after['indoor']}."
    )
    notes = (*words.notes, *_why_not(before, shown), _layers(after))
    return Figure(
        "condensate_year",
        f"{words.measure}: {_lower(verdict_words(after))}",
        unit,
        _alt(months, states),
        (Year(months, states, "g/m²", words.limit),),
        tuple(look for look, _ in shown),
        note=" ".join(note for note in notes if note),
    )


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _states(before: Entry | None, after: Entry) -> list[tuple[Look, Entry]]:
    if before and before["months"] and not before["method_invalid_because"]:
        if same_state(before, after):
            return [(_BOTH, after)]
        return [(_BEFORE, before), (_AFTER, after)]
    return [(_AFTER, after)]


def start_month(states: Sequence[Entry]) -> int:
    """Month, 0 to 11, in which the year of the wettest state begins.

    A store that is empty at some time begins in the first wet month after it; one that builds up
    ends its year with what is left, so the month after that one begins it.
    """
    values = max(
        ([month["condensate_g_m2"] for month in s["months"]] for s in reversed(states)), key=max
    )
    state = next(s for s in states if [month["condensate_g_m2"] for month in s["months"]] == values)
    count = len(values)
    left = state["residual_g_m2"] or 0.0
    if left > 0:
        ends = min(range(count), key=lambda m: (abs(values[m] - left), values[(m + 1) % count]))
        return (ends + 1) % count
    if max(values) <= 0:
        return 0
    low = min(values)
    starts = [m for m in range(count) if values[m] > low and values[m - 1] <= low]
    return starts[0]


def _why_not(before: Entry | None, shown: list[tuple[Look, Entry]]) -> tuple[str, ...]:
    if len(shown) > 1 or shown[0][0] is _BOTH:
        return ()
    why = "it could not be drawn up"
    if before and before["method_invalid_because"]:
        why = f"the monthly method cannot judge it: {before['method_invalid_because']}"
    return (f"Before the measure is not drawn, since {why}.",)


def _layers(after: Entry) -> str:
    told = [
        _short(layer["title"]) + (f" {layer['thickness_mm']:g} mm" if layer["thickness_mm"] else "")
        for layer in after["layers"]
    ]
    more = f", and {len(told) - _LAYERS} more" if len(told) > _LAYERS else ""
    tried = f" It is the worst of {after['alternatives']}." if after["alternatives"] else ""
    return f"Layers after the measure from outside: {', '.join(told[:_LAYERS])}{more}.{tried}"


def _short(title: str) -> str:
    title = title.split(";", maxsplit=1)[0]  # what follows explains a value
    return title if len(title) <= _TITLE else title.split(",", maxsplit=1)[0]


def _alt(months: Sequence[str], states: Sequence[tuple[str, tuple[float, ...]]]) -> str:
    told = []
    for name, values in states:
        if max(values) <= 0:
            told.append(f"{name}: none in any month.")
            continue
        each = ", ".join(
            f"{month} {value:,.0f}" for month, value in zip(months, values, strict=True)
        )
        told.append(f"{name}: {each} g/m².")
    return " ".join(told)
