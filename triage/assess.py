"""From graded survey rows to queues: a pure function of a batch of homes.

Nothing here reads a file, a clock or a setting, so that a portfolio larger than memory runs
batch by batch and another engine can call the same function.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from triage.assemblies.context import context_flags
from triage.assemblies.derived import near_cold_line, with_quantities
from triage.assemblies.foam import foam_now
from triage.assemblies.moisture import Moisture, moisture_quantities
from triage.contract.assemblies import Library
from triage.contract.expressions import bind
from triage.contract.policy import Policy
from triage.rules.current import KEY, Current, current_evidence
from triage.rules.decisions import decided
from triage.rules.disputes import disputed_fields
from triage.rules.evaluate import evaluate
from triage.rules.events import with_events
from triage.rules.frames import Frames, assessment_rows, evidence_fields, read_three_ways
from triage.rules.grading import SOURCE, grade_rows
from triage.rules.parting import parting_fields
from triage.rules.queue import decide, review_first
from triage.rules.records import Records, no_records, with_facts
from triage.rules.repairs import came_back, fields_of, repair_notes, retire_repaired
from triage.rules.standing import expires_on, good_until, read_again_on, rests_on, survey_quality
from triage.rules.table import ID, queue_table
from triage.rules.variants import join_variants, keep_firing
from triage.rules.words import Writer

_MOULDY = ("moderate", "extensive", "void_only")
_EXPOSED = ("severe", "very_severe")


@dataclass(frozen=True, slots=True)
class Standing:
    """A measure that the programme proposes for every home-part of which `where` is not false."""

    code: str
    where: str | None
    material: str | None
    thickness_mm: float | None


@dataclass(frozen=True, slots=True)
class Assessed:
    """What a batch of homes came to.

    `queue` has one row per home × part × measure in key order; `results` the UInt8 answer of
    every rule in the same order; `current` the evidence as it stands; `quantities` what was
    computed for each row; `cases` the distinct build-ups that were solved for these rows; `until`
    the last good day of each answer that a row needs and that ages.
    """

    queue: pl.DataFrame
    results: pl.DataFrame
    current: Current
    quantities: pl.DataFrame
    cases: pl.DataFrame
    until: pl.DataFrame


def assess(
    rows: pl.DataFrame,
    marks: pl.DataFrame,
    proposals: pl.DataFrame,
    places: pl.DataFrame,
    climate: pl.DataFrame,
    standing: Sequence[Standing],
    policy: Policy,
    library: Library,
    as_of: date | pl.Expr,
    survey_fields: list[str],
    records: Records | None = None,
) -> Assessed:
    """Judge every proposed measure, and every foamed home-part, on the evidence held.

    Parameters
    ----------
    rows
        Accepted survey rows: `row_id`, `base_grade` and all survey fields.
    marks
        `row_id`, `field`, `grade` of the cells whose own text carries a grade.
    proposals
        `property_id`, `building_part`, `measure_code`, `measure_material`,
        `measure_thickness_mm`.
    places
        One row per property: the columns of the placed homes.
    climate
        The climate records that the homes are placed in, monthly means by `climate_id`.
    standing
        Measures that the programme proposes.
    policy
        The pack.
    library
        Materials, and what survey codes mean as layers.
    as_of
        Date at which evidence is judged; an expression over `rows` gives each home a date.
    survey_fields
        Names of the survey's fields in order.
    records
        Events, repairs, openings and decisions of these homes; None: nothing is on record.
    """
    fields = evidence_fields(policy, survey_fields, [s.where for s in standing if s.where])
    placed = places.with_columns(
        near_cold_line(policy).alias("near_cold_line"),
        pl.col("exposure_computed").alias("exposure_from_place"),
    ).drop("exposure_computed")
    on_record = records or no_records()
    exposed = with_events(_exposed(rows, placed), on_record.events, policy)
    graded = grade_rows(exposed, marks, fields, policy, as_of)
    graded = retire_repaired(graded, on_record.repairs, policy)
    buildings = placed.select("property_id", "building_id")
    current = current_evidence(graded, fields, policy, buildings, on_record.repairs)
    wanted = pl.concat(
        [_specified(proposals, standing), *(_proposed(current.table, s) for s in standing)]
    )
    evidence = _with_reading_dates(current.table, graded)
    wide = assessment_rows(evidence, wanted, placed, policy, foam_now())
    wide = with_facts(wide, on_record.facts)
    read = read_three_ways(wide, fields, policy)
    frames, moisture = _with_everything(read, climate, policy, library)
    answers = keep_firing(wide, evaluate(frames, policy))
    first = review_first(frames.all, policy)
    verdicts = join_variants(wide, answers, first, policy)
    base_at = wide["variant"] == 0
    base, clear = wide.filter(base_at), frames.clear.filter(base_at)
    back = came_back(
        base, verdicts.results, _seen_on(base, graded, on_record, policy), on_record.repairs, policy
    )
    ruled = decided(base, verdicts.results, graded, on_record.decisions, policy)
    told = ruled.told.with_columns(back)
    parted = parting_fields(wide, answers, first, ruled.accepted, current.conflicts, policy)
    board = (
        base.select("measure_group", "measure_code")
        .hstack(told)
        .with_columns((parted.list.len() > 0).alias("parted"))
    )
    decision = decide(board, verdicts, ruled.accepted, policy)
    lists = Writer(policy, decision.effective, base).lists(verdicts.missing, verdicts.presumed)
    disputed = base.hstack(lists.select("disputed"))
    lists = lists.with_columns(
        disputed_fields(disputed, current.conflicts, policy)
        .list.set_union(parted)
        .list.sort()
        .alias("disputed_fields")
    )
    until = good_until(base, clear, graded, policy).with_columns(
        told["decided_until"].alias("decision")
    )
    standing_of = pl.DataFrame(
        {
            "survey_quality": survey_quality(clear, policy),
            "evidence_quality": rests_on(base, clear, policy),
            "expires_on": expires_on(until),
            "read_again_on": read_again_on(
                base, verdicts.results, policy, as_of if isinstance(as_of, date) else None
            ),
        }
    )
    lists = lists.hstack(told).with_columns(repair_notes(base, on_record.repairs))
    shown = base.with_columns(foam_now().alias("foam")).join(
        _first_hazard(graded), on=KEY, how="left", maintain_order="left"
    )
    solved = moisture.quantities[0].columns
    known = [name for name in policy.quantities if name in frames.all.columns]
    computed = [*(name for name in known if name not in solved), *solved]
    return Assessed(
        queue=queue_table(shown, decision.table, lists, standing_of, policy),
        results=base.select(ID).hstack(verdicts.results.select(list(policy.rules))),
        current=current,
        quantities=base.select(ID).hstack(frames.all.filter(base_at).select(computed)),
        cases=moisture.cases,
        until=base.select(ID).hstack(until),
    )


def _proposed(current: pl.DataFrame, standing: Standing) -> pl.DataFrame:
    """Home-parts for which a programme's measure is proposed; unknown counts as proposed."""
    homes = current.filter(pl.col("variant") == 0)
    if standing.where is not None:
        # A constant such as FALSE has no height of its own; the comparison gives it the frame's.
        every = pl.col("property_id").is_not_null()
        homes = homes.filter(every & bind(standing.where, {}).fill_null(value=True))
    return homes.select(
        *KEY,
        pl.lit(standing.code).alias("measure_code"),
        pl.lit(standing.material, pl.String).alias("measure_material"),
        pl.lit(standing.thickness_mm, pl.Float64).alias("measure_thickness_mm"),
    )


def _seen_on(
    base: pl.DataFrame, graded: pl.DataFrame, records: Records, policy: Policy
) -> dict[str, pl.Series]:
    """For each rule that a repair answers, the newest day of the evidence that it reads."""
    days = graded.select("row_id", "survey_on")
    found = {}
    for rule_id in records.repairs["rule"].drop_nulls().unique().sort().to_list():
        names = fields_of(policy.rules[rule_id], policy)
        sources = [SOURCE + name for name in sorted(names) if SOURCE + name in base.columns]
        seen = [
            base.select(pl.col(source).alias("row_id"))
            .join(days, on="row_id", how="left", maintain_order="left")["survey_on"]
            .alias(source)
            for source in sources
        ]
        if seen:
            found[rule_id] = pl.DataFrame(seen).select(x=pl.max_horizontal(pl.all()))["x"]
    return found


def _first_hazard(graded: pl.DataFrame) -> pl.DataFrame:
    """Day on which mould was first recorded at a home-part: statutory clocks may run from it."""
    mouldy = graded.filter(pl.col("visible_mould").is_in(list(_MOULDY)))
    return mouldy.group_by(KEY).agg(pl.col("survey_date").min().alias("hazard_first_on"))


def _specified(proposals: pl.DataFrame, standing: Sequence[Standing]) -> pl.DataFrame:
    """Written proposals that name no material take the one that the programme specifies."""
    specified = {s.code: (s.material, s.thickness_mm) for s in reversed(standing)}
    material = {code: spec[0] for code, spec in specified.items() if spec[0] is not None}
    thickness = {code: spec[1] for code, spec in specified.items() if spec[1] is not None}
    code, silent = pl.col("measure_code"), pl.col("measure_material").is_null()
    known = code.replace_strict(material, default=None, return_dtype=pl.String)
    deep = code.replace_strict(thickness, default=None, return_dtype=pl.Float64)
    return proposals.with_columns(
        pl.coalesce("measure_material", known).alias("measure_material"),
        pl.when(silent)
        .then(pl.coalesce("measure_thickness_mm", deep))
        .otherwise("measure_thickness_mm")
        .alias("measure_thickness_mm"),
    )


def _exposed(rows: pl.DataFrame, climate: pl.DataFrame) -> pl.DataFrame:
    """Whether a home stands in severe exposure, recorded or computed: its evidence ages faster."""
    computed = rows.select("property_id").join(
        climate.select("property_id", "exposure_from_place"),
        on="property_id",
        how="left",
        maintain_order="left",
    )
    recorded = pl.col("exposure_class").is_in(list(_EXPOSED)).any().over("property_id")
    said = pl.col("exposure_class").is_not_null().any().over("property_id")
    guess = computed["exposure_from_place"].is_in(list(_EXPOSED)).fill_null(value=False)
    return rows.with_columns(
        pl.when(said)
        .then(recorded.fill_null(value=False))
        .otherwise(pl.lit(guess))
        .alias("exposed")
    )


def _with_reading_dates(current: pl.DataFrame, graded: pl.DataFrame) -> pl.DataFrame:
    """Add the day of the timber reading, `read_on`, its depth, and the day of the humidity log.

    A season belongs to the survey that a reading came from, not to the latest visit.
    """
    dates = (
        ("read_on", "timber_mc_pct", pl.coalesce("mc_date", "survey_date")),
        ("log_on", "rh_mean_pct", pl.col("survey_date")),
        ("mc_subsurface", "timber_mc_pct", _subsurface(graded)),
    )
    for name, reading, on in dates:
        day = graded.select(pl.col("row_id").alias(SOURCE + reading), on.alias(name))
        current = current.join(day, on=SOURCE + reading, how="left", maintain_order="left")
    return current


def _subsurface(graded: pl.DataFrame) -> pl.Expr:
    """Whether a row's reading was taken below the surface; only reading records can say."""
    known = "mc_subsurface" in graded.columns
    return pl.col("mc_subsurface") if known else pl.lit(None, pl.Boolean)


def _with_everything(
    frames: Frames, climate: pl.DataFrame, policy: Policy, library: Library
) -> tuple[Frames, Moisture]:
    """Add derived and computed quantities to each reading, and the clearing one's flags to all."""
    read = [with_quantities(frame, policy) for frame in (frames.all, frames.firm, frames.clear)]
    moisture = moisture_quantities(read, climate, policy, library)
    read = [frame.hstack(more) for frame, more in zip(read, moisture.quantities, strict=True)]
    computed = frames.all.select(
        exposure_computed=pl.col("exposure_from_place").is_not_null()
        & (pl.col("join_quality") == "good").fill_null(value=False)
    )
    flags = context_flags(read[2], policy).hstack(computed)
    every, firm, clear = (frame.hstack(flags) for frame in read)
    return Frames(every, firm, clear, frames.stale), moisture
