"""What the roles may do with comparisons and monthly reports."""

from plant.permissions import ENGINEER, MANAGER, every, register_rights

register_rights(
    {
        "everyone": every("reports", "studywindow", "studynote", "monthlyreport", acts="view"),
        ENGINEER: [
            *every("reports", "studywindow", "studynote", acts="add"),
            *every("reports", "monthlyreport", acts="add change"),
            "reports.publish_monthlyreport",
        ],
        MANAGER: ["reports.publish_monthlyreport"],
    }
)
