"""Every model of the app."""

from .device_models import DeviceModel, Fastener, ModelPart, ModelSheet
from .devices import Device
from .fittings import Fitting, FittingNeed, FitUp, HoldPoint, Isolation, PassedFastener, TorqueSignOff, TrialRun
from .installations import Installation, OutOfService, PartChange
from .instruments import Instrument
from .placement import CauseOverride, LoggedStation
from .surveys import BeltOffset, CauseTest, Survey

__all__ = [
    "BeltOffset",
    "CauseOverride",
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
    "LoggedStation",
    "ModelPart",
    "ModelSheet",
    "OutOfService",
    "PartChange",
    "PassedFastener",
    "Survey",
    "TorqueSignOff",
    "TrialRun",
]
