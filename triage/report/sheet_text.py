"""Text of surveys as sheets print it: one direction, no steering characters, no endless cells."""

from triage.report.labels import visible

LONGEST = 900  # characters of one line of one cell; the workbook holds the whole text
_CUT = " … (cut; the workbook holds all of it)"


def shown(text: str) -> str:
    """Text line by line without steering characters; a line past the limit is cut and says so.

    Marks that turn the direction of text become U+FFFD, so that nothing reads backwards.
    """
    return "\n".join(_line(line) for line in text.split("\n")[:60])


def _line(line: str) -> str:
    clean = visible(line)
    return clean if len(clean) <= LONGEST else clean[:LONGEST].rstrip() + _CUT
