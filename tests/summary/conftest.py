"""Makes the attacking reader of tests/learn importable, and runs one small programme."""

import sys
from pathlib import Path

import pytest
from cli_helpers import Stock

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), *(str(HERE.parent / name) for name in ("learn", "gaps", "report"))]


@pytest.fixture(scope="session")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Stock:
    """A generated stock of a hostile name, triaged."""
    from gap_stock import drawn
    from invented import HOSTILE

    stock = Stock(tmp_path_factory.mktemp("summary")).write()
    homes = [facts for facts, _ in drawn(700)]
    areas = ("PL13 2AB", "EX8 1ZZ", "TQ4 5CD", None)
    for number, facts in enumerate(homes):
        facts["postal_code"] = areas[min(number % 8, 3)]
        if number % 3 == 0:
            facts["gutter_condition"] = "failed" if number % 2 else "poor"
        if number % 11 == 0:
            facts |= {"roof_leak_evidence": "active", "visible_mould": "extensive"}
        if number % 9 == 0:
            facts["foam_present"] = "yes"
    stock.survey([list(homes[0]), *(list(facts.values()) for facts in homes)])
    text = stock.programme.read_text(encoding="utf-8")
    name = HOSTILE.replace('"', '\\"')
    lines = [f'name = "{name}"' if x.startswith("name") else x for x in text.splitlines()]
    stock.programme.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = stock.run()
    assert done.code in (0, 1), done.err
    return stock
