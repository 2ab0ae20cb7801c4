"""What libraries raise on a damaged file, as one error with a cure."""

import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from xml.etree import ElementTree

from triage.errors import FileError, Place

_RAISED = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    ElementTree.ParseError,
    EOFError,
    IndexError,  # records cut short
    KeyError,  # a part of the archive is missing
    NotImplementedError,  # a packing that no spreadsheet program uses
    OSError,
    RuntimeError,  # a part of the archive has a password
    ValueError,  # a number in the markup that is none
)
_CURE = "open it in a spreadsheet program and save it again, or ask for it again"


@contextmanager
def damage_refused(where: Place | str) -> Iterator[None]:
    """Turn what is raised inside on a damaged file into a FileError; the cause stays attached.

    Only for the reading of files: what is raised by their content alone belongs inside.
    """
    try:
        yield
    except _RAISED as error:
        raise FileError(f"the file is damaged: {error}", where, _CURE) from error
    except BaseException as error:
        # A panic of a compiled reader derives from BaseException and cannot be imported by name.
        if type(error).__name__ != "PanicException":
            raise
        raise FileError(f"the file is damaged: {error}", where, _CURE) from error
