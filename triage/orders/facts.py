"""What a run knows beside its queues: proposals, computed figures, access and photographs."""

import polars as pl

from triage.work import Work

_PART = ("property_id", "building_part")
# Quantity, its words, and whether it comes from the monthly calculation with its limits of use.
_FIGURES = (
    ("condensate_peak_g_m2", "most condensate of a year {} g/m2", True),
    ("condensate_residual_g_m2", "condensate left after a year {} g/m2", True),
    ("interface_rh_screen_pct", "humidity at the critical layer {} %", True),
    ("sheathing_mc_max_pct", "wettest month of the deck {} %", True),
    ("foam_ratio", "foam share of the insulation {}", False),
    ("foam_ratio_required", "foam share asked for {}", False),
    ("u_value_after_w_m2k", "U-value after {} W/m2K", False),
    ("drying_loss_pct", "drying lost {} %", False),
)


def proposals(work: Work) -> pl.DataFrame:
    """The material and thickness that a survey proposes for a measure, in words."""
    told = work.store.ask(
        """
        SELECT property_id, building_part, measure_code,
            any_value(measure_material ORDER BY measure_material) AS material,
            max(measure_thickness_mm) AS thickness
        FROM written_proposal GROUP BY ALL ORDER BY ALL
        """
    )
    material = pl.col("material").str.replace_all("_", " ", literal=True)
    thickness = pl.format("{} mm", pl.col("thickness").round(0).cast(pl.Int64))
    words = pl.concat_str(
        material.fill_null("material not stated in the survey"),
        thickness.fill_null("thickness not stated in the survey"),
        separator=", ",
    )
    return told.select(*_PART, "measure_code", words.alias("judged_for"))


def figures(work: Work) -> pl.DataFrame:
    """Computed numbers of each measure in words, each monthly one with its validity."""
    held = work.store.table("quantity")
    valid = pl.col("monthly_method_valid")
    told = (
        pl.when(valid)
        .then(pl.lit(" (monthly method, valid here)"))
        .when(valid.not_())
        .then(pl.lit(" (monthly method, outside its limits: it decides nothing)"))
        .otherwise(pl.lit(" (validity of the monthly method not known)"))
    )
    lines = []
    for name, words, monthly in _FIGURES:
        number = pl.format(words, pl.col(name).round(2))
        lines.append(number + told if monthly else number)
    return held.select(
        *_PART, "measure_code", pl.concat_list(lines).list.drop_nulls().alias("figures")
    )


def reach(work: Work) -> pl.DataFrame:
    """What could not be reached at a part, and the photographs that surveys name."""
    held = work.store.ask(
        """
        SELECT property_id, building_part, access_limits, photo_refs
        FROM current_evidence WHERE variant = 0 ORDER BY ALL
        """
    )
    plain = pl.col("access_limits").list.join(", ").str.replace_all("_", " ", literal=True)
    return held.select(*_PART, plain.alias("access"), pl.col("photo_refs").alias("photographs"))
