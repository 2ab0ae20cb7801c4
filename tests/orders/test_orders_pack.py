"""What a repair must not do stands in the pack, with its source, and is checked like the rest."""

import shutil
from pathlib import Path

import pytest
from cli_helpers import triage

from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import TriageError


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    return Path(shutil.copytree(policy_dir("default"), tmp_path / "default"))


def _swap(pack: Path, old: str, new: str) -> None:
    file = pack / "rules" / "water.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_every_rule_of_water_says_what_must_not_be_done() -> None:
    rules = load_policy(policy_dir("default")).rules.values()
    water = [rule for rule in rules if rule.outcome == "fix-water-first"]
    assert len(water) > 15
    assert [rule.id for rule in water if not rule.must_not] == []
    assert [rule.id for rule in water if "(" not in rule.must_not_source] == []
    said = " ".join(text for rule in water for text in rule.must_not)
    assert "hard cement" in said
    assert "Do not close vents" in said


def test_a_prohibition_without_a_source_is_refused(pack: Path) -> None:
    _swap(pack, "must_not_source", "# must_not_source")
    with pytest.raises(TriageError) as caught:
        load_policy(pack)
    assert "must_not_source" in str(caught.value)
    assert "water.toml" in str(caught.value)


def test_a_repair_that_no_record_knows_is_refused(pack: Path) -> None:
    _swap(pack, 'repair_type = "flashing"', 'repair_type = "flashng"')
    done = triage("rules", "--policy", pack)
    assert done.code == 2
    assert "'flashng' is no repair" in done.err
    assert "W03" in done.err
    assert "flashing" in done.err.split("do:")[1]
