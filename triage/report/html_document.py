"""A document as one HTML file that needs nothing else."""

from html import escape
from pathlib import Path

from triage.report.charts import draw
from triage.report.document import Document, Figure, Grid, Section, Words
from triage.report.labels import visible
from triage.report.pdf import LONGEST
from triage.report.svg import svg_text

_STYLE = """
:root{--ink:#1a1a1a;--accent:#182f5c;--rule:#b9b9b4;--soft:#4a4a46}
*{box-sizing:border-box}
body{margin:0 auto;max-width:54rem;padding:1.5rem 1rem 3rem;color:var(--ink);background:#fff;
font:1rem/1.5 "DejaVu Sans",Verdana,"Segoe UI",sans-serif;overflow-wrap:anywhere}
h1{font-size:1.7rem;line-height:1.2;color:var(--accent);margin:0 0 .3rem}
h2{font-size:1.15rem;color:var(--accent);margin:2rem 0 .4rem;border-top:2px solid var(--accent);
padding-top:.5rem}
p{margin:.4rem 0}.lead{font-weight:700}.small{font-size:.82rem;color:var(--soft)}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.88rem;margin:.8rem 0 .3rem}
caption{text-align:left;font-weight:700;padding:.2rem 0}
th,td{padding:.22rem .4rem;border-bottom:1px solid var(--rule);vertical-align:top;text-align:left;
font-weight:400}
thead th,.n{overflow-wrap:normal}tbody th{overflow-wrap:break-word;min-width:7rem}
thead th{font-weight:700;border-bottom:2px solid var(--accent);vertical-align:bottom}
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
thead .n{white-space:normal}
figure{margin:1rem 0}figcaption{font-weight:700}
figure svg{width:100%;min-width:36rem;height:auto;display:block}
.sign{border:2px solid var(--accent)}.sign th{width:26%;font-weight:700}
footer{margin-top:2rem;border-top:1px solid var(--rule);padding-top:.5rem}
@media print{body{max-width:none;padding:0;font-size:9pt}figure svg{min-width:0}
thead{display:table-header-group}
tr,figure{break-inside:avoid}h2{break-after:avoid}}
"""
_SVG_WIDTH = 520.0


def write_html(path: Path, document: Document) -> None:
    """Write a document; the same document gives the same bytes."""
    parts = [
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'\">",
        f"<title>{told(document.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>",
        f'<h1>{told(document.title)}</h1>\n<p class="lead">{told(document.subtitle)}</p>',
        *(_section(section) for section in document.sections),
        _sign_off(document),
        f'</main>\n<footer class="small">{told(document.stamp)}</footer>\n</body>\n</html>\n',
    ]
    path.write_text("\n".join(parts), encoding="utf-8", newline="\n")


def told(text: str) -> str:
    """Text as HTML shows it: nothing in it is mark-up, its direction stays its own."""
    shown = visible(text)
    shown = shown if len(shown) <= LONGEST else shown[:LONGEST].rstrip() + " … (cut)"
    return escape(shown, quote=True)


def _section(section: Section) -> str:
    blocks = "\n".join(_block(block) for block in section.blocks)
    return f"<section>\n<h2>{told(section.title)}</h2>\n{blocks}\n</section>"


def _block(block: Words | Grid | Figure) -> str:
    if isinstance(block, Words):
        kind = ' class="lead"' if block.strong else ""
        return f"<p{kind}>{told(block.text)}</p>"
    return _grid(block) if isinstance(block, Grid) else _figure(block)


def _grid(grid: Grid) -> str:
    heads = "".join(
        f'<th scope="col"{_side(n, grid)}>{told(text)}</th>' for n, text in enumerate(grid.columns)
    )
    rows = "\n".join(
        "<tr>"
        + "".join(
            f'<th scope="row">{told(text)}</th>'
            if n == 0
            else f"<td{_side(n, grid)}>{told(text)}</td>"
            for n, text in enumerate(row)
        )
        + "</tr>"
        for row in grid.shown()[0]
    )
    notes = "".join(f'<p class="small">{told(note)}</p>' for note in grid.shown()[1])
    made = (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{told(grid.title)}"><table>'
        f"<caption>{told(grid.title)}</caption>\n<thead><tr>{heads}</tr></thead>\n"
        f"<tbody>\n{rows}\n</tbody></table></div>{notes}"
    )
    if grid.on_paper:
        return made
    return f"<details><summary>Table: {told(grid.title)}</summary>{made}</details>"


def _side(column: int, grid: Grid) -> str:
    return ' class="n"' if column >= grid.texts else ""


def _figure(figure: Figure) -> str:
    svg = svg_text(draw(figure, _SVG_WIDTH), figure.name)
    named = f'<svg role="img" aria-label="{told(figure.alt)}" '
    note = f'<p class="small">{told(figure.note)}</p>' if figure.note else ""
    # A narrow page moves the picture sideways: shrunk to fit, nobody could read it.
    wide = (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{told(figure.title)}">'
        f"{svg.replace('<svg ', named, 1)}</div>"
    )
    return (
        f"<figure><figcaption>{told(figure.title)}</figcaption>"
        f'<p class="small">{told(figure.unit)}</p>{wide}'
        f'<p class="small">{told(figure.alt)}</p>{note}</figure>'
    )


def _sign_off(document: Document) -> str:
    rows = "".join(
        f'<tr><th scope="row">{told(what)}</th><td>{told(said) or "&nbsp;"}</td></tr>'
        for what, said in document.sign_off
    )
    return f'<section><h2>Sign-off</h2><table class="sign"><tbody>{rows}</tbody></table></section>'
