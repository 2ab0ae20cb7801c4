"""The commands that need no survey: help, demo, fields, rules."""

import json
import runpy
import subprocess
import sys
from pathlib import Path

from cli_helpers import Stock, triage, triage_process

DICTIONARY = Path(__file__).parent / "contract" / "contract_dictionary.py"
HEAVY = ("polars", "duckdb", "geopandas", "matplotlib", "pandas", "pyarrow", "scipy", "fastexcel")
COMMANDS = ("run", "check", "explain", "template", "fields", "rules", "demo")
# Job and survey, section 4.4, and the four that the policy dry run adds (section 6.5).
CHAPTERS = {"W": 13, "R": 14, "M": 12, "V": 4, "F": 9, "G": 3, "S": 6, "J": 3}
RULES = {f"{letter}{n:02d}" for letter, last in CHAPTERS.items() for n in range(1, last + 1)}


def test_help_loads_nothing_heavy() -> None:
    script = (
        "import sys; sys.argv = ['triage', '--help']\n"
        "from triage.cli import main\n"
        "try:\n    main()\nfinally:\n"
        f"    print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stderr.splitlines()[-1] == "[]"
    assert all(f" {name} " in done.stdout for name in COMMANDS)


def test_every_command_has_help() -> None:
    for name in COMMANDS:
        answer = triage(name, "--help")
        assert answer.code == 0
        assert f"triage {name}" in answer.out


def test_exit_codes(stock: Stock) -> None:
    assert stock.run().code == 0  # all rows used; 1 and 2 have files of their own
    assert triage().code == 2  # no command: help, and a code that stops a script


def test_installed_command_is_the_same_program() -> None:
    script = Path(sys.executable).with_name("triage")
    done = subprocess.run([script, "--help"], capture_output=True, text=True, check=True)
    module = triage_process("--help")
    assert done.stdout.split("COMMAND", 1)[1].split() == module.out.split("COMMAND", 1)[1].split()


def test_summary_on_the_terminal(stock: Stock) -> None:
    answer = stock.run()
    assert "1 survey rows read = 1 accepted + 0 rejected + 0 superseded" in answer.out
    assert "caution: Screening only." in answer.out
    assert "not evaluated in this version" not in answer.out  # every rule of the pack is
    assert str(stock.out / "queues.xlsx") in answer.out
    assert "\x1b" not in answer.out + answer.err  # no colours in a file or a pipe


def test_demo_is_copied_once(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    answer = triage("demo", folder)
    assert answer.code == 0
    programmes = [Path(line) for line in answer.out.splitlines()]
    assert [path.parent.name for path in programmes] == [
        "coastal_association",
        "county_weatherisation",
    ]
    assert all(path.is_file() for path in programmes)
    (folder / "mine.txt").write_text("keep", encoding="utf-8")
    again = triage("demo", folder)
    assert again.code == 2
    assert "TR108 the folder exists already" in again.err
    assert (folder / "mine.txt").is_file()


def test_fields_prints_the_whole_dictionary() -> None:
    names = runpy.run_path(str(DICTIONARY))["NAMES"]
    assert len(names) == 113
    answer = triage("fields")
    assert answer.code == 0
    printed = {line.split()[1] for line in answer.out.splitlines() if line[:3].strip().isdigit()}
    assert set(names) <= printed
    rows = triage("fields", "--json").json
    assert [row["name"] for row in rows[:113]] == names
    assert all(row["meaning"] for row in rows)


def test_rules_prints_the_register_with_sources() -> None:
    assert len(RULES) == 64
    rows = triage("rules", "--json").json
    assert {row["base"] for row in rows} == RULES
    assert all(row["source"] for row in rows)
    text = triage("rules").out
    starts = {line.split("  ")[0] for line in text.splitlines() if line[:1].isalpha()}
    assert {row["id"] for row in rows} <= starts
    assert text.count("\n    source: ") >= len(rows)


def test_rules_of_a_pack_that_is_not_there(tmp_path: Path) -> None:
    answer = triage("rules", "--policy", "defaul", "--json")
    assert answer.code == 2
    assert answer.out == ""
    assert "did you mean 'default'" in answer.err
    assert triage("rules", "--policy", tmp_path).code == 2


def test_json_is_utf_8_whatever_the_terminal(tmp_path: Path) -> None:
    done = triage_process("fields", "--json", cwd=tmp_path)
    assert json.loads(done.out)
    assert "\\u" not in done.out
