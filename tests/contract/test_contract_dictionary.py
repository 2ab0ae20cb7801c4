"""The shipped contract says what the field dictionary says (sections 3.1 to 3.8)."""

import duckdb
import polars as pl
import pytest
from contract_dictionary import CHILD_TABLES, COUNTS, LISTS, NAMES

from triage.contract import Contract, normalise

# Added beyond the dictionary: reach in and out (dry run D9), roofing foam (6.5), drawings (N8),
# grid references (the issue that brought the tool about).
ADDED = [
    "survey_reach_inside",
    "survey_reach_outside",
    "roofing_foam_coating_condition",
    "deck_moisture_survey",
    "edge_detail_drawings",
    "grid_reference",
    "easting_m",
    "northing_m",
]


def test_fields_are_the_113_of_the_dictionary_in_order_then_the_added_ones(
    contract: Contract,
) -> None:
    assert len(NAMES) == 113
    assert list(contract.fields) == NAMES + ADDED
    assert [field.number for field in contract.fields.values()] == list(range(1, 122))
    assert [name for name, field in contract.fields.items() if field.added] == ADDED


def test_each_code_field_has_the_list_that_the_dictionary_names(contract: Contract) -> None:
    own = {"country_code": "COUNTRY", "embedded_timber_aspect": "ASPECT"}
    own["survey_confidence"] = "HI_LO"
    named = {n: f.code_list for n, f in contract.fields.items() if f.code_list and not f.added}
    assert named == LISTS | own


def test_code_lists_are_as_long_as_printed(contract: Contract) -> None:
    assert len(COUNTS) == 56
    printed = COUNTS | {"BR": COUNTS["BR"] + 1}  # not_applicable, dry run Q8
    counted = {
        name: sum(code.code != "unknown" for code in contract.codes[name]) for name in printed
    }
    assert counted == printed


# Section 3.4, column "allowed": list plus ...
@pytest.mark.parametrize(
    ("field", "extra"),
    [
        ("vapour_diffusion_port", ["wrong_detail"]),
        ("flashing_condition", ["mortar_fillet"]),
        ("valley_condition", ["none_present"]),
        ("gutter_condition", ["blocked", "absent"]),
        ("downpipe_condition", ["discharge_at_wall"]),
        ("chimney_condition", ["none_present", "disused_unvented"]),
        ("parapet_condition", ["none_present"]),
        ("pointing_condition", ["cement_hard"]),
        ("render_condition", ["hollow"]),
        ("capillary_break", ["partial"]),
        ("foam_present", ["suspected"]),
    ],
)
def test_extra_codes_of_a_field(contract: Contract, field: str, extra: list[str]) -> None:
    assert [code.code for code in contract.fields[field].extra] == extra
    assert contract.fields[field].codes[-len(extra) :] == tuple(extra)


# Section 3.4, column "allowed".
@pytest.mark.parametrize(
    ("field", "low", "high", "quantity"),
    [
        ("storeys", 0.5, 60, "count"),
        ("floor_area_m2", 15, 2000, "area"),
        ("roof_pitch_deg", 0, 75, "pitch"),
        ("vent_free_area_ratio", 50, 2000, "ratio"),
        ("wall_thickness_mm", 90, 1200, "length_mm"),
        ("ground_to_dpc_mm", -600, 1500, "length_mm"),
        ("cavity_width_mm", 0, 150, "length_mm"),
        ("ceiling_insulation_mm", 0, 600, "length_mm"),
        ("foam_density_kg_m3", 5, 80, "density"),
        ("foam_thickness_mm", 5, 500, "length_mm"),
        ("timber_mc_pct", 5, 100, "percent"),
        ("temp_mean_c", -20, 45, "temperature"),
        ("u_value_w_m2k", 0.05, 6, "u_value"),
        ("measure_thickness_mm", 10, 500, "length_mm"),
    ],
)
def test_ranges(contract: Contract, field: str, low: float, high: float, quantity: str) -> None:
    entry = contract.fields[field]
    assert (entry.low, entry.high, entry.quantity) == (low, high, quantity)
    assert entry.in_range(low)
    assert entry.in_range(high)
    assert not entry.in_range(high + 1)
    assert not entry.in_range(float("nan"))


# Sections 3.4 "how it is written" and 3.5 "usually written", and common practice where marked.
@pytest.mark.parametrize(
    ("field", "written", "code"),
    [
        ("property_type", "Bung", "bungalow"),
        ("built_form", "mid-ter", "mid_terrace"),
        ("built_form", "Semi", "semi_detached"),
        ("construction_system", "TF", "timber_frame_platform"),
        ("heritage_status", "Grade II", "listed"),
        ("roof_covering", "SSMR", "metal_standing_seam"),
        ("roof_covering", "conc tile", "tile_interlocking"),
        ("roof_covering", "asph shingle", "shingle_asphalt"),
        ("roof_covering_condition", "Nail sick", "poor"),
        ("roof_underlay", "1F", "felt_bitumen_hr"),
        ("roof_underlay", "I&W", "self_adhered"),
        ("exhaust_into_void", "duct off", "yes"),
        ("flashing_condition", "mortar fillet", "mortar_fillet"),
        ("gutter_condition", "Blkd", "blocked"),
        ("chimney_condition", "none", "none_present"),  # common practice
        ("wall_construction", "CMU", "block_solid"),
        ("wall_construction", '9"', "brick_solid"),  # common practice
        ("wall_finish_external", "p/dash", "render_cement"),
        ("foam_type", "0.5 lb", "open_cell"),
        ("foam_present", "SPF", "yes"),
        ("foam_location", "on felt", "underside_underlay"),
        ("combustion_appliance", "atmospheric WH", "open_flue"),
        ("wiring_hazard", "K&T", "knob_and_tube"),
        ("survey_method", "loft head-and-shoulders", "void_hatch"),
        ("timber_decay_grade", "dry rot", "dx"),
        ("country_code", "Wales", "GB"),
        ("country_code", "North Carolina", "US"),
    ],
)
def test_surveyors_words_are_understood(
    contract: Contract, field: str, written: str, code: str
) -> None:
    assert contract.field_spelling(field)[normalise(written)] == code


# Section 3.4 "what unknown looks like"; the others are ambiguous or say too little.
@pytest.mark.parametrize(
    ("field", "written"),
    [
        ("roof_covering", "tile"),
        ("wall_construction", "brick"),
        ("foam_type", "foam"),
        ("extract_bathroom", "fan"),
        ("extract_kitchen", "yes"),
        ("foam_evidence", "has paperwork"),
        ("construction_system", "standard"),
        ("timber_decay_grade", "ok"),
        ("asbestos_status", "none"),
        ("protected_species", "none seen"),
        ("roof_underlay", "sarking"),  # boards in Scotland, felt elsewhere
        ("roof_covering", "asphalt"),  # poured in one country, shingles in another
        ("roof_covering_condition", "1"),  # the best on one form, the worst on another
        ("age_band", "pre-1919"),  # straddles A and B
        ("exhaust_into_void", "x"),  # a cross or a tick: only the profile knows
    ],
)
def test_words_that_settle_nothing_map_to_no_code(
    contract: Contract, field: str, written: str
) -> None:
    assert normalise(written) not in contract.field_spelling(field)


def test_not_applicable_is_never_read_from_the_short_form(contract: Contract) -> None:
    for name, codes in contract.codes.items():
        assert not {"n/a", "na", "n.a"} & contract.spelling(name).keys() or name == "UNKNOWN", name
        assert codes, name
    assert contract.spelling("UNKNOWN")["n/a"] == "blank"


# Section 3.2, "typical cell".
@pytest.mark.parametrize(
    ("written", "kind"),
    [
        ("-", "blank"),
        ("NS", "not_seen"),
        ("not vis", "not_seen"),
        ("N/I", "not_seen"),
        ("no access", "no_access"),
        ("boarded", "no_access"),
        ("refused", "refused"),
        ("??", "illegible"),
    ],
)
def test_kinds_of_unknown(contract: Contract, written: str, kind: str) -> None:
    assert contract.spelling("UNKNOWN")[normalise(written)] == kind


def test_evidence_grades_stand_strongest_first(contract: Contract) -> None:
    printed = "measured opened_up observed photographed documented reported inherited assumed"
    assert [code.code for code in contract.codes["GRADE"]] == printed.split()
    assert contract.spelling("MARKS")["(assumed)"] == "assumed"
    assert contract.spelling("MARKS")["per tenant"] == "reported"


@pytest.mark.parametrize("table", list(CHILD_TABLES))
def test_child_tables_hold_the_printed_columns_in_order(contract: Contract, table: str) -> None:
    # beyond what is printed: the exact spot of a reading and the parent of an opening, which the
    # notes ask for in words, and what is marked as added
    unprinted = (
        {"spot"} if table == "reading" else {"inspection_id"} if table == "opening" else set()
    )
    columns = contract.tables[table].columns
    printed = [n for n, field in columns.items() if n not in unprinted and not field.added]
    assert printed == CHILD_TABLES[table]


def test_climate_record_has_every_month(contract: Contract) -> None:
    columns = contract.tables["climate"].columns
    for stem in ("t_mean", "vp_mean", "rh_mean", "rain", "wind_mean"):
        assert [name for name in columns if name.rpartition("_")[0] == stem] == [
            f"{stem}_{month:02}" for month in range(1, 13)
        ]


def test_minimum_data_follows_section_3_8_and_the_dry_run(contract: Contract) -> None:
    needs = {entry.title: entry for entry in contract.minimum_data}
    asked = {name for entry in contract.minimum_data for name in entry.fields}
    assert not asked & {"storeys", "roof_covering", "occupants"}  # Q1
    assert not asked & {"asbestos_status", "wiring_hazard", "recessed_lights"}  # Q1
    timber = next(e for e in contract.minimum_data if "timber_mc_pct" in e.fields)
    assert "CEIL" not in timber.measure_groups  # Q2
    assert not {"CWI", "EWI", "FLR"} & needs["leak evidence"].measure_groups.keys()  # Q3
    assert set(needs["parapet"].measure_groups.values()) == {"low-slope roof"}  # Q4
    groups = {group for entry in contract.minimum_data for group in entry.measure_groups}
    assert {"AIR", "FWI"} <= groups  # Q8
    cavity = next(e for e in contract.minimum_data if "cavity_bridging" in e.fields)
    assert set(cavity.measure_groups) == {"CWI"}


def test_types_for_polars_and_duckdb_agree(contract: Contract) -> None:
    with duckdb.connect() as store:
        for name in contract.tables:
            store.execute(contract.duckdb_ddl(name))
            empty = store.sql(f'SELECT * FROM "{name}"').pl()
            assert empty.schema == pl.Schema(contract.polars_schema(name))


def test_every_field_has_a_meaning_and_a_line_of_help(contract: Contract) -> None:
    for name, field in contract.fields.items():
        assert field.meaning, name
        assert field.help, name
        assert len(field.help) <= 100, name
