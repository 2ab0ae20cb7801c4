"""Where the answers of one home stand: the cells of its surveys and the rows of its records."""

from typing import Any

from triage.store import Store

Entry = dict[str, Any]
# Homes of one building may share a roof: an answer about it may come from any of them.
_UNDER_ONE_ROOF = """
WITH under_one_roof AS (
    SELECT property_id FROM home
    WHERE property_id = $home
        OR building_id = (SELECT building_id FROM home WHERE property_id = $home)
)
"""
_CELLS = f"""{_UNDER_ONE_ROOF}
SELECT clean.property_id AS home, clean.row_id, col.field, source.file, source.sheet,
    raw.sheet_row AS row, col."column", col.status,
    raw.cells[col.position - first.position + 1] AS raw
FROM clean_survey AS clean
JOIN raw_survey AS raw USING (row_id)
JOIN source_file AS source ON raw.source_id = source.source_id
JOIN source_column AS col ON raw.source_id = col.source_id AND col.field IS NOT NULL
JOIN (
    SELECT source_id, min(position) AS position FROM source_column GROUP BY source_id
) AS first ON first.source_id = col.source_id
WHERE clean.property_id IN (SELECT property_id FROM under_one_roof)
"""
_RECORDS = f"""{_UNDER_ONE_ROOF}
SELECT evidence.property_id AS home, evidence.row_id, made.field, origin.file, origin.sheet,
    origin."row",
    made.kind || ' ' || made.record_id AS raw
FROM evidence_row AS evidence
JOIN evidence_origin AS made USING (row_id)
JOIN record_origin AS origin USING (record_row)
WHERE evidence.property_id IN (SELECT property_id FROM under_one_roof)
"""


class Origins:
    """File, sheet, row, column and raw text of every answer of a home in an open store.

    An answer that a survey of another dwelling under the same roof gave names that `home` too.
    """

    def __init__(self, store: Store, home: str) -> None:
        self._cells: dict[tuple[int, str], Entry] = {}
        for row in store.ask(_CELLS, {"home": home}).iter_rows(named=True):
            key = (row.pop("row_id"), row.pop("field"))
            self._own(row, home)
            if row.pop("status") == "constant":
                row |= {"column": None, "raw": "(stated in the source profile)"}
            self._cells[key] = row
        made = store.ask(_RECORDS, {"home": home}).iter_rows(named=True)
        self._records: dict[tuple[int, str | None], Entry] = {}
        for row in made:
            self._own(row, home)
            self._records[row.pop("row_id"), row.pop("field")] = row | {"column": None}

    @staticmethod
    def _own(row: Entry, home: str) -> None:
        if row["home"] == home:
            del row["home"]

    def of(self, row_id: int, field: str) -> Entry:
        """Of one answer: the cell of a survey, else the row of a record; empty where not known."""
        found = self._cells.get((row_id, field)) or self._records.get((row_id, field))
        return found or self._records.get((row_id, None), {})
