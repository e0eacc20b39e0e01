"""Every model of the app, so that `from plant.models import Conveyor` works."""

from .base import AnyModel, Entry, EntryQuerySet, ImportedEntry, PlantQuerySet, Record, Row
from .conveyors import Conveyor, ConveyorPart, Side, Strand
from .imports import ImportBatch, RejectedRow
from .incidents import Incident, SwitchEvent
from .jobs import Job
from .notices import Notice
from .outages import BeltChange, OutageWindow
from .people import Membership, Person, SignInAct
from .photos import Photo
from .plants import Area, Plant
from .running_hours import MeterReading, RunRecord

__all__ = [
    "AnyModel",
    "Area",
    "BeltChange",
    "Conveyor",
    "ConveyorPart",
    "Entry",
    "EntryQuerySet",
    "ImportBatch",
    "ImportedEntry",
    "Incident",
    "Job",
    "Membership",
    "MeterReading",
    "Notice",
    "OutageWindow",
    "Person",
    "Photo",
    "Plant",
    "PlantQuerySet",
    "Record",
    "RejectedRow",
    "Row",
    "RunRecord",
    "Side",
    "SignInAct",
    "Strand",
    "SwitchEvent",
]
