"""Trying: pads are held on a bench while a person presses keys and listens, before anything is soldered.

`Holding` acts on the bench, `Session` is the person among their picks; neither prints.
"""

from rig.trying.holding import AWAY_S, LEAVE_S, Holding
from rig.trying.session import Session, Tried

__all__ = ["AWAY_S", "LEAVE_S", "Holding", "Session", "Tried"]
