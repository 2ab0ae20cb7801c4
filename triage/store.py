"""The DuckDB file of a run. Nothing else opens it."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any

import duckdb
import polars as pl

from triage.errors import StoreError

_NAME = re.compile(r"[a-z][a-z0-9_]*")
_MAKES = re.compile(r"\bTABLE\s+([a-z][a-z0-9_]*)")
_HOLDER = re.compile(r"PID (\d+)")
_LOCKED = re.compile(r"set lock on file|Conflicting lock|file is already open", re.IGNORECASE)


class StoreLockedError(StoreError):
    """Another process holds the store."""


class Store:
    """One open store. Use it as a context manager.

    Parameters
    ----------
    path
        The DuckDB file; made if it is not there and `read_only` is false.
    read_only
        Open for questions only; several readers may do so at once.

    Raises
    ------
    StoreLockedError
        If another process holds the file.
    StoreError
        If it is not a store, or a damaged one.
    """

    def __init__(self, path: Path, *, read_only: bool = False) -> None:
        self.path = path
        # Frames just written, so that the next stage need not read them back.
        self._at_hand: dict[str, pl.DataFrame] = {}
        if read_only and not path.is_file():
            raise StoreError("there is no store", str(path), "name the folder of a finished run")
        try:
            self._con = duckdb.connect(str(path), read_only=read_only)
        except duckdb.Error as problem:
            holder = _HOLDER.search(str(problem))
            if _LOCKED.search(str(problem)) is None:
                what = f"the store cannot be opened: {str(problem).splitlines()[0]}"
                raise StoreError(what, str(path), "name the folder of a finished run") from problem
            by = f" (process {holder[1]})" if holder else ""
            raise StoreLockedError(
                f"the store is locked by another run{by}",
                str(path),
                "wait until that run has ended, or write to another folder",
            ) from problem

    def put(self, name: str, frame: pl.DataFrame, ddl: str | None = None) -> None:
        """Write a table, replacing one of that name, and keep the frame at hand.

        With `ddl`, the statement that declares the table, its types and keys are enforced.
        """
        if not _NAME.fullmatch(name):
            raise ValueError(f"not a table name: {name!r}")
        self._con.register("incoming", frame.to_arrow())
        if ddl is None:
            self._con.execute(f"CREATE OR REPLACE TABLE {name} AS SELECT * FROM incoming")
        else:
            self._con.execute(f"DROP TABLE IF EXISTS {name}")
            self._con.execute(ddl)
            self._con.execute(f"INSERT INTO {name} BY NAME SELECT * FROM incoming")
        self._con.unregister("incoming")
        self._at_hand[name] = frame

    def add(self, name: str, frame: pl.DataFrame, ddl: str) -> None:
        """Add rows to a table, which `ddl` declares if it is not there yet.

        Columns that the table lacks are added to it, null in the rows that are there.
        """
        if not _NAME.fullmatch(name):
            raise ValueError(f"not a table name: {name!r}")
        if name not in self.tables():
            self._con.execute(ddl)
        self._con.register("incoming", frame.to_arrow())
        there = self._columns(name)
        for column, kind in self._columns("incoming").items():
            if column not in there:
                self._con.execute(f'ALTER TABLE {name} ADD COLUMN "{column}" {kind}')
        self._con.execute(f"INSERT INTO {name} BY NAME SELECT * FROM incoming")
        self._con.unregister("incoming")
        self._at_hand.pop(name, None)

    def tables(self) -> list[str]:
        """Names of the tables there are."""
        sql = "SELECT table_name FROM information_schema.tables ORDER BY table_name"
        return [str(name) for name in self.ask(sql)["table_name"]]

    @contextmanager
    def all_or_nothing(self) -> Iterator[None]:
        """One transaction: what the block wrote is kept whole, or not at all."""
        self._con.begin()
        try:
            yield
        except BaseException:
            self._con.rollback()
            self._at_hand.clear()
            raise
        self._con.commit()

    def _columns(self, name: str) -> dict[str, str]:
        found = self.ask(f"SELECT column_name, column_type FROM (DESCRIBE {name})")
        return dict(found.iter_rows())

    def table(self, name: str) -> pl.DataFrame:
        """A whole table, in the order in which it was written."""
        if not _NAME.fullmatch(name):
            raise ValueError(f"not a table name: {name!r}")
        at_hand = self._at_hand.get(name)
        return self.ask(f"SELECT * FROM {name}") if at_hand is None else at_hand

    def ask(self, sql: str, parameters: Mapping[str, Any] | None = None) -> pl.DataFrame:
        """Rows of a query; values reach it as named parameters (`$name`)."""
        found: pl.DataFrame = self._con.sql(sql, params=dict(parameters or {})).pl()
        return found

    def run(self, sql: str, parameters: Mapping[str, Any] | None = None) -> None:
        """Run one statement with the named parameters that it uses."""
        for name in _MAKES.findall(sql):
            self._at_hand.pop(name, None)
        used = {k: v for k, v in (parameters or {}).items() if re.search(rf"\${k}\b", sql)}
        self._con.execute(sql, used)

    def close(self) -> None:
        """Write everything down and let go of the file."""
        self._con.close()

    def __enter__(self) -> "Store":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
