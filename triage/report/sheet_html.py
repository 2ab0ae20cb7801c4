"""Sheets and letters as one HTML file each: no script, nothing loaded, ready to print."""

from html import escape

from triage.report.home_sheet import Block, Grid, Page, Points, Words
from triage.report.sheet_text import shown

_STYLE = """
@page { size: A4; margin: 16mm }
body { font: 11pt/1.45 "DejaVu Sans", Arial, sans-serif; color: #1a1a1a; max-width: 46rem;
  margin: 1.5rem auto; padding: 0 1rem }
h1 { font-size: 1.5rem; color: #182f5c; overflow-wrap: anywhere; margin: 0 0 .3rem }
h2 { font-size: 1rem; margin: 1.1rem 0 .3rem; break-after: avoid }
p, ul { margin: .35rem 0 } p.id { color: #4a4a46; margin: 0; font-size: .9rem }
table { border-collapse: collapse; width: 100%; table-layout: fixed }
thead { display: table-header-group } tr { break-inside: avoid }
th, td { border: 1px solid #b9b9b4; padding: .25rem .4rem; text-align: left; vertical-align: top;
  overflow-wrap: anywhere; white-space: pre-line; font-size: .86rem }
th { background: #f3f3ef } .strong { font-weight: bold }
th { hyphens: auto }
@media (max-width: 32rem) { table.named :is(tbody, tr, th, td) { display: block }
  table.named { display: block } table.named colgroup { display: none } }
.box { border: 2px solid #1a1a1a; padding: .1rem .8rem .5rem; margin-top: .8rem }
footer { margin-top: 1.4rem; border-top: 1px solid #b9b9b4; font-size: .75rem; color: #4a4a46;
  overflow-wrap: anywhere }
"""


def page_html(page: Page) -> str:
    """The whole file; every text of a survey is escaped, directions cannot leak out of it."""
    parts = [
        f"<h1><bdi>{_text(page.title)}</bdi></h1>",
        *(f'<p class="id"><bdi>{_text(line)}</bdi></p>' for line in page.lines),
        *(_block(block) for block in page.blocks),
        f"<footer>{_text(page.foot)}</footer>",
    ]
    head = (
        '<meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'\">"
        f"<title>{_text(page.title)}</title><style>{_STYLE}</style>"
    )
    body = "\n".join(parts)
    return f'<!doctype html>\n<html lang="en"><head>{head}</head>\n<body>\n{body}\n</body></html>\n'


def _text(text: str) -> str:
    return escape(shown(text))


def _block(block: Block) -> str:
    if isinstance(block, Words):
        return f"<p{_strong(block.strong)}>{_text(block.text)}</p>"
    if isinstance(block, Points):
        lines = "".join(f"<li><bdi>{_text(line)}</bdi></li>" for line in block.lines)
        box = ' class="box strong"' if block.strong else ""
        return f"<section{box}><h2>{_text(block.title)}</h2><ul>{lines}</ul></section>"
    return _grid(block)


def _strong(strong: bool) -> str:
    return ' class="strong"' if strong else ""


def _grid(grid: Grid) -> str:
    widths = "".join(f'<col style="width:{share}%">' for share in grid.shares)
    heads = "".join(f"<th>{_text(name)}</th>" for name in grid.columns)
    head = f"<thead><tr>{heads}</tr></thead>" if any(grid.columns) else ""
    rows = "".join(_row(row, named=not any(grid.columns)) for row in grid.rows)
    title = f"<h2>{_text(grid.title)}</h2>"
    named = "" if any(grid.columns) else ' class="named"'
    return f"{title}<table{named}><colgroup>{widths}</colgroup>{head}<tbody>{rows}</tbody></table>"


def _row(row: tuple[str, ...], *, named: bool) -> str:
    tags = ["th" if named and n == 0 else "td" for n in range(len(row))]
    cells = "".join(f"<{t}>{_cell(text)}</{t}>" for t, text in zip(tags, row, strict=True))
    return f"<tr>{cells}</tr>"


def _cell(text: str) -> str:
    return _text(text) if text.strip() else "&nbsp;" + "<br>" * text.count("\n") + "&nbsp;"
