"""What the monthly vapour method says of a run, and the year of its commonest wet build-up."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from triage.contract.materials import load_materials
from triage.contract.policy import Policy
from triage.contract.products import with_products
from triage.contract.programme import Programme
from triage.report.build_up_facts import build_up_facts
from triage.report.document import Figure, Words
from triage.report.year_figure import YearWords, year_figure
from triage.store import Store

PEAK, RESIDUAL = "condensate_peak_limit_g_m2", "condensate_residual_limit_g_m2"
_TABLES = ("quantity", "moisture_case", "climate_record")
_HAS_CASE = pl.col("case_after").is_not_null()
_JUDGED = (
    pl.col("monthly_method_valid") & pl.col("condensate_peak_g_m2").is_not_null() & _HAS_CASE
).fill_null(value=False)
_INSTEAD = (
    "There the share of air-tight insulation, the moisture and yearly swing of a timber deck, the "
    "drying lost and the rules that ask for an inspection decide instead"
)


@dataclass(frozen=True, slots=True)
class Typical:
    """The distinct build-up and climate, wet in some month, that covers most homes."""

    case_before: str
    case_after: str
    measure_code: str
    measure_group: str
    homes: int
    wet_homes: int
    judged_homes: int


def condensate_blocks(
    run: Store, policy: Policy, programme: Programme
) -> tuple[Words | Figure, ...]:
    """Counts in words and the figure; nothing of a run that kept no build-ups."""
    if not set(_TABLES) <= set(run.tables()):
        return ()
    quantity, cases = run.table("quantity"), run.table("moisture_case")
    if "case_after" not in quantity.columns:
        return ()
    words = Words(method_words(quantity, cases))
    found = typical(quantity, cases)
    if found is None:
        return (words, Words("No build-up that it judges is wet in any month: no year is drawn."))
    climates = dict(run.table("climate_record").select("climate_id", "climate_name").iter_rows())
    titles = {
        code: m.title for code, m in with_products(load_materials(), programme.products).items()
    }
    return (words, typical_figure(found, cases, policy, titles, climates))


def method_words(quantity: pl.DataFrame, cases: pl.DataFrame) -> str:
    """How many home-part-measures the method judges, and what it finds; the parts add up."""
    rows = _with_cases(quantity, cases)
    judged = rows.filter(_JUDGED)
    builds = judged.filter(pl.col("condensate_residual_g_m2") > 0).height
    wet = judged.filter(pl.col("condensate_peak_g_m2") > 0).height
    invalid = rows.filter(~_JUDGED & (~pl.col("monthly_method_valid")).fill_null(value=False))
    rest = rows.height - judged.height - invalid.height
    told = (
        f"Monthly vapour method (ISO 13788), after the measure: of {rows.height:,} "
        f"home-part-measures it judges {judged.height:,}. In {judged.height - wet:,} no water "
        f"condenses in an average year, in {wet - builds:,} it condenses and dries within the "
        f"year, in {builds:,} it builds up. It cannot judge {invalid.height:,}"
    )
    reasons = invalid["method"].drop_nulls().value_counts(sort=True)
    if reasons.height:
        most = reasons.sort("count", "method", descending=[True, False])["method"][0]
        told += f", most often since {most}"
    told += f". {_INSTEAD}." if invalid.height else "."
    return f"{told} {rest:,} are not known well enough, or have no build-up to draw up."


def _with_cases(quantity: pl.DataFrame, cases: pl.DataFrame) -> pl.DataFrame:
    known = cases.select("case", "method", "missing", "peak_g_m2")
    after = known.rename({"case": "case_after"})
    before = known.rename({name: f"{name}_before" for name in known.columns})
    return quantity.join(after, on="case_after", how="left").join(
        before, left_on="case_before", right_on="case_before", how="left"
    )


def typical(quantity: pl.DataFrame, cases: pl.DataFrame) -> Typical | None:
    """The case to draw: of those judged in which water condenses, that of most homes.

    A tie goes to the one that holds more water, then to the name of the case.
    """
    rows = _with_cases(quantity, cases).filter(_JUDGED)
    wet_before = pl.col("method_before").is_null() & (pl.col("peak_g_m2_before") > 0)
    wet = rows.filter(
        pl.col("method").is_null()
        & pl.col("missing").is_null()
        & ((pl.col("peak_g_m2") > 0) | wet_before.fill_null(value=False))
    )
    if not wet.height:
        return None
    best = (
        wet.group_by("case_before", "case_after")
        .agg(
            pl.col("property_id").n_unique().alias("homes"),
            pl.col("peak_g_m2").first(),
            pl.struct("measure_code", "measure_group").mode().sort().first().alias("measure"),
        )
        .sort("homes", "peak_g_m2", "case_after", descending=[True, True, False])
        .row(0, named=True)
    )
    return Typical(
        case_before=best["case_before"],
        case_after=best["case_after"],
        homes=best["homes"],
        wet_homes=wet["property_id"].n_unique(),
        judged_homes=rows["property_id"].n_unique(),
        **best["measure"],
    )


def typical_figure(
    found: Typical,
    cases: pl.DataFrame,
    policy: Policy,
    titles: Mapping[str, str],
    climates: Mapping[str, str],
) -> Figure:
    """The year of the case, with the limits that the rules of its measure use."""
    names = {"case_before": found.case_before, "case_after": found.case_after}
    wanted = cases.filter(pl.col("case").is_in(list(names.values())))
    rows: dict[str, Any] = {row["case"]: row for row in wanted.iter_rows(named=True)}
    facts = build_up_facts(rows, names, titles, policy.limits, policy.code_tables.edition)
    after = facts["after"]
    measure = policy.measures.get(found.measure_code)
    shift = after["climate_shift_k"]
    climate = f"{climates.get(after['climate_id'], '')} ({after['climate_id']})".strip()
    words = YearWords(
        measure=measure.name if measure else found.measure_code,
        covers=(
            f"The build-up and climate that covers most homes where water condenses: n = "
            f"{found.homes:,} of {found.wet_homes:,} homes; {found.judged_homes:,} were judged."
        ),
        climate=f"{climate}, shifted by {shift:+g} K" if shift else climate,
        limit=_limit(policy, found.measure_group),
        notes=_residual(policy, found.measure_group),
    )
    return year_figure(facts["before"], after, words)


def _limit(policy: Policy, group: str) -> tuple[float, str] | None:
    value = policy.limits.get(PEAK)
    if value is None:
        return None
    return value, f"limit {value:g} g/m²{_used_by(policy, PEAK, group)}"


def _residual(policy: Policy, group: str) -> tuple[str, ...]:
    value = policy.limits.get(RESIDUAL)
    if value is None:
        return ()
    return (
        f"Water left after twelve months counts from {value:g} g/m²"
        f"{_used_by(policy, RESIDUAL, group)}.",
    )


def _used_by(policy: Policy, name: str, group: str) -> str:
    """Which rules use a limit, and whether any of them is asked of a measure group."""
    using = [rule for rule in policy.rules.values() if name in rule.fires]
    mine = _ids([rule.id for rule in using if group in rule.groups])
    if mine:
        return f" (rule {mine})"
    every = _ids([rule.id for rule in using])
    return f" (rule {every}, not asked of this measure)" if every else " (no rule uses it)"


def _ids(rules: Sequence[str]) -> str:
    return ", ".join(sorted(rules))
