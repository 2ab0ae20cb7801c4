"""Which foamed roofs to open: a targeted list, a random draw by stratum, and its reserve."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil

import polars as pl

from triage.contract.inspection import InspectionPolicy
from triage.errors import PolicyError
from triage.learn.allocation import random_visits
from triage.learn.detection import (
    Detection,
    at_most_failing,
    design_effect,
    openings_to_detect,
)
from triage.learn.draw import METHOD, draw_numbers, frame_digest
from triage.learn.priority import with_priority
from triage.learn.strata import with_strata

RANDOM, TARGETED = "random", "targeted"
_WHERE = "inspection plan"
_STRATA = {
    "stratum": pl.String,
    "roofs": pl.Int64,
    "random_n": pl.Int64,
    "reserve_n": pl.Int64,
    "targeted_n": pl.Int64,
    "refused_before_n": pl.Int64,
    "failing_meant": pl.Int64,
    "openings_to_detect": pl.Int64,
    "chance_to_detect": pl.Float64,
    "at_most_if_none": pl.Int64,
}


@dataclass(frozen=True, slots=True)
class Plan:
    """What is asked of a wave of inspections; numbers left None come from the policy.

    `visits` in all, both streams; None: as many random ones as detection needs, and targeted
    ones in the policy's proportion. `cluster_roofs` is how many roofs of one terrace, block or
    installer's run are expected in the sample. `extra` adds random visits to strata on whose
    answer a decision depends. `thorough` promises five openings or more in every roof.
    `frozen` (`roof_id`, `stratum`) keeps the strata of an earlier wave; `rates` (`stratum`,
    `likelihood`, `basis`) brings what random inspections found. `done` are roofs opened in
    earlier waves: they stay in their stratum and are not drawn again.
    """

    policy: InspectionPolicy
    visits: int | None = None
    detect_share: float | None = None
    confidence: float | None = None
    thorough: bool = False
    cluster_roofs: float = 1.0
    extra: Mapping[str, int] = field(default_factory=dict)
    frozen: pl.DataFrame | None = None
    rates: pl.DataFrame | None = None
    done: tuple[str, ...] = ()

    @property
    def share(self) -> float:
        """Failing share to detect."""
        return self.detect_share or self.policy.number("detect_share")

    @property
    def sure(self) -> float:
        """Confidence of every statement."""
        return self.confidence or self.policy.number("confidence")

    @property
    def sensitivity(self) -> float:
        """Chance that a visit to a failing roof finds it."""
        return self.policy.number("sensitivity_thorough" if self.thorough else "sensitivity")

    @property
    def effect(self) -> float:
        """Design effect of clusters."""
        return design_effect(self.cluster_roofs, self.policy.number("cluster_correlation"))


@dataclass(frozen=True, slots=True)
class Selection:
    """What was selected, and all that is needed to draw it again.

    `chosen` has one row a roof to visit: `stream`, `stratum`, `selection_weight` (roofs of the
    stratum for each one drawn; null where targeted), the parts of the priority, `visit_area`,
    `scaffold` and `visit_order`. `reserve` has the ordered stand-ins of each stratum, the next
    in its draw, targeted ones included. `strata` has one row a stratum: what is drawn and what
    that can say. `roofs` is the whole frame with strata and priorities. `detection` is the
    sample that the whole set needs.
    """

    chosen: pl.DataFrame
    reserve: pl.DataFrame
    strata: pl.DataFrame
    roofs: pl.DataFrame
    detection: Detection
    seed: int
    method: str
    frame_digest: str
    policy_digest: str


def select_roofs(roofs: pl.DataFrame, plan: Plan, seed: int) -> Selection:
    """Select foamed roofs to inspect.

    The random stream is drawn first, from all roofs of each stratum, refused ones included; the
    targeted list is then the highest priority among the others. The same roofs, plan and seed
    give the same selection, in whatever order the rows come.

    Parameters
    ----------
    roofs
        One row a roof, see `roofs.foamed_roofs`.
    plan
        Sizes and what is already known.
    seed
        Recorded with the selection; 0 up to 2**64 - 1.

    Raises
    ------
    PolicyError
        If the visits do not suffice for one random visit in each stratum that must have one, or
        `extra` names no stratum.
    ValueError
        If a roof is there twice, or the seed is out of range.
    """
    frame = with_strata(roofs.sort("roof_id"), plan.policy)
    frame = _frozen(frame, plan.frozen)
    frame = with_priority(frame, plan.policy, plan.rates).with_columns(
        draw_numbers(frame["roof_id"], seed),
        pl.col("roof_id").is_in(list(plan.done)).alias("is_done"),
    )
    drawn, detection = _draw(frame, plan)
    chosen = drawn.filter(pl.col("stream").is_not_null())
    return Selection(
        chosen=_in_visit_order(chosen),
        reserve=drawn.filter("is_reserve").sort("stratum", "draw_order"),
        strata=_strata(drawn, plan),
        roofs=drawn,
        detection=detection,
        seed=seed,
        method=METHOD,
        frame_digest=frame_digest(frame["roof_id"], frame["stratum"]),
        policy_digest=plan.policy.digest,
    )


def _frozen(frame: pl.DataFrame, frozen: pl.DataFrame | None) -> pl.DataFrame:
    """Roofs of an earlier wave keep their stratum."""
    if frozen is None:
        return frame
    kept = frozen.select("roof_id", pl.col("stratum").alias("_kept"))
    joined = frame.join(kept, on="roof_id", how="left", maintain_order="left", validate="1:1")
    return joined.with_columns(pl.coalesce("_kept", "stratum").alias("stratum")).drop("_kept")


def _draw(frame: pl.DataFrame, plan: Plan) -> tuple[pl.DataFrame, Detection]:
    """Give every roof its stream: the lowest numbers of a stratum are its random draw."""
    open_roofs = frame.filter(~pl.col("is_done"))
    counts = open_roofs.group_by("stratum").agg(pl.len().cast(pl.Int64).alias("roofs"))
    sizes = dict(counts.sort("stratum").iter_rows())
    detection = openings_to_detect(
        max(1, open_roofs.height), plan.share, plan.sure, plan.sensitivity, plan.effect
    )
    wanted = open_roofs.height if detection.openings is None else detection.openings
    targeted_share = plan.policy.number("targeted_share")
    if plan.visits is None:
        most = min(wanted, open_roofs.height)
    else:
        most = min(open_roofs.height, ceil(round(plan.visits * (1 - targeted_share), 9)))
    must = int(plan.policy.number("random_stratum_min"))
    random = random_visits(sizes, most, must, plan.extra, _WHERE)
    total = sum(random.values())
    if plan.visits is not None and total > plan.visits:
        raise PolicyError(
            f"{plan.visits} visits do not suffice for {total} random ones",
            _WHERE,
            f"allow {total} visits or more, or ask less of single strata",
        )
    left = (
        round(total * targeted_share / (1 - targeted_share))
        if plan.visits is None and targeted_share < 1
        else (plan.visits or total) - total
    )
    return _streams(frame, random, left, plan.policy.number("reserve_share")), detection


def _streams(
    frame: pl.DataFrame, random: Mapping[str, int], targeted: int, reserve_share: float
) -> pl.DataFrame:
    reserve = {s: ceil(round(n * reserve_share, 9)) for s, n in random.items()}
    stratum = pl.col("stratum")
    drawn = stratum.replace_strict(random, default=0, return_dtype=pl.Int64)
    spare = stratum.replace_strict(reserve, default=0, return_dtype=pl.Int64)
    waiting = ~pl.col("is_done")
    order = pl.when(waiting).then("draw_number").rank("ordinal").over("stratum").cast(pl.Int64)
    size = waiting.sum().over("stratum")
    streamed = frame.with_columns(order.alias("draw_order")).with_columns(
        (pl.col("draw_order") <= drawn).fill_null(value=False).alias("_random"),
        pl.when(pl.col("draw_order") <= drawn).then(size / drawn).alias("selection_weight"),
    )
    left = streamed.filter(waiting & ~pl.col("_random"))
    by_priority = left.sort("priority", "roof_id", descending=[True, False])
    first = by_priority.head(targeted)["roof_id"].implode()
    return streamed.with_columns(
        pl.when("_random")
        .then(pl.lit(RANDOM))
        .when(pl.col("roof_id").is_in(first))
        .then(pl.lit(TARGETED))
        .alias("stream"),
        # The next in the draw, targeted or not: passing over the worst would bias the rate.
        pl.col("draw_order")
        .is_between(drawn + 1, drawn + spare)
        .fill_null(value=False)
        .alias("is_reserve"),
    ).drop("_random")


def _in_visit_order(chosen: pl.DataFrame) -> pl.DataFrame:
    """Areas as they are named, roofs of one building together: one scaffold, one visit."""
    return (
        chosen.with_columns(
            pl.col("area").fill_null("area not known").alias("visit_area"),
            pl.coalesce("building_id", "property_id").alias("scaffold"),
        )
        .sort("visit_area", "scaffold", "roof_id")
        .with_row_index("visit_order", offset=1)
    )


def _strata(drawn: pl.DataFrame, plan: Plan) -> pl.DataFrame:
    """What is drawn of each stratum, and what the draw can say if no failing roof is found."""
    counts = (
        drawn.group_by("stratum")
        .agg(
            pl.len().cast(pl.Int64).alias("roofs"),
            *(
                (pl.col("stream") == stream).sum().cast(pl.Int64).alias(f"{stream}_n")
                for stream in (RANDOM, TARGETED)
            ),
            pl.col("is_reserve").sum().cast(pl.Int64).alias("reserve_n"),
            pl.col("refused_before")
            .fill_null(value=False)
            .sum()
            .cast(pl.Int64)
            .alias("refused_before_n"),
        )
        .sort("stratum")
    )
    rows = [
        {**row, **_says(row["roofs"], row["random_n"], plan)} for row in counts.to_dicts()
    ]  # a row a stratum
    return pl.DataFrame(rows, schema=_STRATA)


def _says(roofs: int, opened: int, plan: Plan) -> dict[str, int | float | None]:
    needed = openings_to_detect(roofs, plan.share, plan.sure, plan.sensitivity, plan.effect)
    return {
        "failing_meant": needed.failing,
        "openings_to_detect": needed.openings,
        "chance_to_detect": needed.reached,
        "at_most_if_none": at_most_failing(
            roofs, opened, 0, plan.sure, plan.sensitivity, plan.effect
        ),
    }
