"""What the roles may do with device models, devices and installations."""

from plant.permissions import ENGINEER, PLANNER, every, register_rights

register_rights(
    {
        "everyone": every("installs", "devicemodel", "fastener", "device", "installation", acts="view"),
        PLANNER: every("installs", "device", "installation", acts="add change"),
        ENGINEER: every("installs", "devicemodel", "fastener", "device", "installation", acts="add change"),
    }
)
