"""inspection.toml and disclosure.toml: what could not be applied as written is told by line."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from triage.contract.disclosure import load_disclosure
from triage.contract.inspection import load_inspection
from triage.contract.policy_load import policy_dir
from triage.errors import FileError, ManyErrors, TriageError

READERS: dict[str, Callable[[Path], object]] = {
    "inspection.toml": load_inspection,
    "disclosure.toml": load_disclosure,
}


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    shutil.copytree(policy_dir("default"), tmp_path / "pack")
    return tmp_path / "pack"


# File, as written, as changed, a word of the error; the first place is changed.
SLIPS = [
    ("inspection.toml", "unit = ", "unnit = ", "unnit"),
    ("inspection.toml", "[[moves]]", "[[movs]]", "movs"),
    ("inspection.toml", "targeted_share = { value = 0.7", "targeted_share = { value = 7", "is 7"),
    ("inspection.toml", "merge_below = ", "merge_under = ", "'merge_below' is missing"),
    ("inspection.toml", 'mark = "POLICY"', 'mark = "GUESS"', "GUESS"),
    (
        "inspection.toml",
        "foam_substrate = 'spacer'\"",
        "foam_substrat = 'spacer'\"",
        "foam_substrat",
    ),
    ("inspection.toml", 'period_middle"', '2010"', "number 2010"),
    ("inspection.toml", "likelihood = 0.50", "likelihood = 50", "likelihood of 50"),
    ("inspection.toml", "by = 0.15", 'by = "much"', "'by' should be a number"),
    ("inspection.toml", '"timber_mc_pct", "foam', '"timber_mc", "foam', "timber_mc"),
    ("inspection.toml", "dwellings >= ", "dwellings >>= ", "not a condition"),
    ("disclosure.toml", "cell_min = 10", "cell_mini = 10", "cell_mini"),
    ("disclosure.toml", "[audience.public]", "[audience.press]", "press"),
    ("disclosure.toml", "narrowest = 9", "narrowest = 8", "narrower"),
    ("disclosure.toml", "rounding = 5", "rounding = 0", "'rounding' is 0"),
    ("disclosure.toml", "map_class_min = 10", "map_class_min = 5", "what a table withholds"),
]


@pytest.mark.parametrize(("file", "right", "wrong", "told"), SLIPS)
def test_a_slip_is_told_by_file_and_line(
    pack: Path, file: str, right: str, wrong: str, told: str
) -> None:
    path = pack / file
    text = path.read_text(encoding="utf-8")
    assert right in text
    path.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    with pytest.raises(TriageError) as caught:
        READERS[file](pack)
    error = caught.value
    errors = error.errors if isinstance(error, ManyErrors) else [error]
    hit = [e for e in errors if told in e.what]
    assert hit, [str(e) for e in errors]
    assert all(Path(e.where.file).name == file and e.where.row for e in hit)


@pytest.mark.parametrize("file", READERS)
def test_the_shipped_file_loads_and_its_digest_knows_a_change(pack: Path, file: str) -> None:
    def digest() -> str:
        read = READERS[file](pack)
        return str(getattr(read, "digest", None))

    path, first = pack / file, digest()
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    assert digest() == first
    path.write_text(path.read_text(encoding="utf-8") + "# more\n", encoding="utf-8")
    assert digest() != first
    path.unlink()
    with pytest.raises(FileError, match=file):
        READERS[file](pack)


def test_the_numbers_are_those_of_the_notes() -> None:
    policy = load_inspection(policy_dir("default"))
    classes = dict(zip(policy.class_numbers, (c.value for c in policy.classes), strict=True))
    assert classes == {1: 0.50, 2: 0.30, 3: 0.20, 4: 0.15, 5: 0.05, 6: 0.02}
    assert len(policy.gap_fields) == 8
    rules = load_disclosure(policy_dir("default")).audiences
    told = {
        name: (r.cell_min, r.rounding, r.percent_min, r.map_area_min, r.map_class_min)
        for name, r in rules.items()
    }
    # Job notes 7.3, POLICY; 1 is "none", and the public map states one minimum, of homes.
    assert told == {
        "internal": (1, 1, 10, 1, 1),
        "funder": (10, 5, 30, 25, 10),
        "lender": (10, 5, 30, 25, 10),
        "public": (10, 5, 50, 50, 10),
    }
