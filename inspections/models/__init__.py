"""Every model of the app."""

from .actions import Action, ActionNote
from .check_plans import GRADES, CheckKind, CheckPlan, ReadingField
from .digests import Digest
from .rounds import Round, RoundLaying, Shift, Stop, TechnicianProfile
from .set_aside import SetAside
from .tasks import CouldNotDo, Deferral, OverdueSpell, Task
from .visits import CLOCK_DRIFT, Reading, TwiceClosed, Visit

__all__ = [
    "CLOCK_DRIFT",
    "GRADES",
    "Action",
    "ActionNote",
    "CheckKind",
    "CheckPlan",
    "CouldNotDo",
    "Deferral",
    "Digest",
    "OverdueSpell",
    "Reading",
    "ReadingField",
    "Round",
    "RoundLaying",
    "SetAside",
    "Shift",
    "Stop",
    "Task",
    "TechnicianProfile",
    "TwiceClosed",
    "Visit",
]
