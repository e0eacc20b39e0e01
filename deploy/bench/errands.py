"""What the four people of a plant do on the site, page by page, for a load that is like a day at work."""

from __future__ import annotations

from deploy.bench.load import Errand, Step
from plant.permissions import ROLES

INSTALLATION = r"/installations/[\w-]+/"
CONVEYOR = r"/conveyors/[\w-]+/"
TASK = r"/checks/[\w-]+/"
NOTE = "Written by a measurement of the load, no. {n}."  # the same twice would be asked about

START = {role: Step(f"start, {role}", "/") for role in ROLES}

ERRANDS = {
    "technician": [
        # The phone fetches its pack when the round is opened, and works without the site from then on.
        Errand([START["technician"], Step("the phone's round", "/round/"), Step("its pack", "/round/api/pack/")], 3),
        Errand([START["technician"], Step("checks", "/checks/"), Step("a check", link=TASK)], 2),
        Errand(
            [START["technician"], Step("installations", "/installations/"), Step("installation", link=INSTALLATION)]
        ),
        Errand(
            [
                START["technician"],
                Step(
                    "an incident",
                    "/incidents/new/",
                    sends={"strand": "carry", "chainage_m": "40 m", "severity": "contact", "note": NOTE},
                ),
            ]
        ),
    ],
    "planner": [
        Errand(
            [START["planner"], Step("backlog", "/backlog/"), Step("checks", "/checks/"), Step("a check", link=TASK)]
        ),
        Errand([START["planner"], Step("the board of rounds", "/rounds/"), Step("opportunity", "/opportunity/")]),
        Errand(
            [
                START["planner"],
                Step("check plans", "/check-plans/"),
                Step("a check plan", link=r"/check-plans/\d[\w-]*/"),
            ]
        ),
        Errand([START["planner"], Step("outages", "/outages/"), Step("actions", "/actions/")]),
    ],
    "reliability engineer": [
        Errand(
            [
                START["reliability engineer"],
                Step("effect list", "/effect/"),
                Step("effect of one", link=r"/installations/[\w-]+/effect/"),
            ],
            2,
        ),
        Errand(
            [
                START["reliability engineer"],
                Step("installations", "/installations/"),
                Step("installation", link=INSTALLATION),
            ],
            2,
        ),
        Errand([START["reliability engineer"], Step("conveyors", "/conveyors/"), Step("conveyor", link=CONVEYOR)]),
        Errand([START["reliability engineer"], Step("placement", "/placement/"), Step("life", "/life/")]),
    ],
    "manager": [
        Errand([START["manager"], Step("months", "/months/"), Step("a month", link=r"/months/\d[\w-]*/")], 2),
        Errand([START["manager"], Step("effect list", "/effect/"), Step("backlog", "/backlog/")]),
    ],
}
# Of fifty people: most walk the belts.
SHARES = {"technician": 26, "planner": 10, "reliability engineer": 8, "manager": 6}


def crowd_of(n: int, signs_in: dict[str, list[str]]) -> list[tuple[str, str]]:
    """So many people by their shares, each with a sign-in of the role; several people may use one."""
    whole = sum(SHARES.values())
    wanted = {role: max(1, round(n * share / whole)) for role, share in SHARES.items()}
    wanted["technician"] = max(1, n - sum(count for role, count in wanted.items() if role != "technician"))
    people = [
        (signs_in[role][each % len(signs_in[role])], role) for role, count in wanted.items() for each in range(count)
    ]
    return people[:n]
