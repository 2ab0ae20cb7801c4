"""The code tables of a policy pack: whole, sourced, and every slip refused with its line."""

import shutil
from pathlib import Path

import pytest

from triage.contract.code_tables import CodeTables, load_code_tables
from triage.errors import ManyErrors, TriageError
from triage.resources import resource_dir

SHIPPED = resource_dir("schemas") / "policy" / "default"


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    shutil.copy(SHIPPED / "code_tables.toml", tmp_path)
    return tmp_path


def spoilt(pack: Path, before: str, after: str) -> tuple[list[TriageError], list[str]]:
    """What is wrong after the first `before` became `after`, and the lines of the file then."""
    path = pack / "code_tables.toml"
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    with pytest.raises(TriageError) as caught:
        load_code_tables(pack)
    found = caught.value
    errors = found.errors if isinstance(found, ManyErrors) else [found]
    return errors, path.read_text(encoding="utf-8").splitlines()


def test_the_edition_is_named() -> None:
    tables = load_code_tables(SHIPPED)
    assert "2021" in tables.edition
    assert tables.edition_in_force == "2021"
    assert tables.editions == ("2009", "2012-2018", "2021")


def test_least_resistance_and_share_never_fall_towards_the_cold() -> None:
    tables = load_code_tables(SHIPPED)
    for table, key in ((tables.foam_r, "r_us"), (tables.foam_share, "share")):
        for letter in ("A", "B", "C", None):
            figures = [table.strictest(key, zone, letter) for zone in range(1, 9)]
            known = [figure for figure in figures if figure is not None]
            assert len(known) == 8
            assert known == sorted(known)


def test_an_unknown_letter_or_covering_is_never_more_lenient() -> None:
    table = load_code_tables(SHIPPED).foam_r
    for zone in range(1, 9):
        for letter in ("A", "B", "C", None):
            unknown = table.strictest("r_us", zone, letter)
            known = table.strictest("r_us", zone, letter, "tile_plain")
            assert unknown is not None
            assert known is not None
            assert unknown >= known


def test_frame_walls_and_masses_by_zone() -> None:
    """US national solution centre's table, 2021 (SEEN): zone 4 marine as zone 5, mass 13/17."""
    table = load_code_tables(SHIPPED).insulation
    (marine,) = table.candidates(4, "C", "slate_natural")
    (inland,) = table.candidates(4, "A", "slate_natural")
    assert marine is not None
    assert inland is not None
    assert marine.figures["mass_wall"] == (13, 17)
    assert inland.figures["mass_wall"] == (8, 13)
    assert marine.wall_alternatives == ((30, 0), (20, 5), (13, 10), (0, 20))


def test_conditions_of_unvented_roofs_and_ports() -> None:
    """Conditions of R806.5 (SEEN in part, MEMORY for the port's measures)."""
    tables = load_code_tables(SHIPPED)
    assert tables.unvented_roof.class_2_zones == (5, 6, 7, 8)
    assert tables.unvented_roof.no_class_1_inside
    assert tables.unvented_roof.deck_month_min_c == 7.0  # 45 °F
    port = tables.diffusion_port
    assert port.zones == (1, 2, 3)
    assert port.ceiling_area_share_min == pytest.approx(1 / 600)
    assert port.from_top_max_mm == pytest.approx(12 * 25.4, abs=1)
    assert port.permeance_min_perm == 20


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("r_us = 20.0", "r_us = -20.0", "'r_us' should be a number"),
        ("r_us = 20.0", 'r_us = "R-20"', "'r_us' should be a number"),
        ("r_us = 20.0", "r_us = nan", "'r_us' should be a number"),
        ("r_us = 20.0", "rsi = 3.5", "unknown key 'rsi'"),
        ("zones = [6]", "zones = [9]", "'zones' should hold whole numbers"),
        ('letters = ["B"]', 'letters = ["D"]', "'D' is none of 'letters'"),
        ('"tile_plain"', '"tiles"', "'tiles' is none of 'coverings'"),
        ('class_1 = "conditional"', 'class_1 = "maybe"', "'maybe' is no class_1"),
        ('edition_in_force = "2021"', 'edition_in_force = "2024"', "'2024' is no edition_in_force"),
        ("ceiling = [30, 30, 30]", "ceiling = [30, 30]", "one figure an edition"),
        ("mass_wall = [3, 4]", "mass_wall = [3]", "two figures"),
        ("[[20, 0], [13, 5], [0, 15]]", "[20, 13]", "pairs of numbers"),
        ("permeance_min_perm = 20.0", "permeance_min_perm = 0.0", "'permeance_min_perm' is 0"),
    ],
)
def test_a_slip_is_refused_with_its_line(pack: Path, before: str, after: str, says: str) -> None:
    errors, lines = spoilt(pack, before, after)
    found = [error for error in errors if says in error.what]
    assert found, [error.what for error in errors]
    assert found[0].where.row is not None
    assert after.split(" = ", maxsplit=1)[0].strip('"[') in lines[found[0].where.row - 1]


def test_a_zone_without_a_row_is_refused(pack: Path) -> None:
    errors, _ = spoilt(pack, "zones = [5]\nr_us", "zones = [6]\nr_us")
    assert [e.what for e in errors] == ["'foam_r' has no row for some place in zone 5"]


def test_retarder_classes_must_rise(pack: Path) -> None:
    errors, _ = spoilt(pack, "permeance_max_perm = 1.0", "permeance_max_perm = 100.0")
    assert [e.what for e in errors] == ["the vapour retarder classes are not three rising limits"]


def test_a_pack_without_the_tables_says_so(tmp_path: Path) -> None:
    with pytest.raises(TriageError, match="cannot read the file"):
        load_code_tables(tmp_path)


def test_all_that_is_read_has_a_source() -> None:
    tables: CodeTables = load_code_tables(SHIPPED)
    for table in (tables.foam_r, tables.foam_share, tables.class_2, tables.class_3):
        for row in table.rows:
            assert "SEEN" in row.mark or "MEMORY" in row.mark
            assert len(row.source) > 10
