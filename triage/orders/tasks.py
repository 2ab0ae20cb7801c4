"""The tasks of a finished run: one row for each defect, question or measure."""

import hashlib
from dataclasses import dataclass

import polars as pl

from triage.contract.expressions import names_in
from triage.contract.policy import Policy, Rule
from triage.orders.facts import figures, proposals, reach
from triage.report.labels import FIX, LANES, REVIEW, SAFE
from triage.report.template import label_text
from triage.work import Work

KEYS = ("property_id", "building_part")
NO_AREA = "area not recorded"
_LETTER = {SAFE: "S", FIX: "F", REVIEW: "R"}
_ID_CHARACTERS = 12


@dataclass(frozen=True, slots=True)
class Tasks:
    """Rows of the queues and the tasks that they make.

    `measures` has one row for each row of the run's queues: its order, its area and what the
    queue says. `tasks` has one row a task: for fix-water-first one defect of a part, whatever
    the number of measures that wait for it; for the other queues one measure of a part.
    """

    measures: pl.DataFrame
    tasks: pl.DataFrame


def read_tasks(work: Work, queues: tuple[str, ...], homes: tuple[str, ...] = ()) -> Tasks:
    """Tasks of the queues named, in a fixed order.

    Parameters
    ----------
    work
        A finished run, opened for reading.
    queues
        Queues to make orders for.
    homes
        Homes to make them for; none: all.
    """
    rows = work.store.table("queue").filter(pl.col("queue").is_in(queues))
    if homes:
        rows = rows.filter(pl.col("property_id").is_in(homes))
    rows = rows.sort("queue", *KEYS, "measure_code").join(
        _areas(work), on="property_id", how="left", maintain_order="left"
    )
    letter = pl.col("queue").replace_strict(_LETTER, return_dtype=pl.String)
    order = pl.format("{}-{}", letter, _short(pl.col("property_id")))
    named = pl.col("measure_name").fill_null(pl.col("measure_code"))
    keys = [*KEYS, "measure_code"]
    for told in (proposals(work), figures(work)):
        rows = rows.join(told, on=keys, how="left", maintain_order="left")
    rows = rows.with_columns(
        order.alias("order"), pl.col("area").fill_null(NO_AREA), named.alias("measure")
    )
    made = [_measure_tasks(rows.filter(pl.col("queue") != FIX), work)]
    defects = rows.filter(pl.col("queue") == FIX)
    if defects.height:
        made.append(_defects(defects, work))
    tasks = pl.concat(made, how="diagonal_relaxed").sort("queue", *KEYS, "place")
    tasks = tasks.join(reach(work), on=list(KEYS), how="left", maintain_order="left")
    return Tasks(rows, tasks)


def _areas(work: Work) -> pl.DataFrame:
    """Home and its area: its newest area code, else the first half of its postcode."""
    return work.store.ask(
        """
        SELECT property_id, coalesce(
            arg_max(admin_area_code, survey_date),
            nullif(split_part(trim(arg_max(postal_code, survey_date)), ' ', 1), '')
        ) AS area
        FROM evidence_row GROUP BY property_id ORDER BY property_id
        """
    )


def _short(*texts: pl.Expr) -> pl.Expr:
    """A short id that names the same thing in every run: the start of a SHA-256."""
    return pl.concat_str(texts, separator="\x1f").map_batches(_digests, return_dtype=pl.String)


def _digests(texts: pl.Series) -> pl.Series:
    def name(text: str) -> str:
        return hashlib.sha256(text.encode()).hexdigest()[:_ID_CHARACTERS]

    each = texts.unique()
    names = pl.Series([name(text) for text in each], dtype=pl.String)
    return texts.replace_strict(each, names, return_dtype=pl.String)


def _measure_tasks(rows: pl.DataFrame, work: Work) -> pl.DataFrame:
    """A task for each measure that may start, or waits for a decision or for evidence."""
    rules = {rule.id: f"{rule.title} ({rule.id})" for rule in work.policy.rules.values()}
    fields = {name: label_text(field) for name, field in work.contract.fields.items()}
    lanes = {lane: words for lane, (_, words) in LANES.items()}
    part = _short(pl.col("building_part"), pl.col("measure_code"))
    return rows.with_columns(
        pl.format("{}-{}", "order", part.str.head(6)).alias("task"),
        pl.col("reason").alias("what"),
        pl.lit(None, dtype=pl.String).alias("where"),
        pl.concat_list(pl.col("measure")).alias("measures"),
        _lines("fired", rules).alias("fired_words"),
        _lines("undecidable", rules).alias("open_words"),
        _lines("missing", fields).alias("evidence_words"),
        pl.col("lane").replace(lanes).alias("who"),
        pl.lit(0, dtype=pl.Int64).alias("place"),
    )


def _lines(column: str, words: dict[str, str]) -> pl.Expr:
    return pl.col(column).list.eval(pl.element().replace(words))


def _defects(rows: pl.DataFrame, work: Work) -> pl.DataFrame:
    """A task for each rule of water that fired on a part, with the measures that wait for it."""
    water = [r for r in work.policy.rules.values() if r.outcome == FIX]
    facts = pl.DataFrame(
        [_fact(rule, work.policy) for rule in water],
        schema={"rule": pl.String, **dict.fromkeys(_FACTS, pl.String)}
        | {"must_not": pl.List(pl.String), "drying_days": pl.Int64},
    )
    single = (
        rows.with_columns(pl.col("fired").alias("rule"))
        .explode("rule", empty_as_null=True, keep_nulls=True)
        .join(facts, on="rule", how="inner", maintain_order="left")
    )
    # A row can wait for water without a fired rule of water on its own part: keep it as a task.
    lone = rows.join(single.select(*KEYS, "measure_code"), on=[*KEYS, "measure_code"], how="anti")
    lone = lone.with_columns(
        pl.col("main_rule").alias("rule"),
        pl.col("reason").alias("what"),
        pl.col("next_action").alias("wanted"),
        pl.lit([], dtype=pl.List(pl.String)).alias("must_not"),
        pl.lit(_longest(work.policy), dtype=pl.Int64).alias("drying_days"),
    )
    every = pl.concat([single, lone], how="diagonal_relaxed").sort("queue", *KEYS, "measure_code")
    tasks = every.group_by("queue", "order", "area", *KEYS, "rule", maintain_order=True).agg(
        *(pl.col(name).first() for name in (*_FACTS, "must_not", "drying_days", "severity")),
        *(pl.col(name).first() for name in ("survey_on", "expires_on", "building_id")),
        pl.col("hazard_first_on").min(),
        pl.col("measure").unique(maintain_order=True).alias("measures"),
        *(
            pl.col(name)
            .list.explode(keep_nulls=False, empty_as_null=False)
            .unique(maintain_order=True)
            for name in ("stop_work", "notes", "cautions")
        ),
    )
    first = pl.lit(work.programme.as_of) + pl.duration(days=pl.col("drying_days"))
    tasks = tasks.with_columns(
        first.cast(pl.Date).alias("earliest_check"),
        pl.col("rule")
        .replace_strict({r.id: n for n, r in enumerate(water)}, default=99, return_dtype=pl.Int64)
        .alias("place"),
    )
    return (
        tasks.join(_seen(tasks, water, work), on=[*KEYS, "rule"], how="left", maintain_order="left")
        .join(_repairs(work), on=[*KEYS, "rule"], how="left", maintain_order="left")
        .with_columns(_task_id())
    )


_FACTS = ("what", "title", "wanted", "repair_type")


def _fact(rule: Rule, policy: Policy) -> dict[str, object]:
    slow = rule.repair_type is None or rule.repair_type in policy.records.slow_repairs
    limits = policy.limits
    return {
        "rule": rule.id,
        "what": f"{rule.title} ({rule.id}). {rule.statement}",
        "title": rule.title,
        "wanted": rule.next_action,
        "repair_type": rule.repair_type,
        "must_not": list(rule.must_not),
        # Where the pack does not say which repair it is, the longer interval holds.
        "drying_days": int(limits["repair_dry_slow_days" if slow else "repair_dry_days"]),
    }


def _longest(policy: Policy) -> int:
    limits = policy.limits
    return int(max(limits["repair_dry_slow_days"], limits["repair_dry_days"]))


def _seen(tasks: pl.DataFrame, water: list[Rule], work: Work) -> pl.DataFrame:
    """What the surveys say of each defect: the answers that its rule reads."""
    held = work.store.ask("SELECT * FROM current_evidence WHERE variant = 0")
    made = [tasks.select(*KEYS, "rule", pl.lit(None, dtype=pl.String).alias("where")).clear()]
    for rule in water:
        homes = tasks.filter(pl.col("rule") == rule.id).select(*KEYS)
        fields = [n for n in names_in(rule.fires) if n in held.columns]
        if homes.is_empty() or not fields:
            continue
        labels = [_answer(name, held.schema[name], work) for name in fields]
        made.append(
            homes.join(held.select(*KEYS, *fields), on=list(KEYS), how="inner").select(
                *KEYS,
                pl.lit(rule.id).alias("rule"),
                pl.concat_str(labels, separator="; ", ignore_nulls=True).alias("where"),
            )
        )
    return pl.concat(made)


def _answer(name: str, dtype: pl.DataType, work: Work) -> pl.Expr:
    text = pl.col(name)
    value = text.list.join(", ") if isinstance(dtype, pl.List) else text.cast(pl.String)
    field = work.contract.fields[name]
    words = value.str.replace_all("_", " ", literal=True) if field.codes else value
    return pl.when(value != "").then(pl.lit(f"{label_text(field)}: ") + words)


def _repairs(work: Work) -> pl.DataFrame:
    """How many repairs of a defect were completed, and where the last one stood."""
    return work.store.ask(
        """
        SELECT property_id, building_part, rule,
            count(DISTINCT repair_id) FILTER (completed_on IS NOT NULL) AS repaired,
            max(defect_location) AS told_place
        FROM (
            SELECT *, unnest(trigger_rule_ids) AS rule FROM record_repair
        ) GROUP BY property_id, building_part, rule ORDER BY ALL
        """
    )


def _task_id() -> pl.Expr:
    again = pl.col("repaired").fill_null(0) + 1
    home = _short(pl.col("property_id"), pl.col("building_part"), pl.col("rule"))
    return pl.format("RP-{}-{}", home, again).alias("task")
