"""Loads schemas/tables and schemas/codes: the one description of what a survey holds."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.contract.codes import Code, read_codes, spelling_map
from triage.contract.columns import read_table
from triage.contract.fields import Field, MinimumData, Table
from triage.contract.text import did_you_mean
from triage.contract.tomlfile import read_toml, unknown_keys
from triage.errors import SchemaError, TriageError, raise_all
from triage.resources import resource_dir

if TYPE_CHECKING:
    import polars as pl

SURVEY = "survey"
_MINIMUM = "minimum_data.toml"
_MINIMUM_KEYS = ("title", "fields", "measure_groups")
_SQL_TYPES = {
    "text": "VARCHAR",
    "code": "VARCHAR",
    "codes": "VARCHAR[]",
    "texts": "VARCHAR[]",
    "number": "DOUBLE",
    "integer": "BIGINT",
    "date": "DATE",
}


@dataclass(frozen=True, slots=True)
class Contract:
    """Every table and code list. `tables["survey"]` is the survey of one building part."""

    tables: dict[str, Table]
    codes: dict[str, tuple[Code, ...]]
    minimum_data: tuple[MinimumData, ...]

    @property
    def fields(self) -> dict[str, Field]:
        """The survey's fields by name, in the order of the field dictionary."""
        return self.tables[SURVEY].columns

    def spelling(self, code_list: str) -> dict[str, str]:
        """Folded text -> code for one list; `unknown` is a code here, to be stored as null."""
        return spelling_map(self.codes[code_list])

    def field_spelling(self, name: str, table: str = SURVEY) -> dict[str, str]:
        """Folded text -> code for one field: its list, its extra codes, its own words."""
        field = self.tables[table].columns[name]
        listed = self.codes[field.code_list] if field.code_list else ()
        return spelling_map((*listed, *field.extra, *field.words))

    def definitions(self, field: Field) -> tuple[Code, ...]:
        """The codes that a field may hold, with what each means, in order."""
        listed = self.codes[field.code_list] if field.code_list else ()
        return (*listed, *field.extra)

    def polars_schema(self, table: str = SURVEY) -> dict[str, "pl.DataType"]:
        """Column -> Polars type of a typed table."""
        import polars as pl  # noqa: PLC0415  (the contract is also read where Polars is not needed)

        kinds: dict[str, pl.DataType] = {
            "text": pl.String(),
            "code": pl.String(),
            "codes": pl.List(pl.String()),
            "texts": pl.List(pl.String()),
            "number": pl.Float64(),
            "integer": pl.Int64(),
            "date": pl.Date(),
        }
        return {name: kinds[field.type] for name, field in self.tables[table].columns.items()}

    def duckdb_ddl(
        self, table: str = SURVEY, name: str | None = None, also: Mapping[str, str] | None = None
    ) -> str:
        """`CREATE TABLE` for DuckDB: column types and the primary key.

        Parameters
        ----------
        table
            Table of the contract.
        name
            What to call it in the store; the contract's own name if None.
        also
            Columns beyond the contract's, with their SQL types.
        """
        entry = self.tables[table]
        lines = [f'    "{name}" {_SQL_TYPES[f.type]}' for name, f in entry.columns.items()]
        lines += [f'    "{column}" {kind}' for column, kind in (also or {}).items()]
        if entry.primary_key:
            lines.append("    PRIMARY KEY (" + ", ".join(f'"{k}"' for k in entry.primary_key) + ")")
        return f'CREATE TABLE "{name or entry.name}" (\n' + ",\n".join(lines) + "\n);"


@cache
def load_contract(folder: Path | None = None) -> Contract:
    """Read the contract from a schemas folder; by default the one that ships.

    Raises
    ------
    SchemaError, ManyErrors
        Naming file, line and key of everything that contradicts itself.
    """
    schemas = folder or resource_dir("schemas")
    errors: list[TriageError] = []
    codes: dict[str, tuple[Code, ...]] = {}
    for path in sorted((schemas / "codes").glob("*.csv")):
        codes[path.stem], wrong = read_codes(path)
        errors += wrong
    tables: dict[str, Table] = {}
    for path in sorted((schemas / "tables").glob("*.toml")):
        if path.name != _MINIMUM:
            table, wrong = read_table(path, codes)
            tables[table.name] = table
            errors += wrong
    if SURVEY not in tables:
        where = str(schemas / "tables")
        errors.append(SchemaError("no table named 'survey'", where, "add survey.toml"))
        raise_all(errors)
    minimum, wrong = _minimum_data(schemas / "tables" / _MINIMUM, tables[SURVEY])
    raise_all(errors + wrong)
    return Contract(tables, codes, minimum)


def _minimum_data(path: Path, survey: Table) -> tuple[tuple[MinimumData, ...], list[TriageError]]:
    if not path.exists():
        return (), []
    file = read_toml(path, SchemaError)
    errors: list[TriageError] = unknown_keys(file, file.data, ("needs",), SchemaError)
    needs: list[MinimumData] = []
    entries: list[dict[str, Any]] = file.data.get("needs", [])
    for entry in entries:
        title = str(entry.get("title", ""))
        errors += unknown_keys(file, entry, _MINIMUM_KEYS, SchemaError, "needs", title)
        errors += [
            SchemaError(
                f"{title!r} names {name!r}, which is no survey field",
                file.place(name),
                did_you_mean(name, survey.columns),
            )
            for name in entry.get("fields", ())
            if name not in survey.columns
        ]
        groups = dict(entry.get("measure_groups", {}))
        needs.append(MinimumData(title, tuple(entry.get("fields", ())), groups))
    return tuple(needs), errors
