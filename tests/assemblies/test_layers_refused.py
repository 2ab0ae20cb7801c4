"""What cannot be drawn says why, and no number stands in its place."""

from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from layer_stacks import BRICK, FLOOR, FOAMED, LOFT, frame_of, stack, told

from triage.assemblies.build_up import STATES
from triage.assemblies.layers import CASE_FIELDS, build_ups
from triage.contract.assemblies import ELEMENTS, load_library
from triage.resources import resource_dir

_RAFTERS = {
    **LOFT,
    "measure_group": "RAFT",
    "plane_before": "none",
    "plane_after": "rafter_ventilated",
}


@pytest.mark.parametrize(
    ("case", "reason"),
    [
        ({**FOAMED, "foam_thickness_mm": 0.0}, "0.0 mm is no thickness of the foam (spf_closed)"),
        ({**FOAMED, "foam_thickness_mm": -50.0}, "-50.0 mm is no thickness of the foam"),
        ({**FOAMED, "foam_thickness_mm": 3000.0}, "3000.0 mm is no thickness of the foam"),
        ({**FOAMED, "foam_thickness_mm": float("inf")}, "is no thickness of the foam"),
        ({**FOAMED, "foam_thickness_mm": None}, "the thickness of the foam is not known"),
        ({**FOAMED, "foam_thickness_mm": float("nan")}, "the thickness of the foam is not known"),
        ({**FOAMED, "foam_class": "mixed"}, "no values are held for mixed as the foam"),
        ({**FOAMED, "foam_class": None}, "the material of the foam is not known"),
        ({**FOAMED, "roof_covering": "other"}, "no layer is held for other as covering"),
        ({**FOAMED, "roof_covering": None}, "the roof covering is not known"),
        ({**FOAMED, "plane_after": None}, "where the insulation sits is not known"),
        # An R-value where a thickness was expected.
        ({**_RAFTERS, "measure_thickness_mm": 3.5}, "3.5 mm is no thickness of the proposed"),
        ({**_RAFTERS, "measure_material": "other"}, "no values are held for other as the proposed"),
        ({**_RAFTERS, "measure_material": "unheard_of"}, "no values are held for unheard_of"),
        ({**LOFT, "measure_thickness_mm": None}, "thickness of the ceiling insulation is not"),
        ({**BRICK, "wall_thickness_mm": 10.0}, "-3.0 mm is no thickness of the outer leaf"),
        ({**BRICK, "wall_thickness_mm": None}, "the thickness of the outer leaf is not known"),
        ({**BRICK, "wall_construction": None}, "the wall construction is not known"),
        ({**BRICK, "wall_insulation_existing": "combined"}, "several insulations"),
        ({**FLOOR, "measure_material": None}, "material of the proposed insulation is not known"),
        ({**FLOOR, "floor_construction": "solid_membrane"}, "no layer is held for solid_membrane"),
    ],
)
def test_the_reason_is_told_and_no_number(case: dict[str, object], reason: str) -> None:
    got = stack(case)
    assert reason in (got.described["missing"].item() or "")
    assert not got.r_m2k_w.any()
    assert not got.sd_m.any()
    assert np.isnan(got.u_w_m2k[0])
    assert got.described["invalid"].item() is None


def test_what_lies_outside_a_ventilated_loft_need_not_be_known() -> None:
    bare = {**LOFT, "roof_covering": None, "roof_underlay": None, "roof_deck": None}
    assert told(bare, "missing") is None


def test_a_declared_product_gives_other_its_values() -> None:
    library = load_library()
    hemp = library.materials["wood_fibre"]
    own = type(library)(
        {**library.materials, "other": hemp},
        library.anatomies,
        library.alternatives,
        library.most_combinations,
        library.digest,
    )
    got = stack({**_RAFTERS, "measure_material": "other"}, library=own)
    assert got.described["missing"].item() is None
    assert got.r_m2k_w[0, got.slots.index("rafter_insulation")] == pytest.approx(0.3 / 0.045)


def _codes(name: str) -> list[str]:
    return pl.read_csv(resource_dir("schemas") / "codes" / f"{name}.csv")["code"].to_list()


_LISTS = {
    "measure_group": "MEASURE_GROUP",
    "measure_material": "MM",
    "plane_before": "IP",
    "plane_after": "IP",
    "foam_class": "FT",
    "interior_vapour_control": "IV",
    "vapour_control_after": "IV",
    "roof_form": "RF",
    "roof_covering": "RC",
    "roof_underlay": "UL",
    "roof_deck": "RD",
    "vapour_diffusion_port": "YN",
    "wall_construction": "WC",
    "wall_finish_external": "WF",
    "wall_insulation_existing": "WI",
    "cavity_state": "CV",
    "floor_construction": "FL",
}


@pytest.mark.parametrize(
    ("element", "table"),
    [
        ("roof", "roof_covering"),
        ("roof", "roof_underlay"),
        ("roof", "roof_deck"),
        ("roof", "interior_vapour_control"),
        ("wall", "wall_construction"),
        ("wall", "wall_finish_external"),
    ],
)
def test_every_code_of_the_survey_has_a_meaning(element: str, table: str) -> None:
    held = set(load_library().anatomies[element].tables[table])
    assert set(_codes(_LISTS[table])) - {"unknown", "other"} == held


def _cases() -> st.SearchStrategy[dict[str, Any]]:
    numbers = st.none() | st.floats(allow_nan=True, allow_infinity=True) | st.floats(0, 500)
    fields: dict[str, st.SearchStrategy[Any]] = {}
    for name, dtype in CASE_FIELDS.items():
        if name in _LISTS:
            fields[name] = st.none() | st.sampled_from(_codes(_LISTS[name]))
        elif dtype == pl.Float64:
            fields[name] = numbers
        elif dtype == pl.Boolean:
            fields[name] = st.none() | st.booleans()
        else:
            fields[name] = st.none()
    return st.fixed_dictionaries(fields)


@settings(max_examples=60, deadline=None)
@given(st.lists(_cases(), min_size=0, max_size=8))
def test_whatever_was_surveyed_no_nan_and_no_number_without_a_stack(
    cases: list[dict[str, Any]],
) -> None:
    frame, library = frame_of(*cases), load_library()
    for element in ELEMENTS:
        for state in STATES:
            got = build_ups(frame, library, state, element)
            drawn = got.described["missing"].is_null().to_numpy()
            for values in (got.r_m2k_w, got.sd_m):
                assert np.isfinite(values).all()
                assert (values >= 0).all()
            assert (got.r_m2k_w[~drawn] == 0).all()
            assert np.isnan(got.u_w_m2k[~drawn]).all()
            assert ((got.watch >= -1) & (got.watch < len(got.slots))).all()
            assert ((got.deck_kg_m2 > 0) == (got.deck_slot >= 0)).all()
            assert got.described.height == len(cases)
