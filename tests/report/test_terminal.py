import io

import pytest
from report_frames import context, queue

from triage.report.summary import summarise
from triage.report.terminal import print_summary


def _printed(rows: int, **changes: object) -> str:
    target = io.StringIO()
    print_summary(
        summarise(queue(rows)),
        context(**changes),
        {"out_of_range": 12, "not_a_number": 4},
        {"workbook": "/a/long/way/" + "down/" * 30 + "queues.xlsx"},
        file=target,
    )
    return target.getvalue()


def test_a_file_gets_plain_text_with_every_count(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "110")
    frame, text = queue(2000), _printed(2000)
    assert "\x1b" not in text
    lines = {line.split("  ")[0].strip(): line.split() for line in text.splitlines()}
    for name in ("safe-to-insulate", "fix-water-first", "specialist-review"):
        assert lines[name][1] == f"{(frame['queue'] == name).sum():,}"
    gap = next(line for line in text.splitlines() if line.startswith("  evidence gap"))
    assert gap.split()[2] == f"{(frame['lane'] == 'evidence_gap').sum():,}"
    assert "problems: 16 (out_of_range 12, not_a_number 4)" in text
    assert "not evaluated in this version: R07" in text
    assert "10 survey rows read = 7 accepted + 2 rejected + 1 superseded" in text


@pytest.mark.parametrize("columns", ["40", "60", "80", "100", "160"])
def test_no_table_is_wider_than_the_terminal(monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    text = _printed(5000)
    paths = [line for line in text.splitlines() if line.startswith("workbook: ")]
    assert paths == ["workbook: /a/long/way/" + "down/" * 30 + "queues.xlsx"]  # can be copied
    others = [line for line in text.splitlines() if line not in paths]
    assert max(len(line) for line in others) <= int(columns)
    assert "…" not in text


def test_markup_and_escapes_of_a_name_are_shown_not_obeyed() -> None:
    text = _printed(20, name="[bold]x[/bold]\x1b[31m")
    assert "[bold]x[/bold]\ufffd[31m" in text
    assert "\x1b" not in text


def test_an_empty_run_prints() -> None:
    assert "0 homes: 0 home-part-measures" in " ".join(_printed(0).split())
