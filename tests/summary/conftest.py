"""Makes the attacking reader of tests/learn importable, and runs one small programme."""

import sys
from pathlib import Path

import pytest
from cli_helpers import Stock

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "learn"), str(HERE.parent / "gaps")]

HOSTILE = '<script>alert(1)</script> =HYPERLINK("x") \u202egnp.exe & "Sons"'


@pytest.fixture(scope="session")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    """A generated stock of a hostile name, triaged."""
    from gap_stock import generated

    stock = Stock(tmp_path_factory.mktemp("summary")).write()
    generated(stock)
    text = stock.programme.read_text(encoding="utf-8")
    name = HOSTILE.replace('"', '\\"')
    lines = [f'name = "{name}"' if x.startswith("name") else x for x in text.splitlines()]
    stock.programme.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = stock.run()
    assert done.code == 0, done.err
    return stock
