"""Quantities that the rules name, computed from survey fields, place and the proposed measure.

Everything here looks at the building after the measure where the rule does.
"""

import polars as pl

from triage.assemblies.foam import (
    foam_class_after,
    foam_class_resolved,
    foam_deck_top_only,
    foam_in_roof,
    foam_measure,
    foam_now,
    has_any,
)
from triage.assemblies.planes import plane_after
from triage.assemblies.wall_layers import FRAMES
from triage.contract.policy import Policy

_SLOPED = ("pitched_cold", "pitched_cathedral", "pitched_room", "none_above")
_LOW = ("low_slope_cold", "low_slope_warm", "low_slope_unknown", "mixed")
_AIR_OPEN_UNDERLAY = ("none", "torching", "membrane_lr_airopen")
_VERY_HUMID = ("pool", "spa", "commercial_kitchen")
_HUMID = ("overcrowded", "laundry", "humidifier", "aquaria_plants", "shared_house")
_RENDERED = ("render_lime", "render_cement")
_FACED = ("bare", "paint_open", "paint_film", "sealer")
_CLAD = ("tile_hung", "cladding_drained", "cladding_direct")
_BAD_FACE = ("poor", "failed", "hollow")
# Age letters of the English and Welsh method (MEMORY): I spans 1996 to 2002, so it cannot tell.
_BEFORE_2000 = ("A", "B", "C", "D", "E", "F", "G", "H")
_FROM_2000 = ("J", "K", "L")
_TIMBER_DECKS = ("boards_gapped", "boards_close", "plywood", "osb", "chipboard")
_ASBESTOS_YEAR = 2000  # UK presumption for buildings from before 2000 (SEEN B36)
_WETTING_MONTHS = (10, 11, 12, 1, 2, 3)  # October to March in the north (cold season, SEEN S2)


def with_quantities(frame: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Add the derived quantities of quantities.toml to assessment rows.

    Parameters
    ----------
    frame
        One row per home-part-measure with the survey fields, `measure_group`,
        `measure_material`, `measure_thickness_mm`, the days `read_on` of the timber reading and
        `log_on` of the humidity log, and the place columns `zone_num`, `near_cold_line`,
        `latitude_north`, `exposure_from_place`.
    policy
        Gives the limits and the outer-class table.

    Returns
    -------
    pl.DataFrame
        The same rows and order, with one column more for each quantity; null where unknown.
    """
    first = frame.with_columns(
        foam_now().alias("foam_now"),
        foam_deck_top_only().alias("foam_deck_top_only"),
        foam_measure().alias("foam_measure"),
        foam_class_resolved(policy).alias("foam_class_resolved"),
        pl.coalesce("exposure_class", "exposure_from_place").alias("exposure_resolved"),
        cold_side(policy).alias("cold_side"),
        outer_class(policy).alias("roof_outer_class_resolved"),
        wall_face_condition().alias("wall_face_condition"),
        low_slope(policy).alias("low_slope"),
        air_open_roof().alias("air_open_roof"),
        built_before_2000().alias("built_before_2000"),
        has_any("high_moisture_use", _VERY_HUMID).alias("pool_use"),
        humidity_class().alias("humidity_class"),
        wetting_half_year(pl.col("read_on")).alias("mc_in_wetting_season"),
        wetting_half_year(pl.col("log_on")).alias("log_in_wetting_season"),
        pl.lit(None, pl.Float64).alias("mould_index_max"),  # comes with an hourly model
    )
    second = first.with_columns(
        foam_in_roof().alias("foam_in_roof"),
        pl.when(pl.col("mc_in_wetting_season"))
        .then(pl.lit("wetting"))
        .when(~pl.col("mc_in_wetting_season"))
        .then(pl.lit("drying"))
        .alias("mc_season"),
    )
    return second.with_columns(
        timber_watch(policy).alias("timber_watch"),
        foam_class_after().alias("foam_class_after"),
        plane_after(policy).alias("plane_after"),
        vapour_control_after().alias("vapour_control_after"),
        hourly_result_required(policy).alias("hourly_result_required"),
        port_counts(policy).alias("port_counts"),
    ).with_columns(
        layer_enclosed().alias("layer_enclosed"), interface_is_wood().alias("interface_is_wood")
    )


def cold_side(policy: Policy) -> pl.Expr:
    """Zone 5 or colder, or near the line: then the cold side is judged too, and it decides (H9)."""
    cold = pl.col("zone_num") >= policy.number("cold_zone_min")
    return cold | pl.col("near_cold_line")


def near_cold_line(policy: Policy) -> pl.Expr:
    """Heating degree-days, base 18.3 degC, within the policy's share of the cold line."""
    line, share = policy.number("cold_line_hdd"), policy.number("near_cold_line_share")
    return (pl.col("hdd_18_3") - line).abs() <= share * line


def outer_class(policy: Policy) -> pl.Expr:
    """Permeance class outside the insulation: recorded, else by the policy's table."""
    derived: pl.Expr = pl.lit(None, pl.String)
    for entry in reversed(policy.outer_classes):
        tests = [
            pl.col(column).is_in(list(codes))
            for column, codes in (
                ("roof_covering", entry.covering),
                ("roof_underlay", entry.underlay),
            )
            if codes
        ]
        derived = pl.when(pl.all_horizontal(tests)).then(pl.lit(entry.result)).otherwise(derived)
    return pl.coalesce("roof_outer_class", derived)


def wall_face_condition() -> pl.Expr:
    """Condition of pointing or render, whichever the finish calls for.

    With an unknown finish both must be known, unless one is already bad.
    """
    pointing, render = pl.col("pointing_condition"), pl.col("render_condition")
    finish = pl.col("wall_finish_external")
    bad = (
        pl.when(pointing.is_in(list(_BAD_FACE)))
        .then(pointing)
        .when(render.is_in(list(_BAD_FACE)))
        .then(render)
    )
    real_pointing = pl.when(pointing != "not_applicable").then(pointing)
    real_render = pl.when(render != "not_applicable").then(render)
    both = pl.when(pointing.is_not_null() & render.is_not_null()).then(
        pl.coalesce(real_pointing, real_render, pl.lit("not_applicable"))
    )
    by_finish = (
        pl.when(finish.is_in(list(_FACED)))
        .then(real_pointing)
        .when(finish.is_in(list(_RENDERED)))
        .then(real_render)
        .when(finish.is_in(list(_CLAD)))
        .then(pl.lit("not_applicable"))
        .otherwise(both)
    )
    return pl.coalesce(bad, by_finish)


def low_slope(policy: Policy) -> pl.Expr:
    """A roof, or part of it, under the low-slope pitch, by form or by pitch."""
    by_form = (
        pl.when(pl.col("roof_form").is_in(list(_LOW)))
        .then(statement=True)
        .when(pl.col("roof_form").is_in(list(_SLOPED)))
        .then(statement=False)
    )
    shallow = (pl.col("roof_pitch_deg") < policy.number("low_slope_pitch_deg")).fill_null(
        value=False
    )
    return (
        pl.when(shallow & (pl.col("roof_form") != "none_above").fill_null(value=True))
        .then(statement=True)
        .otherwise(by_form)
    )


def air_open_roof() -> pl.Expr:
    """Air passes through the covering, so that missing eaves openings are no defect (N2)."""
    open_deck = (pl.col("roof_deck") == "boards_gapped").fill_null(value=False)
    return (
        pl.when(open_deck)
        .then(statement=True)
        .otherwise(pl.col("roof_underlay").is_in(list(_AIR_OPEN_UNDERLAY)))
    )


def built_before_2000() -> pl.Expr:
    """Built before 2000, by year, else by age letter; null where neither can tell."""
    by_letter = (
        pl.when(pl.col("age_band").is_in(list(_BEFORE_2000)))
        .then(statement=True)
        .when(pl.col("age_band").is_in(list(_FROM_2000)))
        .then(statement=False)
    )
    return pl.coalesce(pl.col("year_built") < _ASBESTOS_YEAR, by_letter)


def humidity_class() -> pl.Expr:
    """Indoor humidity class assumed from use: 5 pools and kitchens, 4 crowded or wet use, else 3.

    After the classes of ISO 13788 Annex A (MEMORY); never decides alone.
    """
    return (
        pl.when(has_any("high_moisture_use", _VERY_HUMID))
        .then(5)
        .when(has_any("high_moisture_use", _HUMID))
        .then(4)
        .when(pl.col("high_moisture_use").is_not_null())
        .then(3)
        .cast(pl.Int8)
    )


def wetting_half_year(on: pl.Expr) -> pl.Expr:
    """Whether a date lies in the wetting half-year: October to March, April to September south."""
    winter = on.dt.month().is_in(list(_WETTING_MONTHS))
    return pl.when(pl.col("latitude_north").fill_null(value=True)).then(winter).otherwise(~winter)


def clear_level(policy: Policy) -> pl.Expr:
    """Reading at or under which timber is clear in its season; the lower level where no date is.

    [percent of dry mass] Needs `mc_in_wetting_season`.
    """
    wetting, drying = policy.number("mc_clear_wetting_pct"), policy.number("mc_clear_drying_pct")
    return pl.when(pl.col("mc_in_wetting_season")).then(wetting).otherwise(drying)


def timber_watch(policy: Policy) -> pl.Expr:
    """A reading above the clear level of its season and under the line at which to act."""
    reading = pl.col("timber_mc_pct")
    return (reading > clear_level(policy)) & (reading < policy.number("mc_act_pct"))


def vapour_control_after() -> pl.Expr:
    """Inner vapour control after the measure: none where foam is proposed and none recorded."""
    recorded = pl.col("interior_vapour_control")
    return (
        pl.when(pl.col("foam_measure") & recorded.is_null())
        .then(pl.lit("none"))
        .otherwise(recorded)
    )


def hourly_result_required(policy: Policy) -> pl.Expr:
    """Whether the measure table asks for an hourly result: always, or in severe exposure."""
    asked = pl.col("measure_code").replace_strict(
        {code: measure.hourly_model_required for code, measure in policy.measures.items()},
        default=None,
        return_dtype=pl.String,
    )
    exposed = pl.col("exposure_resolved").is_in(["severe", "very_severe"])
    return (
        pl.when(asked == "always")
        .then(statement=True)
        .when(asked == "if_exposed")
        .then(exposed)
        .when(asked == "never")
        .then(statement=False)
    )


def port_counts(policy: Policy) -> pl.Expr:
    """Whether a diffusion port at the ridge is there, in a zone where it lets vapour out (R06)."""
    allowed = pl.col("zone_num") <= policy.number("port_max_zone")
    there = (pl.col("vapour_diffusion_port") == "yes").fill_null(value=False)
    return pl.when(there).then(allowed).otherwise(statement=False)


def layer_enclosed() -> pl.Expr:
    """Whether the measure leaves a layer that dries by diffusion alone. Needs `plane_after`."""
    element = pl.col("measure_element")
    return (
        pl.when(element == "wall")
        .then(statement=True)
        .when(element == "roof")
        .then(pl.col("plane_after").is_in(["rafter_unvented", "mixed"]))
        .when(element == "floor")
        .then(pl.col("floor_construction") == "suspended_timber")
        .otherwise(statement=False)
    )


def interface_is_wood() -> pl.Expr:
    """Whether wood is at the critical layer of what the measure encloses."""
    element = pl.col("measure_element")
    return (
        pl.when(element == "wall")
        .then(pl.col("wall_construction").is_in(list(FRAMES)))
        .when(element == "roof")
        .then(layer_enclosed() & pl.col("roof_deck").is_in(list(_TIMBER_DECKS)))
        .otherwise(layer_enclosed())
    )
