"""Tables that the page's script fills, and the choices of its filters."""

from collections.abc import Iterable, Mapping
from typing import Any

from triage.report.labels import QUEUES
from triage.report.page.content import REVIEW, STEPS
from triage.report.page.parts import text

Head = tuple[str, str, str]
"""Words, class (n: numbers, s: shares), what is counted: a column, and rows, homes or a queue."""

_PARTS = "Home-part-measures"
_NOWHERE = "-1"  # chooses what no row has: a queue that is empty in this run
_TITLES = [look.title for look in QUEUES]
_IN_ORDER: dict[str, tuple[str, list[Head]]] = {
    "queues": (
        "Queues: home-part-measures, and homes by their worst queue",
        [("Queue", "", ""), (_PARTS, "s", ""), ("Homes", "s", "")],
    ),
    "lanes": (
        "What each waits for, and on whom",
        [("State", "", ""), (_PARTS, "n", "step rows"), ("Homes", "n", "step homes")],
    ),
    "foam": (
        "Homes by foam on record and worst queue",
        [
            *(("Foam on record", "", ""), ("Homes", "n", "foam homes")),
            *((title, "n", f"foam {queue}") for queue, title in enumerate(_TITLES)),
        ],
    ),
}
_RANKED: dict[str, tuple[str, list[Head]]] = {
    "areas": (
        "Homes by area and worst queue",
        [
            *(("Area", "", ""), ("Homes", "n", "area homes")),
            *((title, "s", f"area {queue}") for queue, title in enumerate(_TITLES)),
        ],
    ),
    "reasons": (
        "Rules by the homes they hold",
        [
            *(("Rule", "", ""), ("Fires: homes", "n", "fired homes")),
            ("Fires: home-part-measures", "n", "fired rows"),
            ("Cannot be decided yet: homes", "n", "undecidable homes"),
        ],
    ),
    "gaps": (
        "Missing answers by the homes that wait for them",
        [
            *(("Missing", "", ""), ("Homes waiting", "n", "asked homes")),
            ("For this alone", "n", "alone homes"),
        ],
    ),
}
_MONTHS: list[Head] = [("Month", "", ""), ("Homes", "n", "ends homes")]


def frames(*, calendar: bool) -> dict[str, str]:
    """The empty tables by their names; `calendar`: whether the run says what ends."""
    ends: tuple[str, list[Head]] = (
        "Safe home-part-measures, by month",
        [*_MONTHS, (_PARTS, "n", "ends rows")],
    )
    if calendar:
        leaving = ("Homes that would leave safe", "n", "leaving homes")
        ends = "Answers that end, by month", [*_MONTHS, ("Answers", "n", "ends rows"), leaving]
    made = {name: _frame(name, *some) for name, some in (_IN_ORDER | {"expiry": ends}).items()}
    made |= {name: _frame(name, *some, ranked=True) for name, some in _RANKED.items()}
    return {f"{name}_table": frame for name, frame in made.items()}


def _frame(box: str, caption: str, heads: list[Head], *, ranked: bool = False) -> str:
    """A table without lines; a ranked one begins with what most homes have."""
    named = {"id": box, "tabindex": 0, "role": "region", "aria-label": caption}
    if any(of for _, _, of in heads):
        named["data-counts"] = "ranked" if ranked else "in order"
    top = "".join(
        f"<th{_attributes({'scope': 'col', 'class': kind, 'data-of': of})}>{text(words)}</th>"
        for words, kind, of in heads
    )
    return (
        f'<div class="scroll"{_attributes(named)}><table><caption>{text(caption)}</caption>'
        f"<thead><tr>{top}</tr></thead><tbody></tbody></table></div>"
    )


def _attributes(named: Mapping[str, object]) -> str:
    return "".join(f' {name}="{text(value)}"' for name, value in named.items() if value != "")


def choices(data: Mapping[str, Any]) -> dict[str, str]:
    """Options of the filters by their names, from what the script reads."""
    rows = data["rows"]
    steps = [(str(code), step) for code, step in enumerate(rows["step"]["words"])]
    of_queue = {
        look.queue: [pair for pair in steps if STEPS.get(pair[1], REVIEW) == look.queue]
        for look in QUEUES
    }
    queues = [
        (",".join(code for code, _ in of_queue[look.queue]) or _NOWHERE, look.title)
        for look in QUEUES
    ]
    # The filter needs no word on whom a lane waits.
    lanes = [(code, step.split(" (")[0]) for code, step in of_queue[REVIEW]]
    return {
        "area_options": _options("All areas", _numbered(data["homes"]["area"])),
        "measure_options": _options("All measures", _numbered(rows["measure_name"])),
        "queue_options": _options("All queues", [*queues, *lanes]),
        "rule_options": _options("All rules", _numbered(rows["fired"])),
        "foam_options": _options("All", _numbered(rows["foam_present"])),
    }


def _numbered(column: Mapping[str, Any]) -> list[tuple[str, str]]:
    return [(str(code), word) for code, word in enumerate(column["words"])]


def _options(everything: str, pairs: Iterable[tuple[str, str]]) -> str:
    lines = [("", everything), *pairs]
    return "".join(f'<option value="{value}">{text(words)}</option>' for value, words in lines)
