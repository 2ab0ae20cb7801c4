"""The files of a run folder, made from the tables of its store."""

from typing import Any

import polars as pl

from triage.calendar_stage import calendar_note, calendar_record
from triage.report.cells import inert
from triage.report.context import RunContext
from triage.report.evidence_sheets import calendar_sheet, contradiction_sheet
from triage.report.geo import write_homes
from triage.report.labels import MEASURE_GROUPS
from triage.report.maps import write_climate_map, write_queue_map
from triage.report.summary import Summary, summarise
from triage.report.template import label_text
from triage.report.workbook import write_queue_workbook
from triage.runs import run_id
from triage.work import Work

CAUTIONS = (
    "Screening only. It defers to local codes, licensed practice and the judgement of qualified "
    "people.",
    "Safe means: on the evidence dated as shown, under this policy version, no screening rule "
    "blocked this measure for this building part. It does not say that the building is dry, sound, "
    "compliant, insurable or lendable, that hidden timber was seen, or that other measures are "
    "safe.",
    "Safe is not released: outstanding checks and enabling work come first, and a look on the day "
    "always.",
    "A storm, a leak, a change of use, another thickness or material, or the expiry date ends it.",
)
_INDOOR = {
    "iso_13788": "by ISO 13788 class",
    "en_15026": "by EN 15026 Annex C",
    "ashrae_160": "by ASHRAE 160",
}
PAGE = "report.html"
_QUEUE_FILE_DROPS = (
    "clearance_unmet",
    "clearance_open",
    "presumed_topics",
    "asks_for_evidence",
)


def write_outputs(work: Work) -> None:
    """Write queue and rule tables, homes, workbook and maps into the run folder."""
    store, folder = work.store, work.folder
    queue = store.table("queue")
    context = run_context(work)
    work.run_id = context.run_id
    summary = summarise(queue)
    homes = store.table("home_queue")
    queue.drop(_QUEUE_FILE_DROPS).write_parquet(folder / "queue.parquet")
    store.table("rule_result").write_parquet(folder / "rule_results.parquet")
    store.table("block_queue").write_parquet(folder / "blocks.parquet")
    store.table("contradiction").write_parquet(folder / "contradictions.parquet")
    calendar = store.table("expiry_calendar")
    calendar.write_parquet(folder / "expiry_calendar.parquet")
    texts = [name for name, dtype in calendar.schema.items() if dtype == pl.String]
    safe = calendar.with_columns(inert(pl.col(name)).alias(name) for name in texts)
    safe.write_csv(folder / "expiry_calendar.csv")
    store.table("quantity").write_parquet(folder / "quantities.parquet")
    store.table("moisture_case").write_parquet(folder / "moisture_cases.parquet")
    work.say("homes for mapping programs")
    write_homes(folder / "homes.gpkg", folder / "homes.parquet", homes)
    work.say("workbook")
    problems = store.table("problem")
    write_queue_workbook(
        folder / "queues.xlsx",
        queue,
        gap_table(work),
        problems,
        context,
        summary=summary,
        visits=visit_table(work),
        more=[contradiction_sheet(store.table("contradiction")), calendar_sheet(calendar)],
    )
    work.say("maps")
    drawn = _maps(work, homes, context)
    names = (
        "queue.parquet",
        "rule_results.parquet",
        "blocks.parquet",
        "contradictions.parquet",
        "expiry_calendar.parquet",
        "expiry_calendar.csv",
        "quantities.parquet",
        "moisture_cases.parquet",
        "homes.gpkg",
        "homes.parquet",
        "queues.xlsx",
        "map_queues.png",
        "map_climate.png",
        "store.duckdb",
        "run.json",
        PAGE,
    )
    work.outputs = {name: name for name in names}
    work.written = {"context": context, "summary": summary, "problems": problems, "maps": drawn}


def run_context(work: Work) -> RunContext:
    """What every output says about the run."""
    policy, programme = work.policy, work.programme
    climate = work.store.ask(
        "SELECT DISTINCT zone_edition FROM placed_home WHERE zone_edition IS NOT NULL ORDER BY 1"
    )
    unknown = work.store.ask(
        "SELECT count(*) AS n FROM survey_problem WHERE kind = 'unknown_measure'"
    )
    return RunContext(
        name=programme.name,
        country_code=programme.country_code,
        as_of=programme.as_of,
        policy_name=policy.name,
        policy_version=policy.version,
        policy_hash=policy.digest,
        run_id=run_id(
            programme, policy, work.library, work.store.table("source_file"), work.records_digest
        ),
        rows_read=work.rows["read"],
        rows_accepted=work.rows["accepted"],
        rows_rejected=work.rows["rejected"],
        rows_superseded=work.rows["superseded"],
        stock_total=programme.stock_total,
        homes_surveyed=work.store.table("home").height,
        not_assessed=int(unknown["n"].item()),
        not_evaluated=tuple(policy.awaiting),
        to_know=(calendar_note(work),),
        cautions=CAUTIONS,
        sources=(
            *(f"Climate zones: {text}." for text in climate["zone_edition"]),
            f"Moisture: monthly diffusion, indoor air {_INDOOR[policy.indoor_model]}.",
        ),
        rule_titles={rule.id: rule.title for rule in policy.rules.values()},
    )


def gap_table(work: Work) -> pl.DataFrame:
    """Missing fields, the ones that hold most homes first, in plain words."""
    gap = work.store.table("gap")
    evidence, fields = work.policy.evidence, work.contract.fields
    names = gap["field"].unique().to_list()
    words = {
        "label": {name: label_text(fields[name]) for name in names},
        "meaning": {name: fields[name].meaning for name in names},
        "look": {name: evidence.views[evidence.of(name).view].meaning for name in names},
    }
    told = [
        pl.col("field").replace_strict(by_name, return_dtype=pl.String).alias(column)
        for column, by_name in words.items()
    ]
    groups = pl.col("measure_group").replace(MEASURE_GROUPS)
    return gap.select("field", *told, groups, "homes_blocked", "alone")


def visit_table(work: Work) -> pl.DataFrame:
    """Sets of answers that one visit would bring, in plain words."""
    words = {name: label_text(field) for name, field in work.contract.fields.items()}
    named = pl.col("fields").str.split(", ").list.eval(pl.element().replace(words))
    return work.store.table("gap_set").select(
        named.list.join(", ").alias("fields"),
        "fields_n",
        pl.col("measure_group").replace(MEASURE_GROUPS),
        "homes",
    )


def _maps(work: Work, homes: pl.DataFrame, context: RunContext) -> dict[str, Any]:
    queued = homes.filter(pl.col("queue").is_not_null())
    stations = work.store.table("climate_use")
    return {
        "map_queues.png": write_queue_map(work.folder / "map_queues.png", queued, None, context),
        "map_climate.png": write_climate_map(
            work.folder / "map_climate.png", queued, None, context, stations
        ),
    }


def _records(work: Work) -> dict[str, Any]:
    """How many records of each kind count, and how many do not."""
    counted = work.store.ask(
        """
        SELECT kind, count(*) FILTER (why_not IS NULL) AS used, count(*) AS held
        FROM record_use GROUP BY kind ORDER BY kind
        """
    )
    return {"sha256": work.records_digest, "kinds": counted.to_dicts()}


def record(work: Work, seconds: dict[str, float], versions: dict[str, str]) -> dict[str, Any]:
    """What run.json says: inputs, policy, counts, outputs."""
    summary: Summary = work.written["summary"]
    queue = work.store.table("queue")
    lanes = dict(queue.drop_nulls("lane").group_by("lane").len().sort("lane").iter_rows())
    sources = work.store.table("source_file").drop("source_id")
    mix = {
        "by_measure": summary.by_measure.to_dicts(),
        "by_survey_quality": summary.by_survey.to_dicts(),
    }
    return {
        "format": 1,
        "run_id": work.run_id,
        "programme": work.programme.name,
        "programme_id": work.programme.programme_id,
        "as_of": work.programme.as_of,
        "policy": {
            "name": work.policy.name,
            "version": work.policy.version,
            "sha256": work.policy.digest,
        },
        "materials": {"sha256": work.library.digest},
        "indoor_model": work.policy.indoor_model,
        "versions": versions,
        "inputs": sources.to_dicts(),
        "rows": {key: work.rows[key] for key in ("read", "accepted", "rejected", "superseded")},
        "homes": work.store.table("home").height,
        "assessed": queue.height,
        "queues": {
            name: summary.count(name)
            for name in ("safe-to-insulate", "fix-water-first", "specialist-review")
        },
        "released": summary.released,
        "checks_outstanding": summary.checks_outstanding,
        "lanes": lanes,
        "accepted_by_decision": summary.accepted,
        "records": _records(work),
        "not_evaluated": list(work.policy.awaiting),
        "awaiting": work.policy.awaiting,
        "mix": mix,
        "expiry_calendar": calendar_record(work),
        "gap_sets": work.store.table("gap_set").head(50).to_dicts(),
        "batches_to_visit_again": work.store.table("batch_flag").to_dicts(),
        "maps": work.written["maps"],
        "seconds": seconds,
        "outputs": work.outputs,
    }
