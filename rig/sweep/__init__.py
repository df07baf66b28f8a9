"""The sweep: a plan yields touches, one engine makes them, and a ladder brings the toy back."""

from rig.sweep.engine import Sweep
from rig.sweep.known import Knowledge
from rig.sweep.plan import plan
from rig.sweep.steps import Step

__all__ = ["Knowledge", "Step", "Sweep", "plan"]
