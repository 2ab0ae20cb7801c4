"""A pack that could not be applied as written is refused at load, with file and line."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import FileError, ManyErrors, PolicyError, TriageError

FILES = (
    *("policy.toml", "parameters.toml", "measures.toml", "presumptions.toml", "quantities.toml"),
    *("evidence.toml", "evidence_rules.toml", "outer_class.toml"),
)
Edit = Callable[[str, str, str], int]


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    shutil.copytree(policy_dir("default"), tmp_path / "pack")
    return tmp_path / "pack"


@pytest.fixture
def edit(pack: Path) -> Edit:
    """Replaces one text of a file of the pack; gives the line, as an editor numbers it."""

    def swap(file: str, old: str, new: str) -> int:
        path = pack / file
        text = path.read_text(encoding="utf-8")
        assert old in text, f"{file} holds no {old!r}"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return text[: text.index(old)].count("\n") + 1

    return swap


def _refused(pack: Path) -> list[TriageError]:
    with pytest.raises(TriageError) as caught:
        load_policy(pack)
    error = caught.value
    return error.errors if isinstance(error, ManyErrors) else [error]


def _the_one(pack: Path) -> TriageError:
    errors = _refused(pack)
    assert len(errors) == 1, [str(e) for e in errors]
    return errors[0]


def _line(pack: Path, file: str, pattern: str) -> int:
    text = (pack / file).read_text(encoding="utf-8")
    found = re.search(pattern, text, re.MULTILINE)
    assert found is not None
    return text[: found.start()].count("\n") + 1


def test_the_shipped_pack_loads_and_a_copy_has_the_same_digest(pack: Path) -> None:
    assert load_policy(pack).digest == load_policy(policy_dir("default")).digest


def test_line_endings_do_not_change_the_digest(pack: Path) -> None:
    for path in pack.rglob("*.toml"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_policy(pack).digest == load_policy(policy_dir("default")).digest


def test_a_change_changes_the_digest(pack: Path, edit: Edit) -> None:
    edit("parameters.toml", "value = 20.0", "value = 19.0")
    assert load_policy(pack).digest != load_policy(policy_dir("default")).digest


@pytest.mark.parametrize("file", FILES)
def test_a_file_that_is_missing(pack: Path, file: str) -> None:
    (pack / file).unlink()
    with pytest.raises(FileError, match=file.replace(".", r"\.")):
        load_policy(pack)


def test_a_pack_without_rules(pack: Path) -> None:
    shutil.rmtree(pack / "rules")
    (pack / "rules").mkdir()
    with pytest.raises(TriageError, match="rules"):
        load_policy(pack)


@pytest.mark.parametrize("file", [*FILES, "rules/water.toml"])
def test_broken_toml_is_told_by_line(pack: Path, file: str) -> None:
    path = pack / file
    lines = path.read_text(encoding="utf-8").count("\n")
    path.write_text(path.read_text(encoding="utf-8") + "\nname = = 1\n", encoding="utf-8")
    error = _refused(pack)[0]
    assert isinstance(error, PolicyError)
    assert (Path(error.where.file).name, error.where.row) == (path.name, lines + 2)


# A misspelt key in every file: file, as written, as misspelt.
TYPOS = [
    ("parameters.toml", "unit = ", "unnit = "),
    ("measures.toml", "required = ", "requird = "),
    ("measures.toml", "covers_timber = ", "covers_timbre = "),
    ("presumptions.toml", "when = ", "whn = "),
    ("quantities.toml", "meaning = ", "meening = "),
    ("evidence.toml", "clears_at = ", "clear_at = "),
    ("evidence_rules.toml", "effect = ", "efect = "),
    ("outer_class.toml", "why = ", "wy = "),
    ("policy.toml", "version = ", "verson = "),
    ("rules/water.toml", "next_action = ", "nextaction = "),
    ("rules/safety.toml", "stop_work = ", "stopwork = "),
]


@pytest.mark.parametrize(("file", "right", "wrong"), TYPOS)
def test_a_misspelt_key_is_told_by_file_and_line(
    pack: Path, edit: Edit, file: str, right: str, wrong: str
) -> None:
    line = edit(file, right, wrong)
    errors = _refused(pack)
    key = wrong.split(maxsplit=1)[0]
    told = [error for error in errors if key in error.what]
    assert told, [str(e) for e in errors]
    assert all(Path(e.where.file).name == Path(file).name for e in told)
    lines = [e.where.row for e in told]
    assert line in lines, lines


def test_a_rule_that_names_an_unknown_field(pack: Path, edit: Edit) -> None:
    edit("rules/water.toml", 'fires = "plumbing_leak IN', 'fires = "plumbing_leek IN')
    error = _the_one(pack)
    assert "plumbing_leek" in error.what
    assert "plumbing_leak" in error.fix
    assert Path(error.where.file).name == "water.toml"
    assert error.where.row == _line(pack, "rules/water.toml", r'^id = "W01p"')


def test_a_rule_that_needs_an_unknown_field(pack: Path, edit: Edit) -> None:
    edit("rules/water.toml", 'needs = ["plumbing_leak"]', 'needs = ["plumbing_leek"]')
    errors = _refused(pack)
    assert any("plumbing_leek" in e.what and e.where.row is not None for e in errors)


def test_a_code_that_its_list_does_not_have(pack: Path, edit: Edit) -> None:
    edit("rules/water.toml", "plumbing_leak IN ('active',", "plumbing_leak IN ('aktive',")
    error = _the_one(pack)
    assert "aktive" in error.what
    assert "active" in error.fix
    assert error.where.row == _line(pack, "rules/water.toml", r'^id = "W01p"')


def test_unknown_is_no_answer_to_compare_with(pack: Path, edit: Edit) -> None:
    # Dry run D4: unknown is stored as blank, so such a condition would never hold.
    edit("rules/water.toml", "plumbing_leak IN ('active',", "plumbing_leak IN ('unknown',")
    assert "unknown" in _the_one(pack).what


def test_a_code_of_a_list_field_is_checked_too(pack: Path, edit: Edit) -> None:
    edit("rules/foam.toml", "'wet_stained'", "'wet_staned'")
    error = _the_one(pack)
    assert "wet_staned" in error.what
    assert "wet_stained" in error.fix


def test_a_condition_that_does_not_compile(pack: Path, edit: Edit) -> None:
    edit("rules/water.toml", 'fires = "plumbing_leak IN (', 'fires = "plumbing_leak IN IN (')
    error = _the_one(pack)
    assert "not a condition" in error.what
    assert error.where.row == _line(pack, "rules/water.toml", r'^id = "W01p"')


def test_a_number_inside_a_rule(pack: Path, edit: Edit) -> None:
    edit("rules/walls.toml", "cavity_width_mm < cavity_min_width_mm", "cavity_width_mm < 50")
    error = _the_one(pack)
    assert "50" in error.what
    assert "parameters.toml" in error.fix


def test_an_id_that_is_used_twice(pack: Path, edit: Edit) -> None:
    edit("rules/water.toml", 'id = "W02"', 'id = "W01"')
    told = [e for e in _refused(pack) if "W01" in e.what and "twice" in e.what]
    assert told
    assert told[0].where.row is not None


def test_a_required_rule_that_can_never_hold_a_row(pack: Path, edit: Edit) -> None:
    line = edit("measures.toml", 'required = ["W01", ', 'required = ["W09r", "W01", ')
    error = _the_one(pack)
    assert "W09r" in error.what
    assert "CEIL" in error.what
    assert (Path(error.where.file).name, error.where.row) == ("measures.toml", line)


def test_a_rule_that_needs_fields_and_is_not_required(pack: Path, edit: Edit) -> None:
    line = edit("measures.toml", 'required = ["W01", "W01p", ', 'required = ["W01p", ')
    error = _the_one(pack)
    assert "W01 needs fields for CEIL" in error.what
    assert (Path(error.where.file).name, error.where.row) == ("measures.toml", line)


def test_a_required_rule_that_does_not_exist(pack: Path, edit: Edit) -> None:
    line = edit("measures.toml", 'required = ["W01", ', 'required = ["W99", "W01", ')
    error = _the_one(pack)
    assert "W99" in error.what
    assert error.where.row == line


def test_a_spelling_that_means_two_measures(pack: Path, edit: Edit) -> None:
    edit("measures.toml", '"cavity fill", ', '"cavity fill", "Loft Insulation", ')
    error = _the_one(pack)
    assert "Loft Insulation" in error.what
    assert "loft_topup" in error.what
    assert error.where.row is not None


def test_a_measure_of_an_unknown_group(pack: Path, edit: Edit) -> None:
    edit("measures.toml", 'group = "CWI"', 'group = "CWL"')
    errors = _refused(pack)
    assert any("CWL" in e.what and "CWI" in e.fix and e.where.row for e in errors)


def test_a_presumption_of_an_unknown_field_or_flag(pack: Path, edit: Edit) -> None:
    edit("presumptions.toml", 'when = "void_seen_dry"', 'when = "void_sean_dry"')
    error = _the_one(pack)
    assert "void_sean_dry" in error.what
    assert "void_seen_dry" in error.fix
    assert error.where.row is not None


def test_a_standard_for_an_unknown_field(pack: Path, edit: Edit) -> None:
    edit("evidence.toml", 'names = ["visible_mould"]', 'names = ["visible_mold"]')
    error = _the_one(pack)
    assert "visible_mold" in error.what
    assert "visible_mould" in error.fix
    assert Path(error.where.file).name == "evidence.toml"
    assert error.where.row is not None


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('view = "hatch"', 'view = "hach"', "hach"),
        ('clears_at = "photographed"', 'clears_at = "photgraphed"', "photgraphed"),
        ('expires = "water_gate"', 'expires = "watergate"', "watergate"),
        ('ranking = [["measured"]', 'ranking = [["mesured"]', "mesured"),
        ('{ mc_location = ["not_timber"', '{ mc_location = ["no_timber"', "no_timber"),
        ("not_where = { mc_location =", "not_where = { roof_form =", "not_timber"),
        ('winter_readings = ["W09s"]', 'winter_readings = ["W09z"]', "W09z"),
        ('property_types = ["flat"', 'property_types = ["flatt"', "flatt"),
        ('built_forms = ["within_block"]', 'built_forms = ["in_block"]', "in_block"),
        ('groups = ["C", "D"]', 'groups = ["C", "DD"]', "DD"),
        ('own = ["ceiling_air_seal"', 'own = ["ceiling_air_seel"', "ceiling_air_seel"),
        ('below = ["gutter_condition"', 'below = ["guter_condition"', "guter_condition"),
        ('roof_form = "none_above"', 'roof_form = "non_above"', "non_above"),
    ],
)
def test_a_standard_that_names_nothing(
    pack: Path, edit: Edit, old: str, new: str, what: str
) -> None:
    edit("evidence.toml", old, new)
    errors = _refused(pack)
    assert any(what in e.what for e in errors)


def test_a_gate_that_would_clear_a_water_rule(pack: Path, edit: Edit) -> None:
    edit("rules/roof.toml", 'clears = ["R05"]', 'clears = ["R05", "W01"]')
    error = _the_one(pack)
    assert "W01" in error.what
    assert error.where.row == _line(pack, "rules/roof.toml", r'^id = "R06"')


def test_every_slip_is_told_at_once(pack: Path, edit: Edit) -> None:
    edit("rules/water.toml", "plumbing_leak IN", "plumbing_leek IN")
    edit("rules/walls.toml", "cavity_width_mm < cavity_min_width_mm", "cavity_width_mm < 50")
    edit("measures.toml", '"cavity fill", ', '"cavity fill", "Loft Insulation", ')
    assert len(_refused(pack)) == 3
