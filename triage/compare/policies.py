"""Which homes would move if the policy were another: one stock judged with two packs."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import polars as pl

from triage.compare.judging import STATE, judge_again
from triage.compare.result import grid, home_words, matrix, state
from triage.compare.sides import Inputs, open_side
from triage.contract import load_contract
from triage.contract.expressions import names_in
from triage.contract.policy import Policy, Rule
from triage.contract.policy_load import load_policy, policy_dir
from triage.errors import StoreError
from triage.programme_run import open_programme
from triage.records import load_records
from triage.report.labels import visible
from triage.report.table_book import TableSheet, csv_text, write_tables
from triage.rules.codes import RESULT_WORDS
from triage.rules.table import ID
from triage.runs import new_run_folder

_SHOWN = 20
_NOT_CONTENT = ("file", "line", "digest", "name", "version", "title")
_CHANGE = pl.Schema(dict.fromkeys(("kind", "name", "what", "before", "after", "rules"), pl.String))


@dataclass(frozen=True)
class PolicyComparison:
    """One stock under two packs.

    `changes` has one row per difference of the packs; `moved` the rows that would move, with
    `rules`, those whose answer is another; `by_rule` counts them.
    """

    packs: tuple[Policy, Policy]
    changes: pl.DataFrame
    rows: pl.DataFrame
    moved: pl.DataFrame
    by_rule: pl.DataFrame
    outputs: tuple[Path, ...] = ()

    @property
    def exit_code(self) -> int:
        """0: the packs were compared."""
        return 0

    def queues(self) -> pl.DataFrame:
        """Queue by queue."""
        return matrix(self.rows, pl.col("from_queue"), pl.col("to_queue"))

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain values, for JSON."""
        return {
            "format": 1,
            "policies": [_named(pack) for pack in self.packs],
            "changes": self.changes.to_dicts(),
            "queues": self.queues().to_dicts(),
            "by_rule": self.by_rule.to_dicts(),
            "moved": self.moved.select(*ID, "from_state", "to_state", "rules").to_dicts(),
            "outputs": [path.as_posix() for path in self.outputs],
        }

    def lines(self) -> Iterator[str]:
        """The comparison in words."""
        for word, pack in zip(("first", "second"), self.packs, strict=True):
            yield f"{word:6} policy {_named(pack)}"
        yield f"{self.changes.height:,} differences between the packs"
        for row in self.changes.head(_SHOWN).iter_rows(named=True):
            used = f" (rules {row['rules']})" if row["rules"] else ""
            yield visible(
                f"  {row['kind']} {row['name']}, {row['what']}: "
                f"{row['before']} -> {row['after']}{used}"
            )
        yield ""
        yield from grid(self.queues())
        yield ""
        homes = self.moved["property_id"].n_unique()
        yield f"{self.moved.height:,} home-part-measures of {homes:,} homes would move."
        for row in self.by_rule.iter_rows(named=True):
            yield f"  {row['rule']} {row['title']}: {row['rows']:,} rows, {row['homes']:,} homes"
        for row in self.moved.head(_SHOWN).iter_rows(named=True):
            rules = ", ".join(row["rules"]) or "no rule by itself"
            yield f"  {home_words(row)}: {row['from_state']} -> {row['to_state']} ({rules})"
        yield from (f"wrote {path}" for path in self.outputs)


def compare_policies(
    stock: Path, packs: tuple[str, str], out: Path | None, say: Callable[[str], None]
) -> PolicyComparison:
    """Judge one stock with two packs.

    Parameters
    ----------
    stock
        A programme file, or the folder of a finished run, whose stored inputs are then judged.
    packs
        Names or folders, relative to the current folder.
    out
        Folder to make for the tables and the workbook; None writes nothing.
    say
        Told what is about to happen.

    Raises
    ------
    TriageError
        A pack, programme or run that cannot be used.
    """
    policies = tuple(load_policy(policy_dir(name, Path.cwd())) for name in packs)
    inputs = _inputs(stock)
    found = []
    for policy in policies:
        say(f"judging with {_named(policy)}")
        mine = replace(inputs, policy=policy)
        found.append(judge_again(mine, None, ("queue", "rule_result")))
    rows = _rows(found[0]["queue"], found[1]["queue"])
    moved = rows.filter(pl.col("from_state") != pl.col("to_state"))
    changed = _changed_answers(moved, found[0]["rule_result"], found[1]["rule_result"])
    moved = _with_rules(moved, changed)
    titles = {r.id: r.title for policy in policies for r in policy.rules.values()}
    by_rule = _by_rule(changed, titles)
    pair = policies[0], policies[1]
    made = PolicyComparison(pair, policy_changes(*pair), rows, moved, by_rule)
    return made if out is None else _write(made, out)


def _inputs(stock: Path) -> Inputs:
    if stock.is_dir():
        side = open_side(stock, second=False)
        if side.inputs is None:
            fix = "name a programme file, or run the programme again"
            raise StoreError("the inputs of the run cannot be used", str(side.problem), fix)
        return side.inputs
    programme, policy = open_programme(stock)
    return Inputs(programme, policy, load_records(programme, load_contract()).tables, {})


def _named(policy: Policy) -> str:
    return f"{policy.name} {policy.version} ({policy.digest[:12]})"


def _rows(before: pl.DataFrame, after: pl.DataFrame) -> pl.DataFrame:
    names = (*STATE, "main_rule", "reason")
    was, now = (
        frame.select(*ID, "measure_name", *(pl.col(n).alias(at + n) for n in names))
        for frame, at in ((before, "from_"), (after, "to_"))
    )
    rows = was.join(now, on=ID, how="full", coalesce=True, suffix="_now").sort(ID)
    return rows.with_columns(
        pl.coalesce("measure_name", "measure_name_now").alias("measure_name"),
        state("from_").alias("from_state"),
        state("to_").alias("to_state"),
    ).drop("measure_name_now")


def _changed_answers(
    moved: pl.DataFrame, before: pl.DataFrame, after: pl.DataFrame
) -> pl.DataFrame:
    """Key, `rule`, `was` and `is` of every rule whose answer is another, of rows that moved."""
    long = [
        frame.join(moved.select(ID), on=ID, how="semi").unpivot(
            index=list(ID), variable_name="rule", value_name=name
        )
        for frame, name in ((before, "was"), (after, "is"))
    ]
    words = dict(enumerate(RESULT_WORDS))
    pairs = long[0].join(long[1], on=[*ID, "rule"], how="full", coalesce=True)
    changed = pairs.filter(pl.col("was").ne_missing(pl.col("is")))
    told = [
        pl.col(name).replace_strict(words, return_dtype=pl.String).fill_null("no such rule")
        for name in ("was", "is")
    ]
    return changed.with_columns(told).sort(*ID, "rule")


def _with_rules(moved: pl.DataFrame, changed: pl.DataFrame) -> pl.DataFrame:
    text = pl.format("{}: {} -> {}", "rule", "was", "is")
    listed = changed.group_by(ID, maintain_order=True).agg(text.alias("rules"))
    nothing = pl.lit([], pl.List(pl.String))
    return moved.join(listed, on=ID, how="left", maintain_order="left").with_columns(
        pl.coalesce("rules", nothing).alias("rules")
    )


def _by_rule(changed: pl.DataFrame, titles: Mapping[str, str]) -> pl.DataFrame:
    return (
        changed.group_by("rule")
        .agg(pl.len().alias("rows"), pl.col("property_id").n_unique().alias("homes"))
        .with_columns(
            pl.col("rule").replace_strict(titles, default="", return_dtype=pl.String).alias("title")
        )
        .select("rule", "title", "rows", "homes")
        .sort("rows", "rule", descending=[True, False])
    )


def policy_changes(before: Policy, after: Policy) -> pl.DataFrame:
    """What differs between two packs: kind, name, what, before, after, and rules that use it."""
    told = []
    for kind in (f.name for f in fields(Policy)):
        if kind not in _NOT_CONTENT:
            was, now = _entries(getattr(before, kind)), _entries(getattr(after, kind))
            for name in dict.fromkeys([*was, *now]):
                for what, old, new in _differences(was.get(name), now.get(name)):
                    rules = ""
                    if kind == "parameters":
                        rules = ", ".join(_users(name, before, after))
                    told.append((kind.replace("_", " "), name, what, old, new, rules))
    return pl.DataFrame(told, schema=_CHANGE, orient="row")


def _entries(value: object) -> dict[str, object]:
    """A part of a pack as named entries."""
    if isinstance(value, Mapping):
        return {str(name): entry for name, entry in value.items()}
    if isinstance(value, tuple):
        return {f"entry {number}": entry for number, entry in enumerate(value, start=1)}
    if is_dataclass(value):
        return {f.name: getattr(value, f.name) for f in fields(value)}
    return {"": value}


def _differences(was: object, now: object) -> Iterator[tuple[str, str, str]]:
    if was is None or now is None:
        if was is not now:
            yield "entry", _short(was), _short(now)
    elif is_dataclass(was) and is_dataclass(now):
        for item in fields(was):
            pair = getattr(was, item.name), getattr(now, item.name, None)
            if item.name not in ("file", "line") and pair[0] != pair[1]:
                yield item.name, _short(pair[0]), _short(pair[1])
    elif was != now:
        yield "value", _short(was), _short(now)


def _short(value: object) -> str:
    if value is None:
        return "none"
    return "there" if is_dataclass(value) else str(value)


def _users(parameter: str, *packs: Policy) -> list[str]:
    """Rules of either pack whose condition names a parameter, or a quantity judged by it."""
    found = {
        rule.id for pack in packs for rule in pack.rules.values() if parameter in _names(rule, pack)
    }
    return sorted(found)


def _names(rule: Rule, pack: Policy) -> set[str]:
    texts = [rule.fires, *([rule.applies] if rule.applies else [])]
    names = {name for sql in texts for name in names_in(sql)}
    limits = {
        limit for name in names & pack.quantities.keys() for limit in pack.quantities[name].limits
    }
    return names | limits


def _write(made: PolicyComparison, out: Path) -> PolicyComparison:
    names = ("movement.parquet", "movement.csv", "movement.xlsx")
    stamp = " → ".join(_named(pack) for pack in made.packs)
    sheets = [
        TableSheet("Queues", "First policy (down) to second (across)", made.queues()),
        TableSheet("By rule", "Rows that would move, by rule with another answer", made.by_rule),
        TableSheet("Moved", "Every home-part-measure that would move", made.moved),
        TableSheet("Differences", "What differs between the packs", made.changes),
    ]
    with new_run_folder(out) as folder:
        made.moved.write_parquet(folder / names[0])
        csv_text(made.moved).write_csv(folder / names[1])
        write_tables(folder / names[2], sheets, stamp)
    return replace(made, outputs=tuple(out / name for name in names))
