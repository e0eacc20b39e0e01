"""What apps above may want to know of. Sent after the commit, by services only, with `installation` or `fitting`."""

from django.dispatch import Signal

# A device was fitted in a place.
device_installed = Signal()
# A device was taken out of its place.
device_removed = Signal()
# A part of a device was changed (also with `part_change`): trends and bedding-in begin anew.
part_changed = Signal()
# A device was taken out of service in its place, or is back.
service_changed = Signal()
# The crew or the time of a fitting was planned (with `fitting` and `by`): its people are taken then.
fitting_planned = Signal()
