"""What a survey holds: fields, code lists, source profiles and programmes, read from data."""

from triage.contract.codes import Code
from triage.contract.fields import Field, MinimumData, Table
from triage.contract.loader import Contract, load_contract
from triage.contract.profile import Column, Layout, Profile, Reading, load_profile
from triage.contract.programme import (
    AreaFile,
    ClimateFiles,
    ExposureFile,
    Programme,
    Proposal,
    Source,
    load_programme,
)
from triage.contract.text import did_you_mean, nearest, normalise

__all__ = [
    "AreaFile",
    "ClimateFiles",
    "Code",
    "Column",
    "Contract",
    "ExposureFile",
    "Field",
    "Layout",
    "MinimumData",
    "Profile",
    "Programme",
    "Proposal",
    "Reading",
    "Source",
    "Table",
    "did_you_mean",
    "load_contract",
    "load_profile",
    "load_programme",
    "nearest",
    "normalise",
]
