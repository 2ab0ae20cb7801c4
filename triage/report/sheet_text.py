"""Text of surveys as sheets print it: one direction, no steering characters, no endless cells."""

from triage.report.labels import visible

LONGEST = 900  # characters of one line of one cell; the workbook holds the whole text
LINES = 60  # of one cell
_CUT = " … (cut; the workbook holds all of it)"


def shown(text: str) -> str:
    """Text line by line without steering characters; what is past the limits is cut and said.

    Marks that turn the direction of text become U+FFFD, so that nothing reads backwards.
    """
    lines = text.split("\n")
    kept = [_line(line) for line in lines[:LINES]]
    return "\n".join([*kept, _CUT.strip()] if len(lines) > LINES else kept)


def _line(line: str) -> str:
    clean = visible(line)
    return clean if len(clean) <= LONGEST else clean[:LONGEST].rstrip() + _CUT
