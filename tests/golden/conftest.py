"""Both demonstration programmes, run once for all golden tests by the real command line."""

import sys
from pathlib import Path

import pytest
from cli_helpers import triage
from golden_runs import PROGRAMMES, DemoRun

# The homes of the rule tests, the records of the record tests and the second solver of the monthly
# method serve here too.
for _room in ("rules", "records", "physics"):
    sys.path.insert(0, str(Path(__file__).parents[1] / _room))


@pytest.fixture(scope="session")
def demo_runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, DemoRun]:
    root = tmp_path_factory.mktemp("demo")
    copied = triage("demo", root / "programmes")
    assert copied.code == 0, copied.err
    runs = {}
    for name in PROGRAMMES:
        source = root / "programmes" / name
        answer = triage("run", source / "programme.toml", "--out", root / name, "--json")
        runs[name] = DemoRun(name, source, root / name, answer)
    return runs


@pytest.fixture(params=PROGRAMMES)
def demo(request: pytest.FixtureRequest, demo_runs: dict[str, DemoRun]) -> DemoRun:
    return demo_runs[request.param]
