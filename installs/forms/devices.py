"""What people fill in about a device."""

from __future__ import annotations

from installs.models import Device
from plant.forms.base import RecordForm


class DeviceForm(RecordForm):
    class Meta:
        model = Device
        fields = ["number", "device_model", "serial", "note"]


class DeviceChangeForm(DeviceForm):
    class Meta(DeviceForm.Meta):
        fields = ["number", "device_model", "serial", "scrapped_on", "note"]
