"""Texts of a survey that try to become something else."""

FORMULA = '=HYPERLINK("http://example.invalid","click")'
SCRIPT = "<script>alert(1)</script><b>&amp;"
# A survey cell that is a formula is refused when it is read; these get past that.
HOMES = (SCRIPT, "HOME-\u202e1234\u2066 abc", "+1-1@SUM", "@SUM(1+1)", "W" * 40)
LONG = "L" * 30_000
