"""Paints the shapes of a drawing as pixels, for reportlab does so only with a library of C."""

from functools import singledispatch
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Circle as Disc
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.patches import Wedge as Slice
from matplotlib.path import Path as Outline
from matplotlib.transforms import Affine2D
from reportlab.graphics.shapes import (
    Circle,
    Drawing,
    Group,
    Line,
    Path,
    Rect,
    Shape,
    String,
    Wedge,
)
from reportlab.lib.colors import Color

_ANCHORS = {"start": "left", "middle": "center", "end": "right"}
_MOVE, _LINE, _CURVE, _CLOSE = range(4)  # operators of a path
_POINTS = {_MOVE: 1, _LINE: 1, _CURVE: 3}


def paint(drawing: Drawing, figure: Figure) -> None:
    """Paint a drawing over the whole of a figure of the same size, a point to a point.

    Raises
    ------
    NotImplementedError
        If a shape is of a kind that no figure of a document has.
    """
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, drawing.width), ylim=(0, drawing.height))
    axes.axis("off")
    for shape in drawing.contents:
        _paint(shape, axes, (0.0, 0.0))


@singledispatch
def _paint(shape: Shape, axes: Axes, at: tuple[float, float]) -> None:
    raise NotImplementedError(f"no way to paint a {type(shape).__name__}")


def _look(shape: Any) -> dict[str, Any]:  # noqa: ANN401
    """Fill, line and its width as matplotlib names them."""
    dashes = shape.strokeDashArray
    return {
        "facecolor": _colour(getattr(shape, "fillColor", None)),
        "edgecolor": _colour(shape.strokeColor),
        "linewidth": shape.strokeWidth if shape.strokeColor else 0.0,
        "linestyle": (0, tuple(dashes)) if dashes else "-",
    }


def _colour(colour: Color | None) -> Any:  # noqa: ANN401
    return "none" if colour is None else (colour.red, colour.green, colour.blue)


@_paint.register
def _(shape: Group, axes: Axes, at: tuple[float, float]) -> None:
    x, y = shape.transform[4:]
    for inner in shape.contents:
        _paint(inner, axes, (at[0] + x, at[1] + y))


@_paint.register
def _(shape: Rect, axes: Axes, at: tuple[float, float]) -> None:
    corner = shape.x + at[0], shape.y + at[1]
    axes.add_patch(Rectangle(corner, shape.width, shape.height, **_look(shape)))


@_paint.register
def _(shape: Circle, axes: Axes, at: tuple[float, float]) -> None:
    axes.add_patch(Disc((shape.cx + at[0], shape.cy + at[1]), shape.r, **_look(shape)))


@_paint.register
def _(shape: Wedge, axes: Axes, at: tuple[float, float]) -> None:
    middle = shape.centerx + at[0], shape.centery + at[1]
    ends = shape.startangledegrees, shape.endangledegrees
    axes.add_patch(Slice(middle, shape.radius, *ends, **_look(shape)))


@_paint.register
def _(shape: Line, axes: Axes, at: tuple[float, float]) -> None:
    ends = [(shape.x1, shape.y1), (shape.x2, shape.y2)]
    _outline(axes, ends, [Outline.MOVETO, Outline.LINETO], at, _look(shape))


@_paint.register
def _(shape: Path, axes: Axes, at: tuple[float, float]) -> None:
    codes: list[Any] = []
    points: list[tuple[float, float]] = []
    values = iter(shape.points)
    for operator in shape.operators:
        if operator == _CLOSE:
            codes.append(Outline.CLOSEPOLY)
            points.append(points[0])
            continue
        count = _POINTS[operator]
        codes += {_MOVE: [Outline.MOVETO], _LINE: [Outline.LINETO]}.get(
            operator, [Outline.CURVE4] * count
        )
        points += [(next(values), next(values)) for _ in range(count)]
    _outline(axes, points, codes, at, _look(shape))


def _outline(
    axes: Axes,
    points: list[tuple[float, float]],
    codes: list[Any],
    at: tuple[float, float],
    look: dict[str, Any],
) -> None:
    moved = Affine2D().translate(*at).transform(points)
    axes.add_patch(PathPatch(Outline(moved, codes), **look))


@_paint.register
def _(shape: String, axes: Axes, at: tuple[float, float]) -> None:
    weight = "bold" if shape.fontName.endswith("-Bold") else "normal"
    axes.text(
        shape.x + at[0],
        shape.y + at[1],
        shape.text,
        color=_colour(shape.fillColor),
        ha=_ANCHORS[shape.textAnchor],
        va="baseline",
        parse_math=False,
        fontproperties=FontProperties(family="DejaVu Sans", weight=weight, size=shape.fontSize),
    )
