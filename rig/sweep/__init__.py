"""The sweep: a plan yields touches, one engine makes them, and a ladder brings the toy back."""

from rig.sweep.engine import Sweep
from rig.sweep.events import (
    BendSeen,
    FreezeSeen,
    Noticed,
    Progress,
    Recovered,
    SetAside,
    SweepDone,
    SweepEvent,
    SweepStarted,
    TakeLost,
    Told,
)
from rig.sweep.known import Knowledge
from rig.sweep.plan import plan
from rig.sweep.steps import Step

__all__ = [
    "BendSeen",
    "FreezeSeen",
    "Knowledge",
    "Noticed",
    "Progress",
    "Recovered",
    "SetAside",
    "Step",
    "Sweep",
    "SweepDone",
    "SweepEvent",
    "SweepStarted",
    "TakeLost",
    "Told",
    "plan",
]
