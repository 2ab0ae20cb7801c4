"""Causes of moves in words, one sentence a row."""

from collections.abc import Mapping

import polars as pl

from triage.compare.causes import ALONE, COMBINED, EITHER, NOT_SEPARATED, TOGETHER, UNEXPLAINED
from triage.compare.moves import only_proposal
from triage.compare.sides import TOOL, Side
from triage.rules.codes import KEY

CAUSES: Mapping[str, str] = {
    "new_evidence": "new evidence",
    "repair": "repair",
    "decision": "decision",
    "event": "event",
    "expiry": "expiry",
    "policy": "policy",
    "proposal": "proposal",
    "place": "place or climate",
    "product": "products or materials",
    "tool": "the tool's version",
    "new_home": "new home",
    "gone_home": "home no longer there",
}
_SHOWN = 4  # expired fields that are named
_OF_ROWS = ("evidence", "repair", "decision", "event", "place")
_FIRST: Mapping[str, tuple[str, str]] = {
    ALONE: ("because of ", " and "),
    TOGETHER: ("together: ", " and "),
    EITHER: ("each is enough alone: ", ", or "),
    COMBINED: ("only in combination: ", " and "),
    NOT_SEPARATED: ("not separated: ", " or "),
}


def worded(rows: pl.DataFrame, told: pl.DataFrame, sides: tuple[Side, Side]) -> pl.DataFrame:
    """Add `cause` (codes of CAUSES, in order) and `because` to changed rows.

    Parameters
    ----------
    rows
        Changed rows with `causes` and `how`.
    told
        Where changes came from: `part`, the key, `told`.
    sides
        The two runs.
    """
    constant = _of_the_runs(sides)
    long = (
        rows.with_row_index("_row")
        .select(
            "_row",
            *KEY,
            "home_change",
            _expired().alias("_expired"),
            only_proposal().alias("_only_proposal"),
            pl.col("causes").alias("factor"),
        )
        .explode("factor", empty_as_null=True, keep_nulls=True)
        .drop_nulls("factor")
    )
    known = told.filter(pl.col("part").is_in(list(_OF_ROWS)))
    for keys, name in ((list(KEY), "_part"), (["property_id"], "_home")):
        some = known.filter(pl.col("building_part").is_not_null() == (name == "_part"))
        some = some.select(*keys, pl.col("part").alias("factor"), pl.col("told").alias(name))
        long = long.join(some, on=[*keys, "factor"], how="left", maintain_order="left")
    code = (
        pl.when((pl.col("factor") == "evidence") & (pl.col("home_change") == "new"))
        .then(pl.lit("new_home"))
        .when((pl.col("factor") == "evidence") & (pl.col("home_change") == "gone"))
        .then(pl.lit("gone_home"))
        .when((pl.col("factor") == "evidence") & pl.col("_only_proposal"))
        .then(pl.lit("proposal"))
        .when(pl.col("factor") == "evidence")
        .then(pl.lit("new_evidence"))
        .otherwise("factor")
    )
    of_runs = pl.col("factor").replace_strict(constant, default=None, return_dtype=pl.String)
    detail = pl.coalesce(
        "_part",
        "_home",
        pl.when(pl.col("factor") == "expiry").then(of_runs + pl.col("_expired")),
        of_runs,
        pl.when(pl.col("factor").is_in(list(_OF_ROWS))).then(
            pl.lit("elsewhere in the same building or home")
        ),
    )
    long = long.with_columns(code.alias("cause"), detail.alias("detail"))
    word = pl.col("cause").replace(CAUSES)
    text = (
        pl.when(pl.col("detail").is_not_null())
        .then(pl.format("{} ({})", word, "detail"))
        .otherwise(word)
    )
    grouped = (
        long.with_columns(text.alias("text"))
        .group_by("_row", maintain_order=True)
        .agg("cause", "text")
    )
    back = rows.with_row_index("_row").join(grouped, on="_row", how="left", maintain_order="left")
    sentence = pl.coalesce(
        *(
            pl.when(pl.col("how") == how).then(pl.lit(first) + pl.col("text").list.join(between))
            for how, (first, between) in _FIRST.items()
        ),
        pl.when(pl.col("how") == UNEXPLAINED).then(pl.lit("no input of it has changed")),
    )
    nothing = pl.lit([], pl.List(pl.String))
    return back.with_columns(
        pl.coalesce("cause", nothing).alias("cause"), sentence.alias("because")
    ).drop("_row", "text")


def _expired() -> pl.Expr:
    """What a row now waits for because it has expired; empty where it waits for nothing."""
    names = pl.col("to_expired").list.head(_SHOWN).list.join(", ").str.replace_all("_", " ")
    more = pl.col("to_expired").list.len().cast(pl.Int64) - _SHOWN
    told = pl.when(more > 0).then(pl.format("{} and {} more", names, more)).otherwise(names)
    return (
        pl.when(pl.col("to_expired").list.len() > 0)
        .then(pl.lit("; expired: ") + told)
        .otherwise(pl.lit(""))
    )


def _of_the_runs(sides: tuple[Side, Side]) -> dict[str, str]:
    """What differs for all rows alike."""
    before, after = (side.record for side in sides)
    policies = [
        f"{r['policy']['name']} {r['policy']['version']} ({r['policy']['sha256'][:12]})"
        for r in (before, after)
    ]
    versions = [r["versions"].get("retrofit-moisture-triage", "?") for r in (before, after)]
    return {
        "expiry": f"judged as of {after['as_of']}, before as of {before['as_of']}",
        "policy": f"{policies[1]}, before {policies[0]}",
        TOOL: f"{versions[1]}, before {versions[0]}",
        "proposal": "the measures of the programme file",
        "product": "the products of the programme file, or the materials that ship",
    }
