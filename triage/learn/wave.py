"""What a wave of random openings means for the roofs of a stratum that were not opened (6.6)."""

from collections.abc import Mapping

import polars as pl

from triage.learn.selection import Plan

ACTIONS: Mapping[str, str] = {
    "specialist_review": "Send the whole stratum to specialist-review; inspect all of it, or in "
    "order of priority with a stated stop rule.",
    "second_sample": "List the defects for the stratum and draw a second sample of equal size.",
    "bound_reported": "Report the bound; the stratum keeps its rule outcomes and the targeted "
    "list goes on.",
    "no_statement": "Make no statement of absence; report what the openings made would support.",
    "type_downgraded": "Hold the recorded foam type of the stratum as assumed from now on.",
}
"""What to do, by code; a stratum can call for several."""
ORDER = tuple(ACTIONS)


def wave_actions(by_stratum: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    """Actions for each stratum after a wave.

    Parameters
    ----------
    by_stratum
        As `rates.rates` makes it.
    plan
        The policy says from which share a foam type found counts as differing from the record.

    Returns
    -------
    pl.DataFrame
        `stratum`, `action` (a key of ACTIONS), `because` and `to_do`, the gravest first. A
        failing roof without grave decay that is no water defect alone calls for a second sample
        too: the notes name no lesser action.
    """
    limit = plan.policy.number("type_differs_share")
    short = pl.col("opened") + pl.col("no_foam") < pl.col("random_n")
    grave, failing = pl.col("grave") > 0, pl.col("failing") > 0
    counted = pl.format("{} of {} opened", "failing", "opened")
    bound = pl.format(
        "no failing roof found in {} of {} opened at random; at {}% confidence at most {} fail",
        *("opened", "roofs", pl.lit(f"{100 * plan.sure:g}"), "at_most"),
    )
    reached = pl.format(
        "{} of {} planned were opened; with none failing among them at most {} of {} would fail",
        *("opened", "random_n", "at_most", "roofs"),
    )
    found = pl.format(
        "{} of {} planned were opened, {} failing: at most {} of {} fail",
        *("opened", "random_n", "failing", "at_most", "roofs"),
    )
    cases = {
        "specialist_review": (
            grave,
            pl.format("{} with decay d3, d4 or dx, or unsafe, of {} opened", "grave", "opened"),
        ),
        "second_sample": (failing & ~grave, pl.format("{} failing", counted)),
        "bound_reported": (~failing & ~grave & ~short & (pl.col("opened") > 0), bound),
        "no_statement": (short, pl.when(failing).then(found).otherwise(reached)),
        "type_downgraded": (
            pl.col("type_differs") > limit * pl.col("opened"),
            pl.format("foam type differs from the record in {} of {}", "type_differs", "opened"),
        ),
    }
    told = [
        by_stratum.filter(test).select(
            "stratum",
            pl.lit(code).alias("action"),
            because.alias("because"),
            pl.lit(ACTIONS[code]).alias("to_do"),
        )
        for code, (test, because) in cases.items()
    ]
    order = pl.col("action").replace_strict({code: n for n, code in enumerate(ORDER)})
    return pl.concat(told).sort("stratum", order)
