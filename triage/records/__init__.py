"""Records of a programme: taken in, checked, kept in every version, handed to a run."""

from triage.records.append import Appended, record_files
from triage.records.kept import RECORDS_STORE, Records, load_records

__all__ = ["RECORDS_STORE", "Appended", "Records", "load_records", "record_files"]
