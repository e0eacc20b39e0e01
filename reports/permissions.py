"""What the roles may do with comparisons."""

from plant.permissions import ENGINEER, every, register_rights

register_rights(
    {
        "everyone": every("reports", "studywindow", acts="view"),
        ENGINEER: every("reports", "studywindow", acts="add"),
    }
)
