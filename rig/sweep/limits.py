"""How often what may go wrong, and what is done then: the sweep's one table of patience.

A fault is answered with the least that may help: the touch is made again, then set aside for the
person; and where nothing goes well any more the sweep ends, with the toy off and a line that says
what to look at. So no step is tried for ever. What brings a toy back has its own list of tries in
`recovery.RUNGS`.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from rig.log.between import CHANGED_AFTER


@dataclass(frozen=True)
class Limit:
    """How often one fault may come.

    Parameters
    ----------
    told : str
        What it is, as the person is told.
    of_step : int or None
        So many of one step, in all runs: it is set aside. (A clean press is needed and never is.)
    in_a_row : int or None
        So many with nothing going well between them.
    in_a_run : int or None
        So many since the sweep was begun or continued: it ends.
    row : str
        Counts in the row of this fault as well as its own name's; then it is that one's limit.
    """

    told: str
    of_step: int | None = None
    in_a_row: int | None = None
    in_a_run: int | None = None
    row: str = ""


LIMITS = {
    "lost": Limit("its take was lost", of_step=3, in_a_row=4),
    # In a row with lost ones, but such a row doesn't end the sweep: a bend may be louder than the
    # toy. A clean press shows whether the level fits.
    "clipped": Limit("too loud for the sound input", row="lost"),
    # One clipped take in a baseline may be a door that was slammed; the second one is the toy.
    "clipped baseline": Limit("too loud with nothing bridged", in_a_run=2),
    # Then the toy is brought back; once more without three good ones first, and the sweep ends.
    "doubt": Limit("a clean press doesn't sound like its baseline", in_a_row=CHANGED_AFTER),
    "spell": Limit("odd clean presses, never two good ones between", in_a_row=5),
    "fruitless": Limit("odd clean presses, and no touch that counts between", in_a_row=12),
    # The toy answers when it is asked alone, but not at the beginning of a touch.
    "unanswered": Limit("the toy did not answer before it", of_step=8, in_a_row=10),
    # Of a key of which nothing was heard yet: toys miss a press now and then.
    "unheard": Limit("a first press brought no sound", in_a_row=5),
    # Made, but the next press, which shows how it left the toy, was lost.
    "unsettled": Limit("how it left the toy was lost", of_step=4),
    "killed": Limit("the rig or this program ended during it", of_step=2),
    "restart": Limit("the controller restarted by itself", in_a_row=3, in_a_run=10),
    # A pad that pulls hard trips with many others; a short or a warm part with any. With nothing
    # bridged the first one ends the sweep.
    "trip": Limit("the guard of the supply current tripped, not over one pad", in_a_row=3),
}
"""By fault. All are our choice, from simulated toys with troubles put in."""


class Patience:
    """Counts faults in a row and in a run."""

    def __init__(self) -> None:
        self._row: dict[str, int] = defaultdict(int)
        self._run: dict[str, int] = defaultdict(int)

    def lose(self, fault: str) -> bool:
        """Count a fault; says whether there are too many now, in a row or in the run."""
        fault = LIMITS[fault].row or fault
        limit = LIMITS[fault]
        self._row[fault] += 1
        self._run[fault] += 1
        too_many_in_a_row = limit.in_a_row is not None and self._row[fault] >= limit.in_a_row
        too_many = limit.in_a_run is not None and self._run[fault] >= limit.in_a_run
        return too_many_in_a_row or too_many

    def regain(self, *faults: str) -> None:
        """Begin the row of some faults anew: something went well."""
        for fault in faults:
            self._row[fault] = 0

    def count(self, fault: str) -> int:
        """Give how many of a fault came in a row."""
        return self._row[fault]
