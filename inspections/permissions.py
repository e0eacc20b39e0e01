"""What the roles may do with checks."""

from plant.permissions import ENGINEER, PLANNER, TECHNICIAN, every, register_rights

register_rights(
    {
        "everyone": every("inspections", "checkkind", "checkplan", "task", "visit", "reading", "action", acts="view"),
        TECHNICIAN: [
            "inspections.close_out_task",
            "inspections.view_own_round",
            *every("inspections", "action", acts="add change"),
        ],
        PLANNER: [
            "inspections.lay_round",
            *every("inspections", "shift", "technicianprofile"),
            "inspections.view_round",
            "inspections.view_own_round",
            "inspections.close_out_task",
            "inspections.put_off_task",
            *every("inspections", "checkkind", "checkplan", "task", "action", acts="add change"),
        ],
        ENGINEER: [
            "inspections.view_round",
            "inspections.view_own_round",
            "inspections.close_out_task",
            "inspections.put_off_task",
            *every("inspections", "checkkind", "checkplan", "task", "action", acts="add change"),
        ],
    }
)
