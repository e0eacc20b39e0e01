"""Every model of the app, so that `from plant.models import Conveyor` works."""

from .base import AnyModel, Entry, EntryQuerySet, ImportedEntry, PlantQuerySet, Record, Row, label_of
from .conveyors import Conveyor, ConveyorPart, Side, Strand
from .health import LifeSign, Tally
from .imports import ImportBatch, ImportedRecord, PlantWord, RejectedRow
from .incidents import Incident, SwitchEvent
from .jobs import Job
from .kept import KeptResult, WriteCounter
from .notices import Notice
from .outages import BeltChange, OutageWindow
from .people import KeeperAct, Membership, NameRemoval, Person, SignInAct
from .photos import Photo
from .plant_exports import PlantExport
from .plants import Area, Plant
from .running_hours import MeterReading, RunRecord
from .sent_forms import SentForm

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
    "ImportedRecord",
    "Incident",
    "Job",
    "KeeperAct",
    "KeptResult",
    "LifeSign",
    "Membership",
    "MeterReading",
    "NameRemoval",
    "Notice",
    "OutageWindow",
    "Person",
    "Photo",
    "Plant",
    "PlantExport",
    "PlantQuerySet",
    "PlantWord",
    "Record",
    "RejectedRow",
    "Row",
    "RunRecord",
    "SentForm",
    "Side",
    "SignInAct",
    "Strand",
    "SwitchEvent",
    "Tally",
    "WriteCounter",
    "label_of",
]
