"""One adverse answer for every rule that can fire, and what an unanswered field does to it.

Written by hand from the rule texts: survey dictionary section 4.4 as changed by dry run section
6 (named beside each case). `unknown` says, measure group by measure group, what blanking the
field gives: `open` (the row cannot be safe), `presumed` (it may, with a check) or `silent` (the
field is optional there: nothing is asked).
"""

from dataclasses import dataclass, field, replace
from datetime import date

from rule_homes import BASES, HELD, POLICY, SOUND, Answer, Home, Survey

ROOF, WALLS = "CEIL RAFT EXTR FOAM", "CWI IWI EWI FWI"
ALL = f"{ROOF} {WALLS} FLR AIR"
_TIMBER = "CEIL RAFT EXTR FOAM IWI FWI FLR"

# Foam inside the roof: sound, but nobody has opened it, so its row always waits for inspection.
FOAMED = Home(
    "foam_under_roof",
    "foam_check",
    (
        Survey(
            {
                **SOUND,
                "foam_present": "yes",
                "foam_type": "closed_cell",
                "foam_thickness_mm": 120.0,
                "foam_location": ["underside_deck"],
                "foam_substrate": "timber_board",
                "foam_coverage_pct": 100.0,
                "foam_defects": ["none_seen"],
                "foam_evidence": ["product_certificate", "batch_log"],
                "foam_fire_cover": "ignition_barrier",
                "insulation_plane": "rafter_unvented",
                "ceiling_insulation_mm": 0.0,
            }
        ),
    ),
)
_HELD = {name: home for name, (home, _) in HELD.items()}
HOMES = {**BASES, FOAMED.name: FOAMED, **_HELD}


@dataclass(frozen=True)
class Case:
    """An adverse answer; `fired` names what else the same answer must fire, group by group."""

    rule: str
    text: str
    adverse: dict[str, Answer]
    on: str  # measure groups, or names of homes
    fired: dict[str, str] = field(default_factory=dict)
    blank: dict[str, Answer] = field(default_factory=dict)
    unknown: dict[str, str] = field(default_factory=dict)

    def homes(self) -> list[Home]:
        wanted = self.on.split()
        named = [h for h in HOMES.values() if h.name in wanted]
        return named + [
            h for h in HOMES.values() if h.group in wanted and h not in named and h.name not in HELD
        ]

    def also(self, home: Home) -> set[str]:
        """What else fires: told for this home, or for its group and what holds it anyhow."""
        if home.name in self.fired:
            return set(self.fired[home.name].split()) - {self.rule}
        always = HELD[home.name][1] if home.name in HELD else ""
        return set(f"{self.fired.get(home.group, '')} {always}".split()) - {self.rule}

    def when_unknown(self, home: Home) -> str:
        for word, where in self.unknown.items():
            if home.name in where.split():
                return word
        return next(w for w, where in self.unknown.items() if home.group in where.split())

    @property
    def outcome(self) -> str:
        return POLICY.rules[self.rule].outcome

    @property
    def label(self) -> str:
        values = "-".join(f"{k}={v}" for k, v in self.adverse.items()) or "unknown"
        return f"{self.rule}-{values}"[:70].replace(" ", "")


def one(
    rule: str,
    text: str,
    name: str,
    values: str | list[Answer],
    on: str,
    *,
    presumed: str = "",
    silent: str = "",
    open_in: str = "",
    fired: dict[str, str] | None = None,
    blank: bool = True,
    **others: Answer,
) -> list[Case]:
    """Cases of one field: each adverse value, and the field blank."""
    listed = values.split() if isinstance(values, str) else values
    unknown = {"presumed": presumed, "silent": silent, "open": open_in or ALL}
    cases = [
        Case(rule, text, {name: v, **others}, on, fired or {}, {name: None, **others}, unknown)
        for v in listed
    ]
    return cases if blank else [replace(case, blank={}) for case in cases]


WATER = [
    *one(
        *("W01", "4.4 W01; 6.2 Q3", "roof_leak_evidence", "active recent", ALL),
        silent="CWI EWI FWI FLR",
    ),
    *one("W01p", "4.4 W01; 6.4", "plumbing_leak", "active recent", ALL, presumed=ALL),
    *one("W02", "4.4 W02", "roof_covering_condition", "poor failed", ROOF),
    *one(
        *("W03", "4.4 W03; 6.4", "flashing_condition", "poor failed", f"{ROOF} AIR"),
        presumed="CEIL AIR",
    ),
    *one(
        *("W03", "4.4 W03; 6.1 D1", "penetration_condition", "poor failed", f"{ROOF} AIR"),
        silent=ALL,
    ),
    *one("W03m", "6.3 N3", "flashing_condition", ["mortar_fillet"], "CEIL AIR", blank=False),
    *one("W03r", "6.3 N3", "flashing_condition", ["mortar_fillet"], "RAFT EXTR FOAM"),
    *one(
        *("W04", "4.4 W04; 6.4", "gutter_condition", "poor failed blocked absent", ALL),
        presumed="CEIL",
        silent="FLR AIR",
    ),
    *one(
        *("W04", "4.4 W04; 6.4", "valley_condition", "poor failed", ALL),
        presumed="CEIL AIR",
        silent=f"{WALLS} FLR",
    ),
    *one(
        *("W04", "4.4 W04; 6.4", "downpipe_condition", "poor failed", ALL),
        presumed=f"CEIL {WALLS}",
        silent="FLR AIR",
    ),
    *one(
        *("W04", "6.3 N6", "downpipe_condition", ["discharge_at_wall"], f"{WALLS} FLR"),
        blank=False,
    ),
    *one(
        *("W05", "4.4 W05; 6.4", "chimney_condition", "poor failed", f"{ROOF} AIR"),
        presumed="CEIL AIR",
    ),
    *one("W05", "6.3 N5", "chimney_condition", ["disused_unvented"], "RAFT EXTR FOAM"),
    *one("W05f", "6.3 N5", "chimney_condition", ["disused_unvented"], "CEIL AIR", blank=False),
    *one(
        *("W06", "4.4 W06; 6.2 Q4", "parapet_condition", "poor failed", f"{ROOF} {WALLS}"),
        open_in="over_deck roofing_foam foam_on_deck",
        presumed=f"{ROOF} {WALLS}",
    ),
    *one(
        *("W07", "4.4 W07", "pointing_condition", "poor failed", WALLS),
        silent="FWI",
    ),
    *one(
        *("W07", "4.4 W07; 6.1 D1", "render_condition", "poor failed hollow", WALLS),
        silent=WALLS,
    ),
    *one(
        *("W07", "4.4 W07; 6.1 D1", "opening_perimeter_condition", "poor failed", WALLS),
        silent=WALLS,
    ),
    *one("W07", "4.4 W07", "wall_damp_evidence", ["rain"], WALLS),
    *one(
        *("W08", "4.4 W08; 6.4", "ground_to_dpc_mm", [-10.0], f"{WALLS} FLR"),
        presumed="CWI EWI FLR",
        silent="FWI",
    ),
    Case(
        *("W08", "4.4 W08", {"ground_to_dpc_mm": 100.0, "wall_damp_evidence": "undiagnosed"}),
        f"{WALLS} FLR",
        {**dict.fromkeys(f"{WALLS} FLR".split(), "W13u"), "floor_board": "W13u M03"},
    ),
    Case(
        *("W08", "4.4 W08; 6.5", {"dpc_presence": "none", "wall_damp_evidence": "ground"}),
        f"{WALLS} FLR",
        {**dict.fromkeys(f"{WALLS} FLR".split(), "W13"), "floor_board": "W13 M03"},
    ),
    *one(
        *("W08", "4.4 W08; 6.5", "cavity_bridging", ["dpc_level"], f"{WALLS} FLR"),
        fired={"CWI": "M06"},
        blank=False,
    ),
    Case(
        *("W09", "4.4 W09; 6.5", {"timber_mc_pct": 22.0}, _TIMBER, {}),
        {"timber_mc_pct": None, "timber_decay_grade": None},
        {"silent": "CEIL EXTR IWI FWI", "open": "RAFT FOAM FLR"},
    ),
    *one(
        *("W09", "4.4 W09, S06", "timber_decay_grade", "d3 d4 dx", _TIMBER),
        fired=dict.fromkeys(ROOF.split(), "S06"),
        silent=ALL,
    ),
    *one(
        *("W09r", "6.5 W09; H10", "timber_mc_pct", [20.0, 21.9], _TIMBER),
        blank=False,
    ),
    *one("W09r", "6.5 W09", "timber_decay_grade", ["d2"], _TIMBER, blank=False),
    Case(
        "W09w",
        "4.1 watch level: above 18 in the wetting half-year, under 20",
        {"timber_mc_pct": 19.0},
        _TIMBER,
    ),
    Case("W09s", "4.5 E06", {"timber_mc_pct": 12.0, "mc_date": date(2026, 7, 1)}, "RAFT FOAM IWI"),
    Case("W09c", "6.2 Q2; 6.5", {"timber_mc_pct": None}, "RAFT FOAM FLR IWI"),
    Case(
        *("W11", "6.5 W11", {"built_form": "mid_terrace", "gutter_condition": "poor"}, ALL),
        dict.fromkeys(ALL.split(), "W04"),
    ),
    Case(
        "W12",
        "6.5 W12; H3",
        {"roof_form": "low_slope_warm", "roof_pitch_deg": 3.0, "roof_drainage": "ponding"},
        "CEIL RAFT FOAM AIR",
        {"foam_on_deck": "R14w"},
        {"roof_form": "low_slope_warm", "roof_pitch_deg": 3.0, "roof_drainage": None},
        {"open": ALL},
    ),
    *one("W12d", "3.8 deck survey", "deck_moisture_survey", ["wet"], "over_deck", silent="EXTR"),
    # A board below the deck takes over half its drying, and damp is what that leaves no margin for.
    *one(
        *("W13", "6.5 W13; H1", "wall_damp_evidence", "ground plumbing", f"{WALLS} FLR"),
        fired={"floor_board": "M03"},
    ),
    *one(*("W13", "6.5 W13", "wall_damp_evidence", ["rain"], "FLR"), fired={"floor_board": "M03"}),
    *one(
        *("W13u", "6.5 W13; H1", "wall_damp_evidence", "undiagnosed condensation", f"{WALLS} FLR"),
        fired={"floor_board": "M03"},
    ),
]

_NO_TIMBER = {"timber_mc_pct": None, "timber_decay_grade": None}
_UNSEEN_FOAM = {"foam_location": None, "foam_substrate": None}
_OPEN_CELL = {"foam_type": "open_cell", "place": "warm"}
ROOFS = [
    *one("R01", "4.4 R01", "roof_underlay", "none torching", "RAFT"),
    Case(
        *("R01", "4.4 R01", {"foam_location": ["underside_covering"]}, "foam_under_roof", {}),
        _UNSEEN_FOAM,
        {"open": ALL},
    ),
    *one(
        *("R01", "4.4 R01", "foam_substrate", ["slate_tile"], "foam_under_roof rafter_under_foam"),
        blank=False,
    ),
    *one(
        *("R02", "4.4 R02", "roof_underlay", "felt_bitumen_hr membrane_hr"),
        "rafter_closed_foam rafter_open_foam_warm",
    ),
    # Self-adhered membrane is class 1: no monthly method (R10), the board is followed (R09d).
    *one(
        *("R02", "4.4 R02", "roof_underlay", ["self_adhered"]),
        "rafter_closed_foam rafter_open_foam_warm",
        fired={"rafter_closed_foam": "R09d M03"},
    ),
    *one("R02", "4.4 R02", "foam_substrate", ["felt_hr"], "foam_under_roof"),
    *[
        Case(
            *("R03", "4.4 R03; H2, H9", {"place": place, "roof_outer_class": "class_1"}),
            "rafter_closed_foam rafter_under_foam foam_under_roof",
            # Between metal and 7 m of foam: 2e-10 x 1.58e7 s x some 400 Pa / 7.2 m is under the
            # 0.25 kg/m2 of M03; a board there takes up more in winter than it gives off (R09d).
            {"rafter_closed_foam": "R09d M03", "rafter_under_foam": "M03", "FOAM": "R09d"},
            {"place": place, "roof_covering": "other", "roof_underlay": "boards"},
            {"open": ALL},
        )
        for place in ("cold", "line")
    ],
    *one(
        *("R04", "4.4 R04; H2", "interior_vapour_control", "class_3 variable none"),
        "rafter_open_foam_warm",
        blank=False,  # foam proposed with nothing said of an inner layer is foam without one
        place="cold",
        # Room air reaches the cold face of open-cell foam: water condenses there, and it is damp.
        fired={"rafter_open_foam_warm": "R09 R10"},
    ),
    *one(
        *("R04", "4.4 R04; 6.5", "interior_vapour_control", "class_3 none", "foam_under_roof"),
        foam_thickness_mm=150.0,
        place="cold",
        foam_type="open_cell",
    ),
    Case(
        *("R05", "4.4 R05; D4", {"vapour_diffusion_port": "no", "void_conditioning": "no"}),
        "rafter_open_foam_warm",
        {},
        {"vapour_diffusion_port": None, "void_conditioning": None},
        {"open": ALL},
    ),
    Case(
        "R05",
        "4.4 R05",
        {**_OPEN_CELL, "vapour_diffusion_port": "wrong_detail", "void_conditioning": "no"},
        "foam_under_roof",
        {},
        {**_OPEN_CELL, "vapour_diffusion_port": None, "void_conditioning": None},
        {"open": ALL},
    ),
    Case("R06", "4.4 R06", {}, "rafter_open_foam_warm"),
    Case("R06", "4.4 R06", {**_OPEN_CELL, "vapour_diffusion_port": "yes"}, "foam_under_roof"),
    *one(
        *("R08", "4.4 R08", "foam_defects", [["crack"], ["gap_at_timber"]]),
        "rafter_under_foam foam_under_roof",
    ),
    *one(
        *("R08", "4.4 R08, F04", "foam_defects", [["delaminated"], ["shrinkage"]]),
        "rafter_under_foam foam_under_roof",
        fired={"RAFT": "F04", "FOAM": "F04"},
    ),
    *one(
        *("R11", "6.3 N2", "eaves_vent_state", "blocked none", "CEIL"),
        presumed="CEIL",
        **_NO_TIMBER,
    ),
    *one("R11", "6.3 N2", "vent_free_area_ratio", [301.0], "CEIL", silent="CEIL", **_NO_TIMBER),
    *one(
        *("R11", "4.4 R11; 6.5", "eaves_vent_state", "partly_blocked blocked none"),
        "rafter room_in_roof",
    ),
    *one(
        *("R11", "4.4 R11", "vent_free_area_ratio", [301.0], "rafter room_in_roof"), silent="RAFT"
    ),
    *one("R11", "6.5; H4", "foam_defects", [["blocks_vents"]], "foam_under_roof", blank=False),
    *one("R11e", "6.3 N2", "eaves_vent_state", "partly_blocked blocked none", "CEIL", blank=False),
    *one("R11e", "6.3 N2", "vent_free_area_ratio", [301.0], "CEIL", blank=False),
    *one(
        *("R12", "4.4 R12; 6.4, Q7", "exhaust_into_void", ["yes"], "CEIL RAFT FOAM AIR"),
        presumed=ALL,
    ),
    *one("R12s", "6.3 N1", "ceiling_air_seal", ["open"], "CEIL", blank=False),
    Case("R12s", "6.3 N1", {"ceiling_air_seal": None}, "CEIL"),
    *one(
        *("R13", "4.4 R13", "roof_form", "low_slope_cold low_slope_unknown mixed"),
        "RAFT foam_under_roof",
    ),
    Case("R14", "4.4 R14; 6.5", {}, "roofing_foam foam_on_deck"),
    *one(
        *("R14w", "4.4 R14 cautions", "roof_drainage", "ponding blocked"),
        "roofing_foam foam_on_deck",
        fired={"FOAM": "W12"},
    ),
    *one("R14w", "4.4 R14", "deck_moisture_survey", ["wet"], "roofing_foam foam_on_deck"),
    *one(
        *("R14w", "4.4 R14; 6.5", "roofing_foam_coating_condition", "poor failed"),
        "roofing_foam foam_on_deck",
        blank=False,
    ),
]

_FOAMED = "loft_gable_foam rafter_under_foam over_deck_foam_below foam_under_roof"
FOAM = [
    *one("F01", "4.4 F01; D3", "foam_type", [None], _FOAMED, blank=False),
    Case(
        *("F01", "4.4 F01; 6.4, Q7", {"foam_present": "yes"}, "loft rafter over_deck"),
        {},  # where the foam is, nobody said: F07 cannot be told
        {"foam_present": None},
        {"presumed": "CEIL RAFT EXTR"},
    ),
    *one("F02", "4.4 F02", "foam_type", ["mixed"], _FOAMED),
    Case(
        *("F03", "4.4 F03", {"access_limits": ["foam_covered"]}, _FOAMED, {}),
        {"access_limits": None, "foam_location": None},
        {"open": ALL},
    ),
    *one(
        *("F04", "4.4 F04", "foam_defects"),
        [["soft_sticky"], ["brittle_glassy"], ["uneven_thin"], ["unfinished"]],
        _FOAMED,
    ),
    *one(
        *("F04", "4.4 F04; 6.5", "foam_evidence", [["product_certificate"]], "foam_under_roof"),
    ),
    *one(
        *("F05", "4.4 F05", "foam_evidence", [["none_found"]], "foam_under_roof"),
        fired={"FOAM": "F04"},
    ),
    Case(
        "F06",
        "4.4 F06",
        {"foam_location": ["underside_covering"], "roof_covering_condition": "poor"},
        _FOAMED,
        {"CEIL": "W02 F07", "RAFT": "W02 R01", "EXTR": "W02", "FOAM": "W02 R01"},
        {"foam_location": None, "access_limits": None},
        {"open": ALL},
    ),
    *one(
        "F07", "4.4 F07; H2", "foam_location", [["underside_deck"]], "loft_gable_foam", blank=False
    ),
    *one(
        *("F07", "4.4 F07; H2", "ceiling_insulation_mm", [50.0]),
        "rafter_under_foam foam_under_roof",
    ),
    *one("F09", "6.5 F09; H4", "foam_defects", [["wet_stained"]], _FOAMED),
]

_EAVES = ["underside_deck", "eaves_wallhead"]
FABRIC = [
    *one(
        *("J01", "4.4 J01", "embedded_timber"),
        "joist_ends beam_ends bond_timber wall_plate several",
        "IWI",
    ),
    *one(
        *("J02", "4.4 J02; 6.5", "capillary_break", ["no", "partial"], "IWI"),
        fired={"IWI": "J01"},
        embedded_timber="joist_ends",
    ),
    *one("J02", "4.4 J02; 6.5", "capillary_break", ["no", "partial"], "floor_board"),
    *one(
        *("J02", "4.4 J02; 6.5", "capillary_break", ["no"], "rafter_under_foam foam_under_roof"),
        foam_location=_EAVES,
    ),
    *one("M01", "4.4 M01", "frost_damage", "minor moderate extensive", "inside_wall"),
    Case(
        *("M01", "4.4 M01", {"place": "cold"}, "inside_wall", {}),
        {"place": "unplaced"},
        {"open": ALL},
    ),
    Case("M01", "4.4 M01; H9", {"place": "line"}, "inside_wall"),
    *one(
        *("M02", "4.4 M02; 6.4", "salt_evidence", "heavy confirmed source_known", "CWI IWI EWI"),
        presumed="CWI EWI",
    ),
    *one(
        *("M04", "4.4 M04; 4.2", "exposure_class", "severe very_severe", "inside_wall"),
        fired={"IWI": "R10h"},  # measure table 3.8: an hourly result where the wall is exposed
        presumed="IWI",
    ),
    *one("M05", "4.4 M05", "cavity_width_mm", [49.0], "CWI"),
    *one("M05", "4.4 M05; 4.2", "exposure_class", "severe very_severe", "CWI", presumed="CWI"),
    *one("M05", "6.5 M05", "wall_construction", ["frame_brick_veneer"], "CWI", blank=False),
    *one("M05", "6.5 M05; H7", "cavity_state", "part_filled filled_sound foam_uf", "CWI"),
    *one("M06", "4.4 M06", "cavity_bridging", "mortar rubble", "CWI"),
    *one("M06e", "6.5 M06; H6", "cavity_bridging", ["element"], "CWI"),
    *one(
        *("M07", "4.4 M07", "cavity_state", "filled_wet filled_voided"),
        "CWI inside_cavity_wall outside_cavity_wall",
        fired={"CWI": "M05"},
    ),
    *one(
        *("M07", "4.4 M07", "cavity_state", ["foam_uf"]),
        "inside_cavity_wall outside_cavity_wall",
        fired={"IWI": "W07", "EWI": "W07"},
        wall_damp_evidence="rain",
    ),
    *one("M08", "4.4 M08", "wall_finish_external", "paint_film sealer", "inside_wall"),
    *one(
        *("M08", "4.4 M08", "wall_finish_external", ["paint_film"], "CWI"),
        wall_construction="stone_soft",
    ),
    *one(
        *("M08", "4.4 M08; D1", "pointing_condition", ["cement_hard"], "inside_wall"), blank=False
    ),
    *one(
        *("M09", "4.4 M09; 6.5, Q7", "construction_system"),
        "concrete_panel steel_frame other_nontraditional",
        f"{WALLS} RAFT",
        presumed=ALL,
    ),
    *one(
        *("M09", "4.4 M09; 6.5", "construction_system", "earth timber_frame_historic"),
        f"{WALLS} RAFT CEIL AIR",
        presumed=f"{WALLS} RAFT",
        silent="CEIL AIR",
    ),
    *one(
        *("M09h", "6.5 M09; 6.4", "heritage_status", ["listed"], ALL),
        presumed="CEIL AIR CWI FWI FLR",
        silent="FOAM",
    ),
    *one("M09h", "6.5 M09", "heritage_status", ["protected_area"], "EWI EXTR IWI"),
    *one(
        *("M09n", "6.5 M09", "heritage_status", ["protected_area"]),
        "CEIL RAFT CWI FWI FLR AIR FOAM",
        blank=False,
    ),
    *one("M10", "6.3 N8", "edge_detail_drawings", ["no", None], "EWI", blank=False),
    *one(
        *("M12", "6.5 M12; H5", "frost_damage", "moderate extensive", "CWI EWI"),
        presumed="CWI EWI",
    ),
    *one(
        *("G01", "4.4 G01", "subfloor_vent_state", "partly_blocked blocked none"),
        "floor floor_board AIR",
    ),
    *one(
        *("G02", "4.4 G02", "subfloor_moisture", "wet standing_water"),
        "floor floor_board AIR",
    ),
    Case("G02", "4.4 G02", {"subfloor_moisture": "damp", "timber_mc_pct": 18.0}, "floor AIR"),
    Case(
        *("G03", "4.4 G03", {"measure_material": "spf_closed"}, "floor", {"FLR": "M03"}),
        {"floor_construction": None, "measure_material": "spf_closed"},
        {"open": ALL},
    ),
    Case(
        "G03",
        "4.4 G03",
        {"foam_location": ["underside_deck", "floor_underside"]},
        "foam_under_roof",
        {},
        {"foam_location": None},
        {"open": ALL},
    ),
]

# What a computed quantity decides. Beside each case the arithmetic by which it does; R = d/lambda
# with mineral wool 0.038, closed-cell foam 0.026, EPS 0.036 W/mK; least shares and least R by
# zone from 4.3. Foam against wood-frame or slate counts only if it surely stops air.
_THIN_FOAM: dict[str, Answer] = {"foam_thickness_mm": 40.0}
_BELOW_CODE: dict[str, Answer] = {"place": "cold", "foam_thickness_mm": 110.0}
_SEALED: dict[str, Answer] = {
    "place": "cold",
    "roof_outer_class": "class_1",
    "interior_vapour_control": "none",
}
_CLAD: dict[str, Answer] = {
    "construction_system": "timber_frame_platform",
    "wall_construction": "frame_clad",
    "wall_finish_external": "cladding_drained",
    "wall_thickness_mm": 150.0,
    "pointing_condition": "not_applicable",
    "cavity_width_mm": None,
    "cavity_state": None,
}
_RENDERED = {**_CLAD, "wall_construction": "frame_direct_render"}
_LITTLE_ABOVE: dict[str, Answer] = {
    "place": "cold",
    "measure_material": "mineral_wool",
    "measure_thickness_mm": 30.0,
    "insulation_plane": "ceiling",
    "ceiling_insulation_mm": 300.0,
    "interior_vapour_control": "none",
    "roof_form": "pitched_cathedral",
    "roof_pitch_deg": 35.0,
    "roof_covering": "slate_natural",
}
COMPUTED = [
    Case(  # 40 mm: 1.54; 150 mm of wool: 3.95; share 0.28 under 0.30 of zone 4A
        *("R07", "4.4 R07; 4.3", {**_THIN_FOAM, "measure_thickness_mm": 150.0}),
        "rafter_under_foam",
        {},
        {**_THIN_FOAM, "measure_thickness_mm": None},
        {"open": ALL},
    ),
    Case(  # 200 mm of wool below: share 1.54/(1.54 + 5.26) = 0.23; two planes, so F07 too
        *("R07", "4.4 R07; 4.3, H2", {**_THIN_FOAM, "ceiling_insulation_mm": 200.0}),
        "foam_under_roof",
        {"FOAM": "F07"},
        {"foam_thickness_mm": None, "ceiling_insulation_mm": 200.0},
        {"open": ALL},
    ),
    Case(  # 110 mm: 4.23 under the 4.40 of zone 6, with 100 mm of wool share 0.62 over 0.50
        *("R07c", "4.3 least R", _BELOW_CODE, "rafter_under_foam")
    ),
    Case(
        *("R07c", "4.3 least R", {**_BELOW_CODE, "ceiling_insulation_mm": 100.0}),
        "foam_under_roof",
        {"FOAM": "F07"},
    ),
    Case(  # January some -11 degC; 4.0 of board over 4.6 of foam: -11 + 31 x 4.1/8.9 = 3 degC
        *("R07d", "durability S6; performance route", {"place": "cold"}, "over_deck_foam_below")
    ),
    Case(  # a thin board between tight cover and 2.4 m of foam with no inner layer
        *("R08q", "4.4 R08 computed half", {**_SEALED, **_THIN_FOAM}, "foam_under_roof"),
        {"FOAM": "R03 R09d"},
        {**_SEALED, "foam_thickness_mm": None},
        {"open": ALL},
    ),
    Case(
        *("R08q", "4.4 R08 computed half", {**_SEALED, "measure_thickness_mm": 40.0}),
        "rafter_closed_foam",
        {"rafter_closed_foam": "R03 R09d M03"},
        {**_SEALED, "measure_material": None},
        {"open": ALL},
    ),
    # No inner layer and little foam: its face is about 9 degC in January (share 0.28 of 15 K
    # over 5 degC), the dew point of the room 10 degC or more.
    Case(
        "R09",
        "4.4 R09",
        {**_THIN_FOAM, "measure_thickness_mm": 150.0, "interior_vapour_control": "none"},
        "rafter_under_foam",
        {"RAFT": "R07"},
        {**_THIN_FOAM, "measure_thickness_mm": None, "interior_vapour_control": "none"},
        {"open": ALL},
    ),
    # 30 mm above the deck, 300 mm and no inner layer below it: the deck stands near the January
    # air of -11 degC (240 Pa full) and the room's 700 Pa or more reach it freely.
    Case("R09", "4.4 R09", _LITTLE_ABOVE, "over_deck", {"EXTR": "R07d"}),
    # Wool under a render outside a frame wall: the render's inner face is at the air's -11 degC.
    Case(
        *("R09", "4.4 R09", {**_RENDERED, "place": "cold"}, "outside_wall", {}),
        {**_RENDERED, "place": "unplaced"},
        {"open": ALL},
    ),
    # Sheathing behind 100 mm of open fill without a retarder: 6 degC, 935 Pa full; room 1300 Pa.
    Case(
        *("R09", "4.4 R09", _CLAD, "inside_wall", {"IWI": "R10"}),
        {**_CLAD, "measure_material": None},
        {"open": ALL},
    ),
    Case("R10", "4.4 R10 by its screen", _CLAD, "inside_wall", {"IWI": "R09"}),
    Case("R10", "4.4 R10 by its screen", {}, "rafter_under_deck_foam"),
    Case("R10", "4.4 R10 by its screen", {"place": "warm"}, "floor"),
    Case(
        *("R09d", "4.4 R09: R03 and R07 in its place", {"roof_outer_class": "class_1"}),
        "rafter_closed_foam foam_under_roof",
        {"rafter_closed_foam": "M03"},
        {"roof_underlay": None},  # class 1 for all that is known
        {"open": ALL},
    ),
    *one(
        *("R10h", "3.8 hourly_model_required", "exposure_class", "severe very_severe"),
        "rafter_under_foam",
        blank=False,
    ),
    *one(
        *("R10h", "3.8 hourly_model_required", "exposure_class", ["severe"], "inside_wall"),
        fired={"IWI": "M04"},
        blank=False,
    ),
    Case("M01q", "4.4 M01 by its index", {"place": "frosty"}, "inside_wall"),
    # Today 13 mm of plaster inside, sd some 0.1 m; foil-less board of 100 mm adds 6 m. The wall's
    # own 215 mm, sd 3.4 m, stays the way out: about half is lost.
    Case(
        *("M03", "4.4 M03", {"measure_material": "pir_pur_board"}, "inside_wall", {}),
        {"measure_material": None},
        {"open": ALL},
    ),
    Case(  # dry outside air took most of it; 100 mm of foam add 6 m to a leaf of 1.6 m
        "M03",
        "4.4 M03",
        {"place": "arid", "measure_material": "spf_closed"},
        "outside_cavity_wall",
        {},
        {"place": "arid", "measure_material": None},
        {"open": ALL},
    ),
    Case(
        *("M03", "4.4 M03", {}, "rafter_closed_foam", {}),
        {"measure_material": None},
        {"open": ALL},
    ),
    Case(  # 6 m of board where the air below dried the deck through some 0.5 m
        "M03",
        "4.4 M03",
        {"measure_material": "pir_pur_board", "measure_thickness_mm": 100.0},
        "floor_board",
        {},
        {"measure_material": None, "measure_thickness_mm": 100.0},
        {"open": ALL},
    ),
    *one(
        "M11", "4.4 M11; junction table", "edge_detail_drawings", ["no"], "inside_wall", silent=ALL
    ),
    # 20 mm of wool leave U about 1.1 and 1 - 0.25 x 1.1 = 0.72 (climate and codes 5, M2).
    *one(
        *("M11", "4.4 M11", "measure_thickness_mm", [20.0], "rafter loft"),
        blank=False,
        ceiling_insulation_mm=0.0,
    ),
    *one(
        *("M11", "4.4 M11", "measure_thickness_mm", [12.0], "outside_wall"),
        blank=False,
        wall_construction="concrete",
    ),
]

_TIGHT = "RAFT IWI EWI FWI FLR AIR"
INDOOR = [
    *one(
        *("V01", "4.4 V01; 6.4", "high_moisture_use", [["pool"], ["spa"], ["commercial_kitchen"]]),
        ALL,
        presumed=ALL,
    ),
    *one("V02", "4.4 V02; 6.5, D1", "rh_mean_pct", [65.0], ALL, silent=ALL),
    Case(
        *("V02", "6.5 V02", {"high_moisture_use": ["overcrowded"], "visible_mould": "moderate"}),
        ALL,
        dict.fromkeys(ALL.split(), "V04"),
    ),
    *[
        Case(
            *("V03", "6.3 N4", {name: value, "high_moisture_use": ["laundry"]}, _TIGHT),
        )
        for name, values in (
            ("extract_kitchen", "not_working recirculating window_only none"),
            ("extract_bathroom", "not_working window_only none"),
            ("background_ventilation", "blocked none"),
        )
        for value in values.split()
    ],
    Case(
        *("V03", "6.3 N4", {"extract_bathroom": "none", "visible_mould": "moderate"}, _TIGHT),
        dict.fromkeys(_TIGHT.split(), "V04"),
    ),
    *one("V03e", "6.3 N4", "extract_kitchen", ["none", None], _TIGHT, blank=False),
    *one("V03e", "6.3 N4", "extract_bathroom", ["not_working", None], _TIGHT, blank=False),
    *one("V03e", "6.3 N4", "background_ventilation", ["none", None], _TIGHT, blank=False),
    *one("V04", "4.4 V04; 6.4", "visible_mould", "moderate extensive void_only", ALL),
]

_FOAM_INSIDE = "loft_gable_foam rafter_under_foam foam_under_roof"
SAFETY = [
    *one("S01", "4.4 S01", "asbestos_status", "present suspect_vermiculite", ALL, silent=ALL),
    *one(
        *("S01c", "4.4 S01; 4.1", "asbestos_status", ["presumed", None], ALL),
        blank=False,
        year_built=1950,
    ),
    *one("S01c", "4.4 S01", "asbestos_status", [None], ALL, blank=False, year_built=None),
    *one(
        *("S02", "4.4 S02; 6.3 N7", "wiring_hazard"),
        "knob_and_tube perished unclipped_buried overheating",
        "CEIL RAFT FLR IWI FWI FOAM",
        blank=False,
    ),
    *one("S02c", "4.4 S02", "wiring_hazard", [None], "CEIL RAFT FLR IWI FWI FOAM", blank=False),
    *one("S02l", "6.3 N7", "recessed_lights", ["non_ic", None], "CEIL RAFT", blank=False),
    *one("S03", "4.4 S03", "flue_clearance", ["short"], f"{ROOF} {_TIGHT}", blank=False),
    *one("S03", "4.4 S03", "combustion_appliance", ["unvented"], _TIGHT, blank=False),
    *one(
        *("S03c", "4.4 S03", "combustion_appliance", ["open_flue", "solid_fuel", None], _TIGHT),
        blank=False,
    ),
    *one("S03d", "4.4 S03", "flue_clearance", [None], f"{ROOF} {_TIGHT}", blank=False),
    *one("S04", "4.4 S04", "foam_fire_cover", ["none"], _FOAM_INSIDE, blank=False),
    *one("S04c", "4.4 S04", "foam_fire_cover", [None], _FOAM_INSIDE, blank=False),
    *one("S05", "4.4 S05", "protected_species", ["evidence"], ROOF, blank=False),
    *one("S05c", "4.4 S05", "protected_species", ["possible", None], ROOF, blank=False),
    *one(
        *("S06", "4.4 S06; 6.5", "roof_structure_concern", "concern severe", ROOF),
        presumed="CEIL",
    ),
]

CASES = [*WATER, *ROOFS, *FOAM, *FABRIC, *COMPUTED, *INDOOR, *SAFETY]
