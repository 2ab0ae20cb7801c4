"""Names, order, words and looks of queues, lanes and measure groups, the same in every output."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class QueueLook:
    """How one queue is named and drawn.

    The three fills differ by at least 25 points of CIE lightness (81, 50, 20), so that they stay
    apart in grey and for every common colour deficiency; the marker and the hatch repeat it.
    """

    queue: str
    title: str
    meaning: str
    leaves: str
    fill: str
    ink: str  # text or hatch on the fill; contrast of at least 4.5 to 1
    marker: str  # matplotlib marker
    hatch: str


QUEUES: tuple[QueueLook, ...] = (
    QueueLook(
        "safe-to-insulate",
        "Safe to insulate",
        "No rule of this policy version blocks the measure on the evidence held, and every "
        "required rule could be answered.",
        "evidence expires, a new survey changes a rule, the policy changes, or a storm or leak "
        "is reported",
        "#8FD3C4",
        "#111111",
        "o",
        "",
    ),
    QueueLook(
        "fix-water-first",
        "Fix water first",
        "A source of water or trapped moisture has to be put right before the measure.",
        "repairs are verified, readings and a rain event are in, and the rules clear",
        "#182F5C",
        "#FFFFFF",
        "v",
        "",
    ),
    QueueLook(
        "specialist-review",
        "Specialist review",
        "A qualified person must decide, or evidence has to be obtained first.",
        "the decision is recorded, or the evidence arrives and every required rule clears",
        "#A05A85",
        "#FFFFFF",
        "s",
        "////",
    ),
)
LOOK = {look.queue: look for look in QUEUES}
SAFE, FIX, REVIEW = (look.queue for look in QUEUES)
LEFT, ENTERED = "left the stock", "new to the stock"
NOT_JUDGED = "nothing to judge"

# Worst last: what a home or a block shows when its parts differ (fix beats review beats safe).
WORST_ORDER = (SAFE, REVIEW, FIX)

LANES: dict[str, tuple[str, str]] = {
    "technical": ("technical", "specialist: case review"),
    "safety": ("safety", "licensed trade: stop-work instruction"),
    "contradiction": ("contradiction", "surveyor: confirm one fact with a photograph"),
    "expired": ("expired", "surveyor: refresh the named fields only"),
    "evidence_gap": ("evidence gap", "surveyor: visit for the missing fields"),
    "inspection": ("inspection", "inspector: open up at the foam"),
    "repeat_return": ("repeat return", "specialist: second return from repair"),
}

MEASURE_GROUPS: dict[str, str] = {
    "CEIL": "Ceiling / loft",
    "RAFT": "Rafters",
    "EXTR": "Outside of roof",
    "CWI": "Cavity wall",
    "IWI": "Inside of wall",
    "EWI": "Outside of wall",
    "FWI": "Frame wall",
    "FLR": "Floor",
    "AIR": "Air sealing",
    "FOAM": "Foam already there",
}

SURVEY_QUALITIES: dict[str, str] = {
    "thorough": "Thorough survey",
    "typical": "Typical survey",
    "poor": "Poor survey",
}

SAFE_MAY_CLAIM = (
    "On the evidence held at its date, under this policy version, no screening rule blocked this "
    "measure for this part of the building, and the required fields were known well enough."
)
SAFE_MAY_NOT_CLAIM = (
    "It does not say that the building is dry, sound, compliant, insurable or lendable; that a "
    "product or installer is approved; that the design is right; that hidden timber was seen; "
    "that other measures are safe; or that it stays true after the expiry date, a storm, a change "
    "of use, or another thickness or material."
)
LIMITS = (
    "Results come from rules applied to survey records of the stated age and quality. Hidden "
    "parts may differ. Results do not replace inspection, design, licensed trades, local codes or "
    "professional advice. A change of evidence or policy can change a result. This is a screening "
    "result, not a survey, valuation, design or warranty."
)
PRE_START = (
    "Every safe row still needs the check on the day: weather since the survey, a look for leaks, "
    "and a reading at two points."
)


def plain(code: str) -> str:
    """Write a code or field name as words: `evidence_gap` -> `evidence gap`."""
    return code.replace("_", " ")


def visible(text: str) -> str:
    """Text of a survey on one line, without characters that could steer a terminal."""
    shown = (char if char.isprintable() else " " if char.isspace() else "\ufffd" for char in text)
    return "".join(shown)
