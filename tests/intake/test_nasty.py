"""Every nasty fixture is read to what its sidecar tells, or refused as it tells."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from intake_helpers import LoadProfile, ReadFiles
from nasty_sidecar import (
    NASTY,
    Sidecar,
    line_of,
    lines_in,
    problems_differ,
    row_places,
    rows_read,
    sidecars,
    statuses,
)

from triage.errors import ManyErrors, TriageError
from triage.intake import Intake

ReadCase = Callable[[Sidecar], Intake]
CASES = sidecars()
READ = [case for case in CASES if not case.is_refused]
REFUSED = [case for case in CASES if case.is_refused]


@pytest.fixture
def read_case(tmp_path: Path, make_profile: LoadProfile, read_files: ReadFiles) -> ReadCase:
    def read(case: Sidecar) -> Intake:
        profile = make_profile(case.told["profile"]) if "profile" in case.told else None
        copies = [Path(shutil.copy(path, tmp_path)) for path in case.files]
        return read_files(*copies, profile=profile)

    return read


@pytest.mark.parametrize("case", READ, ids=lambda case: case.name)
def test_a_file_is_read_to_the_values_in_its_sidecar(case: Sidecar, read_case: ReadCase) -> None:
    intake = read_case(case)
    told = {row.pop("at"): row for row in map(dict, case.told.get("row", []))}
    read = rows_read(intake)
    assert list(read) == list(told)
    for place, row in told.items():
        near = {k: pytest.approx(v) if isinstance(v, float) else v for k, v in row.items()}
        assert read[place] == near, place
    for status in ("rejected", "superseded"):
        told_rows = case.told.get(status, [])
        said = statuses(intake, status)
        assert len(said) == len(told_rows)
        for found, wanted in zip(said, told_rows, strict=True):
            assert found["why"].startswith(wanted["why"])
            assert found | {"why": wanted["why"]} == wanted
    assert problems_differ(intake, case.told.get("problem", [])) == ""


@pytest.mark.parametrize("case", READ, ids=lambda case: case.name)
def test_every_line_of_a_file_is_a_row_or_is_said_to_be_none(
    case: Sidecar, read_case: ReadCase
) -> None:
    intake = read_case(case)
    counts = intake.counts
    assert counts["read"] == counts["accepted"] + counts["rejected"] + counts["superseded"]
    for status, name in (("accepted", "row"), ("rejected",) * 2, ("superseded",) * 2):
        assert counts[status] == len(case.told.get(name, []))
    left_out = case.told.get("left_out", [])
    assert set(left_out) == set(intake.problems.filter(kind="sheet_not_read")["sheet"])
    rows = list(row_places(intake).values())
    for path in case.files:
        mine = [r for r in rows if "@" not in r or r.endswith("@" + path.name)]
        above = [
            f"{sheet}!{line}" if sheet else str(line)
            for sheet, lines in case.told["lines"].items()
            for line in lines
        ]
        there = lines_in(path, case.told)
        if there is None:
            continue  # no second reader for old and binary workbooks: the sidecar's counts stand
        lines = {
            f"{sheet}!{line}" if sheet else str(line)
            for sheet, numbers in there.items()
            if sheet not in left_out
            for line in numbers
        }
        assert len(mine) == len(set(mine))
        read = {line_of(place) for place in mine}
        assert not read & set(above)
        assert read | set(above) == lines


@pytest.mark.parametrize("case", REFUSED, ids=lambda case: case.name)
def test_a_file_is_refused_with_the_message_in_its_sidecar(
    case: Sidecar, read_case: ReadCase
) -> None:
    with pytest.raises(TriageError) as caught:
        read_case(case)
    raised = caught.value
    errors = raised.errors if isinstance(raised, ManyErrors) else [raised]
    told = case.told["refused"]
    assert len(errors) == len(told)
    for error, words in zip(errors, told, strict=True):
        assert error.exit_code == 2
        assert str(error.where) == words["where"]
        assert error.fix == words["fix"]
        if "starts" in words:  # the rest is a library's own text
            assert error.what.startswith(words["starts"])
        else:
            assert error.what == words["what"]


def test_there_is_a_sidecar_for_every_fixture_and_many_of_each_kind() -> None:
    named = {path for case in CASES for path in case.files}
    files = {path.resolve() for path in NASTY.iterdir() if path.suffix not in (".toml", ".md")}
    assert files <= named
    assert all(path.is_file() for path in named)
    kinds = [path.suffix for path in files]
    assert len(CASES) >= 40
    assert min(kinds.count(suffix) for suffix in (".xlsx", ".xls", ".ods", ".csv")) >= 5
    assert all(path.stat().st_size < 50_000 for path in files)
