"""Every model of the app."""

from .device_models import DeviceModel, Fastener, ModelPart, ModelSheet
from .devices import Device
from .fittings import Fitting, FittingNeed, FitUp, HoldPoint, Isolation, TorqueSignOff, TrialRun
from .installations import Installation, OutOfService, PartChange
from .instruments import Instrument
from .surveys import BeltOffset, CauseTest, Survey

__all__ = [
    "BeltOffset",
    "CauseTest",
    "Device",
    "DeviceModel",
    "Fastener",
    "FitUp",
    "Fitting",
    "FittingNeed",
    "HoldPoint",
    "Installation",
    "Instrument",
    "Isolation",
    "ModelPart",
    "ModelSheet",
    "OutOfService",
    "PartChange",
    "Survey",
    "TorqueSignOff",
    "TrialRun",
]
