"""Tables that the page's script fills, and the choices of its filters."""

from collections.abc import Iterable, Mapping
from typing import Any

from triage.report.labels import QUEUES
from triage.report.page.content import REVIEW, STEPS
from triage.report.page.parts import text

Head = tuple[str, str, str]
"""Words, class (n: numbers, s: shares), what is counted: a column, and rows, homes or a queue."""

_NOWHERE = "-1"  # chooses what no row has: a queue that is empty in this run


def frames(*, calendar: bool) -> dict[str, str]:
    """The empty tables by their names; `calendar`: whether the run says what ends."""
    titles = [look.title for look in QUEUES]
    expiry: list[Head] = [("Home-part-measures", "n", "ends rows")]
    if calendar:
        expiry = [
            ("Answers", "n", "ends rows"),
            ("Homes that would leave safe", "n", "leaving homes"),
        ]
    made = {
        "queues": _frame(
            "queues",
            "Queues: home-part-measures, and homes by their worst queue",
            [("Queue", "", ""), ("Home-part-measures", "s", ""), ("Homes", "s", "")],
        ),
        "lanes": _frame(
            "lanes",
            "What each waits for, and on whom",
            [
                *(("State", "", ""), ("Home-part-measures", "n", "step rows")),
                ("Homes", "n", "step homes"),
            ],
        ),
        "areas": _frame(
            "areas",
            "Homes by area and worst queue",
            [
                *(("Area", "", ""), ("Homes", "n", "area homes")),
                *((title, "s", f"area {queue}") for queue, title in enumerate(titles)),
            ],
            ranked=True,
        ),
        "reasons": _frame(
            "reasons",
            "Rules by the homes they hold",
            [
                *(("Rule", "", ""), ("Fires: homes", "n", "fired homes")),
                ("Fires: home-part-measures", "n", "fired rows"),
                ("Cannot be decided yet: homes", "n", "undecidable homes"),
            ],
            ranked=True,
        ),
        "gaps": _frame(
            "gaps",
            "Missing answers by the homes that wait for them",
            [
                *(("Missing", "", ""), ("Homes waiting", "n", "asked homes")),
                ("For this alone", "n", "alone homes"),
            ],
            ranked=True,
        ),
        "foam": _frame(
            "foam",
            "Homes by foam on record and worst queue",
            [
                *(("Foam on record", "", ""), ("Homes", "n", "foam homes")),
                *((title, "n", f"foam {queue}") for queue, title in enumerate(titles)),
            ],
        ),
        "expiry": _frame(
            "expiry",
            "Answers that end, by month" if calendar else "Safe home-part-measures, by month",
            [("Month", "", ""), ("Homes", "n", "ends homes"), *expiry],
        ),
    }
    return {f"{name}_table": frame for name, frame in made.items()}


def _frame(box: str, caption: str, heads: Iterable[Head], *, ranked: bool = False) -> str:
    """A table without lines; a ranked one begins with what most homes have."""
    cells = list(heads)
    named = {"id": box, "tabindex": 0, "role": "region", "aria-label": caption}
    if any(of for _, _, of in cells):
        named["data-counts"] = "ranked" if ranked else "in order"
    top = "".join(
        f"<th{_attributes({'scope': 'col', 'class': kind, 'data-of': of})}>{text(words)}</th>"
        for words, kind, of in cells
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
    queues = [
        (
            ",".join(code for code, step in steps if STEPS.get(step, REVIEW) == look.queue)
            or _NOWHERE,
            look.title,
        )
        for look in QUEUES
    ]
    # The filter needs no word on whom a lane waits.
    lanes = [
        (code, step.split(" (")[0]) for code, step in steps if STEPS.get(step, REVIEW) == REVIEW
    ]
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
