"""How much one file may hold, so that a damaged or hostile file cannot take the machine down."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """Upper bounds for one file, in bytes, rows, columns and cells of a sheet.

    `rows` is what one sheet of an xlsx workbook can hold. The others are common practice, no
    source: well above any survey workbook met, well below the memory of a small machine.
    """

    file_bytes: int = 512 * 2**20
    unpacked_bytes: int = 3 * 2**30
    rows: int = 1_048_576
    columns: int = 1_024
    cells: int = 80_000_000


DEFAULT_LIMITS = Limits()
