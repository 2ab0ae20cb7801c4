"""`check` says everything of all files in one go, in words and for machines."""

import json

from intake_helpers import AS_OF, MEASURES, LoadProfile, WriteBook

from triage.contract import Contract
from triage.intake import check_files

HEAD = ["property_id", "building_part", "gutter_condition", "roof_pitch_deg"]


def test_a_good_file_is_counted(write_book: WriteBook, contract: Contract) -> None:
    path = write_book([HEAD, ["H1", "main", "G", 35], ["H2", "main", "P", "steep"]])
    report = check_files([path], None, contract, MEASURES, AS_OF)
    assert report.exit_code == 0
    assert report.rows == {"read": 2, "accepted": 2, "rejected": 0, "superseded": 0}
    (file,) = report.files
    assert file.sheets == {"Roofs": 2}
    assert file.mapped == {name: name for name in HEAD}
    assert file.problems == {"not_a_number": 1}
    words = "\n".join(report.lines())
    assert "row 3, column 'D': roof_pitch_deg: 'steep' is not a number" in words


def test_rejected_rows_and_errors_set_the_exit_code(
    write_book: WriteBook, contract: Contract
) -> None:
    rejected = write_book([HEAD, [None, "main", "G", 35]], "a.xlsx")
    broken = write_book([[*HEAD, "Guter"], ["H1", "main", "G", 35, "x"]], "b.xlsx")
    missing = rejected.with_name("c.xlsx")
    assert check_files([rejected], None, contract, MEASURES, AS_OF).exit_code == 1
    report = check_files([rejected, broken, missing], None, contract, MEASURES, AS_OF)
    assert report.exit_code == 2
    assert [error.where.file for error in report.errors] == [str(broken), str(missing)]
    assert report.rows["read"] == 1
    data = json.loads(json.dumps(report.to_dict()))
    assert [len(file["errors"]) for file in data["files"]] == [0, 1, 1]
    assert data["files"][1]["errors"][0]["code"] == "TR103"


def test_headings_of_the_profile_that_the_file_lacks_are_said(
    write_book: WriteBook, make_profile: LoadProfile, contract: Contract
) -> None:
    profile = make_profile(
        '[columns]\nproperty_id = "property_id"\nbuilding_part = "building_part"\n'
        'Photos = "photo_refs"\n[ignore]\nheadings = ["gutter_condition", "roof_pitch_deg"]\n'
    )
    path = write_book([HEAD, ["H1", "main", "G", 35]])
    (file,) = check_files([path], profile, contract, MEASURES, AS_OF).files
    assert file.absent == ("Photos",)
    assert file.ignored == ("gutter_condition", "roof_pitch_deg")
