"""U-values and air layers of whole build-ups, from survey codes to numbers.

Expected values: a public timber-component catalogue (SEEN S12) and three build-ups calculated by
hand from ISO 6946 (COMPUTED), of the project's climate and codes reference, section 5; the rest
is arithmetic written out in the test on the design values of section 6.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from layer_stacks import BRICK, FLOOR, LOFT, layer, stack

from triage.contract.assemblies import Anatomy, Bridging, LayerSpec, Library, Meaning, load_library


def _with(
    library: Library,
    element: str,
    entries: Mapping[tuple[str, str], Mapping[str, LayerSpec]],
    bridging: tuple[Bridging, ...],
) -> Library:
    """The library with some entries and the bridging of one element described otherwise."""
    old: Anatomy = library.anatomies[element]
    tables = {name: dict(codes) for name, codes in old.tables.items()}
    for (table, code), layers in entries.items():
        tables[table][code] = Meaning({**tables[table][code].layers, **layers}, "test", "SEEN")
    new = replace(old, tables=tables, bridging=bridging)
    return replace(library, anatomies={**library.anatomies, element: new})


def _conducting(library: Library, **conductivity: float) -> Library:
    told = dict(library.materials)
    for code, value in conductivity.items():
        told[code] = replace(told[code], conductivity_w_mk=value)
    return replace(library, materials=told)


@pytest.mark.parametrize(
    ("mm", "conductivity", "published", "calculated"),
    [
        (200.0, 0.040, 0.20, 0.1990),
        (220.0, 0.040, 0.18, 0.1837),
        (240.0, 0.040, 0.17, 0.1706),
        (200.0, 0.035, 0.18, 0.1823),
    ],
)
def test_catalogue_pitched_roofs(
    mm: float, conductivity: float, published: float, calculated: float
) -> None:
    # sdrhzi01b-00 to -03: gypsum 25, rafters 80 at 800 with wool, softboard 22, slates on battens.
    library = _with(
        _conducting(load_library(), mineral_wool=conductivity),
        "roof",
        {
            ("ceiling", "board"): {"lining": LayerSpec("gypsum_board", 25.0, r=0.025 / 0.25)},
            ("roof_deck", "plywood"): {"deck": LayerSpec("wood_fibre_board", 22.0)},
        },
        (Bridging(("rafter_insulation",), 0.10, "softwood_light"),),
    )
    case = {
        **LOFT,
        "measure_group": "RAFT",
        "measure_thickness_mm": mm,
        "plane_before": "none",
        "plane_after": "rafter_unvented",
        "roof_form": "pitched_room",
        "roof_underlay": "membrane_lr",
        "roof_deck": "plywood",
    }
    got = stack(case, library=library).u_w_m2k[0]
    assert got == pytest.approx(calculated, abs=1e-4)
    assert abs(got - published) <= 0.005


def test_the_calculated_loft() -> None:
    # Board 12.5/0.25; 150 mm between joists 47 at 600; 150 mm over them, 0.044: U 0.1489.
    library = _with(
        _conducting(load_library(), mineral_wool=0.044),
        "roof",
        {
            ("ceiling", "board"): {"lining": LayerSpec("gypsum_board", 12.5, r=0.05)},
            ("joists", "depth"): {"ceiling_between": LayerSpec("mineral_wool", 150.0)},
        },
        (Bridging(("ceiling_between",), 47 / 600, "softwood"),),
    )
    assert stack(LOFT, library=library).u_w_m2k[0] == pytest.approx(0.1489, abs=5e-5)


def test_the_calculated_frame_wall() -> None:
    # Brick 102/0.77, cavity 0.18, OSB 9, studs 15 % with 140 mm of 0.038, board 0.05: U 0.2950.
    library = _with(
        load_library(),
        "wall",
        {
            ("wall_construction", "frame_brick_veneer"): {
                "outer_leaf": LayerSpec("brick_outer", 102.0),
                "cavity": LayerSpec(r=0.18, sd=0.01),
                "sheathing": LayerSpec("osb", 9.0),
                "old_lining": LayerSpec("gypsum_board", 12.5, r=0.05),
            }
        },
        (Bridging(("frame_fill",), 0.15, "softwood"),),
    )
    case = {
        **BRICK,
        "measure_group": "FWI",
        "measure_material": "mineral_wool",
        "measure_thickness_mm": 140.0,
        "wall_construction": "frame_brick_veneer",
    }
    assert stack(case, library=library).u_w_m2k[0] == pytest.approx(0.2950, abs=2e-4)


def test_solid_brick_before_and_after_insulation_inside() -> None:
    # The survey's 228 mm hold 13 mm of plaster: 215/0.77 + 13/0.40 + 0.17 = 0.4817 m²K/W.
    before, after = stack(BRICK, "before"), stack(BRICK, "after")
    assert before.u_w_m2k[0] == pytest.approx(1 / 0.48172, rel=1e-4)
    # 60 mm of 0.025 and a board of 12.5/0.21 on top.
    assert after.u_w_m2k[0] == pytest.approx(1 / (0.48172 + 2.4 + 0.05952), rel=1e-4)
    assert layer(after, "outer_leaf") == pytest.approx((0.27922, 16 * 0.215), rel=1e-4)
    assert layer(after, "old_lining")[1] == pytest.approx(6 * 0.013)  # inside: the wet value
    assert layer(after, "inner_insulation")[1] == pytest.approx(60 * 0.06)


def test_a_loft_top_up_brings_the_layer_to_the_proposed_depth() -> None:
    before, after = stack(LOFT, "before"), stack(LOFT, "after")
    assert layer(before, "ceiling_between")[0] == pytest.approx(0.1 / 0.038)
    assert layer(before, "ceiling_over") == (0.0, 0.0)
    assert layer(after, "ceiling_between")[0] == pytest.approx(0.1 / 0.038)
    assert layer(after, "ceiling_over")[0] == pytest.approx(0.2 / 0.038)
    # By hand with joists on 8 %: R' 7.9657, R'' 7.7273, surfaces 0.10 on both sides.
    assert after.u_w_m2k[0] == pytest.approx(1 / 7.84648, rel=1e-4)
    # 105 mm leave 5 mm over the joists: a slice of a layer, not a layer too thin to be made.
    deeper = {**LOFT, "measure_thickness_mm": 105.0}
    assert layer(stack(deeper), "ceiling_over")[0] == pytest.approx(0.005 / 0.038)


def test_foam_air_layers() -> None:
    # M2 and M3 of the reference: 100 mm closed-cell 6.0 m, 100 mm open-cell at mu 3 0.30 m.
    closed = {"foam_class": "closed_cell", "foam_thickness_mm": 100.0, "foam_at_rafters": True}
    case = {**LOFT, **closed, "plane_before": "mixed", "plane_after": "mixed"}
    assert layer(stack(case), "foam")[1] == pytest.approx(6.0)
    assert layer(stack({**case, "foam_class": "open_cell"}), "foam")[1] == pytest.approx(0.30)


def test_a_suspended_floor_between_joists() -> None:
    # 150/0.038 with 10 % of softwood, boards 19/0.13, 0.17 on both sides.
    before, after = stack(FLOOR, "before"), stack(FLOOR, "after")
    assert before.u_w_m2k[0] == pytest.approx(1 / (0.34 + 0.146154), rel=1e-5)
    upper = 1 / (0.9 / 4.433523 + 0.1 / 1.640000)
    lower = 0.486154 + 1 / (0.9 / 3.947368 + 0.1 / 1.153846)
    assert after.u_w_m2k[0] == pytest.approx(2 / (upper + lower), rel=1e-5)
    assert after.described["watch_name"].item() == "underside of the floor boards"


def test_timber_that_is_no_bridge_for_the_method_gives_no_u_value() -> None:
    # 90 mm of 0.016 with steel on 40 % of the area: upper over lower limit above 1.5.
    library = _with(load_library(), "roof", {}, (Bridging(("rafter_insulation",), 0.4, "steel"),))
    case = {
        **LOFT,
        "measure_group": "RAFT",
        "measure_material": "aerogel",
        "measure_thickness_mm": 90.0,
        "plane_before": "none",
        "plane_after": "rafter_ventilated",
    }
    assert np.isnan(stack(case, library=library).u_w_m2k[0])
