"""Hashes of home-parts: what changes them, and what does not."""

import hashlib
from collections.abc import Mapping

import polars as pl
import pytest

from triage.compare.digests import changed_pieces, digests

HOMES = pl.DataFrame(
    {"property_id": ["A", "B", "C"], "building_id": ["block", "block", None]},
    schema={"property_id": pl.String, "building_id": pl.String},
)


def pieces(*rows: tuple[str, str, str | None, str, str]) -> pl.DataFrame:
    names = ("part", "property_id", "building_part", "text", "label")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String), orient="row")


BASE = (
    ("evidence", "A", "main", "gutter=good", "a.xlsx"),
    ("evidence", "B", "main", "gutter=good", "a.xlsx"),
    ("evidence", "C", "main", "gutter=good", "a.xlsx"),
    ("place", "A", None, "zone=4", "its place"),
)


def sums(frame: pl.DataFrame) -> Mapping[str, Mapping[str, str | None]]:
    return {row["property_id"]: row for row in digests(frame, HOMES).iter_rows(named=True)}


def test_order_and_file_change_no_hash() -> None:
    moved = [(*row[:4], "b.xlsx") for row in reversed(BASE)]
    assert sums(pieces(*BASE)) == sums(pieces(*moved))


def test_the_hash_is_sha256_of_the_texts_in_order() -> None:
    two = pieces(("evidence", "A", "main", "b", "x"), ("evidence", "A", "main", "a", "x"))
    assert sums(two)["A"]["evidence"] == hashlib.sha256(b"a\x1eb").hexdigest()


def test_the_same_row_twice_is_not_once() -> None:
    assert sums(pieces(*BASE))["A"]["evidence"] != sums(pieces(*BASE, BASE[0]))["A"]["evidence"]


@pytest.mark.parametrize(("home", "others"), [("B", {"A"}), ("A", {"B"}), ("C", set())])
def test_a_building_is_one_surrounding(home: str, others: set[str]) -> None:
    before = sums(pieces(*BASE))
    after = sums(pieces(*BASE, ("repair", home, "main", "gutter", "repair R-1")))
    touched = {name for name in before if before[name]["near_repair"] != after[name]["near_repair"]}
    assert touched == {home, *others}
    own = {name for name in before if before[name]["repair"] != after[name]["repair"]}
    assert own == {home}


def test_a_place_is_of_every_part_of_a_home() -> None:
    rows = (*BASE, ("evidence", "A", "extension_1", "gutter=poor", "a.xlsx"))
    found = digests(pieces(*rows), HOMES).filter(pl.col("property_id") == "A")
    assert found["building_part"].to_list() == ["extension_1", "main"]
    assert found["place"].null_count() == 0
    assert found["place"].n_unique() == 1


def test_changes_are_named_after_where_they_came_from() -> None:
    before = pieces(*BASE, ("decision", "C", "main", "accept", "decision D-1"))
    changed = [("evidence", "A", "main", "gutter=poor", "a.xlsx"), *BASE[1:]]
    after = pieces(*changed, ("evidence", "B", "main", "wall=dry", "b.xlsx"))
    told = changed_pieces(before, after).sort("property_id")
    assert told.select("part", "property_id", "told").rows() == [
        ("evidence", "A", "a.xlsx"),
        ("evidence", "B", "b.xlsx"),
        ("decision", "C", "decision D-1 withdrawn"),
    ]
