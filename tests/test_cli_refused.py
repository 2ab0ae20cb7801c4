"""What a run cannot start on: exit 2, one clear message with its place, and nothing left behind.

The list of cases is the description of bad input; the words looked for are its own ("nearest
known ones named", "with file and line").
"""

import gzip
import re
import shutil
from pathlib import Path

import pytest
from cli_helpers import GOOD, HEAD, PROGRAMME, Answer, Stock, triage

WORKBOOKS = Path(__file__).parent / "fixtures" / "workbooks"
PACK = Path(__file__).parents[1] / "schemas" / "policy" / "default"


def refused(stock: Stock, *words: str) -> Answer:
    """Run it: it must stop with these words, say where and what to do, and leave nothing."""
    answer = stock.run("--json")
    assert answer.code == 2
    assert answer.out == ""
    for word in (*words, "where:", "do:"):
        assert word in answer.err
    assert stock.leftovers() == []
    return answer


def test_missing_programme_file(stock: Stock) -> None:
    stock.programme.unlink()
    refused(stock, "TR101", "programme.toml")


def test_programme_that_is_no_toml(stock: Stock) -> None:
    stock.programme.write_text('name = "Small stock\n', encoding="utf-8")
    refused(stock, "TR104", "not valid TOML", "programme.toml, line 1")


def test_slips_in_the_programme_are_said_together(stock: Stock) -> None:
    stock.write(PROGRAMME.replace("as_of", "asof") + 'profile = "gone.toml"\n')
    err = refused(stock, "unknown key 'asof'", "line 4", "did you mean 'as_of'", "'gone.toml'").err
    assert "Traceback" not in err


def test_files_that_match_nothing(stock: Stock) -> None:
    (stock.folder / "surveys" / "survey.xlsx").unlink()
    refused(stock, "TR104", "no file matches 'surveys/*.*'", "line 7")


def test_wrong_sheet_name(stock: Stock) -> None:
    stock.profile('[layout]\nsheets = ["Roof"]\n[columns]\nproperty_id = "property_id"\n')
    refused(stock, "TR101", "no sheet 'Roof'", "surveys/survey.xlsx", "'Roofs'")


def test_empty_workbook(stock: Stock) -> None:
    refused(stock.survey([]), "TR101", "no sheet holds any cell", "surveys/survey.xlsx")


def test_encrypted_workbook(stock: Stock) -> None:
    shutil.copy(WORKBOOKS / "encrypted.xlsx", stock.folder / "surveys")
    refused(stock, "TR101", "encrypted", "surveys/encrypted.xlsx", "password")


def test_gzip_called_csv(stock: Stock) -> None:
    content = gzip.compress(b"property_id,building_part\nH1,main\n")
    (stock.folder / "surveys" / "north.csv").write_bytes(content)
    refused(stock, "TR101", "gzip", "surveys/north.csv", "unpack")


def test_unmapped_heading_names_the_nearest(stock: Stock) -> None:
    stock.survey([[*HEAD, "Guter conditon"], [*GOOD, "poor"]])
    place = "surveys/survey.xlsx, sheet 'Roofs', row 1, column 'G'"
    refused(stock, "TR103", "'Guter conditon'", place, "gutter_condition", "[ignore]")


def test_duplicate_headings(stock: Stock) -> None:
    stock.survey([[*HEAD, "gutter_condition"], [*GOOD, "poor"]])
    refused(stock, "TR103", "'gutter_condition'", "twice", "column E", "column 'G'")


def test_unit_that_the_profile_gives_wrongly(stock: Stock) -> None:
    columns = "".join(f'{name} = "{name}"\n' for name in HEAD)
    slip = 'depth = { field = "ceiling_insulation_mm", unit = "kg" }\n'
    stock.profile(f"[columns]\n{columns}{slip}").survey([[*HEAD, "depth"], [*GOOD, 100]])
    refused(stock, "TR104", "'kg'", "ceiling_insulation_mm")


def test_all_files_are_looked_at_before_the_run_stops(stock: Stock) -> None:
    stock.survey([], "a.xlsx").survey([[*HEAD, "Guter conditon"], [*GOOD, "poor"]], "b.xlsx")
    refused(stock, "surveys/a.xlsx", "surveys/b.xlsx")


def test_measure_that_the_policy_does_not_know(stock: Stock) -> None:
    stock.write(PROGRAMME + '\n[[measures]]\ncode = "loft_topp"\n')
    refused(stock, "TR104", "'loft_topp'", "programme.toml, line 10", "did you mean 'loft_topup'")


def test_condition_on_a_field_that_is_none(stock: Stock) -> None:
    condition = "where = \"roof_fom = 'flat'\"\n"
    stock.write(PROGRAMME + f'\n[[measures]]\ncode = "loft_topup"\n{condition}')
    refused(stock, "'roof_fom'", "programme.toml, line 11", "'roof_form'")


def test_policy_pack_that_is_not_there(stock: Stock) -> None:
    stock.write('policy = "defaul"\n' + PROGRAMME)
    refused(stock, "TR105", "'defaul'", "did you mean 'default'")


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        ("severity = 5", "severty = 5", ["unknown key 'severty'", "did you mean 'severity'"]),
        (
            "roof_leak_evidence IN",
            "roof_leak_evidenc IN",
            ["'roof_leak_evidenc'", "'roof_leak_evidence'"],
        ),
        (
            '["roof_leak_evidence"]',
            '["roof_leak_evidenc"]',
            ["'roof_leak_evidenc'", "'roof_leak_evidence'"],
        ),
        ("[[rules]]", "[[rules]", ["not valid TOML"]),
    ],
    ids=["key", "field in a condition", "field in needs", "TOML"],
)
def test_typo_in_a_policy_names_file_and_line(
    stock: Stock, right: str, wrong: str, words: list[str]
) -> None:
    stock.write('policy = "own"\n' + PROGRAMME)
    pack = stock.folder / "own"
    shutil.copytree(PACK, pack)
    rules = pack / "rules" / "water.toml"
    text = rules.read_text(encoding="utf-8")
    assert right in text
    rules.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    err = refused(stock, "TR105", "water.toml, line ", *words).err
    line = int(re.findall(r"water\.toml, line (\d+)", err)[0])
    lines = text.splitlines()
    slip = next(n for n, content in enumerate(lines, 1) if right in content)
    rule = 1 + next(n for n in range(slip, 0, -1) if lines[n - 1] == "[[rules]]")
    assert line in (slip, rule)  # the line of the slip, or the rule's own


def test_folder_for_runs_that_is_not_there(stock: Stock) -> None:
    answer = triage("run", stock.programme, "--out", stock.folder / "gone" / "run")
    assert answer.code == 2
    assert "TR108" in answer.err
    assert not (stock.folder / "gone").exists()


def test_words_that_are_no_command(stock: Stock) -> None:
    assert triage("run").code == 2
    assert triage("runn", stock.programme).code == 2
    assert triage("run", stock.programme).code == 2  # no --out


def test_check_refuses_what_a_run_refuses(stock: Stock) -> None:
    bad = stock.survey([[*HEAD, "Guter conditon"], [*GOOD, "poor"]], "bad.xlsx").folder / "surveys"
    answer = triage("check", bad / "survey.xlsx", bad / "bad.xlsx", "--json")
    assert answer.code == answer.json["exit_code"] == 2
    errors = [error for file in answer.json["files"] for error in file["errors"]]
    assert [error["code"] for error in errors] == ["TR103"]
    assert "gutter_condition" in errors[0]["do"]
    words = triage("check", bad / "bad.xlsx")
    assert words.code == 2
    assert "Guter conditon" in words.out
    gone = triage("check", bad / "gone.xlsx")
    assert gone.code == 2
    assert "no such file" in gone.out
