"""What every output says about the run that made it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True)
class RunContext:
    """Identity, limits and row counts of one run.

    `rows_read = rows_accepted + rows_rejected + rows_superseded`; anything else is refused,
    because a total that does not reconcile makes every other number doubtful.
    `stock_total` is the number of homes in the programme, None if it was not declared.
    `homes_surveyed` counts homes with an accepted row, whether or not a measure is proposed.
    `not_assessed` counts proposals whose measure the policy does not know.
    """

    name: str
    country_code: str
    as_of: date
    policy_name: str
    policy_version: str
    policy_hash: str
    run_id: str
    rows_read: int
    rows_accepted: int
    rows_rejected: int
    rows_superseded: int
    software: str = ""
    stock_total: int | None = None
    homes_surveyed: int | None = None
    not_assessed: int = 0
    not_evaluated: tuple[str, ...] = ()
    to_know: tuple[str, ...] = ()  # what the terminal says besides, one line each
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()  # climate, zones and maps: one short line each
    rule_titles: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        used = self.rows_accepted + self.rows_rejected + self.rows_superseded
        if used != self.rows_read:
            raise ValueError(f"{self.rows_read} rows read, but {used} accounted for")

    def homes_line(self, assessed: int) -> str:
        """How many homes were surveyed, of how many, and for how many a measure is judged."""
        stock = "" if self.stock_total is None else f" of {self.stock_total:,} in the stock"
        if self.homes_surveyed is None:
            return f"{assessed:,} homes{stock}"
        surveyed = f"{self.homes_surveyed:,} homes surveyed{stock}"
        return f"{surveyed}, {assessed:,} with something to judge"

    @property
    def policy(self) -> str:
        """Policy pack as people quote it: name, version and the start of its hash."""
        return f"{self.policy_name} {self.policy_version} ({self.policy_hash[:12]})"

    @property
    def stamp(self) -> str:
        """One line that goes on every sheet and picture."""
        return (
            f"{self.name} · as of {self.as_of:%d %B %Y} · policy {self.policy} · run {self.run_id}"
        )
