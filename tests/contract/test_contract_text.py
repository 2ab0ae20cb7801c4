from hypothesis import given
from hypothesis import strategies as st

from triage.contract import did_you_mean, nearest, normalise


@given(st.text())
def test_folding_twice_changes_nothing(text: str) -> None:
    assert normalise(normalise(text)) == normalise(text)


def test_folding_keeps_what_changes_the_meaning() -> None:
    assert normalise("  Mid-Terrace ") == normalise("mid_terrace") == "mid terrace"
    assert normalise("Loft  ins.\n(mm):") == "loft ins. (mm)"
    assert normalise("9”") == '9"'
    assert normalise("m²") == "m2"
    assert normalise("yes?") != normalise("yes")
    assert normalise("-") == "-"
    assert normalise("-5") == "-5"
    assert normalise("1–3") == normalise("1-3")


def test_nearest_names_help_with_a_slip() -> None:
    assert nearest("roof_coverring", ["roof_covering", "latitude"])[0] == "roof_covering"
    assert "'header_row'" in did_you_mean("headerrow", ["header_row", "units_row"])
    assert nearest("unknown", ["yes", "no", "suspected"]) == []  # unknown is never no
    assert did_you_mean("zzz", ["DMY", "MDY"]) == "use one of: DMY, MDY"
