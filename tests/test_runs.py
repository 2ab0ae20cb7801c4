"""A run folder is whole or not there: locks, folders in the way, runs that were killed."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from cli_helpers import GOOD, HEAD, Stock, command, triage, triage_process

from triage.errors import StoreError
from triage.runs import STORE, new_run_folder, read_record
from triage.store import Store

HOLD = "import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('held', flush=True); input()"


@contextmanager
def held(store: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that has the store open."""
    store.parent.mkdir(parents=True, exist_ok=True)
    pipe = subprocess.PIPE
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(store)], stdin=pipe, stdout=pipe, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        try:
            yield holder
        finally:
            holder.kill()


def files_of(run: Path) -> dict[str, bytes]:
    paths = (path for path in run.rglob("*") if path.is_file())
    return {path.relative_to(run).as_posix(): path.read_bytes() for path in paths}


def partial_of(out: Path) -> Path:
    return out.with_name(f".{out.name}.partial")


def test_output_folder_that_exists_is_left_as_it_is(stock: Stock) -> None:
    stock.out.mkdir()
    (stock.out / "mine.txt").write_text("keep", encoding="utf-8")
    answer = stock.run()
    assert answer.code == 2
    assert "TR108 the output folder exists already" in answer.err
    assert str(stock.out) in answer.err
    assert "name a new folder" in answer.err
    assert (stock.out / "mine.txt").read_text(encoding="utf-8") == "keep"
    assert stock.leftovers() == ["run"]


def test_store_that_another_run_holds(stock: Stock) -> None:
    store = partial_of(stock.out) / STORE
    with held(store) as holder:
        answer = stock.run()
        assert answer.code == 2
        assert "TR108 the store is locked by another run" in answer.err
        assert f"process {holder.pid}" in answer.err
        assert "wait until that run has ended" in answer.err
        assert store.is_file()  # the other run's folder is not touched
        assert not stock.out.exists()
    assert stock.run().code == 0  # that process is gone: what it left does not stand in the way
    assert stock.leftovers() == ["run"]


@pytest.mark.parametrize("content", [None, b"", b"half a store" * 1000])
def test_what_a_killed_run_left_is_cleared_whatever_its_state(
    stock: Stock, content: bytes | None
) -> None:
    out = stock.out.with_name("block_12")  # a path that says "lock" is no lock
    partial_of(out).mkdir()
    if content is not None:
        (partial_of(out) / STORE).write_bytes(content)
    assert triage("run", stock.programme, "--out", out).code == 0
    assert stock.leftovers() == ["block_12"]


def test_killed_run_leaves_the_last_one_intact_and_the_next_one_works(stock: Stock) -> None:
    rows = [[f"H{number}", *GOOD[1:]] for number in range(200)]
    stock.survey([HEAD, *rows])
    assert stock.run().code == 0
    before = files_of(stock.out)
    out = stock.out.with_name("next")
    with subprocess.Popen(
        command("run", stock.programme, "--out", out), stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stderr is not None
        for line in running.stderr:
            if "Judging" in line:
                break
        running.send_signal(signal.SIGKILL)
    assert running.returncode == -signal.SIGKILL
    assert not out.exists()
    assert (partial_of(out) / STORE).is_file()  # it was killed half way
    assert files_of(stock.out) == before
    assert triage("run", stock.programme, "--out", out).code == 0
    assert stock.leftovers() == ["next", "run"]
    assert (out / "queue.parquet").read_bytes() == before["queue.parquet"]


def test_interrupted_run_leaves_nothing(stock: Stock) -> None:
    with subprocess.Popen(
        command("run", stock.programme, "--out", stock.out),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stderr is not None
        for line in running.stderr:
            if "Judging" in line:
                break
        running.send_signal(signal.SIGINT)
        running.wait(30)
        out, err = running.communicate()
    assert running.returncode not in (0, 1, 2)
    assert "Traceback" not in out + err
    assert stock.leftovers() == []


def test_block_that_fails_leaves_nothing(tmp_path: Path) -> None:
    def fail() -> None:
        with new_run_folder(tmp_path / "run") as folder:
            (folder / "half.txt").write_text("half", encoding="utf-8")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert list(tmp_path.iterdir()) == []


def test_folder_appears_under_its_name_only_when_whole(tmp_path: Path) -> None:
    with new_run_folder(tmp_path / "run") as folder:
        (folder / "a.txt").write_text("a", encoding="utf-8")
        assert not (tmp_path / "run").exists()
    assert [path.name for path in (tmp_path / "run").iterdir()] == ["a.txt"]


def test_record_of_a_folder_that_is_no_run(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="not the folder of a finished run"):
        read_record(tmp_path)


def test_several_may_read_a_finished_store(stock: Stock) -> None:
    assert stock.run().code == 0
    with Store(stock.out / STORE, read_only=True), Store(stock.out / STORE, read_only=True) as two:
        assert two.ask("SELECT count(*) AS n FROM queue")["n"].to_list() == [1]


def test_words_go_to_standard_error_and_json_alone_to_standard_output(stock: Stock) -> None:
    done = triage_process("run", stock.programme.name, "--out", "out", "--json", cwd=stock.folder)
    assert done.code == 0
    told = done.json  # nothing beside the one object, or this fails
    assert told["queues"].keys() == {"safe-to-insulate", "fix-water-first", "specialist-review"}
    record = json.loads((stock.folder / "out" / "run.json").read_text(encoding="utf-8"))
    assert told["run_id"] == record["run_id"]
    lines = done.err.splitlines()
    assert "  Judging every measure" in lines
    assert not any("Warning" in line for line in lines)
    refused = triage_process("run", stock.programme.name, "--out", "out", cwd=stock.folder)
    assert refused.code == 2
    assert refused.out == ""
    assert refused.err.startswith("TR108 ")
