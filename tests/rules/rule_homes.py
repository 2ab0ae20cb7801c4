"""Homes made by hand, and the shortest way to have them judged.

Each base home is one that a surveyor would call sound, that answers every field its measure asks
for (survey dictionary 3.8 with dry run Q1 to Q8), and whose layers balance by calculation. Homes
that a calculated rule always holds, however sound the survey, stand in `HELD` with these rules.
Tests change a few answers at a time; a hundred homes cost hardly more than one, so they are
judged together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import polars as pl

from triage.assess import Assessed, assess
from triage.contract import load_contract
from triage.contract.assemblies import load_library
from triage.contract.policy_load import load_policy, policy_dir
from triage.place.records import climate_records
from triage.rules.records import Records

CONTRACT = load_contract()
POLICY = load_policy(policy_dir("default"))
LIBRARY = load_library()
CLIMATE = climate_records(None)
AS_OF = date(2026, 10, 31)
SAFE, FIX, REVIEW = "safe-to-insulate", "fix-water-first", "specialist-review"
Answer = str | float | date | list[str] | None
Facts = Mapping[str, Answer]

PLACES: dict[str, dict[str, Any]] = {
    # Degree-days to base 18.3 degC: 2400 is more than 10 % from the line of 3000, 3200 is not.
    "mild": {
        "zone_num": 4,
        "hdd_18_3": 2400.0,
        "rain_mm_year": 700.0,
    },
    "line": {
        "zone_num": 4,
        "hdd_18_3": 3200.0,
        "rain_mm_year": 700.0,
    },
    "cold": {"zone_num": 6, "hdd_18_3": 4500.0, "rain_mm_year": 900.0},
    "warm": {"zone_num": 2, "hdd_18_3": 900.0, "rain_mm_year": 1100.0},
    "arid": {"zone_num": 3, "hdd_18_3": 1500.0, "rain_mm_year": 200.0},
    # Warm with dry air: a room kept at 20 degC does not stand below the dew point of the summer.
    "dry": {"zone_num": 3, "hdd_18_3": 1500.0, "rain_mm_year": 450.0},
    "exposed": {
        "zone_num": 4,
        "hdd_18_3": 2400.0,
        "rain_mm_year": 1500.0,
        "exposure_computed": "severe",
    },
    # Mild by degree-days, but a daily record counts wet freezing days (4.2).
    "frosty": {
        "zone_num": 4,
        "hdd_18_3": 2400.0,
        "rain_mm_year": 700.0,
        "freeze_thaw_index": 12.0,
    },
    "unplaced": {
        "zone_num": None,
        "hdd_18_3": None,
        "rain_mm_year": None,
        "exposure_computed": None,
        "zone_join": "none",
        "join_quality": "low",
    },
}


# The record whose months the moisture calculations take: a UK region or a US typical year.
RECORDS = {
    "mild": "uk_region_01",
    "line": "uk_region_01",
    "cold": "us_726580",
    "warm": "us_722050",
    "arid": "us_722780",
    "dry": "us_722780",
    "exposed": "uk_region_05",
    "frosty": "uk_region_01",
    "unplaced": None,
}


def _text(value: Answer) -> str | None:
    assert value is None or isinstance(value, str)
    return value


def _number(value: Answer) -> float | None:
    assert value is None or isinstance(value, float)
    return value


@dataclass(frozen=True)
class Survey:
    """One survey row: its facts, the grade of the row and the cells with a grade of their own."""

    facts: Facts
    grade: str = "observed"
    marks: Mapping[str, str] = field(default_factory=dict)

    def but(self, **facts: Answer) -> "Survey":
        return replace(self, facts={**self.facts, **facts})

    def marked(self, **marks: str) -> "Survey":
        return replace(self, marks={**self.marks, **marks})


@dataclass(frozen=True, repr=False)
class Home:
    """A home with one proposed measure."""

    name: str
    measure: str
    surveys: tuple[Survey, ...]
    material: str | None = None
    place: str = "mild"
    thickness_mm: float | None = 100.0

    def __repr__(self) -> str:
        return f"<home {self.name}>"

    @property
    def group(self) -> str:
        return POLICY.measures[self.measure].group

    @property
    def facts(self) -> Facts:
        return self.surveys[0].facts

    def but(self, **facts: Answer) -> "Home":
        """The same home with other answers; None is an unknown one. The material is one too."""
        home = self
        if "measure_material" in facts:
            facts = dict(facts)
            home = replace(home, material=_text(facts.pop("measure_material")))
        if "measure_thickness_mm" in facts:
            facts = dict(facts)
            home = replace(home, thickness_mm=_number(facts.pop("measure_thickness_mm")))
        if "place" in facts:
            facts = dict(facts)
            home = replace(home, place=str(facts.pop("place")))
        return replace(home, surveys=(home.surveys[0].but(**facts), *home.surveys[1:]))

    def without(self, *names: str) -> "Home":
        return self.but(**dict.fromkeys(names))

    def graded(self, grade: str) -> "Home":
        return replace(self, surveys=tuple(replace(s, grade=grade) for s in self.surveys))

    def marked(self, **marks: str) -> "Home":
        return replace(self, surveys=(self.surveys[0].marked(**marks), *self.surveys[1:]))

    def also(self, *surveys: Survey) -> "Home":
        return replace(self, surveys=(*self.surveys, *surveys))

    def answers(self, name: str) -> Answer:
        specified = {"measure_material": self.material, "measure_thickness_mm": self.thickness_mm}
        return specified[name] if name in specified else self.facts.get(name)


_SURVEY_RECORD: dict[str, Any] = {
    "survey_date": date(2026, 2, 16),  # in the wetting half-year, under a year old
    "survey_reach_inside": "opened_up",
    "survey_reach_outside": "external_close",
    "access_limits": ["none"],
    "photo_refs": ["p1.jpg"],
}
_WHOLE: dict[str, Any] = {
    "property_type": "house",
    "built_form": "detached",
    "year_built": 2004,
    "heritage_status": "none",
    "plumbing_leak": "none_seen",
    "visible_mould": "none_seen",
    "high_moisture_use": ["none"],
    "extract_kitchen": "ducted_working",
    "extract_bathroom": "ducted_working",
    "background_ventilation": "adequate",
    "combustion_appliance": "room_sealed",
    "flue_clearance": "ok",
    "asbestos_status": "clear_survey",
    "wiring_hazard": "none_seen",
    "recessed_lights": "none",
    "rh_mean_pct": 52.0,
    "temp_mean_c": 19.0,
    "logger_days": 30,
    "timber_mc_pct": 14.0,
    "mc_date": date(2026, 2, 16),
    "timber_decay_grade": "d0",
}
_ROOF: dict[str, Any] = {
    "roof_form": "pitched_cold",
    "roof_pitch_deg": 35.0,
    "roof_covering": "slate_natural",
    "roof_covering_condition": "good",
    "roof_underlay": "membrane_lr",
    "roof_deck": "boards_close",
    "insulation_plane": "ceiling",
    "eaves_vent_state": "clear",
    "vent_free_area_ratio": 150.0,
    "ceiling_air_seal": "sealed",
    "exhaust_into_void": "no",
    "roof_leak_evidence": "none_seen",
    "roof_drainage": "drains_free",
    "roof_structure_concern": "none_seen",
    "flashing_condition": "good",
    "valley_condition": "good",
    "gutter_condition": "good",
    "downpipe_condition": "good",
    "chimney_condition": "good",
    "parapet_condition": "good",
    "penetration_condition": "good",
    "ceiling_insulation_mm": 100.0,
    "foam_present": "no",
    "protected_species": "checked_clear",
    "interior_vapour_control": "class_2",
    "capillary_break": "yes",
}
_WALL: dict[str, Any] = {
    "construction_system": "masonry_cavity",
    "wall_construction": "cavity_brick",
    "wall_finish_external": "bare",
    "pointing_condition": "good",
    "render_condition": "not_applicable",
    "opening_perimeter_condition": "good",
    "frost_damage": "none_seen",
    "dpc_presence": "physical",
    "ground_to_dpc_mm": 200.0,
    "wall_thickness_mm": 275.0,
    "cavity_width_mm": 75.0,
    "cavity_state": "clear",
    "cavity_bridging": "none_seen",
    "exposure_class": "moderate",
    "salt_evidence": "none_seen",
    "wall_damp_evidence": "none_seen",
    "embedded_timber": "none",
    "wall_insulation_existing": "none",
    "edge_detail_drawings": "yes",
}
_FLOOR: dict[str, Any] = {
    "floor_construction": "suspended_timber",
    "subfloor_vent_state": "clear",
    "subfloor_moisture": "dry",
}
SOUND = {**_SURVEY_RECORD, **_WHOLE, **_ROOF, **_WALL, **_FLOOR}
_SOLID = {
    "construction_system": "masonry_solid",
    "wall_construction": "brick_solid",
    "wall_thickness_mm": 228.0,
    "cavity_width_mm": None,
    "cavity_state": None,
    "cavity_bridging": "not_applicable",
}
_FRAME = {
    "construction_system": "timber_frame_platform",
    "wall_construction": "frame_clad",
    "wall_finish_external": "cladding_drained",
    "wall_thickness_mm": 150.0,
    "pointing_condition": "not_applicable",
    "cavity_width_mm": None,
    "cavity_state": None,
    "cavity_bridging": "not_applicable",
}
_RAFTER_FOAM = {
    "foam_present": "yes",
    "foam_type": "closed_cell",
    "foam_location": ["underside_deck"],
    "foam_substrate": "timber_board",
    "foam_thickness_mm": 120.0,
    "foam_coverage_pct": 100.0,
    "foam_evidence": ["product_certificate", "batch_log"],
    "foam_defects": ["none_seen"],
    "foam_fire_cover": "ignition_barrier",
    "insulation_plane": "rafter_unvented",
    "ceiling_insulation_mm": 0.0,
}
# Foam on a membrane over battens: no board is enclosed, so no board can stay humid (R10).
_MEMBRANE_FOAM = {
    **_RAFTER_FOAM,
    "foam_location": ["underside_underlay"],
    "foam_substrate": "membrane_lr",
    "roof_deck": "battens_only",
}
_GABLE_FOAM = {**_RAFTER_FOAM, "foam_location": ["gable_wall"], "insulation_plane": "ceiling"}
_LOW_SLOPE = {
    "roof_form": "low_slope_warm",
    "roof_pitch_deg": 3.0,
    "roof_covering": "membrane_single_ply",
    "insulation_plane": "above_deck",
    "deck_moisture_survey": "dry",
}
_ROOFING_FOAM = {
    **_LOW_SLOPE,
    "roof_covering": "spf_roofing",
    "foam_present": "yes",
    "foam_location": ["deck_top"],
    "foam_type": "closed_cell_roofing",
    "foam_substrate": "timber_board",
    "foam_evidence": ["product_certificate", "batch_log"],
    "foam_defects": ["none_seen"],
    "foam_thickness_mm": 60.0,
    "foam_coverage_pct": 100.0,
    "foam_fire_cover": "coating",
    "roofing_foam_coating_condition": "good",
}


def _home(name: str, measure: str, material: str | None = None, **other: Answer) -> Home:
    place = str(other.pop("place", "mild"))
    thickness_mm = _number(other.pop("thickness_mm", 100.0))
    return Home(name, measure, (Survey({**SOUND, **other}),), material, place, thickness_mm)


BASES: dict[str, Home] = {
    home.name: home
    for home in (
        _home("loft", "loft_topup"),
        _home("loft_gable_foam", "loft_topup", **_GABLE_FOAM),
        _home("rafter", "rafter_insulation", "mineral_wool"),
        _home(
            "rafter_open_foam_warm",
            "rafter_insulation",
            "spf_open",
            place="dry",
            thickness_mm=150.0,  # some open-cell foams stop air only from 140 mm
            insulation_plane="none",
            ceiling_insulation_mm=0.0,
            vapour_diffusion_port="yes",
            void_conditioning="yes",
        ),
        _home("rafter_under_foam", "rafter_insulation", "mineral_wool", **_MEMBRANE_FOAM),
        _home("room_in_roof", "room_in_roof", "pir_pur_board", roof_form="pitched_room"),
        _home("over_deck", "over_deck_board", "pir_pur_board", **_LOW_SLOPE),
        _home("over_deck_foam_below", "over_deck_board", "pir_pur_board", **_RAFTER_FOAM),
        _home("roofing_foam", "roofing_foam", "spf_roofing", **_LOW_SLOPE),
        _home("cavity", "cavity_fill", "eps_bead"),
        _home("inside_wall", "internal_wall", "wood_fibre", **_SOLID),
        _home("inside_cavity_wall", "internal_wall", "wood_fibre"),
        _home("outside_wall", "external_wall", "mineral_wool", **_SOLID),
        _home("outside_cavity_wall", "external_wall", "mineral_wool"),
        _home("frame_wall", "frame_wall_fill", "cellulose", **_FRAME),
        _home("floor", "floor_insulation", "mineral_wool"),
        _home("floor_board", "floor_insulation", "eps_xps"),
        _home("solid_floor", "floor_insulation", "eps_xps", floor_construction="solid_membrane"),
        _home("air", "air_sealing"),
        _home("foam_on_deck", "foam_check", **_ROOFING_FOAM),
    )
}
# Homes that are sound but for what is calculated, and the rules that hold them.
HELD: dict[str, tuple[Home, str]] = {
    home.name: (home, rules)
    for home, rules in (
        # M03: closed-cell foam over a deck that air dried until now. R10: a board behind foam is
        # about as cold and as humid as the winter air of the British Isles, over 80 % for months.
        (
            _home(
                "rafter_closed_foam",
                "rafter_insulation",
                "spf_closed",
                insulation_plane="none",
                ceiling_insulation_mm=0.0,
            ),
            "R10 M03",
        ),
        (
            _home("rafter_under_deck_foam", "rafter_insulation", "mineral_wool", **_RAFTER_FOAM),
            "R10",
        ),
    )
}
GROUPS = sorted({home.group for home in BASES.values()})


def bases_of(group: str) -> list[Home]:
    return [home for home in BASES.values() if home.group == group]


@dataclass(frozen=True)
class Judged:
    """The rows of the homes' own measures, in the order in which the homes were given."""

    queue: pl.DataFrame
    results: pl.DataFrame
    whole: Assessed

    def safe(self) -> list[bool]:
        return (self.queue["queue"] == SAFE).to_list()

    def rows(self) -> list[dict[str, Any]]:
        return self.queue.to_dicts()

    def answers(self) -> list[dict[str, int]]:
        return self.results.to_dicts()


def survey_frame(homes: Sequence[Home], names: Sequence[str]) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Survey rows and marked cells as intake would hand them over."""
    schema = CONTRACT.polars_schema()
    listed = [(n, s) for n, home in zip(names, homes, strict=True) for s in home.surveys]
    unheard = {key for _, s in listed for key in s.facts} - set(schema)
    assert not unheard, unheard
    columns = {
        name: pl.Series(name, [s.facts.get(name) for _, s in listed], dtype=dtype)
        for name, dtype in schema.items()
    }
    rows = pl.DataFrame(columns).with_columns(
        pl.Series("property_id", [n for n, _ in listed], dtype=pl.String),
        pl.lit("main").alias("building_part"),
        pl.Series("base_grade", [s.grade for _, s in listed], dtype=pl.String),
    )
    marks = [
        (row, name, grade)
        for row, (_, s) in enumerate(listed)
        for name, grade in sorted(s.marks.items())
    ]
    shape = {"row_id": pl.UInt32, "field": pl.String, "grade": pl.String}
    return rows.with_row_index("row_id"), pl.DataFrame(marks, schema=shape, orient="row")


def _climate(place: str) -> dict[str, Any]:
    record = RECORDS[place]
    us = record is not None and record.startswith("us_")
    edition = "IECC 2006-2018 county assignment" if us else "computed from regional monthly means"
    return {"climate_id": record, "zone_edition": edition if record else None}


def place_frame(
    homes: Sequence[Home], names: Sequence[str], buildings: Sequence[str | None] = ()
) -> pl.DataFrame:
    """One placed home a property; `buildings` names the building of each."""
    common: dict[str, Any] = {
        "building_id": None,
        "lat": 51.0,
        "lon": -1.0,
        "moist_letter": "A",
        "zone_join": "inside",
        "join_quality": "good",
        "freeze_thaw_index": None,
        "exposure_computed": "moderate",
        "region_name": "south",
        "latitude_north": True,
    }
    placed = [
        {"property_id": n, **common, **_climate(h.place), **PLACES[h.place]}
        for n, h in zip(names, homes, strict=True)
    ]
    for home, building in zip(placed, buildings, strict=False):
        home["building_id"] = building
    text = dict.fromkeys(
        ("property_id", "building_id", "climate_id", "moist_letter", "zone_join", "zone_edition"),
        pl.String,
    )
    text |= dict.fromkeys(("join_quality", "exposure_computed", "region_name"), pl.String)
    number = dict.fromkeys(("lat", "lon", "hdd_18_3", "rain_mm_year"), pl.Float64)
    schema = {**text, **number, "freeze_thaw_index": pl.Float64, "zone_num": pl.Int8}
    return pl.DataFrame(placed, schema={**schema, "latitude_north": pl.Boolean})


def proposal_frame(homes: Sequence[Home], names: Sequence[str]) -> pl.DataFrame:
    """The measure of each home; foam checks propose themselves."""
    wanted = [
        (n, "main", h.measure, h.material, h.thickness_mm)
        for n, h in zip(names, homes, strict=True)
    ]
    schema = {
        **dict.fromkeys(("property_id", "building_part", "measure_code"), pl.String),
        "measure_material": pl.String,
        "measure_thickness_mm": pl.Float64,
    }
    return pl.DataFrame(wanted, schema=schema, orient="row")


def judge(
    homes: Sequence[Home],
    as_of: date = AS_OF,
    records: Records | None = None,
    buildings: Sequence[str | None] = (),
) -> Judged:
    """Judge every home by its own measure; `buildings` names the building of each."""
    names = [f"H{n:06d}" for n in range(len(homes))]
    rows, marks = survey_frame(homes, names)
    whole = assess(
        rows,
        marks,
        proposal_frame(homes, names),
        place_frame(homes, names, buildings),
        CLIMATE,
        [],
        POLICY,
        LIBRARY,
        as_of,
        list(CONTRACT.fields),
        records,
    )
    own = pl.DataFrame({"property_id": names, "measure_code": [h.measure for h in homes]})
    keys = ["property_id", "measure_code"]
    queue = own.join(whole.queue, on=keys, how="left", maintain_order="left")
    results = own.join(whole.results, on=keys, how="left", maintain_order="left")
    assert queue.height == len(homes)
    return Judged(queue, results, whole)


def judge_one(home: Home, as_of: date = AS_OF, records: Records | None = None) -> dict[str, Any]:
    """The queue row of one home, which is H000000."""
    return judge([home], as_of, records).rows()[0]
