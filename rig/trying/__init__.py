"""Trying: pads are held on a bench while a person presses keys and listens, before anything is soldered.

`Holding` acts on the bench, `Session` is the person among their picks; neither prints.
"""

from rig.trying.holding import AWAY_S, LEAVE_S, Holding
from rig.trying.session import READ_S, Session, Tried

BY_HAND = (
    "a bench by hand can't hold anything: bridge the pads yourself, with a potentiometer behind the "
    "tips' resistor"
)

__all__ = ["AWAY_S", "BY_HAND", "LEAVE_S", "READ_S", "Holding", "Session", "Tried"]
