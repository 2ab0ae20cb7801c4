"""Saves one figure as PNG and as SVG, the same bytes every time."""

import re
from html import escape
from io import StringIO
from pathlib import Path

from matplotlib import rc_context
from matplotlib.figure import Figure

from triage.report.labels import visible
from triage.report.map_frame import DPI

# Text stays text, so that it can be searched, read aloud and set in another font. The second
# family has the same widths as the first, for machines without it.
_SVG = {"svg.fonttype": "none", "svg.hashsalt": "map", "font.family": ["DejaVu Sans", "Verdana"]}
_NOTHING = dict.fromkeys(("Date", "Creator", "Format", "Type"))


def save_both(figure: Figure, path: Path, title: str, alt: str) -> tuple[str, str]:
    """Write `path`.png and `path`.svg; the SVG carries its title and a text alternative.

    Returns
    -------
    tuple
        The names of the two files.
    """
    png, svg = path.with_name(f"{path.name}.png"), path.with_name(f"{path.name}.svg")
    figure.savefig(png, format="png", dpi=DPI, metadata={"Software": None})
    drawn = StringIO()
    with rc_context(_SVG):
        figure.savefig(drawn, format="svg", metadata=_NOTHING)
    told = (
        f"<title>{escape(visible(title), quote=False)}</title>\n"
        f"<desc>{escape(visible(alt), quote=False)}</desc>\n"
    )
    text = re.sub(r"(<svg [^>]*)>", r'\1 role="img">\n', drawn.getvalue(), count=1)
    head, body = text.split('role="img">\n', 1)
    svg.write_text(f'{head}role="img">\n{told}{body}', encoding="utf-8", newline="\n")
    return png.name, svg.name
