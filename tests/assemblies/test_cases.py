"""Distinct cases: solved once, joined back, the same bytes each time, and no NaN whatever is asked.

Expected results are those of the same rows calculated alone or in another order (COMPUTED), or say
only that nothing can be said.
"""

import random
from functools import cache
from math import isfinite
from unittest.mock import patch

import polars as pl
import pytest
from polars.testing import assert_frame_equal
from rule_homes import BASES, CLIMATE, HELD, LIBRARY, POLICY, judge

import triage.assess
from triage.assemblies.cases import distinct_cases
from triage.assemblies.moisture import Moisture, moisture_quantities
from triage.physics.vapour import saturation_pressure_pa

HOMES = {**BASES, **{name: home for name, (home, _) in HELD.items()}}
PLACES = ("mild", "cold", "warm", "exposed", "unplaced")
ODD = (
    *(0.0, -1.0, -999.0, 9999.0, 1e6, 1e300, 3.5, 3000.0, 0.04),
    *(float("nan"), float("inf"), -float("inf")),
)
THICKNESSES = (
    *("measure_thickness_mm", "foam_thickness_mm", "ceiling_insulation_mm"),
    *("wall_thickness_mm", "cavity_width_mm"),
)


@cache
def varied() -> pl.DataFrame:
    """Assessment rows of every base home in every place, whole and with answers open."""
    homes = [home.but(place=place) for home in HOMES.values() for place in PLACES]
    homes += [
        home.without("interior_vapour_control", "wall_finish_external", "high_moisture_use")
        for home in homes
    ]
    with patch.object(triage.assess, "moisture_quantities", wraps=moisture_quantities) as asked:
        judge(homes)
    frames: list[pl.DataFrame] = asked.call_args.args[0]
    return frames[0]


def solved(*frames: pl.DataFrame, climate: pl.DataFrame = CLIMATE) -> Moisture:
    return moisture_quantities(frames, climate, POLICY, LIBRARY)


def quantities(frame: pl.DataFrame, climate: pl.DataFrame = CLIMATE) -> pl.DataFrame:
    return solved(frame, climate=climate).quantities[0]


def without_nan(table: pl.DataFrame) -> bool:
    numbers = table.select(pl.col(pl.Float64).fill_null(0.0).is_finite().all())
    return all(numbers.row(0))


def test_rows_joined_back_are_those_of_each_row_alone() -> None:
    rows = varied()[random.Random(5).sample(range(varied().height), 40)]
    alone = pl.concat([quantities(rows[n]) for n in range(rows.height)])
    assert_frame_equal(quantities(rows), alone, check_exact=True)


def test_order_and_company_of_rows_change_nothing() -> None:
    rows = varied()
    order = random.Random(7).sample(range(rows.height), rows.height)
    plain = solved(rows)
    mixed = solved(rows[order], rows.head(9), rows.head(0))
    assert_frame_equal(plain.quantities[0][order], mixed.quantities[0], check_exact=True)
    assert_frame_equal(plain.quantities[0].head(9), mixed.quantities[1], check_exact=True)
    assert mixed.quantities[2].height == 0
    assert_frame_equal(plain.cases, mixed.cases, check_exact=True)


def test_no_rows_have_no_quantities_and_no_cases() -> None:
    moisture = solved(varied().head(0))
    assert moisture.quantities[0].height == moisture.cases.height == 0
    assert moisture.quantities[0].schema == quantities(varied().head(3)).schema


def test_alike_rows_are_one_case() -> None:
    rows = varied()
    once, thrice = (distinct_cases(frames, POLICY) for frames in ([rows], [rows, rows, rows]))
    assert once.pairs.height < rows.height
    assert once.pairs.equals(thrice.pairs)
    # What no layer, climate or indoor air hangs on makes no new case.
    other = rows.with_columns(property_id=pl.lit("X"), survey_date=pl.lit(None, pl.Date))
    assert distinct_cases([rows, other], POLICY).pairs.height == once.pairs.height


def test_every_row_refers_to_cases_that_are_told() -> None:
    moisture = solved(varied())
    table = moisture.quantities[0]
    told = set(moisture.cases["case"])
    for name in ("case_before", "case_after"):
        assert set(table[name].drop_nulls()) <= told
    assert moisture.cases["case"].is_unique().all()
    # A row is without figures and without reason only where no layers are calculated at all.
    silent = table["monthly_method_valid"].is_null() & table["moisture_missing"].is_null()
    element, group = varied()["measure_element"], varied()["measure_group"]
    assert ((element == "whole") | (group == "AIR")).filter(silent).all()


@pytest.mark.parametrize("field", THICKNESSES)
def test_impossible_thicknesses_are_refused_and_never_nan(field: str) -> None:
    rows = varied()
    frames = [rows.with_columns(pl.lit(odd).alias(field)) for odd in ODD]
    moisture = solved(*frames)
    assert all(without_nan(table) for table in moisture.quantities)
    if field == "measure_thickness_mm":
        used = rows["measure_group"].is_in(["IWI", "EWI"])
        for odd, table in zip(ODD, moisture.quantities, strict=True):
            figures = table.filter(used)["u_value_after_w_m2k"]
            # What is no number is not known, and then the usual thicknesses are tried.
            assert not isfinite(odd) or figures.is_null().all(), odd


def test_a_record_that_lacks_a_month_is_no_climate() -> None:
    rows = varied().filter(pl.col("measure_group") == "IWI")
    for value in (None, float("nan")):
        gap = CLIMATE.with_columns(pl.lit(value, pl.Float64).alias("vp_mean_pa_07"))
        table = quantities(rows, gap)
        assert table["condensate_peak_g_m2"].is_null().all()
        assert table["moisture_missing"].str.contains("climate record").all()
    assert quantities(rows, CLIMATE.clear())["moisture_missing"].is_not_null().all()


def test_vapour_above_saturation_is_taken_as_saturated() -> None:
    rows = varied().filter(pl.col("climate_id").is_not_null())
    months = [f"{m:02d}" for m in range(1, 13)]
    temperature = CLIMATE.select(f"t_mean_c_{m}" for m in months).to_numpy()
    full = saturation_pressure_pa(temperature)
    wet, over = (
        CLIMATE.with_columns(
            pl.Series(f"vp_mean_pa_{m}", factor * full[:, n]) for n, m in enumerate(months)
        )
        for factor in (1.0, 1.3)
    )
    moist, soaked = solved(rows, climate=wet), solved(rows, climate=over)
    assert_frame_equal(moist.quantities[0], soaked.quantities[0], check_exact=True)
    assert not moist.cases["indoor"].str.contains("taken as saturated").any()
    assert soaked.cases["indoor"].str.contains("12 months, taken as saturated").all()


def test_pools_are_outside_the_method_and_an_unknown_load_is_three_or_four() -> None:
    rows = varied().filter(pl.col("measure_group") == "IWI", pl.col("climate_id").is_not_null())

    def of_class(number: int | None) -> pl.DataFrame:
        return quantities(rows.with_columns(pl.lit(number, pl.Int8).alias("humidity_class")))

    pool = of_class(5)
    assert pool["moisture_missing"].str.contains("pools").all()
    assert pool["drying_potential"].is_null().all()
    open_load, low, high = of_class(None), of_class(3), of_class(4)
    peak = open_load["condensate_peak_g_m2"]
    worst = pl.max_horizontal(low["condensate_peak_g_m2"], high["condensate_peak_g_m2"])
    both = pl.select(worst).to_series()
    assert (peak.is_null() | (peak == both)).all()


def test_a_climate_from_afar_counts_only_if_two_kelvin_change_nothing() -> None:
    rows = varied().filter(pl.col("climate_id").is_not_null())
    near = quantities(rows.with_columns(pl.lit("good").alias("join_quality")))
    far = quantities(rows.with_columns(pl.lit("low").alias("join_quality")))
    limit = POLICY.number("deck_coldest_month_min_c")
    name = "deck_coldest_month_c"
    # At most two kelvin colder than by the record, and nothing is said where that decides.
    sure = far[name].is_not_null()
    assert sure.any()
    assert (near[name].is_not_null() & ~sure).any()
    assert (far[name].filter(sure) <= near[name].filter(sure)).all()
    assert ((far[name] < limit) == (near[name] < limit)).filter(sure).all()
    assert ((near[name] - far[name]).filter(sure) <= POLICY.number("climate_doubt_k") + 1e-9).all()
