"""What a survey holds: fields, code lists, source profiles and programmes, read from data."""

from triage.contract.codes import Code
from triage.contract.fields import Field, MinimumData, Table
from triage.contract.loader import Contract, load_contract
from triage.contract.text import did_you_mean, nearest, normalise

__all__ = [
    "Code",
    "Contract",
    "Field",
    "MinimumData",
    "Table",
    "did_you_mean",
    "load_contract",
    "nearest",
    "normalise",
]
