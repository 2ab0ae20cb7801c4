"""What is known when records arrive: the homes surveyed, the visits, the records held."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

import polars as pl

from triage.contract import Contract, Programme, normalise
from triage.contract.policy import Policy
from triage.intake import read_sources
from triage.intake.record_sheets import id_column

HOME = ("property_id", "building_part")


@dataclass
class Known:
    """The ground on which records are checked.

    `homes` has each surveyed home and part once, `surveys` each survey_id with its home and part;
    `held` the latest version of every record of a kind, those that have just been taken included;
    `runs` the ids of the runs whose questions may be answered, `runs_told` which they are in words;
    without them the run of a visit list cannot be checked.
    """

    contract: Contract
    policy: Policy
    as_of: date
    homes: pl.DataFrame
    surveys: pl.DataFrame
    held: dict[str, pl.DataFrame] = field(default_factory=dict)
    runs: tuple[str, ...] = ()
    runs_told: str = ""

    def hold(self, kind: str, taken: pl.DataFrame) -> None:
        """Count rows that were taken among the records held."""
        names = list(self.contract.tables[kind].columns)
        key = id_column(self.contract, kind)
        rows = pl.concat([self.held[kind].select(names), taken.select(names)])
        self.held[kind] = rows.unique(key, keep="last", maintain_order=True)

    def visits(self) -> pl.DataFrame:
        """Every visit that a reading may belong to: visit_id with home and part."""
        inspection = self.held["inspection"].select("inspection_id", *HOME)
        opening = self.held["opening"].select("opening_id", "inspection_id")
        found = [
            self.surveys.rename({"survey_id": "visit_id"}),
            inspection.rename({"inspection_id": "visit_id"}),
            opening.join(inspection, on="inspection_id").select(
                pl.col("opening_id").alias("visit_id"), *HOME
            ),
            self.held["repair"].select(pl.col("repair_id").alias("visit_id"), *HOME),
        ]
        return pl.concat(found).drop_nulls().unique(maintain_order=True)


def survey_ground(
    programme: Programme,
    policy: Policy,
    contract: Contract,
    say: Callable[[str], None],
) -> Known:
    """Read the programme's surveys, for the homes and visits that records may name.

    Raises
    ------
    TriageError
        If a survey cannot be read: a home in it would look unknown.
    """
    spellings = {normalise(word): code for word, code in policy.measure_words.items()}
    intake = read_sources(programme, contract, spellings, lambda file: say(f"homes of {file}"))
    homes = intake.clean.select(HOME).unique(maintain_order=True)
    surveys = intake.clean.select("survey_id", *HOME).unique(maintain_order=True)
    return Known(contract, policy, programme.as_of, homes, surveys)
