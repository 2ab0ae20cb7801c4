"""Turns the answers into the lists and sentences that people read."""

from collections.abc import Callable, Sequence
from operator import attrgetter

import polars as pl

from triage.contract.policy import GATING, Policy, Rule
from triage.rules.codes import (
    CONFIRM,
    DISPUTED,
    EXPIRED,
    FIRES,
    MISSING,
    PRESUMES,
    UNDECIDABLE,
)
from triage.rules.patterns import word_lists
from triage.rules.queue import FIX, REVIEW, SAFE


def by_severity(rules: Sequence[Rule]) -> list[Rule]:
    """Worst first; equal ones in the register's order."""
    return sorted(rules, key=lambda rule: -rule.severity)


class Writer:
    """Writes the word columns of assessments from their rule results."""

    def __init__(self, policy: Policy, results: pl.DataFrame, base: pl.DataFrame) -> None:
        self.policy, self.results, self.base = policy, results, base
        self.gating = by_severity([r for r in policy.rules.values() if r.outcome in GATING])

    def lists(self, missing: pl.DataFrame, presumed: pl.DataFrame) -> pl.DataFrame:
        """All list columns, one row per assessment.

        Parameters
        ----------
        missing, presumed
            As evaluated: Boolean columns `miss__…` and `topic__…`.
        """
        ids, action = attrgetter("id"), attrgetter("next_action")
        fired = self.gating
        repairs = [rule for rule in fired if rule.outcome == FIX]
        columns = {
            "fired": self._where(fired, (FIRES,), ids),
            "fired_fix": self._where(repairs, (FIRES,), ids),
            "fired_review": self._where(
                [r for r in fired if r.outcome == REVIEW and r.lane != "safety"], (FIRES,), ids
            ),
            "fired_safety": self._where([r for r in fired if r.lane == "safety"], (FIRES,), ids),
            "undecidable": self._required_open(ids),
            "confirm_first": self._where(fired, (CONFIRM,), ids),
            "disputed": self._where(fired, (DISPUTED,), ids),
            "missing": word_lists(
                missing.select(_named(missing, MISSING)),
                [c.removeprefix(MISSING) for c in _named(missing, MISSING)],
            ),
            "presumed": self._presumed(presumed, "topic"),
            "presumed_checks": self._presumed(presumed, "check"),
            "rule_checks": self._checks(),
            "enabling": self._where(self._of("enabling-work"), (FIRES,), action),
            "notes": self._notes(),
            "stop_work": self._stop_work(),
            "cautions": self._where(
                [r for r in fired if r.cautions],
                (FIRES, DISPUTED, CONFIRM),
                lambda r: f"{r.id}: {r.cautions}",
            ),
            "fix_actions": self._where(repairs, (FIRES,), action),
            "disputed_actions": self._where(repairs, (DISPUTED,), action),
            "review_actions": self._where(
                [r for r in fired if r.outcome == REVIEW], (FIRES,), action
            ),
        }
        return pl.DataFrame(columns)

    def _of(self, outcome: str) -> list[Rule]:
        return by_severity([r for r in self.policy.rules.values() if r.outcome == outcome])

    def _where(
        self, rules: Sequence[Rule], codes: tuple[int, ...], word: Callable[[Rule], str]
    ) -> pl.Series:
        flags = self.results.select(pl.col(r.id).is_in(list(codes)) for r in rules)
        return word_lists(flags, [word(r) for r in rules])

    def _required_open(self, word: Callable[[Rule], str]) -> pl.Series:
        """Rules that the row's group requires and that could not be decided."""
        board = self.results.with_columns(self.base["measure_group"])
        flags = board.select(
            pl.col(r.id).is_in([UNDECIDABLE, EXPIRED])
            & pl.col("measure_group").is_in(self.policy.groups_requiring(r.id))
            for r in self.gating
        )
        return word_lists(flags, [word(r) for r in self.gating])

    def _presumed(self, presumed: pl.DataFrame, what: str) -> pl.Series:
        names = _named(presumed, PRESUMES)
        items = [self.policy.presumptions[int(name.removeprefix(PRESUMES))] for name in names]
        words = [item.topic if what == "topic" else item.check for item in items]
        return word_lists(presumed.select(names), words)

    def _checks(self) -> pl.Series:
        """Checks that rules ask for: fired or unanswered checks, unanswered enabling work."""
        # What is presumed brings the presumption's own check, so it asks for no other here.
        every = (FIRES, UNDECIDABLE, EXPIRED, CONFIRM, DISPUTED)
        checks = self._of("pre-start-check")
        # A quiet entry leaves the unknown to its base rule, but never hides a doubtful answer.
        open_ones = [code for code in every if code != FIRES]
        enabling = self._of("enabling-work")
        flags = self.results.select(
            *(pl.col(r.id).is_in(list(every)) for r in checks),
            *(pl.col(r.id).is_in([CONFIRM, DISPUTED] if r.quiet else open_ones) for r in enabling),
        )
        words = [r.next_action for r in checks] + [
            f"Find out, and if so: {r.next_action}" for r in enabling
        ]
        return word_lists(flags, words)

    def _notes(self) -> pl.Series:
        notes = self._of("note")
        flags = []
        for rule in notes:
            on = pl.col(rule.id) == FIRES
            if rule.note_on:
                on = on & pl.any_horizontal(
                    pl.col(name).is_in([FIRES, DISPUTED]) for name in rule.note_on
                )
            flags.append(on.alias(rule.id))
        words = [f"{r.id}: {r.next_action}" for r in notes]
        return word_lists(self.results.select(flags), words)

    def _stop_work(self) -> pl.Series:
        """Known hazards by name, and those still to be checked."""
        rules = [r for r in self.policy.rules.values() if r.stop_work]
        known = [r for r in rules if r.outcome in GATING]
        checks = [r for r in rules if r.outcome not in GATING]
        flags = self.results.select(
            *(pl.col(r.id).is_in([FIRES, DISPUTED, CONFIRM]) for r in known),
            *(pl.col(r.id).is_in([FIRES, UNDECIDABLE, EXPIRED, CONFIRM, DISPUTED]) for r in checks),
        )
        words = [f"{r.stop_work}: known" for r in known] + [
            f"{r.stop_work}: to be checked" for r in checks
        ]
        return word_lists(flags, words)


def _named(frame: pl.DataFrame, prefix: str) -> list[str]:
    return [name for name in frame.columns if name.startswith(prefix)]


def main_rule() -> pl.Expr:
    """The rule that decided: by queue, then by lane, the most severe."""
    disputed = pl.col("disputed").list.first()
    return (
        pl.when(pl.col("queue") == FIX)
        .then(pl.coalesce(pl.col("fired_fix").list.first(), disputed))
        .when(pl.col("lane").is_in(["technical", "inspection", "repeat_return"]))
        .then(pl.coalesce(pl.col("fired_review").list.first(), pl.col("fired").list.first()))
        .when(pl.col("lane") == "safety")
        .then(pl.col("fired_safety").list.first())
        .when(pl.col("lane") == "contradiction")
        .then(
            pl.coalesce(
                disputed,
                pl.col("confirm_first").list.first(),
                pl.col("undecidable").list.first(),
            )
        )
        .when(pl.col("queue") == REVIEW)
        .then(pl.coalesce(pl.col("confirm_first").list.first(), pl.col("undecidable").list.first()))
    )


def reason(policy: Policy) -> pl.Expr:
    """Why the row is where it is, in one sentence. Needs `main_rule`."""
    rules = policy.rules.values()
    titles = {rule.id: f"{rule.title} ({rule.id})." for rule in rules}
    told = {rule.id: f"{rule.title} ({rule.id}). {rule.statement}" for rule in rules}
    title = pl.col("main_rule").replace_strict(titles, default=None, return_dtype=pl.String)
    full = pl.col("main_rule").replace_strict(told, default=None, return_dtype=pl.String)
    lane, nameless = pl.col("lane"), pl.col("main_rule").is_null()
    gap = lane == "evidence_gap"
    return (
        pl.when(pl.col("queue") == SAFE)
        .then(pl.lit("No screening rule of this policy blocks this measure on the evidence held."))
        .when(lane == "repeat_return")
        .then(pl.lit("Came back from repair again, for the same reason: ") + title)
        .when((lane == "technical") & pl.col("refused"))
        .then(pl.lit("A specialist refused this measure as specified; see the decision."))
        .when(lane == "contradiction")
        .then(pl.concat_str(pl.lit("Two records disagree, and it matters: "), title.fill_null("")))
        .when(gap & (pl.col("confirm_first").list.len() > 0))
        .then(pl.lit("Confirm first: an assumed answer points to: ") + title)
        .when(gap & nameless & pl.col("clearance_open"))
        .then(pl.lit("A clearance that this measure requires is not answered yet."))
        .when(gap & pl.col("wants_evidence"))
        .then(pl.lit("A specialist asks for more evidence; see the decision."))
        .when(gap & nameless)
        .then(pl.lit("Too much would have to be presumed: too many water topics not looked at."))
        .when(gap)
        .then(pl.lit("Not enough evidence to decide: ") + title)
        .when(lane == "expired")
        .then(pl.lit("Evidence is out of date: ") + title)
        .when((lane == "inspection") & nameless)
        .then(pl.lit("Foam already there: no inspection has shown dry, sound timber behind it."))
        .when(nameless)
        .then(pl.lit("A clearance that this measure requires is not shown."))
        .otherwise(full)
    )


def next_action() -> pl.Expr:
    """What to do next, in plain words."""
    lane = pl.col("lane")
    labels = pl.col("missing").list.eval(pl.element().str.replace_all("_", " ")).list.join(", ")
    visit = pl.when(pl.col("missing").list.len() > 0).then(
        pl.concat_str(pl.lit("Visit and record: "), labels, pl.lit("."))
    )
    # Where each record calls for another repair, all of them are named; else only what is sure.
    sure = pl.col("fix_actions").list
    fix = (
        pl.when(sure.len() > 0)
        .then(sure.join(" "))
        .otherwise(pl.col("disputed_actions").list.join(" "))
    )
    review = pl.col("review_actions").list.join(" ")
    return (
        pl.when(pl.col("queue") == SAFE)
        .then(
            pl.when(pl.col("released"))
            .then(pl.lit("Ready to release, with the usual look on the day."))
            .otherwise(
                pl.lit(
                    "Do the outstanding checks and enabling work; release when they are on file."
                )
            )
        )
        .when(pl.col("queue") == FIX)
        .then(fix)
        .when(lane == "repeat_return")
        .then(pl.lit("A specialist looks for the cause before anything is repaired again."))
        .when(lane == "inspection")
        .then(pl.concat_str(pl.lit("Open up and inspect the foamed roof. "), review))
        .when(lane == "contradiction")
        .then(pl.concat_str(pl.lit("Confirm on site, with a photograph: "), labels, pl.lit(".")))
        .when(lane == "expired")
        .then(
            pl.coalesce(
                pl.concat_str(pl.lit("Refresh: "), labels, pl.lit(".")), pl.lit("Survey again.")
            )
        )
        .when(lane == "evidence_gap")
        .then(pl.coalesce(visit, pl.lit("Look at the presumed items on site.")))
        .when(pl.col("review_actions").list.len() > 0)
        .then(review)
        .otherwise(pl.concat_str(pl.lit("Specialist decides. "), fix))
    )
