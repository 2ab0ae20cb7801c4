"""Drawings as SVG elements that may stand in one page with others."""

import re

from reportlab.graphics import renderSVG
from reportlab.graphics.shapes import Drawing


def svg_text(drawing: Drawing, name: str) -> str:
    """A drawing as an SVG element without a preamble; `name` keeps its ids apart from others'."""
    svg = renderSVG.drawToString(drawing)
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"font-family: ?DejaVuSans(-Bold)?", _family, svg)
    svg = re.sub(r"\s*<(title|desc)>.*?</\1>", "", svg, flags=re.DOTALL)
    svg = svg.replace("#clip", f"#clip_{name}").replace('id="clip"', f'id="clip_{name}"')
    return svg.replace('id="group"', f'id="group_{name}"')


def _family(found: re.Match[str]) -> str:
    weight = "; font-weight: bold" if found[1] else ""
    return f"font-family: 'DejaVu Sans', Verdana, sans-serif{weight}"
