"""The US model code's tables, edition 2021, against public copies of them.

Sources, with marks: the table of R806.5 in a public copy of a state code (SEEN); its tile
rows (MEMORY); retarder classes (SEEN); R702.7(3) as quoted from a city's amendment (SEEN for zone 5
over 2x6); ceiling minimums of a national solution centre (SEEN). Resistances in m²K/W: COMPUTED.
"""

from typing import Literal

import polars as pl
import pytest

from triage.assemblies.code_checks import (
    ceiling_r_required_m2k_w,
    class_3_permitted,
    foam_r_required_m2k_w,
    foam_ratio_required,
    inside_retarder_permission,
    meets,
    retarder_class,
)
from triage.contract.code_tables import CodeTables, load_code_tables
from triage.resources import resource_dir

US = 0.1761101838
TILE, SHINGLE = "tile_interlocking", "shingle_asphalt"


@pytest.fixture(scope="module")
def tables() -> CodeTables:
    return load_code_tables(resource_dir("schemas") / "policy" / "default")


def place(zone: int | None, letter: str | None, covering: str | None = SHINGLE) -> pl.DataFrame:
    return pl.DataFrame(
        {"zone_num": [zone], "moist_letter": [letter], "roof_covering": [covering]},
        schema={"zone_num": pl.Int8, "moist_letter": pl.String, "roof_covering": pl.String},
    )


@pytest.mark.parametrize(
    ("zone", "letter", "r_us", "rsi", "share"),
    [
        (1, "A", 5, 0.88, 0.10),
        (2, "A", 5, 0.88, 0.10),
        (2, "B", 5, 0.88, 0.10),
        (3, "C", 5, 0.88, 0.10),
        (4, "C", 10, 1.76, 0.20),
        (4, "A", 15, 2.64, 0.30),
        (4, "B", 15, 2.64, 0.30),
        (4, None, 15, 2.64, 0.30),  # the cold row until the letter is known
        (5, "A", 20, 3.52, 0.40),  # a public article prints 15: every row from here one low
        (6, "A", 25, 4.40, 0.50),
        (7, None, 30, 5.28, 0.60),
        (8, None, 35, 6.16, 0.70),
    ],
)
def test_foam_at_an_unvented_deck(
    tables: CodeTables, zone: int, letter: str | None, r_us: float, rsi: float, share: float
) -> None:
    r, ratio = (
        place(zone, letter)
        .select(foam_r_required_m2k_w(tables), foam_ratio_required(tables).alias("share"))
        .row(0)
    )
    assert r / US == pytest.approx(r_us, rel=1e-9)
    assert r == pytest.approx(rsi, abs=0.005)
    assert ratio == share


def test_without_a_zone_nothing_is_required_or_cleared(tables: CodeTables) -> None:
    row = place(None, "A").select(
        foam_r_required_m2k_w(tables).alias("r"),
        foam_ratio_required(tables).alias("share"),
        ceiling_r_required_m2k_w(tables).alias("ceiling"),
        inside_retarder_permission(tables, "class_1").alias("inside"),
    )
    assert row.row(0) == (None, None, None, None)


@pytest.mark.parametrize(("r_us", "passes"), [(24.9, False), (25.0, True)])
def test_k1_zone_6a(tables: CodeTables, r_us: float, passes: bool) -> None:
    required = foam_r_required_m2k_w(tables)
    assert place(6, "A").select(meets(pl.lit(r_us * US), required)).item() is passes


def test_the_last_bit_of_a_quotient_fails_no_roof(tables: CodeTables) -> None:
    """A layer of exactly the table's resistance can come out one bit short of it."""
    least = foam_r_required_m2k_w(tables)
    one_bit_short = 25 * US * (1 - 2.0**-52)
    assert place(6, "A").select(meets(pl.lit(one_bit_short), least)).item() is True
    assert place(6, "A").select(meets(pl.lit(24.9999 * US), least)).item() is False


@pytest.mark.parametrize(
    ("zone", "letter", "covering", "r_us"),
    [
        (2, "B", TILE, 0),  # K3
        (2, "B", "tile_plain", 0),
        (3, "B", TILE, 0),
        (2, "B", SHINGLE, 5),  # K3
        (2, "B", None, 5),  # an unknown covering is no tile
        (2, None, TILE, 5),  # an unknown letter is not dry
        (2, "A", TILE, 5),
        (5, "B", TILE, 20),
    ],
)
def test_k3_tile_roofs_in_dry_warm_zones_need_none(
    tables: CodeTables, zone: int, letter: str | None, covering: str | None, r_us: float
) -> None:
    r = place(zone, letter, covering).select(foam_r_required_m2k_w(tables)).item()
    assert r / US == pytest.approx(r_us)


@pytest.mark.parametrize(
    ("perm", "named"),
    [
        (0.1, "class_1"),
        (0.1001, "class_2"),
        (1.0, "class_2"),
        (1.01, "class_3"),
        (10.0, "class_3"),
        (10.1, "open"),
        (None, None),
        (float("nan"), None),
        (-1.0, None),
    ],
)
def test_k4_retarder_classes(tables: CodeTables, perm: float | None, named: str | None) -> None:
    frame = pl.DataFrame({"perm": [perm]}, schema={"perm": pl.Float64})
    assert frame.select(retarder_class(tables, pl.col("perm"))).item() == named


@pytest.mark.parametrize(
    ("zone", "letter", "frame", "r_us", "vented", "permitted"),
    [
        (5, "A", "2x6", 7.5, "none", True),  # K5
        (5, "A", "2x6", 7.4, "none", False),  # K5
        (5, "A", "2x4", 5.0, "none", True),
        (5, "A", "2x6", 0.0, "wood_panel", True),
        (6, "A", "2x6", 0.0, "wood_panel", False),
        (6, "A", "2x6", 0.0, "gypsum", True),
        (6, "A", "2x6", None, "gypsum", True),
        (6, "A", "2x6", None, "none", None),
        (6, "A", "2x6", 0.0, None, None),
        (7, "A", "2x4", 9.9, "gypsum", False),
        (4, "A", "2x6", 0.0, "none", True),  # permitted as such up to zone 4 but marine
        (4, "C", "2x6", 0.0, "none", False),
        (4, None, "2x6", 0.0, "none", False),  # it could be marine
        (1, "A", "2x4", 0.0, "none", True),
    ],
)
def test_k5_class_3_inside_a_frame_wall(
    tables: CodeTables,
    zone: int,
    letter: str | None,
    frame: Literal["2x4", "2x6"],
    r_us: float | None,
    vented: str | None,
    permitted: bool | None,
) -> None:
    outside = pl.lit(None if r_us is None else r_us * US, pl.Float64)
    cladding = pl.lit(vented, pl.String)
    answer = class_3_permitted(tables, frame, outside, cladding)
    assert place(zone, letter).select(answer).item() is permitted


@pytest.mark.parametrize(
    ("zone", "letter", "class_1", "class_2", "class_3"),
    [
        (1, "A", "not_permitted", "not_permitted", "permitted"),
        (2, "B", "not_permitted", "not_permitted", "permitted"),
        (3, "A", "not_permitted", "conditional", "permitted"),
        (4, "A", "not_permitted", "conditional", "permitted"),
        (4, "C", "conditional", "conditional", "conditional"),
        (4, None, "not_permitted", "conditional", "conditional"),  # the stricter of the two
        (8, None, "conditional", "conditional", "conditional"),
    ],
)
def test_retarders_inside_frame_walls(
    tables: CodeTables, zone: int, letter: str | None, class_1: str, class_2: str, class_3: str
) -> None:
    row = place(zone, letter).select(
        inside_retarder_permission(tables, "class_1").alias("1"),
        inside_retarder_permission(tables, "class_2").alias("2"),
        inside_retarder_permission(tables, "class_3").alias("3"),
    )
    assert row.row(0) == (class_1, class_2, class_3)


@pytest.mark.parametrize(
    ("edition", "zone", "letter", "r_us"),
    [
        (None, 1, "A", 30),  # K8
        (None, 2, "A", 49),  # K8
        (None, 4, "C", 60),  # K8
        (None, 8, None, 60),  # K8
        ("2009", 2, "A", 30),
        ("2009", 6, "A", 49),
        ("2012-2018", 3, "A", 38),
        ("2012-2018", 4, "A", 49),
    ],
)
def test_k8_ceilings_by_edition(
    tables: CodeTables, edition: str | None, zone: int, letter: str | None, r_us: float
) -> None:
    r = place(zone, letter).select(ceiling_r_required_m2k_w(tables, edition)).item()
    assert r / US == pytest.approx(r_us)


def test_an_edition_that_the_tables_lack_is_refused(tables: CodeTables) -> None:
    with pytest.raises(ValueError, match="no edition '2024'"):
        ceiling_r_required_m2k_w(tables, "2024")
