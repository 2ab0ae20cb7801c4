"""Layers, months and verdict of a solved build-up in words, JSON and picture.

Expected values are read from the case itself, or follow from the definitions of the monthly method
(ISO 13788: vapour pressure falls in proportion to sd, temperature in proportion to resistance).
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from build_up_cases import EXAMPLES, TITLES, brick_wall, case_row, cold_loft, flat_roof, part_of
from build_up_cases import foamed_roof as foamed
from matplotlib.figure import Figure
from PIL import Image
from report_frames import explanation
from typer.testing import CliRunner

from triage.cli import app
from triage.errors import FileError
from triage.report.build_up_figure import draw_build_up, pick_measure, write_build_up
from triage.report.build_up_section import layer_edges, section_of
from triage.report.build_up_text import build_up_lines
from triage.report.explain import render_explanation

LINING = ("lining", "plasterboard", 12.5, 0.05, 0.1)


def words_in(figure: Figure) -> str:
    texts = [text.get_text() for text in figure.texts]
    for axes in figure.axes:
        texts += [axes.get_title(loc="left"), *(text.get_text() for text in axes.texts)]
    return " ".join(" ".join(texts).split())


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_line_fits_on_paper_and_layers_run_from_outside(name: str) -> None:
    part = EXAMPLES[name]()
    lines = build_up_lines(part["build_up"])
    assert max(map(len, lines)) <= 100
    text = "\n".join(lines)
    after = text[text.rindex("layer from outside") :]
    layers = part["build_up"]["after"]["layers"]
    rows = [f"\n  {n:>2}  {layer['name'].replace('_', ' ')}" for n, layer in enumerate(layers, 1)]
    places = [after.index(row) for row in rows]
    assert places == sorted(places)
    assert after.index("outer surface") < places[0] < places[-1] < after.index("inner surface")


def test_the_table_of_months_says_what_the_case_holds() -> None:
    row = case_row("after", [("deck", "osb", 18.0, 0.138, 0.9), LINING], 1, case="x")
    row |= {
        "watch_t_c": [float(n) for n in range(12)],
        "watch_p_pa": [500.0 + n for n in range(12)],
        "watch_psat_pa": [1000.0] * 12,
        "condensate_g_m2": [10.0 * n for n in range(12)],
        "deck_mc_pct": [12.5] * 12,
    }
    build_up = part_of(None, row)["build_up"]
    february = build_up["after"]["months"][1]
    assert (february["t_c"], february["p_pa"], february["psat_pa"]) == (1.0, 501.0, 1000.0)
    assert february["rh_pct"] == pytest.approx(50.1)
    line = next(line for line in build_up_lines(build_up) if line.startswith("  Feb"))
    assert line.split()[2:] == ["1.0", "501", "1000", "50", "10.0", "12.5"]


def test_the_checks_say_the_numbers_the_limits_and_the_edition() -> None:
    text = " ".join(" ".join(build_up_lines(foamed()["build_up"])).split())
    assert "Before and after (the measure adds no layer)" in text
    assert "41 % is required: met" in text
    assert "4.00 m²K/W; 3.52 is required: met (US model residential and energy codes, 2021)" in text
    assert "at most 28.0 % (limit 20), yearly swing 16.0 points (limit 6)" in text
    assert "It does NOT count: the outer face is vapour-tight" in text
    wall = part_of(None, case_row("after", [LINING], 0), frost_depth_after_mm=61.6)["build_up"]
    assert "not known before, 62 mm after" in " ".join(build_up_lines(wall))
    flat = " ".join(" ".join(build_up_lines(flat_roof()["build_up"])).split())
    assert "2.60 before, 0.90 after [kg/m²]; 65 % is lost (limit 50 %)" in flat
    assert "where the vapour pressure reaches it, water condenses" in flat


@pytest.mark.parametrize(("share", "word"), [(0.41, "met"), (0.40, "NOT met")])
def test_a_share_that_meets_the_table_exactly_is_met(share: float, word: str) -> None:
    part = part_of(None, case_row("after", [LINING], 0), foam_ratio=share, foam_ratio_required=0.41)
    assert f"41 % is required: {word}" in " ".join(
        " ".join(build_up_lines(part["build_up"])).split()
    )


def test_what_is_missing_is_said_in_a_sentence() -> None:
    nothing = part_of(None, None)["build_up"]
    assert nothing["before"] is None
    assert "No build-up was drawn up" in "\n".join(build_up_lines(nothing))
    why = "the thickness of the foam is not known"
    told = part_of(None, None, moisture_missing=why)["build_up"]
    assert f"No build-up was drawn up: {why}." in " ".join(build_up_lines(told))
    half = part_of(None, case_row("after", [], 0, missing=why))
    text = "\n".join(build_up_lines(half["build_up"]))
    assert f"cannot be drawn up: {why}" in text
    assert "verdict" not in text
    with pytest.raises(FileError, match=f"no build-up to draw.*{why}"):
        pick_measure([half], None, "home H1")


def test_the_explanation_of_a_home_holds_the_layers_and_is_json() -> None:
    explained: dict[str, Any] = explanation()
    explained["parts"][0]["build_up"] = flat_roof()["build_up"]
    text = render_explanation(explained)
    assert "\nLayers and moisture: main, loft topup\n" in text
    assert "Bitumen felt in several layers" in text
    assert max(map(len, text.splitlines())) <= 100
    again = json.loads(json.dumps(explained))
    assert again["parts"][0]["build_up"]["after"]["peak_g_m2"] > 0


def test_the_measure_that_a_computed_figure_decides_is_drawn() -> None:
    first, second, third = cold_loft(), flat_roof() | {"measure": "B"}, brick_wall()
    second["build_up"]["decides"] = ["R08"]
    assert pick_measure([first, second, third], None, "H1") is second
    assert pick_measure([first, third], None, "H1") is first
    assert pick_measure([first, second], "B", "H1") is second
    with pytest.raises(FileError, match="no measure is proposed"):
        pick_measure([], None, "H1")
    with pytest.raises(FileError, match="'C' is not proposed"):
        pick_measure([first, second], "C", "H1")


def test_the_section_is_the_case_solved_again() -> None:
    state = flat_roof()["build_up"]["after"]
    section = section_of(state)
    stored = [month["condensate_g_m2"] for month in state["months"]]
    assert section.profile.store_g_m2.sum(axis=1) == pytest.approx(stored, abs=1e-6)
    # The critical layer is the inner face of the deck, so the third face from outside.
    assert section.x[section.critical] == pytest.approx(section.edges[2])
    p = section.profile.p_pa[:, section.critical]
    assert p == pytest.approx([month["p_pa"] for month in state["months"]])


def test_a_dry_cut_is_a_straight_line_over_sd_in_the_coldest_month() -> None:
    state = cold_loft()["build_up"]["after"]
    section = section_of(state)
    outside = [month["outside_c"] for month in state["months"]]
    assert outside[section.month] == pytest.approx(min(outside))
    now = state["months"][section.month]
    sd = np.concatenate([[0.0], np.cumsum([layer["sd_m"] for layer in state["layers"]])])
    line = now["outside_pa"] + (now["inside_pa"] - now["outside_pa"]) * sd / sd[-1]
    at = np.searchsorted(section.x, section.edges - 1e-9)
    assert section.profile.p_pa[section.month][at] == pytest.approx(line)


def test_thin_layers_keep_room_for_their_number_and_thick_ones_are_wider() -> None:
    width = np.diff(layer_edges([0.2, 220.0, None, 100.0, 12.5]))
    assert width.sum() == pytest.approx(1.0)
    assert width.min() > 0.035
    assert width[1] > width[3] > width[4] > width[0] == pytest.approx(width[2])


def test_the_picture_says_finding_layers_units_and_both_states() -> None:
    figure = draw_build_up(flat_roof(), "H000214")
    words = words_in(figure)
    assert "After the measure, water builds up" in words
    for expected in (TITLES["osb"], "H000214", "[g/m²]", "[% of dry mass]", "Critical layer"):
        assert expected in words
    strip, pressures, water, deck, _ = figure.axes
    assert [text.get_text() for text in strip.texts[2:]] == ["1", "2", "3", "4"]
    labels = [line.get_label() for line in pressures.lines]
    assert "vapour that is there" in labels
    assert any(str(label).startswith("water condenses here") for label in labels)
    bars = [bar.get_height() for bar in water.patches]
    state = flat_roof()["build_up"]["after"]
    assert bars[12:] == pytest.approx([month["condensate_g_m2"] for month in state["months"]])
    assert len(deck.lines) == 3  # before, after and the limit
    # Vapour never lies above saturation in the drawing.
    lines = {str(line.get_label()): np.asarray(line.get_ydata()) for line in pressures.lines}
    full = lines["saturation: the most the air can hold"]
    assert (lines["vapour that is there"] <= full * 1.001).all()


def test_the_water_of_the_year_stands_beside_its_limit() -> None:
    part = flat_roof()
    cases = ((200.0, ["limit 200"], [200.0]), (50_000.0, ["limit 50,000, above this scale"], []))
    for limit, said, drawn in (*cases, (None, [], [])):
        part["build_up"]["condensate"]["peak_limit_g_m2"] = limit
        axes = draw_build_up(part, "H1").axes[2]
        legend = axes.get_legend()
        assert legend is not None
        told = [text.get_text() for text in legend.get_texts()]
        assert [text for text in told if text.startswith("limit")] == said
        lines = [np.asarray(line.get_ydata()) for line in axes.lines]
        assert [line[0] for line in lines if len(line)] == drawn


def test_nothing_in_the_picture_leaves_the_page_or_overlaps() -> None:
    for make in EXAMPLES.values():
        figure = draw_build_up(make(), "H000214")
        figure.canvas.draw()
        renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
        page = figure.bbox
        panel = [text.get_window_extent(renderer) for text in figure.axes[-1].texts]
        for box in panel:
            assert page.x0 <= box.x0 < box.x1 <= page.x1
            assert page.y0 <= box.y0 < box.y1 <= page.y1
        for n, one in enumerate(panel):
            assert not any(one.overlaps(other) for other in panel[n + 1 :])


def test_a_build_up_that_the_method_cannot_judge_says_so_in_the_title() -> None:
    words = words_in(draw_build_up(brick_wall(), "H1"))
    assert "The monthly method cannot judge this wall" in words
    assert "masonry outside the insulation takes up rain" in words


def test_files_are_pictures_and_the_same_each_time(tmp_path: Path) -> None:
    part = cold_loft()
    write_build_up(tmp_path / "a.png", part, "H1")
    with Image.open(tmp_path / "a.png") as image:
        assert image.size == (1755, 1245)
    for name in ("a.svg", "b.svg"):
        write_build_up(tmp_path / name, part, "H1")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    with pytest.raises(FileError, match=r"cannot be written as '\.pdf'"):
        write_build_up(tmp_path / "a.pdf", part, "H1")
    with pytest.raises(FileError, match="the figure cannot be written"):
        write_build_up(tmp_path / "none" / "a.png", part, "H1")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--figure", "roof.pdf"], "end its name in .png or .svg"),
        (["--measure", "loft_topup"], "give --figure too"),
    ],
)
def test_a_figure_that_cannot_be_drawn_is_refused_before_any_judging(
    arguments: list[str], told: str
) -> None:
    result = CliRunner().invoke(app, ["explain", "programme.toml", "H1", *arguments])
    assert result.exit_code != 0
    said = f"{result.output} {result.exception}"
    assert told in " ".join(said.replace("│", " ").split())
