"""What the sheet and the letter of a home say, as plain blocks that HTML and PDF both draw."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from triage.report.labels import (
    FIX,
    LOOK,
    PRE_START,
    REVIEW,
    SAFE,
    SAFE_MAY_CLAIM,
    SAFE_MAY_NOT_CLAIM,
)
from triage.report.sheet_words import LETTER_WORDS, SHEET_LIMITS

Row = Mapping[str, Any]
_BLANK = "________________"


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; `strong` for one that must not be missed."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Points:
    """Lines that belong together under a heading."""

    title: str
    lines: tuple[str, ...]
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: its title, headings, rows of text, and the share of the width of each column."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[int, ...]


Block = Words | Points | Grid


@dataclass(frozen=True, slots=True)
class Page:
    """One document about one home, which starts on a page of its own."""

    home: str
    title: str
    lines: tuple[str, ...]
    blocks: tuple[Block, ...]
    foot: str


@dataclass(frozen=True, slots=True)
class Issue:
    """What every order of one run says alike."""

    programme: str
    as_of: date
    stamp: str
    contact: str | None
    rain_mm: int

    @property
    def call(self) -> str:
        """Who to call, or room to write it."""
        return self.contact or f"{_BLANK} (to be filled in before this is handed out)"


def home_sheet(tasks: Sequence[Row], issue: Issue) -> Page:
    """The sheet of one home in one queue, for those who do the work."""
    first = tasks[0]
    look = LOOK[first["queue"]]
    lines = (
        f"Order {first['order']}  ·  area {first['area']}"
        + (f"  ·  building {first['building_id']}" if first["building_id"] else ""),
        f"Evidence as of {issue.as_of}; last survey {_day(first['survey_on'])}; "
        f"evidence good until {_day(first['expires_on'])}",
    )
    blocks = (
        Words(look.meaning),
        *_access(tasks),
        *_stop_work(tasks),
        *_body(tasks, issue),
        *_notes(tasks),
        Points(
            "If anything differs from this sheet",
            (f"Stop, leave it open to view, and call: {issue.call}",),
        ),
        Points("Limits", SHEET_LIMITS),
    )
    return Page(
        first["property_id"], f"{look.title}: {first['property_id']}", lines, blocks, issue.stamp
    )


def _body(tasks: Sequence[Row], issue: Issue) -> tuple[Block, ...]:
    queue = tasks[0]["queue"]
    if queue == FIX:
        return _fix_blocks(tasks, issue)
    return _safe_blocks(tasks) if queue == SAFE else _review_blocks(tasks)


def _day(day: date | None) -> str:
    return "not known" if day is None else day.isoformat()


def _merged(tasks: Sequence[Row], column: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for task in tasks for text in task[column] or ()))


def _stop_work(tasks: Sequence[Row]) -> tuple[Block, ...]:
    flags = _merged(tasks, "stop_work")
    if not flags:
        return (Points("Stop-work flags", ("None on record. Look on the day all the same.",)),)
    return (
        Points(
            "Stop-work flags: no work that disturbs these until a licensed person has cleared them",
            flags,
            strong=True,
        ),
    )


def _access(tasks: Sequence[Row]) -> tuple[Block, ...]:
    """What could not be reached, part by part, and photographs on file."""
    limits = {t["building_part"]: t["access"] or "not recorded" for t in tasks}
    photographs = _merged(tasks, "photographs")
    lines = tuple(f"Could not be reached in {part}: {limit}" for part, limit in limits.items())
    held = f"Photographs on file: {', '.join(photographs) if photographs else 'none named'}"
    return (Points("Access and photographs", (*lines, held)),)


def _notes(tasks: Sequence[Row]) -> tuple[Block, ...]:
    found = (*_merged(tasks, "notes"), *_merged(tasks, "cautions"))
    return (Points("Notes and cautions", found),) if found else ()


def _fix_blocks(tasks: Sequence[Row], issue: Issue) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for number, task in enumerate(tasks, start=1):
        blocks += [
            Grid(
                f"Defect {number}: {task['title'] or task['rule'] or 'see the reason'}",
                ("", ""),
                _defect_rows(task, issue),
                (22, 78),
            )
        ]
    return (
        *blocks,
        _reading_points(tasks),
        _photographs(tasks),
        _completion(len(tasks)),
        Words("* Somebody other than the installer."),
    )


def _defect_rows(task: Row, issue: Issue) -> tuple[tuple[str, ...], ...]:
    days = task["drying_days"]
    rows = [
        ("Order for repair", task["task"]),
        ("Part", str(task["building_part"])),
        ("Elevation, element", task["told_place"] or "not in the surveys: write it here\n"),
        ("What is wrong", task["what"]),
        ("What surveys say", task["where"] or "no single answer: see the reason"),
        ("Repair wanted", task["wanted"]),
        ("Must not be done", "\n".join(task["must_not"]) or "nothing beyond the cautions below"),
        (
            "Evidence wanted",
            "Photographs from before and after, from the same spot; a test by rain or water, with "
            "its day; a reading at the marked points before and after, if timber is near.",
        ),
        (
            "Earliest verification",
            f"{days} days after completion, and after a rain event of {issue.rain_mm} mm in a day "
            f"or a water test. Completed on {issue.as_of}, that is {_day(task['earliest_check'])}.",
        ),
        ("Measures waiting", "\n".join(task["measures"])),
    ]
    if task["hazard_first_on"]:
        rows.append(
            (
                "Hazard first recorded",
                f"{task['hazard_first_on']}: legal time limits may run from that day",
            )
        )
    return tuple(rows)


def _reading_points(tasks: Sequence[Row]) -> Grid:
    count = max(2, len(tasks))
    return Grid(
        "Marked reading points (mark them on the timber or wall, and read the same spots again)",
        ("Point", "Where it is", "Before", "Date", "After", "Date"),
        tuple((f"P{n}", "\n", "", "", "", "") for n in range(1, count + 1)),
        (9, 43, 12, 12, 12, 12),
    )


def _completion(defects: int) -> Grid:
    return Grid(
        "Completion",
        ("For", "Completed on", "By (code)", "Test: rain, hose, flood", "Rain mm", "Verified by *"),
        tuple((f"Defect {n}", "\n", "", "", "", "") for n in range(1, defects + 1)),
        (14, 18, 16, 22, 12, 18),
    )


def _photographs(tasks: Sequence[Row]) -> Grid:
    names = [(f"Defect {n}", t["task"]) for n, t in enumerate(tasks, start=1)]
    return Grid(
        "Photographs (write the file name or number)",
        ("For", "Order", "Before", "After", "From where"),
        tuple((what, order, "\n", "", "") for what, order in names),
        (14, 26, 20, 20, 20),
    )


def _safe_blocks(tasks: Sequence[Row]) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for task in tasks:
        rows = (
            ("Part", str(task["building_part"])),
            ("Judged for", task["judged_for"] or "material and thickness not stated in the survey"),
            (
                "Standing",
                "released" if task["released"] else "not released: checks are outstanding",
            ),
            ("What this says", task["what"]),
            ("Checks before start", _listed(task["checks"], "the check on the day")),
            ("Enabling work first", _listed(task["enabling"], "none on record")),
            (
                "Keep",
                "Vents open; gaps and air paths as found; extract fans running to the outside.",
            ),
            (
                "Evidence good until",
                f"{_day(task['expires_on'])}; a storm, a leak or a change of use ends it sooner",
            ),
        )
        blocks.append(Grid(str(task["measure"]), ("", ""), rows, (22, 78)))
    day = Grid(
        "Check on the day, before start",
        (
            "Weather since the survey",
            "Looked for leaks (where)",
            "Reading 1",
            "Reading 2",
            "By, date",
        ),
        (("\n", "", "", "", ""),),
        (24, 28, 14, 14, 20),
    )
    photos = Grid(
        "Photographs (write the file name or number)",
        ("Before start", "Reading points", "Vents and gaps kept", "Finished work"),
        (("\n", "", "", ""),),
        (25, 25, 25, 25),
    )
    claim = Points("What safe means here", (SAFE_MAY_CLAIM, SAFE_MAY_NOT_CLAIM))
    return (*blocks, Words(PRE_START, strong=True), day, photos, claim)


def _listed(lines: Sequence[str] | None, none: str) -> str:
    return "\n".join(lines) if lines else none


def _review_blocks(tasks: Sequence[Row]) -> tuple[Block, ...]:
    blocks: list[Block] = []
    for task in tasks:
        rows = [
            ("Part", str(task["building_part"])),
            ("Who acts", task["who"] or "specialist"),
            ("Question", task["what"]),
            ("What fired", _listed(task["fired_words"], "nothing")),
            ("Cannot be decided yet", _listed(task["open_words"], "nothing")),
            ("Evidence wanted", _listed(task["evidence_words"], "see the next action")),
            ("Computed figures", _listed(task["figures"], "none apply")),
            ("Conflicting records", _listed(task["conflict_notes"], "none")),
            ("Next action", task["next_action"]),
            (
                "Climate",
                f"zone {task['zone'] or 'not known'}; "
                f"rain exposure {task['exposure'] or 'not known'}",
            ),
            (
                "Must not be done",
                "Do not start the measure, and do not close up what has to be seen.",
            ),
        ]
        blocks.append(Grid(str(task["measure"]), ("", ""), tuple(rows), (22, 78)))
    answer = Grid(
        "Answer",
        (
            "Decision or finding",
            "On what evidence, photographs",
            "Conditions, until when",
            "By, date",
        ),
        (("\n\n", "", "", ""),),
        (30, 28, 24, 18),
    )
    return (*blocks, answer)


def letter(rows: Sequence[Row], issue: Issue) -> Page:
    """A letter for the resident: plain words, no rule ids, nothing that alarms, who to call."""
    home = rows[0]["property_id"]
    blocks: list[Block] = [Words("Dear resident,"), Words(LETTER_WORDS["opening"])]
    for queue in (FIX, REVIEW, SAFE):
        names = tuple(dict.fromkeys(str(r["measure"]) for r in rows if r["queue"] == queue))
        if names:
            blocks += [Points(LETTER_WORDS[f"{queue} title"], names), Words(LETTER_WORDS[queue])]
    if _merged(rows, "stop_work"):
        blocks.append(Words(LETTER_WORDS["leave"]))
    blocks += [
        Words(LETTER_WORDS["not you"]),
        Words(LETTER_WORDS["limits"]),
        Points("Who to call", (issue.call, LETTER_WORDS["urgent"])),
        Words(issue.programme),
    ]
    lines = (f"Home {home}", f"Records as of {issue.as_of}")
    return Page(home, "About the plans for your home", lines, tuple(blocks), issue.programme)
