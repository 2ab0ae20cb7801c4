"""Saves one figure as PNG and as SVG, the same bytes every time."""

import re
from html import escape
from io import StringIO
from pathlib import Path
from typing import Any

from matplotlib import rc_context
from matplotlib.figure import Figure

from triage.report.labels import visible
from triage.report.map_frame import DPI

# Text stays text, so that it can be searched and read aloud.
_SVG: dict[Any, Any] = {"svg.fonttype": "none", "svg.hashsalt": "map"}
# Verdana has the same widths, for machines without the first.
_FAMILY = re.compile(r"(style=\"[^\"]*font(?:-family)?: [^\"]*)'DejaVu Sans'")
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
    text = _FAMILY.sub(r"\1'DejaVu Sans', Verdana, sans-serif", drawn.getvalue())
    drawing = text[text.index("<svg ") :]  # without the address of a document type
    opened, body = drawing.split(">", 1)
    named = f'<?xml version="1.0" encoding="utf-8"?>\n{opened} role="img">\n{told}{body.lstrip()}'
    svg.write_text(named, encoding="utf-8", newline="\n")
    return png.name, svg.name
