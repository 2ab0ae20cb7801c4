"""Evaluates every rule on three readings of the evidence, and keeps every answer.

`all` holds every value, `firm` leaves out assumed and inherited ones, `clear` keeps only what is
good enough to clear. A rule fires on firm evidence; on weaker evidence alone it asks for
confirmation; it is clear only where what it needs is known well enough.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import polars as pl

from triage.contract.expressions import bind, names_in, strict_names
from triage.contract.policy import Policy, Presumption, Rule

NOT_APPLICABLE, CLEAR, PRESUMED, UNDECIDABLE, EXPIRED, CONFIRM, DISPUTED, FIRES, NOT_EVALUATED = (
    range(9)
)
RESULT_WORDS = (
    *("not_applicable", "clear", "presumed", "undecidable", "expired", "confirm_first"),
    *("disputed", "fires", "not_evaluated"),
)
MISSING = "miss__"
PRESUMES = "topic__"


@dataclass(frozen=True, slots=True)
class Frames:
    """The same assessment rows, in the same order, read three ways.

    `stale` is Boolean per field (`<field>`): it would count for clearing but for its age.
    """

    all: pl.DataFrame
    firm: pl.DataFrame
    clear: pl.DataFrame
    stale: pl.DataFrame

    def of_group(self, group: str) -> "Frames":
        """The rows of one measure group."""
        mask = self.all["measure_group"] == group
        return Frames(
            self.all.filter(mask),
            self.firm.filter(mask),
            self.clear.filter(mask),
            self.stale.filter(mask),
        )


@dataclass(frozen=True, slots=True)
class Answers:
    """What the rules said, one row per assessment row.

    `results` has a UInt8 a rule (see RESULT_WORDS); `missing` a Boolean `miss__<field>` a field
    that would settle an undecidable rule; `presumed` a Boolean a presumption, by its position.
    """

    results: pl.DataFrame
    missing: pl.DataFrame
    presumed: pl.DataFrame


def evaluate(frames: Frames, policy: Policy) -> Answers:
    """Evaluate the pack on assessment rows.

    Parameters
    ----------
    frames
        Assessment rows read three ways; `clear` and the others hold the context flags.
    policy
        The rules, presumptions and limits.

    Returns
    -------
    Answers
        In the row order of `frames`.
    """
    index = pl.int_range(frames.all.height, dtype=pl.UInt32, eager=True).alias("_row")
    parts = []
    for group in frames.all["measure_group"].unique().sort():
        rows = index.filter(frames.all["measure_group"] == group)
        parts.append(_Group(str(group), frames.of_group(str(group)), policy).answers(rows))
    if not parts:
        return Answers(*(pl.DataFrame() for _ in range(3)))
    order = pl.concat([part.results.select("_row") for part in parts])["_row"].arg_sort()
    joined = [
        pl.concat([getattr(part, name) for part in parts], how="diagonal")[order].drop("_row")
        for name in ("results", "missing", "presumed")
    ]
    blank = [rule for rule in policy.rules if rule not in joined[0].columns]
    results = joined[0].with_columns(pl.lit(NOT_APPLICABLE, pl.UInt8).alias(rule) for rule in blank)
    return Answers(
        results.select(pl.col(rule).fill_null(NOT_APPLICABLE) for rule in policy.rules),
        joined[1].select(pl.all().fill_null(value=False)),
        joined[2].select(pl.all().fill_null(value=False)),
    )


class _Group:
    """The rules of one measure group on its rows."""

    def __init__(self, group: str, frames: Frames, policy: Policy) -> None:
        self.group, self.frames, self.policy = group, frames, policy
        self.limits = {name: parameter.value for name, parameter in policy.parameters.items()}
        self.rules = policy.rules_of(group)
        self.gates = _required_gates(policy, group)
        self.missing: dict[str, list[pl.Expr]] = {}

    def answers(self, rows: pl.Series) -> Answers:
        presumed = self._presumed()
        board = self._board(presumed)
        results = board.select(self._result(rule) for rule in self.rules)
        # What is missing is asked of the answers, so it is drawn up after them.
        board = board.hstack(results)
        for rule in self.rules:
            self._collect_missing(rule)
        missing = board.select(
            pl.any_horizontal(tests).fill_null(value=False).alias(MISSING + name)
            for name, tests in sorted(self.missing.items())
        )
        used = board.select(self._used(n, item) for n, item in self._presumptions())
        waiting = [r.id for r in self.policy.rules.values() if r.awaits and self.group in r.groups]
        results = results.with_columns(
            pl.lit(NOT_EVALUATED, pl.UInt8).alias(name) for name in waiting
        )
        return Answers(
            *(
                frame.insert_column(0, rows)
                for frame in (results, _tall(missing, rows), _tall(used, rows))
            )
        )

    def _presumptions(self) -> list[tuple[int, Presumption]]:
        return [(n, p) for n, p in enumerate(self.policy.presumptions) if self.group in p.groups]

    def _presumed(self) -> pl.DataFrame:
        """Which presumption is available on which row: unknown, and its condition shown."""
        tests = [
            (
                pl.col(item.field).is_null() & bind(item.when, self.limits).fill_null(value=False)
            ).alias(f"p{n}")
            for n, item in self._presumptions()
        ]
        return _tall(self.frames.clear.select(tests), self.frames.clear.to_series(0))

    def _board(self, presumed: pl.DataFrame) -> pl.DataFrame:
        """All the answers that the verdicts are made from, side by side."""
        columns = [presumed]
        for letter, frame in (
            ("a", self.frames.all),
            ("f", self.frames.firm),
            ("c", self.frames.clear),
        ):
            columns.append(frame.select(self._conditions(letter)))
        names = self._names()
        clear, every, firm, stale = (
            self.frames.clear,
            self.frames.all,
            self.frames.firm,
            self.frames.stale,
        )
        columns.append(clear.select(pl.col(name).is_null().alias(f"null|{name}") for name in names))
        weak = [(name, every[name].is_not_null() & firm[name].is_null()) for name in names]
        columns.append(pl.DataFrame({f"weak|{name}": values for name, values in weak}))
        columns.append(clear.select(self._circumstances(names)))
        old = [name for name in names if name in stale.columns]
        columns.append(stale.select(pl.col(name).alias(f"old|{name}") for name in old))
        return pl.concat([c for c in columns if c.width], how="horizontal")

    def _conditions(self, letter: str) -> list[pl.Expr]:
        conditions = []
        for rule in self.rules:
            fires = bind(rule.fires, self.limits)
            applies = bind(rule.applies or "TRUE", self.limits)
            conditions += [
                fires.alias(f"{letter}|fires|{rule.id}"),
                applies.alias(f"{letter}|applies|{rule.id}"),
            ]
        return conditions

    def _names(self) -> list[str]:
        """Every field and quantity that any rule of the group reads or needs."""
        names: dict[str, None] = {}
        for rule in self.rules:
            for name in (
                *self._reads(rule),
                *(n for any_of in rule.needs_in(self.group) for n in any_of),
            ):
                names[name] = None
                names.update(dict.fromkeys(self._asks(name)))
        names.update(dict.fromkeys(item.field for _, item in self._presumptions()))
        return [name for name in names if name in self.frames.clear.columns]

    def _circumstances(self, names: list[str]) -> list[pl.Expr]:
        """When a quantity asks for which field."""
        return [
            bind(when, self.limits).fill_null(value=False).alias(f"ask|{name}|{field}")
            for name in names
            if name in self.policy.quantities
            for field, when in self.policy.quantities[name].asks_when
        ]

    def _reads(self, rule: Rule) -> list[str]:
        parameters = self.policy.parameters
        texts = [rule.fires, *([rule.applies] if rule.applies else [])]
        return [name for sql in texts for name in names_in(sql) if name not in parameters]

    def _asks(self, name: str) -> tuple[str, ...]:
        """The survey fields that would settle a name: itself, or what its quantity asks for."""
        quantity = self.policy.quantities.get(name)
        return (name,) if quantity is None else quantity.fields

    def _is_presumed(self, name: str) -> pl.Expr:
        """Whether any field that settles this name may be presumed on the row."""
        asks = self._asks(name)
        tests = [pl.col(f"p{n}") for n, item in self._presumptions() if item.field in asks]
        return pl.any_horizontal(tests) if tests else pl.lit(value=False)

    def _known(self, any_of: Iterable[str]) -> pl.Expr:
        return pl.any_horizontal([~pl.col(f"null|{name}") for name in any_of])

    def _met(self, any_of: tuple[str, ...]) -> pl.Expr:
        return self._known(any_of) | pl.any_horizontal([self._is_presumed(name) for name in any_of])

    def _open_names(self, sql: str) -> list[str]:
        """Names whose absence can leave the condition open, context flags aside."""
        known = {name for name in strict_names(sql) if name not in self.policy.parameters}
        return [name for name in known if self._asks(name) and name in self.frames.clear.columns]

    def _result(self, rule: Rule) -> pl.Expr:
        """The verdict of one rule, from its three readings."""
        needs = rule.needs_in(self.group)
        met = (
            pl.all_horizontal([self._met(any_of) for any_of in needs])
            if needs
            else pl.lit(value=True)
        )
        leaning = [~self._known(any_of) for any_of in needs]
        applies_names = self._open_names(rule.applies) if rule.applies else []
        unsure = [pl.col(f"null|{name}") & self._is_presumed(name) for name in applies_names]
        only_presumed = [
            ~pl.col(f"null|{name}") | self._is_presumed(name) for name in applies_names
        ]
        applies = {letter: pl.col(f"{letter}|applies|{rule.id}") for letter in "afc"}
        fires = {letter: pl.col(f"{letter}|fires|{rule.id}") for letter in "afc"}
        on = {letter: (applies[letter] & fires[letter]).fill_null(value=False) for letter in "afc"}
        # A field may leave the condition open only where it is itself presumed.
        leans = pl.any_horizontal(leaning) if leaning else pl.lit(value=False)
        open_names = self._open_names(rule.fires)
        excused = [~pl.col(f"null|{name}") | self._is_presumed(name) for name in open_names]
        excused_all = pl.all_horizontal(excused) if excused else pl.lit(value=True)
        settled = fires["c"].eq_missing(pl.lit(value=False))
        verdict = (
            pl.when(on["f"])
            .then(FIRES)
            .when(on["a"])
            .then(CONFIRM)
            .when(applies["c"].eq_missing(pl.lit(value=False)))
            .then(NOT_APPLICABLE)
            .when(applies["c"] & met & settled & ~leans)
            .then(CLEAR)
            .when(applies["c"] & met & (settled | (fires["c"].is_null() & excused_all)))
            .then(PRESUMED)
        )
        if unsure:
            guessed = (
                applies["c"].is_null()
                & pl.all_horizontal(only_presumed)
                & pl.any_horizontal(unsure)
            )
            verdict = verdict.when(guessed).then(PRESUMED)
        if rule.outcome == "clears-gate":
            return _gate_result(rule.id, applies["c"], fires["c"])
        by_age = self._only_age(rule)
        return (
            verdict.when(by_age).then(EXPIRED).otherwise(UNDECIDABLE).cast(pl.UInt8).alias(rule.id)
        )

    def _lacks(self, rule: Rule) -> list[tuple[str, pl.Expr]]:
        """Field and test: this field is missing to this rule on this row."""
        applies = pl.col(f"c|applies|{rule.id}")
        needs = rule.needs_in(self.group)
        concerned = applies.fill_null(value=False)
        lacks = []
        for any_of in needs:
            lacks += self._asked(any_of[0], ~self._met(any_of) & concerned)
        for name in self._open_names(rule.fires):
            if not any(name in any_of for any_of in needs):
                lacks += self._asked(
                    name, pl.col(f"null|{name}") & ~self._is_presumed(name) & concerned
                )
        for name in self._open_names(rule.applies) if rule.applies else []:
            unknown = pl.col(f"null|{name}") & ~self._is_presumed(name) & applies.is_null()
            lacks += self._asked(name, unknown)
        return lacks

    def _asked(self, name: str, test: pl.Expr) -> list[tuple[str, pl.Expr]]:
        """The field to ask for when a name is missing; a quantity may ask by circumstance."""
        quantity = self.policy.quantities.get(name)
        if quantity is None or not quantity.asks_when:
            return [(self._asks(name)[0], test)]
        rest = test
        asked = []
        for field, _ in quantity.asks_when:
            on = pl.col(f"ask|{name}|{field}")
            asked.append((field, rest & on))
            rest = rest & ~on
        return [*asked, (quantity.asks[0], rest)]

    def _only_age(self, rule: Rule) -> pl.Expr:
        """Whether age is the only thing that keeps the rule open."""
        columns = set(self.frames.stale.columns)
        lacks = self._lacks(rule)
        if not lacks:
            return pl.lit(value=False)
        aged = [
            ~test | (pl.col(f"old|{name}") if name in columns else pl.lit(value=False))
            for name, test in lacks
        ]
        return pl.all_horizontal(aged) & pl.any_horizontal([test for _, test in lacks])

    def _collect_missing(self, rule: Rule) -> None:
        """Ask only for what a gating rule lacks, or must confirm."""
        required = self.policy.groups[self.group].required
        result = pl.col(rule.id)
        if rule.id in required or rule.id in self.gates:
            for name, test in self._lacks(rule):
                self.missing.setdefault(name, []).append(
                    result.is_in([UNDECIDABLE, EXPIRED]) & test
                )
        if rule.outcome in ("fix-water-first", "specialist-review"):
            for name in sorted(self._fields_of(rule) & set(self.frames.clear.columns)):
                self.missing.setdefault(name, []).append(
                    (result == CONFIRM) & pl.col(f"weak|{name}")
                )

    def _used(self, number: int, item: Presumption) -> pl.Expr:
        """Whether a presumption carries any gating rule's answer on the row."""
        tests = [
            (pl.col(rule.id) == PRESUMED)
            for rule in self.rules
            if rule.outcome in ("fix-water-first", "specialist-review")
            and item.field in self._fields_of(rule)
        ]
        used = pl.any_horizontal(tests) if tests else pl.lit(value=False)
        return (used & pl.col(f"p{number}")).alias(f"{PRESUMES}{number}")

    def _fields_of(self, rule: Rule) -> set[str]:
        return rule_fields(rule, self.group, self.policy)


def rule_fields(rule: Rule, group: str, policy: Policy) -> set[str]:
    """Survey fields that a rule reads or needs for a group, through its quantities too."""
    texts = [rule.fires, *([rule.applies] if rule.applies else [])]
    names = {name for sql in texts for name in names_in(sql) if name not in policy.parameters}
    names |= {name for any_of in rule.needs_in(group) for name in any_of}
    fields: set[str] = set()
    for name in names:
        quantity = policy.quantities.get(name)
        fields |= {name} if quantity is None else set(quantity.fields)
    return fields


def _gate_result(rule: str, applies: pl.Expr, fires: pl.Expr) -> pl.Expr:
    """A gate is met on evidence that clears or not at all: `fires` met, `clear` known not met."""
    return (
        pl.when(applies.eq_missing(pl.lit(value=False)))
        .then(NOT_APPLICABLE)
        .when((applies & fires).fill_null(value=False))
        .then(FIRES)
        .when(applies & fires.eq_missing(pl.lit(value=False)))
        .then(CLEAR)
        .otherwise(UNDECIDABLE)
        .cast(pl.UInt8)
        .alias(rule)
    )


def _required_gates(policy: Policy, group: str) -> set[str]:
    """Gates that the group, or any of its measures, must show."""
    wanted = [*policy.groups[group].required_clearances]
    for measure in policy.measures.values():
        if measure.group == group:
            wanted += measure.required_clearances
    return {gate for any_of in wanted for gate in any_of}


def _tall(frame: pl.DataFrame, like: pl.Series) -> pl.DataFrame:
    """A frame without columns has no height; give it the rows it stands for."""
    return (
        frame if frame.width else pl.DataFrame({"_none": pl.repeat(False, len(like), eager=True)})
    )


def result_counts(results: pl.DataFrame) -> Mapping[str, dict[str, int]]:
    """How often each rule gave each answer, for the run record."""
    return {
        name: {
            RESULT_WORDS[code]: int(count)
            for code, count in results[name].value_counts().sort(name).iter_rows()
        }
        for name in results.columns
    }
