"""What the roles may do with comparisons and monthly reports."""

from plant.permissions import ENGINEER, MANAGER, every, register_rights

register_rights(
    {
        "everyone": every("reports", "studywindow", "monthlyreport", acts="view"),
        ENGINEER: [
            *every("reports", "studywindow", acts="add"),
            *every("reports", "monthlyreport", acts="add change"),
            "reports.publish_monthlyreport",
        ],
        MANAGER: ["reports.publish_monthlyreport"],
    }
)
