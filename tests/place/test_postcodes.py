"""UK postcodes (SAP Appendix U, table 6: which area or district is of which region) and ZIPs."""

import polars as pl
import pytest

from triage.place.postcodes import uk_postcodes, zip_codes
from triage.reference import reference_table


# Regions as the home-energy standard lists them; KW15 to KW17 are Orkney, PH19 and on Highland.
@pytest.mark.parametrize(
    ("text", "prefix", "region"),
    [
        ("SO23 9AX", "SO", 3),
        ("so239ax", "SO", 3),
        (" So23  9aX ", "SO", 3),
        ("SO23", "SO", 3),
        ("EC1A 1BB", "EC", 1),
        ("W1A 1AA", "W", 1),
        ("B1 1AA", "B", 6),
        ("KW15 1AA", "KW15", 19),
        ("KW1 4AA", "KW", 17),
        ("BT7 1NN", "BT", 21),
        ("ZE1 0AA", "ZE", 20),
    ],
)
def test_the_exact_district_wins_else_the_area(text: str, prefix: str, region: int) -> None:
    row = uk_postcodes(pl.Series([text])).row(0, named=True)
    assert (row["postcode_prefix"], row["region_code"], row["kind"]) == (prefix, region, None)
    assert row["lat"] is not None


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("various", "written"),
        ("", "written"),
        ("S023 9AX9", "written"),
        ("12345", "written"),
        ("JE2 3XX", "on file"),
        ("ZZ1 1AA", "on file"),
    ],
)
def test_what_is_no_postcode_is_refused_with_words(text: str, word: str) -> None:
    row = uk_postcodes(pl.Series([text])).row(0, named=True)
    assert row["kind"] == "unknown_postcode"
    assert word in row["why"]
    assert row["lat"] is None


def test_every_prefix_on_file_finds_its_own_region() -> None:
    table = reference_table("uk_postcodes")
    outward = table.select(
        pl.when(pl.col("match_level") == "area")
        # No area has a district 99 of its own: the area's row must answer.
        .then(pl.format("{}99", "postcode_prefix"))
        .otherwise("postcode_prefix")
    ).to_series()
    found = uk_postcodes(pl.Series([f"{text} 1AA" for text in outward]))
    assert found["region_code"].to_list() == table["region_code"].to_list()
    assert found["postcode_prefix"].to_list() == table["postcode_prefix"].to_list()


def test_districts_without_figures_take_those_of_their_area_and_say_so() -> None:
    rows = uk_postcodes(pl.Series(["PH37 4AA", "LL50 1AA"]))
    assert rows["figures_of"].to_list() == ["PH", "LL"]
    assert rows["region_code"].to_list() == [17, 13]


@pytest.mark.parametrize(
    ("text", "zip_code", "kind"),
    [
        ("60614", "60614", None),
        ("60614-1234", "60614", None),
        ("606141234", "60614", None),
        ("02108", "02108", None),
        ("2108", "02108", "zip_zero_restored"),
        ("2108-1234", "02108", "zip_zero_restored"),
        ("2108.0", "02108", "zip_zero_restored"),
        ("601", "00601", "zip_zero_restored"),
        ("99999", None, "unknown_zip"),
        ("6061412", None, "unknown_zip"),
        ("SO23 9AX", None, "unknown_zip"),
    ],
)
def test_zip_codes(text: str, zip_code: str | None, kind: str | None) -> None:
    row = zip_codes(pl.Series([text])).row(0, named=True)
    assert (row["zip"], row["kind"]) == (zip_code, kind)


def test_nothing_written_is_no_fault() -> None:
    nothing = pl.Series([None], dtype=pl.String)
    assert set(uk_postcodes(nothing).row(0)) == {None}
    assert set(zip_codes(nothing).row(0)) == {None}
