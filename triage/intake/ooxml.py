"""What an xlsx file says beside its cell values: hidden rows, percent formats, merged cells.

The cell reader gives values only. A value shown as 18% is stored as 0.18, a formula that was
never calculated has no value at all, and a hidden row looks like any other: each would change
a survey silently, so the sheet's own XML is searched for them. The search is by byte patterns,
because a full parse of a large sheet costs more than reading it.
"""

import re
import zipfile
from collections.abc import Iterator
from itertools import islice
from pathlib import Path, PurePosixPath
from xml.etree import ElementTree

import polars as pl

from triage.errors import FileError, Place
from triage.intake.limits import Limits
from triage.intake.sheets import Note, column_index, letters
from triage.intake.shown import Form, write_formulas, write_shown
from triage.intake.styles import Styles, pattern_of

# The usual and the strict form of the format (ECMA-376 parts 4 and 1).
_RELATIONS = (
    "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id",
    "{http://purl.oclc.org/ooxml/officeDocument/relationships}id",
)
_MOST_LOOKS = 100_000  # cells looked at for their colour: enough to say that there are some
_COUNTED_PARTS = frozenset({"xl/sharedStrings.xml", "xl/styles.xml"})
# How many texts there are, each at least a byte. `count` says how often they are used: more often
# than the part has bytes in any large survey with few words.
_COUNT = re.compile(rb'(?:uniqueCount|cellXfs count|numFmts count)="(\d+)"')
_HEAD = 1 << 20  # the counts of shared texts stand at the start, and formats are few
_PREFIXED = re.compile(rb"<(\w+):worksheet\b")
_CELL = re.compile(rb"<c\b[^>]*>")
_ROW_OR_CELL = re.compile(rb"<(row|c)\b[^>]*>")
_PLACE = re.compile(rb"\br=[\"']([A-Z]*)(\d+)[\"']")
_HIDDEN = re.compile(rb'\bhidden="(?:1|true)"')
_ROW = re.compile(rb"<row\b[^>]*>")
_ROW_NUMBER = re.compile(rb'\br="(\d+)"')
_COLUMN = re.compile(rb"<col\b[^>]*>")
_MERGED = re.compile(rb'<mergeCell\b[^>]*\bref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')
_TWO_LETTER_COLUMNS = 702
_WIDE_CELL = re.compile(rb'r="([A-Z]{2,3})[0-9]')
_FAR_CELL = re.compile(rb'r="([A-Z]{3})\d+"')
_CELL_PLACE = re.compile(rb'\br="([A-Z]+)(\d+)"')
_CELL_TYPE = re.compile(rb'\bt="(?!n")')
_BARE_FORMULA = re.compile(
    rb'<c\b(?![^>]*\bt="str")[^>]*\br="([A-Z]+)(\d+)"[^>]*>\s*<f\b(?:[^>]*/>|[^>]*>[^<]*</f>)'
    rb"\s*(?:<v\s*/>|<v></v>)?\s*</c>"
)  # a calculated formula that gives "" says that it is a text


class XlsxParts:
    """The parts of one open xlsx archive, by sheet name."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self._names = set(archive.namelist())
        self._paths = self._sheet_paths()
        styles = "xl/styles.xml"
        self._styles = Styles(archive.read(styles) if styles in self._names else None)

    @property
    def is_1904(self) -> bool:
        """Whether the workbook counts its days from 1904."""
        book = self._archive.read("xl/workbook.xml")
        return re.search(rb'\bdate1904="(?:1|true)"', book) is not None

    def sheet_xml(self, sheet: str) -> bytes:
        """XML of one sheet; empty for a chart sheet, which has no cells."""
        path = self._paths.get(sheet, "")
        return plain_tags(self._archive.read(path)) if path in self._names else b""

    def notes(self, sheet: str, xml: bytes) -> list[Note]:
        """Hidden rows and columns, merged cells and comments of a sheet."""
        found = [*_hidden_rows(xml), *_hidden_columns(xml), *_merged_cells(xml)]
        comments = self._comment_count(sheet)
        if comments:
            message = f"{comments} cell comments are not read; put what they say into cells"
            found.append(Note("comment_not_read", message))
        return found

    def show_formats(self, cells: pl.DataFrame, xml: bytes) -> pl.DataFrame:
        """Write numbers as the sheet shows them: 0.18 as 18%, 4 as 4 in, 42 as 0042.

        A formula that was never calculated is written as one, not left blank.
        """
        cells = write_formulas(cells, _bare_formulas(xml))
        forms = self._styles.forms
        if not forms:
            return cells
        places: dict[tuple[str, Form], list[int]] = {}
        for style, cell in _cells_of_style(xml, pattern_of(forms)):
            place = _CELL_PLACE.search(cell)
            if place is not None and not _CELL_TYPE.search(cell):
                at = (place[1].decode(), forms[style])
                places.setdefault(at, []).append(int(place[2]) - 1)
        return write_shown(cells, places)

    def looks(self, xml: bytes) -> dict[str, set[int]]:
        """How cells look -> their rows: colours, and what is struck out."""
        looks = self._styles.looks
        found: dict[str, set[int]] = {}
        if not looks:
            return found
        for style, cell in islice(_cells_of_style(xml, pattern_of(looks)), _MOST_LOOKS):
            place = _CELL_PLACE.search(cell)
            if place is not None:
                found.setdefault(looks[style], set()).add(int(place[2]))
        return found

    def _sheet_paths(self) -> dict[str, str]:
        targets = self._targets("xl/_rels/workbook.xml.rels", "xl")
        book = ElementTree.fromstring(self._archive.read("xl/workbook.xml"))
        return {
            sheet.get("name", ""): targets.get(_first(sheet, _RELATIONS), ("", ""))[1]
            for sheet in book.iterfind(".//{*}sheet")
        }

    def _targets(self, relations: str, base: str) -> dict[str, tuple[str, str]]:
        """Relation id -> (kind, path inside the archive)."""
        if relations not in self._names:
            return {}
        root = ElementTree.fromstring(self._archive.read(relations))
        return {
            entry.get("Id", ""): (
                entry.get("Type", "").rsplit("/", 1)[-1],
                _resolve(base, entry.get("Target", "")),
            )
            for entry in root
        }

    def _comment_count(self, sheet: str) -> int:
        path = PurePosixPath(self._paths.get(sheet, ""))
        relations = f"{path.parent}/_rels/{path.name}.rels"
        return sum(
            len(re.findall(rb"<comment\b", self._archive.read(target)))
            for kind, target in self._targets(relations, str(path.parent)).values()
            if kind == "comments" and target in self._names
        )


def refuse_false_counts(path: Path, shown: str) -> None:
    """Refuse a workbook that states more shared texts or formats than its parts can hold.

    The reader sets memory aside for the stated number, and the process would end without a word.

    Raises
    ------
    FileError
        If a stated number is larger than the part in bytes.
    """
    with zipfile.ZipFile(path) as archive:
        for part in archive.infolist():
            if part.filename not in _COUNTED_PARTS:
                continue
            with archive.open(part) as stream:
                stated = _COUNT.findall(stream.read(_HEAD))
            if any(int(number) > part.file_size for number in stated):
                what = f"the file is damaged: {part.filename} states a size beyond its own"
                raise FileError(what, shown, "open it in a spreadsheet program and save it again")


def refuse_far_cells(xml: bytes, where: Place, limits: Limits) -> None:
    """Refuse a sheet with a cell so far out that a table up to it would fill the memory.

    The reader makes a full table up to the last cell, before anything can be counted.

    Raises
    ------
    FileError
        If a cell lies beyond the column limit, or the table would have too many cells.
    """
    far = max((column_index(m[1].decode()) for m in _FAR_CELL.finditer(xml)), default=0)
    fix = "delete the stray cell; a survey has none so far out"
    if far >= limits.columns:
        what = f"a cell stands in column {letters(far)}, beyond {limits.columns} columns"
        raise FileError(what, where, fix)
    last = _ROW_NUMBER.search(xml, max(xml.rfind(b"<row "), 0))
    height = int(last[1]) if last is not None else 0
    if height * _TWO_LETTER_COLUMNS <= limits.cells:
        return
    wide = max((column_index(m.decode()) for m in set(_WIDE_CELL.findall(xml))), default=25)
    if height * (wide + 1) > limits.cells:
        what = f"the sheet reaches to {letters(wide)}{height}, more than {limits.cells:,} cells"
        raise FileError(what, where, fix)


def _resolve(base: str, target: str) -> str:
    if target.startswith("/"):
        return target[1:]
    parts: list[str] = []
    for part in (*PurePosixPath(base).parts, *PurePosixPath(target).parts):
        if part == "..":
            parts = parts[:-1]
        elif part != ".":
            parts.append(part)
    return "/".join(parts)


def _first(element: ElementTree.Element, names: tuple[str, ...]) -> str:
    return next((element.attrib[name] for name in names if name in element.attrib), "")


def plain_tags(xml: bytes) -> bytes:
    """The XML of a sheet with the tags that the patterns look for, whoever wrote it.

    Some programs put a prefix before every name, or leave the place of a cell out, because it
    is the next one.
    """
    prefixed = _PREFIXED.search(xml, 0, 4096)
    if prefixed is not None:
        xml = re.sub(rb"<(/?)" + prefixed[1] + rb":", rb"<\1", xml)
    first = _CELL.search(xml)
    if first is None or b' r="' in first[0]:
        return xml
    row = column = 0

    def placed(tag: re.Match[bytes]) -> bytes:
        nonlocal row, column
        told = _PLACE.search(tag[0])
        is_row = tag[1] == b"row"
        if is_row:
            row, column = (int(told[2]) if told is not None else row + 1), 0
        else:
            column = column_index(told[1].decode()) + 1 if told is not None else column + 1
        if told is not None:
            return tag[0].replace(b"'", b'"')
        place = str(row) if is_row else f"{letters(column - 1)}{row}"
        return (
            b"<" + tag[1] + f' r="{place}"'.encode() + tag[0][1 + len(tag[1]) :].replace(b"'", b'"')
        )

    return _ROW_OR_CELL.sub(placed, xml)


def _cells_of_style(xml: bytes, pattern: re.Pattern[bytes]) -> Iterator[tuple[int, bytes]]:
    """Format and tag of the cells with one of these formats; the time goes with their number."""
    for style in pattern.finditer(xml):
        start, end = xml.rfind(b"<", 0, style.start()), xml.find(b">", style.end())
        if xml.startswith(b"<c ", start):
            yield int(style[1]), xml[start:end]


def _hidden_rows(xml: bytes) -> Iterator[Note]:
    # A plain search decides for nearly every sheet; the pattern takes six times as long.
    if xml.find(b'hidden="', max(xml.find(b"<sheetData"), 0)) < 0:
        return
    for tag in _ROW.finditer(xml):
        number = _ROW_NUMBER.search(tag[0])
        if number is not None and _HIDDEN.search(tag[0]):
            yield Note("hidden_row", "this row is hidden in the sheet; it is read", int(number[1]))


def _hidden_columns(xml: bytes) -> Iterator[Note]:
    for tag in _COLUMN.finditer(xml, 0, max(xml.find(b"<sheetData"), 0)):
        bounds = re.search(rb'\bmin="(\d+)"', tag[0]), re.search(rb'\bmax="(\d+)"', tag[0])
        if bounds[0] is None or bounds[1] is None or not _HIDDEN.search(tag[0]):
            continue
        first, last = int(bounds[0][1]) - 1, min(int(bounds[1][1]) - 1, 16_383)
        span = letters(first) if first == last else f"{letters(first)}:{letters(last)}"
        yield Note("hidden_column", "hidden in the sheet; it is read", column=span)


def _merged_cells(xml: bytes) -> Iterator[Note]:
    for left, top, right, bottom in _MERGED.findall(xml, max(xml.rfind(b"</sheetData>"), 0)):
        if int(bottom) > int(top):
            span = f"{left.decode()}{int(top)}:{right.decode()}{int(bottom)}"
            message = f"{span} is one merged cell; only row {int(top)} holds its value"
            yield Note("merged_cells", message, int(top), left.decode(), span)


def _bare_formulas(xml: bytes) -> Iterator[tuple[str, int]]:
    if b"<f" not in xml:
        return
    for column, row in _BARE_FORMULA.findall(xml):
        yield column.decode(), int(row) - 1
