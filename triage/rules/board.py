"""What the rules of one measure group say on each reading, and what each name's absence means."""

from collections.abc import Iterable

import polars as pl

from triage.contract.expressions import bind, names_in, strict_names
from triage.contract.policy import Policy, Presumption, Rule
from triage.rules.frames import Frames


class Board:
    """The rules of one measure group on its rows.

    Columns of `answers()`: `a|`, `f|` and `c|` with `fires|<rule>` or `applies|<rule>`, the
    conditions on all, firm and clearing evidence; `null|<name>`, unknown to clearing evidence;
    `weak|<name>`, known to weak evidence only; `old|<field>`, too old; `p<n>` and `o<n>`,
    presumptions available today and in hope; `ask|<quantity>|<field>`, which field to ask for.
    """

    def __init__(self, group: str, frames: Frames, policy: Policy) -> None:
        self.group, self.frames, self.policy = group, frames, policy
        self.limits = policy.limits
        self.rules = policy.rules_of(group)
        self.presumptions: list[tuple[int, Presumption]] = [
            (n, item) for n, item in enumerate(policy.presumptions) if group in item.groups
        ]

    def answers(self) -> pl.DataFrame:
        """All the answers that the verdicts are made from, side by side."""
        every, firm, clear = self.frames.all, self.frames.firm, self.frames.clear
        stale = self.frames.stale
        names = self._names()
        weak = {f"weak|{n}": every[n].is_not_null() & firm[n].is_null() for n in names}
        old = [pl.col(name).alias(f"old|{name}") for name in names if name in stale.columns]
        columns = [
            every.select(self._conditions("a")),
            firm.select(self._conditions("f")),
            clear.select(self._conditions("c")),
            clear.select(pl.col(name).is_null().alias(f"null|{name}") for name in names),
            pl.DataFrame(weak),
            clear.select(self._circumstances(names)),
            stale.select(old),
            clear.select(self._available("p")),
            clear.with_columns(self._hopes()).select(self._available("o")),
        ]
        return pl.concat([part for part in columns if part.width], how="horizontal")

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

    def _available(self, letter: str) -> list[pl.Expr]:
        """Presumptions whose field is unknown and whose condition is shown."""
        return [
            (
                pl.col(item.field).is_null() & bind(item.when, self.limits).fill_null(value=False)
            ).alias(f"{letter}{n}")
            for n, item in self.presumptions
        ]

    def _hopes(self) -> list[pl.Expr]:
        """Context flags as they would be once the field they hope for is answered well."""
        return [
            (pl.col(quantity.name) | pl.col(quantity.hoped_from).is_null()).alias(quantity.name)
            for quantity in self.policy.quantities.values()
            if quantity.hoped_from is not None
        ]

    def _circumstances(self, names: list[str]) -> list[pl.Expr]:
        """When a quantity asks for which field."""
        return [
            bind(when, self.limits).fill_null(value=False).alias(f"ask|{name}|{field}")
            for name in names
            if name in self.policy.quantities
            for field, when in self.policy.quantities[name].asks_when
        ]

    def _names(self) -> list[str]:
        """Every field and quantity that any rule of the group reads or needs."""
        names: dict[str, None] = {}
        for rule in self.rules:
            needed = [name for any_of in rule.needs_in(self.group) for name in any_of]
            for name in (*self._reads(rule), *needed):
                names[name] = None
                names.update(dict.fromkeys(self.asks(name)))
        names.update(dict.fromkeys(item.field for _, item in self.presumptions))
        return [name for name in names if name in self.frames.clear.columns]

    def _reads(self, rule: Rule) -> list[str]:
        texts = [rule.fires, *([rule.applies] if rule.applies else [])]
        limits = self.policy.parameters
        return [name for sql in texts for name in names_in(sql) if name not in limits]

    def asks(self, name: str) -> tuple[str, ...]:
        """The survey fields that would settle a name: itself, or what its quantity asks for."""
        quantity = self.policy.quantities.get(name)
        return (name,) if quantity is None else quantity.fields

    def unknown(self, name: str) -> pl.Expr:
        """Not known well enough to clear."""
        return pl.col(f"null|{name}")

    def presumed(self, name: str) -> pl.Expr:
        """Whether any field that settles this name may be presumed on the row."""
        asks = self.asks(name)
        tests = [pl.col(f"p{n}") for n, item in self.presumptions if item.field in asks]
        return pl.any_horizontal(tests) if tests else pl.lit(value=False)

    def known(self, any_of: Iterable[str]) -> pl.Expr:
        """Any of the names is known well enough to clear."""
        return pl.any_horizontal([~self.unknown(name) for name in any_of])

    def met(self, any_of: tuple[str, ...]) -> pl.Expr:
        """A need is met: known, or presumed."""
        return self.known(any_of) | pl.any_horizontal([self.presumed(name) for name in any_of])

    def all_met(self, rule: Rule) -> pl.Expr:
        """Everything that the rule needs is known or presumed."""
        needs = rule.needs_in(self.group)
        tests = [self.met(any_of) for any_of in needs]
        return pl.all_horizontal(tests) if tests else pl.lit(value=True)

    def open_names(self, sql: str | None) -> list[str]:
        """Names whose absence can leave the condition open, context flags aside."""
        if sql is None:
            return []
        names = [name for name in strict_names(sql) if name not in self.policy.parameters]
        return [n for n in names if self.asks(n) and n in self.frames.clear.columns]

    def lacks(self, rule: Rule) -> list[tuple[str, pl.Expr]]:
        """Field and test: this field is what the rule lacks on the row.

        What the rule needs is asked first; a name that only matters once that is known is asked
        for only then.
        """
        applies = pl.col(f"c|applies|{rule.id}")
        concerned = applies.fill_null(value=False)
        needs = rule.needs_in(self.group)
        needed = {name for any_of in needs for name in any_of}
        lacks = []
        for any_of in needs:
            lacks += self._asked(any_of[0], ~self.met(any_of) & concerned)
        all_known = (
            pl.all_horizontal([self.known(a) for a in needs]) if needs else pl.lit(value=True)
        )
        for name in self.open_names(rule.fires):
            if name not in needed:
                open_here = self.unknown(name) & ~self.presumed(name) & concerned & all_known
                lacks += self._asked(name, open_here)
        for name in self.open_names(rule.applies):
            lacks += self._asked(
                name, self.unknown(name) & ~self.presumed(name) & applies.is_null()
            )
        return lacks

    def _asked(self, name: str, test: pl.Expr) -> list[tuple[str, pl.Expr]]:
        """The field to ask for when a name is missing; a quantity may ask by circumstance."""
        quantity = self.policy.quantities.get(name)
        if quantity is None or not quantity.asks_when:
            return [(self.asks(name)[0], test)]
        rest = test
        asked = []
        for field, _ in quantity.asks_when:
            on = pl.col(f"ask|{name}|{field}")
            asked.append((field, rest & on))
            rest = rest & ~on
        return [*asked, (quantity.asks[0], rest)]

    def weak(self, rule: Rule) -> list[tuple[str, pl.Expr]]:
        """Fields of the rule whose answers are only assumed or inherited, to be confirmed."""
        names = sorted(rule_fields(rule, self.group, self.policy) & set(self.frames.clear.columns))
        return [(name, pl.col(f"weak|{name}")) for name in names]


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
