"""What the code tables ask of a roof or a wall, as expressions over climate zone and survey.

Every function takes the names of the columns that hold the climate zone (1-8), the moisture letter
(A, B, C) and the roof covering. An unknown letter or covering takes the strictest row that could
fit; an unknown zone gives null. References: see `schemas/policy/default/code_tables.toml`.
"""

from collections.abc import Callable
from typing import Literal

import polars as pl

from triage.contract.code_rows import (
    LETTERS,
    PERMISSIONS,
    RETARDERS,
    ZONES,
    CodeTables,
    ZoneTable,
)
from triage.physics.vapour import R_US_M2K_W

Permeance = Literal["class_1", "class_2", "class_3"]
_ROUNDING = 1e-9  # a layer of exactly the table's resistance passes whatever its last bit
_UNKNOWN = len(LETTERS)


def foam_r_required_m2k_w(
    tables: CodeTables,
    zone: str = "zone_num",
    letter: str = "moist_letter",
    covering: str = "roof_covering",
) -> pl.Expr:
    """Least air-impermeable resistance at the deck of an unvented roof (R806.5), Float64, m²K/W."""
    table = tables.foam_r

    def figure(z: int, by_letter: str | None, by_covering: str | None) -> float | None:
        return table.strictest("r_us", z, by_letter, by_covering)

    return _by_place(table, figure, zone, letter, covering) * R_US_M2K_W


def foam_ratio_required(
    tables: CodeTables, zone: str = "zone_num", letter: str = "moist_letter"
) -> pl.Expr:
    """Least share of the total resistance that is air-impermeable at the deck, Float64, 0 to 1."""
    table = tables.foam_share

    def figure(z: int, by_letter: str | None, _: str | None) -> float | None:
        return table.strictest("share", z, by_letter)

    return _by_place(table, figure, zone, letter)


def ceiling_r_required_m2k_w(
    tables: CodeTables,
    edition: str | None = None,
    zone: str = "zone_num",
    letter: str = "moist_letter",
) -> pl.Expr:
    """Least ceiling insulation of new homes by edition, by default the one in force, m²K/W.

    Raises
    ------
    ValueError
        If the tables do not hold the edition.
    """
    wanted = tables.edition_in_force if edition is None else edition
    if wanted not in tables.editions:
        raise ValueError(f"no edition {wanted!r}; the tables hold {', '.join(tables.editions)}")
    column = tables.editions.index(wanted)

    def figure(z: int, by_letter: str | None, _: str | None) -> float | None:
        rows = tables.insulation.candidates(z, by_letter)
        return max((r.figures["ceiling"][column] for r in rows if r is not None), default=None)

    return _by_place(tables.insulation, figure, zone, letter) * R_US_M2K_W


def meets(resistance: pl.Expr, required: pl.Expr) -> pl.Expr:
    """Whether a resistance or a share reaches what is required, rounding apart; null if unknown."""
    return resistance >= required * (1 - _ROUNDING)


def retarder_class(tables: CodeTables, permeance_perm: pl.Expr) -> pl.Expr:
    """Class of a permeance in perm, `open` above class 3; null where null, NaN or negative."""
    named: pl.Expr = pl.lit("open")
    for name in reversed(RETARDERS):
        within = permeance_perm <= tables.retarder_max_perm[name]
        named = pl.when(within).then(pl.lit(name)).otherwise(named)
    # Polars sorts NaN above every number: it would be called open.
    return pl.when((permeance_perm >= 0) & permeance_perm.is_not_nan()).then(named)


def foam_face_is_class_2(
    tables: CodeTables,
    permeance_perm: pl.Expr,
    face_class: pl.Expr,
    zone: str = "zone_num",
) -> pl.Expr:
    """Whether the inner face of the foam is vapour-retarding enough (R806.5, condition 4).

    Parameters
    ----------
    permeance_perm
        Permeance of the foam at its thickness. [perm]
    face_class
        Class of a coating or covering directly on its underside: `class_1` to `class_3`, `none`.

    Returns
    -------
    pl.Expr
        Boolean: true in zones where nothing is asked, or where foam or face is class 2 or tighter;
        null where that cannot be told.
    """
    asked = pl.col(zone).is_in(list(tables.unvented_roof.class_2_zones))
    foam_is = permeance_perm <= tables.retarder_max_perm["class_2"]
    return ~asked | foam_is | face_class.is_in(["class_1", "class_2"])


def inside_retarder_permission(
    tables: CodeTables,
    retarder: Permeance,
    zone: str = "zone_num",
    letter: str = "moist_letter",
) -> pl.Expr:
    """Whether a class may stand inside a frame wall, R702.7(2): one of `PERMISSIONS`."""
    table = tables.inside_retarder

    def figure(z: int, by_letter: str | None, _: str | None) -> float | None:
        return table.strictest(retarder, z, by_letter)

    words = {float(n): word for n, word in enumerate(PERMISSIONS)}
    strictness = _by_place(table, figure, zone, letter)
    return strictness.replace_strict(words, default=None, return_dtype=pl.String)


def class_3_permitted(
    tables: CodeTables,
    frame: Literal["2x4", "2x6"],
    outside_r_m2k_w: pl.Expr,
    vented_cladding_over: pl.Expr,
    zone: str = "zone_num",
    letter: str = "moist_letter",
) -> pl.Expr:
    """Whether class 3 inside a frame wall is enough, R702.7(3).

    Parameters
    ----------
    outside_r_m2k_w
        Continuous insulation outside, or foam on the inner face of the sheathing. [m²K/W]
    vented_cladding_over
        Sheathing under a ventilated cladding: `wood_panel`, `fibreboard`, `gypsum`; `none` where
        the cladding is not ventilated.

    Returns
    -------
    pl.Expr
        Boolean; null where zone, insulation or cladding leaves it open.
    """
    table = tables.class_3

    def required(z: int, by_letter: str | None, _: str | None) -> float | None:
        return table.strictest(f"r_{frame}_us", z, by_letter)

    def vented(sheathing: str) -> Callable[[int, str | None, str | None], float | None]:
        def figure(z: int, by_letter: str | None, _: str | None) -> float | None:
            rows = [row for row in table.candidates(z, by_letter) if row is not None]
            return float(all(sheathing in row.vented_over for row in rows)) if rows else None

        return figure

    sheathings = sorted({name for row in table.rows for name in row.vented_over})
    by_cladding = pl.any_horizontal(
        (vented_cladding_over == name) & (_by_place(table, vented(name), zone, letter) == 1.0)
        for name in sheathings
    )
    least = _by_place(table, required, zone, letter) * R_US_M2K_W
    always = inside_retarder_permission(tables, "class_3", zone, letter) == PERMISSIONS[0]
    return always | meets(outside_r_m2k_w, least) | by_cladding


def _by_place(
    table: ZoneTable,
    figure: Callable[[int, str | None, str | None], float | None],
    zone: str,
    letter: str,
    covering: str | None = None,
) -> pl.Expr:
    """A figure of every zone, letter and covering as one look-up over whole columns."""
    coverings: tuple[str, ...] = table.coverings if covering is not None else ()
    other, unknown = len(coverings), len(coverings) + 1
    width = unknown + 1
    answers: dict[int, float | None] = {}
    for z in ZONES:
        for m, by_letter in enumerate((*LETTERS, None)):
            for c, by_covering in enumerate((*coverings, "", None)):
                answers[(z * (_UNKNOWN + 1) + m) * width + c] = figure(z, by_letter, by_covering)
    return _place_code(zone, letter, covering, coverings, other, unknown).replace_strict(
        answers, default=None, return_dtype=pl.Float64
    )


def _place_code(
    zone: str,
    letter: str,
    covering: str | None,
    coverings: tuple[str, ...],
    other: int,
    unknown: int,
) -> pl.Expr:
    """One whole number for a place and a covering; null where the zone is unknown."""
    letters = {name: n for n, name in enumerate(LETTERS)}
    m = pl.col(letter).replace_strict(letters, default=_UNKNOWN, return_dtype=pl.Int32)
    m = m.fill_null(_UNKNOWN)  # a letter that is unknown, not one that is assumed
    if covering is None:
        c: pl.Expr = pl.lit(unknown, pl.Int32)
    else:
        names = {name: n for n, name in enumerate(coverings)}
        listed = pl.col(covering).replace_strict(names, default=other, return_dtype=pl.Int32)
        c = pl.when(pl.col(covering).is_null()).then(pl.lit(unknown, pl.Int32)).otherwise(listed)
    return (pl.col(zone).cast(pl.Int32) * (_UNKNOWN + 1) + m) * (unknown + 1) + c
