"""Errors that the user can put right. A bug keeps its own type and its traceback."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """A spot in the user's own file, numbered as the file shows it."""

    file: str
    sheet: str | None = None
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        # An editor counts lines, a sheet rows.
        line = "line" if self.file.endswith((".toml", ".sql")) else "row"
        named = (("sheet", self.sheet), (line, self.row), ("column", self.column))
        return ", ".join([self.file, *(f"{k} {v!r}" for k, v in named if v is not None)])


class TriageError(Exception):
    """Base class of the family: what happened, where, and what to do about it."""

    code = "TR000"
    exit_code = 2

    def __init__(self, what: str, where: Place | str, fix: str) -> None:
        place = Place(where) if isinstance(where, str) else where
        super().__init__(what, place, fix)  # all three, so that the error can be pickled
        self.what, self.where, self.fix = what, place, fix

    def __str__(self) -> str:
        return f"{self.code} {self.what}\n  where: {self.where}\n  do:    {self.fix}"


class FileError(TriageError):
    """A file is missing, locked, empty, encrypted or not what its name says."""

    code = "TR101"


class CellError(TriageError):
    """One cell holds a value that its column cannot take."""

    code = "TR102"


class HeadingError(TriageError):
    """A heading maps to nothing, or two headings claim one field."""

    code = "TR103"


class ProfileError(TriageError):
    """A source profile or a programme file cannot be used as written."""

    code = "TR104"


class PolicyError(TriageError):
    """A policy pack cannot be used as written."""

    code = "TR105"


class SchemaError(TriageError):
    """A file under schemas/ contradicts itself."""

    code = "TR106"


class PlaceError(TriageError):
    """A location, a zone file or a station table cannot be used."""

    code = "TR107"


class StoreError(TriageError):
    """A run folder or its store is locked, exists already, or is not a run."""

    code = "TR108"


class UnknownHomeError(TriageError):
    """The home that was asked for is not in the programme."""

    code = "TR109"


class DisclosureError(TriageError):
    """A table cannot be given out without giving a small count away."""

    code = "TR130"


class ManyErrors(TriageError):  # noqa: N818 - it is several errors, and reads so
    """Several errors found in one go, so that the user can mend them in one go."""

    code = "TR100"

    def __init__(self, errors: list[TriageError]) -> None:
        first = errors[0]
        super().__init__(first.what, first.where, first.fix)
        self.errors = errors

    def __reduce__(self) -> tuple[type["ManyErrors"], tuple[list[TriageError]]]:
        return (ManyErrors, (self.errors,))

    def __str__(self) -> str:
        return "\n".join(str(error) for error in self.errors)


def raise_all(errors: list[TriageError]) -> None:
    """Raise what was collected: nothing, the one error, or all of them together."""
    if len(errors) == 1:
        raise errors[0]
    if errors:
        raise ManyErrors(errors)
