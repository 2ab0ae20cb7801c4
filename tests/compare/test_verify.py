"""A run is made again from what it stored; what was touched is named."""

import json
import shutil
from pathlib import Path, PurePosixPath
from typing import Any

import polars as pl
import pytest
from cli_helpers import triage
from compare_stock import REPAIR, Estate, home, queues

from triage.errors import StoreError
from triage.programme_run import run_programme
from triage.runs import file_digest

pytestmark = pytest.mark.usefixtures("plain_runs")


def verified(run: Path) -> tuple[int, Any]:
    answer = triage("verify", run, "--json")
    return answer.code, json.loads(answer.out)


def stored(run: Path) -> dict[str, dict[str, Any]]:
    record = json.loads((run / "run.json").read_text(encoding="utf-8"))
    return {item["path"]: item for item in record["stored_inputs"]}


def rewrite(run: Path, **changes: Any) -> None:
    path = run / "run.json"
    record = json.loads(path.read_text(encoding="utf-8")) | changes
    path.write_text(json.dumps(record), encoding="utf-8")


def flip_a_byte(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def test_a_run_stores_what_it_read_and_is_made_again_without_the_originals(estate: Estate) -> None:
    estate.record(repair={"property_id": "H2", **REPAIR})
    run = estate.run("run")
    inputs = stored(run)
    originals = {
        "programme.toml": estate.programme,
        "surveys/first.xlsx": estate.folder / "surveys" / "first.xlsx",
        "records.duckdb": estate.folder / "records.duckdb",
    }
    for name, original in originals.items():
        assert (run / "inputs" / name).read_bytes() == original.read_bytes()
        assert inputs[name]["sha256"] == file_digest(original)
    assert {i["role"] for i in inputs.values()} == {"programme", "survey", "records", "policy"}
    there = {p.relative_to(run / "inputs").as_posix() for p in (run / "inputs").rglob("*.*")}
    assert there == set(inputs)
    moved = run.rename(estate.folder.parent / "kept")
    shutil.rmtree(estate.folder)
    code, told = verified(moved)
    assert (code, told["verdict"], told["reasons"]) == (0, "same", [])
    names = {item["what"] for item in told["checked"]}
    assert {"queue.parquet", "homes.parquet", "store.duckdb: current_evidence"} <= names
    assert {"run.json: rows", "run.json: queues", "run.json: run_id"} <= names


def test_files_outside_the_programme_are_copied_to_safe_places(tmp_path: Path) -> None:
    estate = Estate(tmp_path / "estate").write()
    estate.survey("a.xlsx", home("H1"))
    (tmp_path / "shared").mkdir()
    columns = "".join(f'"{name}" = "{name}"\n' for name in home("H1"))
    (tmp_path / "shared" / "team.toml").write_text(
        f'name = "team"\n\n[columns]\n{columns}', encoding="utf-8"
    )
    text = estate.programme.read_text(encoding="utf-8")
    absolute = (tmp_path / "shared" / "team.toml").as_posix()
    for written in ("../shared/team.toml", absolute):
        estate.programme.write_text(f'{text}profile = "{written}"\n', encoding="utf-8")
        run = estate.run(f"run_{len(written)}")
        inputs = stored(run)
        (copy,) = [item for item in inputs.values() if item["role"] == "reference"]
        assert copy["written"] == written
        for name in inputs:
            path = PurePosixPath(name)
            assert not path.is_absolute()
            assert ".." not in path.parts
            assert (run / "inputs" / name).is_file()
        kept = tmp_path / "shared" / "team.toml"
        kept.rename(kept.with_suffix(".away"))
        assert verified(run)[0] == 0
        kept.with_suffix(".away").rename(kept)


@pytest.mark.parametrize(
    "name", ["surveys/first.xlsx", "programme.toml", "_policy/parameters.toml"]
)
def test_one_flipped_byte_of_a_stored_input_is_named(estate: Estate, name: str) -> None:
    run = estate.folder / "one"
    flip_a_byte(run / "inputs" / name)
    code, told = verified(run)
    assert (code, told["verdict"]) == (2, "not checked")
    assert told["reasons"] == [f"inputs/{name} is not what the run read: its hash differs"]
    assert name in triage("verify", run).out


def test_missing_and_added_inputs_are_named(estate: Estate) -> None:
    run = estate.folder / "one"
    surveys = run / "inputs" / "surveys"
    (surveys / "first.xlsx").rename(surveys / "second.xlsx")
    code, told = verified(run)
    assert code == 2
    assert told["reasons"] == [
        "inputs/surveys/first.xlsx is missing",
        "inputs/surveys/second.xlsx was put there after the run",
    ]


def test_a_link_out_of_the_folder_is_no_stored_input(estate: Estate) -> None:
    run = estate.folder / "one"
    copy = run / "inputs" / "surveys" / "first.xlsx"
    copy.unlink()
    copy.symlink_to(estate.folder / "surveys" / "first.xlsx")
    code, told = verified(run)
    assert code == 2
    assert told["reasons"] == ["inputs/surveys/first.xlsx is a link that leaves the folder"]


@pytest.mark.parametrize("path", ["../../secret", "/etc/hostname", "C:/x", "a/../../b"])
def test_a_record_that_names_files_outside_is_refused(estate: Estate, path: str) -> None:
    run = estate.folder / "one"
    item = {"path": path, "role": "survey", "sha256": "0", "bytes": 1, "written": None}
    rewrite(run, stored_inputs=[item])
    code, told = verified(run)
    assert code == 2
    assert told["reasons"] == [f"the record names an input outside its folder: {path!r}"]


def test_a_changed_output_is_told_with_its_first_row(estate: Estate) -> None:
    run = estate.folder / "one"
    path = run / "queue.parquet"
    frame = pl.read_parquet(path)
    changed = pl.when(pl.col("property_id") == "H2").then(pl.lit("safe-to-insulate"))
    frame.with_columns(changed.otherwise("queue").alias("queue")).write_parquet(path)
    code, told = verified(run)
    assert (code, told["verdict"]) == (1, "differs")
    (wrong,) = [item for item in told["checked"] if not item["agrees"]]
    assert wrong["what"] == "queue.parquet"
    assert wrong["differences"] == [
        "the file was changed after the run",
        "row 2 (H2 main cavity_fill): queue 'safe-to-insulate', now 'fix-water-first'",
    ]


def test_a_count_that_was_changed_is_told(estate: Estate) -> None:
    run = estate.folder / "one"
    rewrite(run, homes=4)
    code, told = verified(run)
    assert code == 1
    assert [item["what"] for item in told["checked"] if not item["agrees"]] == ["run.json: homes"]


def test_another_tool_is_said_and_not_taken_for_a_difference(estate: Estate) -> None:
    run = estate.folder / "one"
    tool = json.loads((run / "run.json").read_text(encoding="utf-8"))["tool"]
    rewrite(run, tool={**tool, "sha256": "f" * 64})
    code, told = verified(run)
    assert code == 2
    assert "the tool's own files are not those that made this run" in told["reasons"][0]
    rewrite(run, tool={**tool, "version": "0.0.9"})
    code, told = verified(run)
    assert code == 2
    assert told["reasons"][0].startswith("version 0.0.9 of the tool made this run")


def test_a_run_of_an_earlier_version_cannot_be_checked(estate: Estate) -> None:
    run = estate.folder / "one"
    record = json.loads((run / "run.json").read_text(encoding="utf-8"))
    del record["stored_inputs"]
    (run / "run.json").write_text(json.dumps(record), encoding="utf-8")
    code, told = verified(run)
    assert (code, len(told["reasons"])) == (2, 1)
    assert "stored no inputs" in told["reasons"][0]


def test_a_file_that_changes_under_a_run_stops_it(estate: Estate) -> None:
    survey = estate.folder / "surveys" / "first.xlsx"

    def say(text: str) -> None:
        if text == "Judging every measure":
            flip_a_byte(survey)

    with pytest.raises(StoreError, match="changed while the run was reading it") as caught:
        run_programme(estate.programme, estate.folder / "run", say)
    assert str(survey) in str(caught.value)
    assert not (estate.folder / "run").exists()


def test_a_later_edit_of_the_original_does_not_reach_the_run(estate: Estate) -> None:
    run = estate.folder / "one"
    before = queues(run)
    estate.survey("first.xlsx", home("H1", gutter_condition="failed"))
    assert verified(run)[0] == 0
    assert queues(run) == before
