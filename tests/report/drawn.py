"""Reads drawings back: their texts with the room that they take, and the heights of bands."""

from collections.abc import Iterator
from typing import Any

from reportlab.graphics.shapes import Drawing, Group, Path, Rect, String
from reportlab.pdfbase.pdfmetrics import stringWidth


def shapes(drawing: Drawing | Group) -> Iterator[Any]:
    """Every shape, those of groups too."""
    for shape in drawing.contents:
        if isinstance(shape, Group):
            yield from shapes(shape)
        else:
            yield shape


def texts(drawing: Drawing) -> list[str]:
    return [shape.text for shape in shapes(drawing) if isinstance(shape, String)]


def outside(drawing: Drawing) -> list[str]:
    """Texts that reach over an edge of the drawing."""
    found = []
    for shape in shapes(drawing):
        if isinstance(shape, String):
            long = stringWidth(shape.text, shape.fontName, shape.fontSize)
            left = shape.x - {"start": 0.0, "middle": long / 2, "end": long}[shape.textAnchor]
            within = left >= -0.5 and left + long <= drawing.width + 0.5
            if not within or not 0 <= shape.y <= drawing.height - shape.fontSize * 0.7:
                found.append(shape.text)
    return found


def bands(drawing: Drawing) -> list[float]:
    """Height of every band at its left end, in the order in which they are drawn."""
    return [path.points[1] - path.points[-1] for path in shapes(drawing) if isinstance(path, Path)]


def columns(drawing: Drawing, width: float) -> list[tuple[float, float]]:
    """Left edge and height of every filled block as wide as a column of flows."""
    return [(r.x, r.height) for r in shapes(drawing) if isinstance(r, Rect) and r.width == width]
