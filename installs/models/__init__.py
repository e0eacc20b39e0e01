"""Every model of the app."""

from .device_models import DeviceModel, Fastener
from .devices import Device
from .installations import Installation

__all__ = ["Device", "DeviceModel", "Fastener", "Installation"]
