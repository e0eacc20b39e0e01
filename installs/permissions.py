"""What the roles may do with device models, devices, surveys, fittings and installations."""

from plant.permissions import ENGINEER, PLANNER, TECHNICIAN, every, register_rights

SPEC = ("devicemodel", "fastener", "modelpart")
BOOK = ("device", "installation", "outofservice", "partchange")
JOB = ("fitting", "fittingneed", "isolation", "holdpoint", "trialrun", "fitup", "torquesignoff", "passedfastener")
PLACE = ("survey", "causetest", "beltoffset")
NEXT_PLACE = ("loggedstation", "causeoverride")

register_rights(
    {
        "everyone": every("installs", *SPEC, "modelsheet", *BOOK, *JOB, *PLACE, *NEXT_PLACE, "instrument", acts="view"),
        TECHNICIAN: [
            "installs.do_fitting",
            *every("installs", *PLACE, "partchange", "outofservice", acts="add change"),
            *every("installs", "fittingneed", acts="change"),
        ],
        PLANNER: [
            "installs.do_fitting",
            "installs.view_placement",
            *every("installs", *BOOK, *PLACE, "fitting", "fittingneed", "instrument", acts="add change"),
            *every("installs", "loggedstation", acts="add change"),
        ],
        ENGINEER: [
            "installs.do_fitting",
            "installs.view_placement",
            *every("installs", *SPEC, *BOOK, *PLACE, "fitting", "fittingneed", "instrument", acts="add change"),
            *every("installs", *NEXT_PLACE, acts="add change"),
        ],
    }
)
