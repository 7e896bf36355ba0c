"""The logbook's records, one file per entity."""

from registry.models.answer import Answer, Submission
from registry.models.attempt import FailedAttempt
from registry.models.base import Record
from registry.models.candidate import Candidate
from registry.models.centre import Centre
from registry.models.check import DailyCheck
from registry.models.confirmed import ConfirmedDefinition
from registry.models.course import Course
from registry.models.download import Download
from registry.models.draft import Draft
from registry.models.event import Event
from registry.models.haemodynamics import HaemodynamicSet
from registry.models.issued import DataExtract, IssuedReport
from registry.models.listing import ListingSpell
from registry.models.mobilisation import Mobilisation
from registry.models.outcome import CourseOutcome, FollowUp, PlanChange
from registry.models.patient import Patient, PatientIdentity
from registry.models.run import Run
from registry.models.screening import Screening
from registry.models.search import DeviceSearch
from registry.models.sheet import ColumnMatch, ImportedRow, SheetState, StagedSheet
from registry.models.user import User

__all__ = [
    "Answer",
    "Candidate",
    "Centre",
    "ColumnMatch",
    "ConfirmedDefinition",
    "Course",
    "CourseOutcome",
    "DailyCheck",
    "DataExtract",
    "DeviceSearch",
    "Download",
    "Draft",
    "Event",
    "FailedAttempt",
    "FollowUp",
    "HaemodynamicSet",
    "ImportedRow",
    "IssuedReport",
    "ListingSpell",
    "Mobilisation",
    "Patient",
    "PatientIdentity",
    "PlanChange",
    "Record",
    "Run",
    "Screening",
    "SheetState",
    "StagedSheet",
    "Submission",
    "User",
]
