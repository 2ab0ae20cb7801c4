"""The rooms of the house: imports point one way, data folders hold data, modules stay short."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "triage"
MODULES = sorted(PACKAGE.rglob("*.py"))
LONGEST = 350  # lines; the aim is 150

# Highest floor first. A module may import from its own floor and from those below.
FLOORS = (
    ("cli", "__main__", "commands"),
    (
        *("programme_run", "outputs", "stages", "record_stages", "work", "steps", "assess"),
        *("explanation", "origins", "demo", "runs", "records", "quotes", "calendar_stage"),
        *("inputs", "verify", "compare", "gaps", "programme_page", "summary", "orders", "waves"),
    ),
    ("store",),
    ("report",),
    ("intake", "place", "assemblies", "rules", "learn", "reference"),
    ("physics", "contract"),
    ("errors", "resources"),
)
FLOOR_OF = {name: height for height, names in enumerate(reversed(FLOORS)) for name in names}
DATABASE, ITS_MODULE = "duckdb", "store.py"


def _room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imports(path: Path) -> set[str]:
    """Every module that a file imports, at the top or inside a function."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: write imports from the root of the package"
            assert node.module is not None
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


def _rooms_used(path: Path) -> set[str]:
    own = {name.split(".")[1] for name in _imports(path) if name.startswith("triage.")}
    return {name for name in own if (PACKAGE / name).is_dir() or (PACKAGE / f"{name}.py").is_file()}


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def test_every_module_stands_on_a_floor() -> None:
    assert {_room(path) for path in MODULES} - set(FLOOR_OF) - {"__init__"} == set()


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_imports_point_down(path: Path) -> None:
    if _room(path) == "__init__":
        assert _rooms_used(path) == set()
        return
    own = FLOOR_OF[_room(path)]
    assert {room for room in _rooms_used(path) if FLOOR_OF[room] > own} == set()


@pytest.mark.parametrize("path", sorted((PACKAGE / "physics").glob("*.py")), ids=_name)
def test_physics_stands_on_the_errors_alone(path: Path) -> None:
    assert _rooms_used(path) <= {"errors", "physics"}


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_the_database_is_spoken_to_in_one_place(path: Path) -> None:
    uses = any(name.split(".")[0] == DATABASE for name in _imports(path))
    assert not uses or path.relative_to(PACKAGE) == Path(ITS_MODULE)


@pytest.mark.parametrize("folder", ["schemas", "pipelines"])
def test_data_folders_hold_no_python(folder: str) -> None:
    assert list((ROOT / folder).rglob("*.py*")) == []


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_modules_stay_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST
