"""Parts 1 to 6 of a programme summary: what it is, how many, what moved, and why."""

from triage.report.chart_parts import DOTS
from triage.report.document import Bar, Figure, Grid, Section, Words
from triage.report.labels import LANES, MEASURE_GROUPS, QUEUES
from triage.summary.counts import COVERAGE
from triage.summary.facts import Facts
from triage.summary.movement import movement_part
from triage.summary.told import NO_SHARE, STAR, Told

_WITHHELD = ("Withheld", "#F1F1ED", DOTS)
TOP = 10
_COVERAGE_WORDS = {
    "decidable": "In date and decidable: every required rule could be answered",
    "not decidable": "In date, not decidable on the evidence held",
    "out of date": "Surveyed, but a required answer is past its age limit",
    "nothing proposed": "Surveyed, no measure proposed",
    "not surveyed": "No accepted survey row",
}
DEFINITIONS = (
    ("in scope", "home listed in the programme stock total on the cut-off date"),
    ("surveyed", "at least one accepted survey row"),
    ("in date", "required fields for the measure within their age limits"),
    ("decidable", "every required rule could be evaluated"),
    (
        "queue count",
        "homes, once for each measure group, by the worst of their parts; the home-level count "
        "uses the worst proposed measure",
    ),
    ("screened safe share", "safe / decidable; also shown safe / all"),
    (
        "failing (foam)",
        "inspection verdict: water to repair first, specialist, remove the foam, or stop; the "
        "stricter class 'timber damage' is decay grade d2 or worse",
    ),
    ("verified repair", "looked at, tested and read again by somebody other than the installer"),
    ("interval", "95% two-sided unless stated; method named"),
    ("non-response", "selected but not completed, with reason"),
    ("override", "decision of a named specialist in force on the cut-off date"),
)


def legend(told: Told) -> tuple[tuple[str, str, str], ...]:
    """Looks of the queues, and of what is withheld if anything may be."""
    looks = tuple((look.title, look.fill, look.hatch) for look in QUEUES)
    return (*looks, _WITHHELD) if told.rule.withholds else looks


def shares_of(parts: list[int | None], total: int) -> tuple[float, ...]:
    """Shares of the printed counts, 0 to 1, and of what is left of the total if one is withheld."""
    printed = sum(p or 0 for p in parts)
    whole = max(total, printed) if None in parts else printed
    left = (whole - printed) / whole if None in parts and whole else 0.0
    return (*((p or 0) / (whole or 1) for p in parts), left)


def first_parts(told: Told, facts: Facts) -> list[Section]:
    """Header, definitions, coverage, queues, movement, reasons."""
    return [
        _header(facts),
        Section(
            "2  Definitions",
            (_definitions(told),),
        ),
        _coverage(told, facts),
        _queues(told, facts),
        movement_part(told, facts),
        _reasons(told, facts),
    ]


def _definitions(told: Told) -> Grid:
    rows = (*DEFINITIONS, *told.reading)
    heads = ("Term", "Means")
    return Grid("definitions", "Words used", heads, rows, 2, (), (1, 5), has_head=False)


def _header(facts: Facts) -> Section:
    policy, tool = _part(facts, "policy"), _part(facts, "tool")
    hashes = f"run {facts.record['run_id']}; tables {_snapshot(facts)}"
    rows = (
        ("Programme", f"{facts.name} ({facts.programme_id})"),
        ("For", f"{facts.audience}; small counts by the rules of this reader, {facts.disclosure}"),
        ("Reporting period", facts.period),
        ("Data cut-off", facts.as_of),
        (
            "Policy pack",
            f"{policy.get('name')} {policy.get('version')}, sha256 {policy.get('sha256')}",
        ),
        (
            "Software and rule set",
            f"version {tool.get('version')}, sha256 {tool.get('sha256')}",
        ),
        ("Snapshot", hashes),
        ("Climate data", "; ".join(facts.climate) or "not recorded"),
        ("Signed off by", facts.signed_by or "not signed off"),
    )
    block = Grid("header", "This report", ("Item", "Value"), rows, 2, (), (1, 5), has_head=False)
    return Section("1  What this report rests on", (block,))


def _part(facts: Facts, key: str) -> dict[str, object]:
    part = facts.record.get(key, {})
    return part if isinstance(part, dict) else {}


def _snapshot(facts: Facts) -> str:
    """Hash of queue.parquet as the run recorded it: every count here goes back to it."""
    tables = facts.record.get("tables", [])
    found = [t for t in tables if t["name"] == "queue.parquet"] if isinstance(tables, list) else []
    return f"queue.parquet sha256 {found[0]['sha256']}" if found else "not recorded"


def _coverage(told: Told, facts: Facts) -> Section:
    total = told.homes("coverage")
    counts = [told.homes("coverage", coverage=name) for name in COVERAGE]
    rows = [
        (_COVERAGE_WORDS[name], told.text(n), told.share(n, total))
        for name, n in zip(COVERAGE, counts, strict=True)
    ]
    rows.append(("All homes in scope", told.text(total), told.share(total, total)))
    scope = (
        "The programme did not declare its stock total: in scope are the homes surveyed."
        if facts.stock_total is None
        else "In scope is the stock total that the programme declared."
    )
    grid = Grid(
        "coverage",
        "Homes by how far their evidence goes; the lines add up to all homes",
        ("Homes", "Count", "Share of all"),
        tuple(rows),
        notes=(scope, *told.notes),
    )
    decidable = told.homes("coverage", coverage="decidable")
    say = f"{told.text(decidable)} of {told.text(total)} homes are decidable for every measure "
    return Section("3  Coverage", (Words(say + "proposed for them."), grid))


def groups_of(told: Told) -> list[str]:
    """Measure groups that occur, in their fixed order."""
    there = set(told.release.tables["measures"]["measure_group"]) - {"all"}
    return [g for g in MEASURE_GROUPS if g in there] + sorted(there - set(MEASURE_GROUPS))


def _queues(told: Told, facts: Facts) -> Section:
    rows, lanes, bars = [], [], []
    for group in [*groups_of(told), "all"]:
        title = MEASURE_GROUPS.get(group, group) if group != "all" else "All measure groups"
        total = told.homes("measures", measure_group=group)
        decidable = told.homes("decidable", measure_group=group, decidable="yes")
        parts = [told.homes("measures", measure_group=group, queue=q.queue) for q in QUEUES]
        shares = [told.share(parts[0], decidable), told.share(parts[0], total)]
        rows.append(
            (title, *map(told.text, parts), told.text(total), told.text(decidable), *shares)
        )
        of = [told.homes("lanes", measure_group=group, lane=lane) for lane in LANES]
        lanes.append((title, *map(told.text, of), told.text(parts[2])))
        if group != "all" and total and total >= told.rule.percent_min:
            sizes = tuple(100 * share for share in shares_of(parts, total))
            numbers = tuple(f"{size:.0f}%" for size in sizes[:3])
            bars.append(Bar(title, sizes, f"n = {total:,}", numbers=numbers))
    home = [told.homes("queues", queue=q.queue) for q in QUEUES]
    heads = ("Safe to insulate", "Fix water first", "Specialist review", "All", "Decidable")
    main = Grid(
        "queues",
        f"Homes by measure group and queue, screened on evidence to {facts.as_of}",
        ("Measure group", *heads, "Safe of decidable", "Safe of all"),
        tuple(rows),
        notes=(
            "A home counts once in each measure group proposed for it, by the worst of its parts.",
            *told.notes,
        ),
    )
    by_lane = Grid(
        "lanes",
        "Specialist review by lane: who acts next",
        ("Measure group", *(LANES[lane][0].capitalize() for lane in LANES), "All review"),
        tuple(lanes),
        widths=(1.7, 1.05, 0.8, 1.3, 0.85, 1.05, 1.1, 0.9, 0.9),
        notes=(
            "A home with several lanes counts under the first of them, left to right. Evidence "
            "gap is missing information, not a technical finding.",
            *told.notes,
        ),
    )
    worst = ", ".join(
        f"{q.title.lower()} {told.text(n)}" for q, n in zip(QUEUES, home, strict=True)
    )
    judged = told.text(told.homes("queues"))
    words = f"Homes by their worst measure, of {judged} with one proposed: {worst}."
    blocks: list[Words | Grid | Figure] = [Words(words), main]
    if bars:
        blocks.append(_queue_figure(told, tuple(bars)))
    return Section("4  Queues by measure group", (*blocks, by_lane))


def _queue_figure(told: Told, bars: tuple[Bar, ...]) -> Figure:
    words = ("safe", "fix", "review")
    fix = [(bar.parts[1], bar.label) for bar in bars]
    most = max(fix)
    title = f"Fix water first is {most[0]:.0f}% of {most[1].lower()} homes, the most shown"
    if most[0] == 0:
        title = "No measure group that can be shown has a home in fix water first"
    alt = "; ".join(
        f"{b.label}: "
        + ", ".join(f"{w} {p:.0f}%" for w, p in zip(words, b.parts, strict=False) if p)
        for b in bars
    )
    left = f" Groups of fewer than {told.rule.percent_min} homes are left out."
    unit = f"Share of the homes of each measure group, percent; n homes at the right.{left}"
    return Figure("queue_shares", title, unit, alt + ".", bars, legend(told), says_all=True)


def _top(told: Told, table: str, column: str, words: dict[str, str]) -> list[tuple[str, str, int]]:
    """Categories whose count is printed, the largest first."""
    if not told.has(table):
        return []
    rows = told.release.tables[table].drop_nulls("homes")
    found = [(k, words.get(k, k), int(n)) for k, n in rows.select(column, "homes").iter_rows()]
    return sorted((f for f in found if f[0] != "all" and f[2] > 0), key=lambda f: (-f[2], f[0]))


def _ranked(
    told: Told, table: str, column: str, words: dict[str, str], heads: tuple[str, str, str]
) -> list[Grid | Figure | Words]:
    """A table and its bars: title of the table, of the category, and what a bar counts."""
    found = _top(told, table, column, words)
    if not found:
        return [Words(f"{heads[0]}: none that can be shown.")]
    whole = told.homes("queues")
    coded = [(f"{w} ({k})" if column == "rule_id" else w, n) for k, w, n in found]
    rows = tuple((w, told.text(n), told.share(n, whole)) for w, n in coded)
    once = "A home can count more than once, so the lines do not add up."
    if told.rule.withholds:
        once += " Withheld counts are not listed."
    drawn = f" The {TOP} largest." if len(found) > TOP else ""
    grid = Grid(
        table,
        f"{heads[0]}, of {told.text(whole)} homes with a measure proposed",
        (heads[1], "Homes", "Share of homes"),
        rows,
        notes=(once, *told.notes),
        on_paper=False,
    )
    bars = tuple(Bar(w, (float(n),), _with_share(told, n, whole)) for w, n in coded[:TOP])
    short = ((k if column == "rule_id" else w, n) for k, w, n in found[:TOP])
    alt = "; ".join(f"{w} {n:,}" for w, n in short) + "."
    title = f"{found[0][1]}: {heads[2]} {found[0][2]:,} homes, the most"
    of = f"homes, and share of n = {told.text(whole)} homes with a measure proposed"
    if whole is None:
        of = f"n homes; how many have a measure proposed is withheld ({STAR}), so no share"
    unit = f"{heads[0]}: {of}."
    note = f"{once}{drawn}"
    return [Figure(table + "_bars", title, unit, alt, bars, note=note, says_all=True), grid]


def _with_share(told: Told, homes: int, whole: int | None) -> str:
    """A count at the end of a bar, with its share where one is printed."""
    share = told.share(homes, whole)
    return f"{homes:,}" if share == NO_SHARE else f"{homes:,} · {share}"


def _reasons(told: Told, facts: Facts) -> Section:
    rules = _ranked(
        told,
        "reasons",
        "rule_id",
        dict(facts.rule_titles),
        ("Rules that fired, by homes affected", "Rule", "fired at"),
    )
    gaps = _ranked(
        told,
        "gaps",
        "field",
        dict(facts.field_labels),
        ("Missing answers, by homes waiting", "Answer", "missing at"),
    )
    return Section("6  Reasons", (*rules, *gaps, *facts.condensate))
