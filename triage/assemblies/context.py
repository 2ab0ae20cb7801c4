"""Context flags: what good evidence shows about the row as a whole. Never null: unknown is no."""

import polars as pl

from triage.assemblies.derived import clear_level
from triage.assemblies.foam import foam_now
from triage.contract.policy import Policy

_DWELLINGS = (
    "house",
    "bungalow",
    "flat",
    "maisonette",
    "mobile_home",
    "small_block",
    "large_block",
)
_SMALL_UNITS = (
    *("slate_natural", "slate_manmade", "stone_slate", "tile_plain", "tile_interlocking"),
    *("shingle_asphalt", "shingle_wood"),
)
_PITCHED = ("pitched_cold", "pitched_cathedral", "pitched_room", "none_above")
_ORDINARY_WALLS = (
    *("brick_solid", "stone_dense", "stone_soft", "cavity_brick", "cavity_block_rendered"),
    *("block_solid", "frame_brick_veneer", "frame_clad", "frame_direct_render"),
)
_FAN_FREE = ("ducted_working", "none", "window_only")


def context_flags(clear: pl.DataFrame, policy: Policy) -> pl.DataFrame:
    """Flags for rules and presumptions, from evidence that is good enough to clear.

    Parameters
    ----------
    clear
        Assessment rows in which weak answers are null; must hold the derived quantities.

    Returns
    -------
    pl.DataFrame
        One Boolean column a flag, in the row order of `clear`, no nulls.
    """
    leak = pl.col("roof_leak_evidence")
    sound_reading = pl.col("timber_mc_pct") <= clear_level(policy)
    sound_timber = _yes(sound_reading) | _yes(pl.col("timber_decay_grade").is_in(["d0", "d1"]))
    no_void_mould = _yes(~pl.col("visible_mould").is_in(["void_only", "extensive"]))
    fabric = pl.col("roof_underlay").is_not_null() | pl.col("roof_deck").is_not_null()
    hidden = _yes(pl.col("access_limits").list.contains("foam_covered")) | _yes(foam_now())
    small_units = pl.col("roof_covering").is_in(list(_SMALL_UNITS))
    pitched = pl.col("roof_form").is_in(list(_PITCHED))
    flags = {
        "void_seen": leak.is_not_null(),
        "void_seen_dry": _yes(leak.is_in(["none_seen", "historic"])),
        "void_fabric_seen": fabric & ~hidden,
        "timber_seen_sound": sound_timber & no_void_mould,
        "wall_seen_dry": _yes(pl.col("wall_damp_evidence") == "none_seen"),
        "rooms_walked": pl.any_horizontal(
            pl.col(name).is_not_null()
            for name in ("visible_mould", "wall_damp_evidence", "extract_bathroom")
        ),
        "fans_ducted_or_none": _yes(pl.col("extract_bathroom").is_in(list(_FAN_FREE)))
        & _yes(pl.col("extract_kitchen").is_in([*_FAN_FREE, "recirculating"])),
        "is_dwelling": _yes(pl.col("property_type").is_in(list(_DWELLINGS))),
        "roof_without_parapet": _yes(pitched) | (_yes(small_units) & ~_yes(pl.col("low_slope"))),
        "wall_is_ordinary": _yes(pl.col("wall_construction").is_in(list(_ORDINARY_WALLS))),
        # A survey method says that something was opened, not that this roof was: a record says so.
        "opened_recently": _yes(pl.col("openings_n") > 0),
        "has_photos": _yes(pl.col("photo_refs").list.len() > 0),
    }
    return clear.select(test.alias(name) for name, test in flags.items())


def _yes(test: pl.Expr) -> pl.Expr:
    return test.fill_null(value=False)
