"""The demonstration programmes as files: reproducible, complete, written in words that are known.

Numbers of homes and the kinds of file come from the description of the demonstration data
(about 1,200 homes in five workbooks of which about 180 are foamed; about 400 in two; at least 40
expectations made by hand). Nothing here runs the queues.
"""

import csv
import importlib.util
import sys
import tomllib
from datetime import date, datetime
from functools import cache
from pathlib import Path
from types import ModuleType

import odf.opendocument
import odf.table
import odf.text
import openpyxl
import pytest

from triage.contract import load_contract, normalise
from triage.contract.profile import load_profile
from triage.contract.programme import load_programme

DEMO = Path(__file__).parents[2] / "demo_data"
COASTAL, COUNTY = DEMO / "coastal_association", DEMO / "county_weatherisation"
LANES = {"", "technical", "safety", "contradiction", "expired", "evidence_gap", "inspection"}
QUEUES = {"safe-to-insulate", "fix-water-first", "specialist-review"}
LARGEST_FILE = 1_500_000
Grid = list[list[str]]


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("build_demo", DEMO / "build_demo.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _text(value: object) -> str:
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value)


def _xlsx(path: Path) -> dict[str, Grid]:
    book = openpyxl.load_workbook(path, read_only=True)
    return {
        page.title: [[_text(v) for v in row] for row in page.iter_rows(values_only=True)]
        for page in book.worksheets
    }


def _xls(path: Path) -> dict[str, Grid]:
    # the only reader of the old format among the packages at hand; it sees texts and numbers
    import fastexcel

    book = fastexcel.read_excel(path)
    sheets = {}
    for name in book.sheet_names:
        frame = book.load_sheet(name, header_row=None, dtypes="string").to_polars()
        sheets[name] = [[_text(v).removesuffix(" 00:00:00") for v in row] for row in frame.rows()]
    return sheets


def _ods(path: Path) -> dict[str, Grid]:
    sheets = {}
    for table in odf.opendocument.load(path).spreadsheet.getElementsByType(odf.table.Table):
        grid = []
        for row in table.getElementsByType(odf.table.TableRow):
            cells: list[str] = []
            for cell in row.getElementsByType(odf.table.TableCell):
                repeat = int(cell.getAttribute("numbercolumnsrepeated") or 1)
                cells += [str(cell)] * repeat
            grid.append(cells)
        sheets[table.getAttribute("name")] = grid
    return sheets


def _csv(path: Path) -> dict[str, Grid]:
    with path.open(encoding="cp1252", newline="") as file:
        return {"": list(csv.reader(file, delimiter=";"))}


READERS = {".xlsx": _xlsx, ".xls": _xls, ".ods": _ods, ".csv": _csv}


@cache
def _read(path: Path) -> dict[str, Grid]:
    return READERS[path.suffix](path)


def _cells_of(source_profile: Path, path: Path) -> list[dict[str, str]]:
    """Rows as field -> text, found by the profile's layout; no other part of the tool helps."""
    profile = tomllib.loads(source_profile.read_text(encoding="utf-8"))
    layout = profile.get("layout", {})
    fields = {
        normalise(heading): entry if isinstance(entry, str) else entry["field"]
        for heading, entry in profile["columns"].items()
    }
    rows = []
    sheets = _read(path)
    for name in layout.get("sheets", list(sheets)):
        grid, start = sheets[name], layout.get("header_row", 1) - 1
        headings = grid[start]
        if layout.get("header_lines", 1) == 2:
            upper, last = [], ""
            for text in grid[start]:
                last = text or last
                upper.append(last)
            headings = [f"{a} / {b}" for a, b in zip(upper, grid[start + 1], strict=True)]
            start += 1
        start += 2 if layout.get("units_row") else 1
        order = [fields.get(normalise(heading)) for heading in headings]
        rows += [
            {field: text for field, text in zip(order, row, strict=False) if field}
            for row in grid[start:]
        ]
    return rows


def _all_rows(folder: Path) -> list[dict[str, str]]:
    programme = tomllib.loads((folder / "programme.toml").read_text(encoding="utf-8"))
    return [
        row
        for source in programme["sources"]
        for path in sorted(folder.glob(source["files"]))
        for row in _cells_of(folder / source["profile"], path)
    ]


def _expected(folder: Path) -> list[dict[str, str]]:
    with (folder / "expected_queues.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_script_writes_the_committed_cells_again(script: ModuleType, tmp_path: Path) -> None:
    script.build(tmp_path)
    for folder in (COASTAL, COUNTY):
        again = tmp_path / folder.name
        names = sorted(p.name for p in (folder / "surveys").iterdir())
        assert names == sorted(p.name for p in (again / "surveys").iterdir())
        for name in names:
            assert _read(folder / "surveys" / name) == _read(again / "surveys" / name), name
        assert _expected(folder) == _expected(again)


@pytest.mark.parametrize("folder", [COASTAL, COUNTY], ids=lambda f: f.name)
def test_programme_and_profiles_load(folder: Path) -> None:
    programme = load_programme(folder / "programme.toml")
    assert programme.as_of == date(2026, 10, 31)
    read = {path for source in programme.sources for path in source.files}
    assert read == set((folder / "surveys").iterdir())
    assert all(path.stat().st_size < LARGEST_FILE for path in read)


def test_the_coastal_programme_has_the_promised_files_and_homes() -> None:
    kinds = sorted(path.suffix for path in (COASTAL / "surveys").iterdir())
    assert kinds == [".csv", ".ods", ".xls", ".xlsx", ".xlsx"]
    rows = _all_rows(COASTAL)
    homes = {row["property_id"] for row in rows if row["property_id"].startswith("KC-")}
    assert 1150 <= len(homes) <= 1250
    answers = {"y", "yes", "suspected"}
    foamed = {
        row["property_id"] for row in rows if normalise(row.get("foam_present", "")) in answers
    }
    assert 165 <= len(foamed) <= 195


def test_the_county_programme_has_the_promised_files_and_homes() -> None:
    assert [path.suffix for path in (COUNTY / "surveys").iterdir()] == [".xlsx", ".xlsx"]
    rows = _all_rows(COUNTY)
    homes = {row["property_id"] for row in rows if row["property_id"].startswith("TR-")}
    assert 380 <= len(homes) <= 430
    texts = {text for row in rows for text in row.values()}
    assert {"R-19", '3.5"', "6:12", "1/300"} <= texts


@pytest.mark.parametrize("folder", [COASTAL, COUNTY], ids=lambda f: f.name)
def test_some_rows_are_there_to_be_refused(folder: Path) -> None:
    ids = [row["property_id"] for row in _all_rows(folder)]
    assert ids.count("") >= 3
    assert "1.00E+11" in ids


@pytest.mark.parametrize(("folder", "least"), [(COASTAL, 26), (COUNTY, 18)])
def test_expectations_are_well_formed_and_about_homes_that_exist(folder: Path, least: int) -> None:
    expected = _expected(folder)
    surveyed = {row["property_id"] for row in _all_rows(folder)}
    assert len(expected) >= least
    assert len({(e["property_id"], e["measure_code"]) for e in expected}) == len(expected)
    for line in expected:
        assert line["property_id"] in surveyed
        assert line["building_part"] == "main"
        assert line["expected_queue"] in QUEUES
        assert line["expected_lane"] in LANES
        assert (line["expected_lane"] != "") == (line["expected_queue"] == "specialist-review")
        assert line["why"].endswith(".")


def test_all_queues_and_lanes_and_the_named_rules_are_expected_somewhere() -> None:
    lines = _expected(COASTAL) + _expected(COUNTY)
    assert len(lines) >= 44
    assert {line["expected_queue"] for line in lines} == QUEUES
    assert {line["expected_lane"] for line in lines} == LANES
    named = (
        "W01 W02 W03 W04 W07 W08 W09 W12 W13 R01 R02 R03 R04 R05 R11 R12 R13 F01 F03 F05 F06 F07 "
        "F09 J01 M01 M04 M05 M06 M07 M09 M12 G01 G02 V01 V04 S01 S02 S03 S06 "
        "M03 M11 R07 R07c R07d R08q R09 R09d R10"
    )
    assert set(named.split()) <= {line["main_rule"] for line in lines}


def test_composed_homes_lie_on_the_side_of_the_zone_line_that_their_story_needs() -> None:
    import geopandas

    zones = geopandas.read_parquet(DEMO.parent / "triage" / "reference" / "us_zones.parquet")
    stories = tomllib.loads((DEMO / "making" / "stories_county.toml").read_text(encoding="utf-8"))
    sides = {"ridge": "5A", "valley": "4A", "piedmont": "3A"}
    needed = {
        story["id"]: sides[story["area"]] for story in (*stories["story"], *stories["computed"])
    }
    rows = {row["property_id"]: row for row in _all_rows(COUNTY) if row.get("survey_reach_outside")}
    places = geopandas.GeoDataFrame(
        {"home": list(needed)},
        geometry=geopandas.points_from_xy(
            [float(rows[home]["longitude"]) for home in needed],
            [float(rows[home]["latitude"]) for home in needed],
        ),
        crs=zones.crs,
    )
    joined = places.sjoin(zones, predicate="within")
    assert dict(zip(joined["home"], joined["label"], strict=True)) == needed


def _words_of_forms() -> list[tuple[str, str, str, str]]:
    """Every word the script may type: form, field, code, word."""
    sys.path.insert(0, str(DEMO))
    from making.wording import Words, headings, read_toml

    contract = load_contract()
    lists = {name: f.code_list for name, f in contract.fields.items() if f.code_list}
    found = []
    for path in sorted(DEMO.glob("*/profiles/*.toml")):
        profile = read_toml(path)
        words = Words(profile, path.stem, lists)
        for heading in headings(profile):
            name = heading.field if heading.field in words.common else lists.get(heading.field, "")
            for code in words.common.get(name, {}):
                if code in contract.fields[heading.field].known_codes:
                    found += [
                        (str(path), heading.field, code, w) for w in words.of(heading.field, code)
                    ]
    return found


def test_every_word_of_a_form_is_a_known_spelling_of_the_code_it_stands_for() -> None:
    contract = load_contract()
    wrong = []
    profiles = {str(path): load_profile(path, contract) for path in DEMO.glob("*/profiles/*.toml")}
    for path, field, code, word in _words_of_forms():
        profile = profiles[path]
        own = profile.spellings.get(field, {})
        read = own.get(normalise(word), contract.field_spelling(field).get(normalise(word)))
        # N/A is an answer only where the profile says so; elsewhere it stays an open question
        if word == "N/A" and (field in profile.not_applicable or read is None):
            continue
        if read != code:
            wrong.append((Path(path).stem, field, word, code, read))
    assert not wrong
