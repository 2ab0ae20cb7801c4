"""Figures of documents: no text is lost or runs over an edge; bars and labels are as told."""

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from drawn import outside, shapes, texts
from PIL import Image
from reportlab.graphics.shapes import Drawing, Ellipse, Rect
from reportlab.lib.colors import HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth
from scipy.spatial.distance import pdist

from triage.report.chart_parts import DOTS, TEXT, block, fit, lines_of
from triage.report.chart_spots import apart
from triage.report.charts import draw
from triage.report.document import Bar, Figure, Flow, Flows, Place, Span, Year
from triage.report.fonts import BODY, register_fonts
from triage.report.labels import QUEUES
from triage.report.picture import write_picture
from triage.report.shapes import paint

HOSTILE = '=<script>alert("1")</script> $x^2$ & \u202e\u0007 ' + "longword" * 400
LOOKS = tuple((look.title, look.fill, look.hatch) for look in QUEUES)
MONTHS = ("Oct", "Nov", "Dec", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep")
STORE = (0.0, 40.0, 120.0, 180.0, 160.0, 90.0, 10.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def _figures(text: str) -> list[Figure]:
    place = Place(text, 30, "30", text, LOOKS[0])
    flows = Flows((place, place), (place, place), (Flow(0, 1, 30, is_move=True),), (text, text))
    marks = (
        (Bar(text, (3.0, 1.0), "3 of 4", under=(2.0,), numbers=("75%", "25%")),),
        (Span(text, 0.1, 0.9, 0.5, "n = 9"), Span("b", 0.0, 1.0, None, "n = 1,000,000")),
        (flows,),
        (Year(MONTHS, (("after", STORE),), "g/m²", (200.0, "limit 200 g/m²")),),
        (Year(MONTHS, (("a", STORE), ("b", STORE)), "g/m²", (9000.0, "limit")),),
    )
    return [
        Figure(f"figure_{n}", text, text, text, mark, LOOKS, label_lines=3, note=text)
        for n, mark in enumerate(marks)
    ]


@pytest.mark.parametrize("width", [523.0, 380.0, 300.0])
@pytest.mark.parametrize("text", ["short", "a label of several words that is rather long", HOSTILE])
def test_no_text_runs_over_an_edge(width: float, text: str) -> None:
    for figure in _figures(text):
        drawing = draw(figure, width)
        assert outside(drawing) == [], figure.name
        assert not any("\u202e" in text or "\u0007" in text for text in texts(drawing))


def test_labels_are_broken_between_words_and_cut_only_at_the_last_line() -> None:
    register_fonts()
    rng = np.random.default_rng(1)
    for _ in range(300):
        words = ["x" * int(n) for n in rng.integers(1, 14, rng.integers(1, 12))]
        text, width = " ".join(words), float(rng.uniform(30, 200))
        for most in (1, 2, 3):
            lines = lines_of(text, width, most)
            assert len(lines) <= most
            assert all(stringWidth(line, BODY, TEXT) <= width + 0.01 for line in lines)
            told = " ".join(lines)
            assert told == text or "…" in told
            if "…" not in told:
                assert told.split() == words
            # Nothing is cut while a line is left: the same text in more lines is not shorter.
            if len(lines) < most:
                assert told == text or any(stringWidth(w, BODY, TEXT) > width for w in words)


def test_an_empty_label_and_one_that_just_fits() -> None:
    register_fonts()
    assert lines_of("", 50.0) == [""]
    long = stringWidth("just so", BODY, TEXT)
    assert lines_of("just so", long) == ["just so"]
    assert fit("just so", long) == "just so"
    assert fit("just so", long - 0.1).endswith("…")


def test_the_parts_of_bars_are_as_long_as_told() -> None:
    bars = (Bar("a", (30.0, 10.0, 60.0), "n"), Bar("b", (5.0, 0.0, 20.0), "n", under=(10.0, 15.0)))
    drawing = draw(Figure("f", "t", "u", "a", bars, LOOKS), 500.0)
    legend = 3
    fills = {HexColor(look.fill): n for n, look in enumerate(QUEUES)}
    blocks = [r for r in shapes(drawing) if isinstance(r, Rect) and r.fillColor in fills]
    drawn = [(fills[r.fillColor], r.width) for r in blocks[: len(blocks) - legend]]
    scale = drawn[0][1] / 30.0
    expected = [(0, 30.0), (1, 10.0), (2, 60.0), (0, 5.0), (2, 20.0), (0, 10.0), (1, 15.0)]
    assert [n for n, _ in drawn] == [n for n, _ in expected]
    assert [w / scale for _, w in drawn] == pytest.approx([w for _, w in expected])


def test_the_months_stand_on_one_scale_with_the_limit() -> None:
    year = Year(MONTHS, (("after", STORE),), "g/m²", (150.0, "limit 150 g/m²"))
    drawing = draw(Figure("f", "t", "u", "a", (year,), (("after", "#0072B2", ""),)), 500.0)
    tall = [r.height for r in shapes(drawing) if isinstance(r, Rect) and r.fillColor is None]
    assert np.array(tall) / tall[0] * 40.0 == pytest.approx([v for v in STORE if v])
    base = next(r.y for r in shapes(drawing) if isinstance(r, Rect) and r.fillColor is None)
    dashed = [s for s in shapes(drawing) if getattr(s, "strokeDashArray", None)]
    assert [(s.y1 - base) / tall[0] * 40.0 for s in dashed] == pytest.approx([150.0])
    far = Year(MONTHS, (("after", STORE),), "g/m²", (5000.0, "limit 5000 g/m²"))
    drawing = draw(Figure("f", "t", "u", "a", (far,), (("after", "#0072B2", ""),)), 500.0)
    assert "limit 5000 g/m²: above this scale" in texts(drawing)
    assert not [s for s in shapes(drawing) if getattr(s, "strokeDashArray", None)]


@pytest.mark.parametrize("size", [(100.0, 8.0), (10.0, 70.0), (1.0, 40.0), (40.0, 1.0)])
@pytest.mark.parametrize("hatch", ["////", DOTS])
def test_a_hatch_stays_within_its_block(size: tuple[float, float], hatch: str) -> None:
    drawing = Drawing(200, 200)
    block(drawing, 50.0, 60.0, *size, "#A05A85", hatch)
    for shape in list(shapes(drawing))[1:]:
        x0, y0, x1, y1 = shape.getBounds()
        assert 50.0 - 1e-6 <= x0 <= x1 <= 50.0 + size[0] + 1e-6
        assert 60.0 - 1e-6 <= y0 <= y1 <= 60.0 + size[1] + 1e-6


@pytest.mark.parametrize("text", ["plain", HOSTILE])
def test_a_picture_says_all_and_is_the_same_bytes_again(tmp_path: Path, text: str) -> None:
    for figure in _figures(text):
        (tmp_path / "again").mkdir(exist_ok=True)
        names = write_picture(tmp_path, figure, f"stamp {text}")
        assert names == write_picture(tmp_path / "again", figure, f"stamp {text}")
        for name in names:
            assert (tmp_path / name).read_bytes() == (tmp_path / "again" / name).read_bytes()
        root = ET.fromstring((tmp_path / names[0]).read_text("utf-8"))
        assert root.get("role") == "img"
        told = {e.tag.rsplit("}")[-1]: e.text or "" for e in root if "svg" in e.tag}
        assert told["title"].startswith(text[:9])
        assert told["desc"].startswith(text[:9])
        assert not [e for e in root.iter() if "script" in e.tag]
        written = [e.text or "" for e in root.iter() if e.tag.endswith("text")]
        assert any(line.startswith("stamp") for line in written)
        with Image.open(tmp_path / names[1]) as picture:
            picture.load()
            assert picture.info["Title"].startswith(text[:9])
            width, height = (float(v) for v in (root.get("viewBox") or "").split()[2:])
            assert picture.size == pytest.approx((width * 200 / 72, height * 200 / 72), abs=1.01)


def test_pixels_and_lines_show_the_same(tmp_path: Path) -> None:
    drawing = Drawing(72, 72)
    drawing.add(Rect(0, 0, 72, 72, fillColor=HexColor("#FFFFFF"), strokeColor=None))
    drawing.add(Rect(18, 36, 36, 18, fillColor=HexColor("#182F5C"), strokeColor=None))
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Canvas

    canvas = Canvas(figsize=(1, 1), dpi=72)
    FigureCanvasAgg(canvas)
    paint(drawing, canvas)
    canvas.savefig(tmp_path / "p.png", dpi=72)
    with Image.open(tmp_path / "p.png") as picture:
        pixels = np.asarray(picture.convert("RGB"))
    dark = (pixels == (0x18, 0x2F, 0x5C)).all(axis=2)
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    assert (rows.min(), rows.max(), columns.min(), columns.max()) == (18, 35, 18, 53)
    drawing.add(Ellipse(5, 5, 2, 3))
    with pytest.raises(NotImplementedError, match="Ellipse"):
        paint(drawing, Canvas(figsize=(1, 1)))


@pytest.mark.parametrize("number", [1, 2, 9, 60])
def test_circles_of_a_map_are_moved_until_none_lies_on_another(number: int) -> None:
    rng = np.random.default_rng(number)
    page = (500.0, 190.0)
    middles = rng.uniform((20, 20), (480, 170), (number, 2))
    middles[: number // 2] = middles[0]  # areas of one place
    radii = rng.uniform(5, 12, number)
    moved = apart(middles, radii, page)
    assert np.array_equal(moved, apart(middles, radii, page))
    touching = radii[:, None] + radii[None, :]
    gaps = pdist(moved) - touching[np.triu_indices(number, 1)]
    assert gaps.size == 0 or gaps.min() > 0
    assert (moved >= radii[:, None]).all()
    assert (moved <= np.array(page) - radii[:, None]).all()


def test_circles_that_have_room_stay_where_they_are() -> None:
    middles = np.array([[50.0, 50.0], [150.0, 60.0]])
    assert np.allclose(apart(middles, np.array([10.0, 12.0]), (300, 200)), middles, atol=0.01)
