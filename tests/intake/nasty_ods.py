"""Nasty ods fixtures, written as the XML of the format (OpenDocument 1.3, part 3)."""

import zipfile
from collections.abc import Callable
from pathlib import Path
from xml.sax.saxutils import escape

HEAD = ["property_id", "building_part"]
FILES: dict[str, Callable[[Path], None]] = {}
_COMMENT = "<office:annotation><text:p>or 4</text:p></office:annotation>"
_SPACED = (
    '<table:table-cell office:value-type="string"><text:p>V<text:s text:c="2"/>1</text:p>'
    "<text:p>b</text:p></table:table-cell>"
)
_MIME = "application/vnd.oasis.opendocument.spreadsheet"
_NAMES = " ".join(
    f'xmlns:{name}="urn:oasis:names:tc:opendocument:xmlns:{urn}:1.0"'
    for name, urn in (
        *(("office", "office"), ("table", "table"), ("text", "text"), ("style", "style")),
        *(("number", "datastyle"), ("fo", "xsl-fo-compatible")),
    )
)
_STYLES = (
    '<style:style style:name="red" style:family="table-cell"><style:table-cell-properties '
    'fo:background-color="#ff0000"/></style:style>'
)


def write_ods(path: Path, tables: str, *, manifest: str = "", settings: str = "") -> None:
    """Write a document of these tables."""
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {_NAMES}>'
        f"<office:automatic-styles>{_STYLES}</office:automatic-styles><office:body>"
        f"<office:spreadsheet>{settings}{tables}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    listed = (
        '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{_MIME}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml">'
        f"{manifest}</manifest:file-entry></manifest:manifest>"
    )
    parts = {"mimetype": _MIME, "content.xml": content, "META-INF/manifest.xml": listed}
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0))
            if name != "mimetype":
                entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, text)


def cell(value: object, more: str = "", inner: str = "") -> str:
    """A cell; `more` are further attributes, `inner` what stands beside its text."""
    if value is None:
        return f"<table:table-cell {more}/>"
    kind = (
        f'office:value-type="float" office:value="{value}"'
        if isinstance(value, int | float)
        else 'office:value-type="string"'
    )
    text = escape(str(value))
    return f"<table:table-cell {kind} {more}>{inner}<text:p>{text}</text:p></table:table-cell>"


def row(*values: object, more: str = "") -> str:
    """A row; a text that starts with < is a cell as it stands."""
    cells = "".join(v if isinstance(v, str) and v.startswith("<") else cell(v) for v in values)
    return f"<table:table-row {more}>{cells}</table:table-row>"


def table(*rows: str, name: str = "Roofs", columns: str = "") -> str:
    """A sheet."""
    return f'<table:table table:name="{name}">{columns}{"".join(rows)}</table:table>'


def _file(name: str, *tables: str, **more: str) -> None:
    FILES[name] = lambda path: write_ods(path, "".join(tables), **more)


def _typed(kind: str, told: str, text: str, more: str = "") -> str:
    return (
        f'<table:table-cell office:value-type="{kind}" office:{told} {more}>'
        f"<text:p>{text}</text:p></table:table-cell>"
    )


def _failed(text: str, formula: str) -> str:
    return _typed("string", 'string-value=""', text, f'table:formula="of:={formula}"')


_file(
    "open_repeats.ods",
    table(
        row(*HEAD, "storeys", "gutter_condition"),
        row("H1", "main", cell(2, 'table:number-columns-repeated="1"'), "good"),
        row(more='table:number-rows-repeated="3"'),
        row("H2", "main", 3, "poor", more='table:number-rows-repeated="2"'),
        row("H3", "main", cell(None, 'table:number-columns-repeated="1"'), "fair"),
        row(
            cell(None, 'table:number-columns-repeated="1024"'),
            more='table:number-rows-repeated="1048000"',
        ),
    ),
)  # fmt: skip
_file(
    "open_percents_and_dates.ods",
    table(
        row(*HEAD, "timber_mc_pct", "survey_date"),
        row(
            "H1", "main",
            _typed("percentage", 'value="0.18"', "18%"),
            _typed("date", 'date-value="2026-03-02"', "2 Mar 26"),
        ),
        row("H2", "main", _typed("percentage", 'value="0.075"', "7.5%"), 46_084),
    ),
)  # fmt: skip
_file(
    "open_from_1904.ods",
    table(
        row(*HEAD, "survey_date"),
        row("H1", "main", 44_621),
        row("H2", "main", _typed("date", 'date-value="2026-03-03"', "03/03/26")),
    ),
    settings='<table:calculation-settings><table:null-date table:date-value="1904-01-01"/>'
    "</table:calculation-settings>",
)
_file(
    "open_errors.ods",
    table(
        row(*HEAD, "storeys"),
        row("H1", "main", _failed("#DIV/0!", "1/0")),
        row(_failed("#N/A", "NA()"), "main", 2),
        row("H3", "main", _failed("Err:502", "X()")),
    ),
)  # fmt: skip
_file(
    "open_hidden.ods",
    table(
        row(*HEAD, "storeys"),
        row("H1", "main", 1),
        row("H2", "main", 2, more='table:visibility="collapse"'),
        row("H3", "main", 3, more='table:visibility="filter"'),
        columns='<table:table-column table:number-columns-repeated="2"/>'
        '<table:table-column table:visibility="collapse"/>',
    ),
)
_file(
    "open_looks_and_merges.ods",
    table(
        row(*HEAD, "storeys"),
        row(cell("H1", 'table:number-rows-spanned="2"'), "main", 1),
        row("<table:covered-table-cell/>", "ext1", cell(2, 'table:style-name="red"')),
        row("H2", "main", cell(3, inner=_COMMENT)),
        row("H3", "main", 4),
    ),
)  # fmt: skip
_file(
    "open_spaces.ods",
    table(
        row(*HEAD, "survey_id"),
        row("H1", "main", _SPACED),
        row("  H2 ", "MAIN", "V2"),
    ),
)  # fmt: skip
_file(
    "open_encrypted.ods",
    table(row(*HEAD), row("H1", "main")),
    manifest='<manifest:encryption-data manifest:checksum="x"/>',
)
_file("open_far_cell.ods", table(row(*HEAD), row("H1", "main"), row(
    cell(None, 'table:number-columns-repeated="1500"'), "x")))  # fmt: skip
_file("open_two_sheets.ods", table(row(*HEAD), row("H1", "main"), name="Week 1"), table(
    row("Totals"), row("homes", 1), name="Sums"))  # fmt: skip
_file("open_bare_formulas.ods", table(
    row(*HEAD, "storeys"),
    row("H1", "main", cell(None, 'table:formula="of:=1+1"')),
    row(cell(None, 'table:formula="of:=A2"'), cell(None, 'table:formula="of:=B2"'), None),
))  # fmt: skip
_file("open_groups.ods", table(
    f"<table:table-header-rows>{row(*HEAD, 'storeys')}</table:table-header-rows>",
    f"<table:table-row-group>{row('H1', 'main', 1)}<table:table-row-group>",
    row("H2", "main", 2, more='table:visibility="collapse"'),
    f"</table:table-row-group></table:table-row-group>{row('H3', 'main', 3)}",
))  # fmt: skip
