"""Whether the leads still reach their pads: bends that are known are heard again now and then.

Where a lead has come off, or a relay no longer closes, every touch with it sounds like the toy
alone. So each pad of a known bend is to be heard at intervals. One that isn't is in doubt: touches
with it wait, and once it is heard again those in which nothing was heard since are made anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from rig.sweep.steps import Step

CHECK = "check"
"""The kind of a touch that hears a known bend again, as of a clean press that shows the toy itself."""
LOOK_EVERY, LOOK_AT_LAST = 150, 40
"""Touches after which a pad that was heard is to be heard again, and once all else is done."""
MISSES = 3
"""So often in a row a known bend is missed before its pads are in doubt: some need a certain phrase."""


@dataclass
class Contact:
    """What is known of the leads.

    Attributes
    ----------
    heard_at : dict of str to int
        By pad, the number of touches when a bend of it was last heard for sure.
    silent : dict of str to list of Step
        By pad, the touches since then in which nothing was heard.
    missed : dict of Step to int
        Known bends that weren't heard, and how often in a row.
    doubtful : dict of str to Step
        Pads in doubt, each with the bend that was missed.
    """

    heard_at: dict[str, int] = field(default_factory=dict)
    silent: dict[str, list[Step]] = field(default_factory=dict)
    missed: dict[Step, int] = field(default_factory=dict)
    doubtful: dict[str, Step] = field(default_factory=dict)
    _asked_at_last: set[str] = field(default_factory=set)

    def take(self, step: Step, hit: bool, stopped: bool, touches: int) -> list[Step]:
        """Take in a touch of pads, so many touches into the sweep; gives those to be made anew."""
        bend = step.again("sweep")
        if stopped or (hit and step.kind != "sweep"):
            self.missed.pop(bend, None)
            return self._heard(step, touches)
        if hit:
            return []
        if step.kind == "sweep":
            for pad in step.pads:
                self.silent.setdefault(pad, []).append(step)
        elif step.kind == CHECK:
            if self.waits(step.pads):
                self.missed[bend] = MISSES  # which doesn't speak against its other pad
            else:
                self.missed[bend] = self.missed.get(bend, 0) + 1
                if self.missed[bend] == MISSES:
                    self.doubtful |= dict.fromkeys(step.pads, bend)
        return []

    def _heard(self, step: Step, touches: int) -> list[Step]:
        anew: dict[Step, None] = {}
        cleared = [pad for pad in step.pads if self.doubtful.pop(pad, None)]
        for pad in step.pads:
            self.heard_at[pad] = touches
            silent = self.silent.pop(pad, [])
            if pad in cleared:
                anew |= dict.fromkeys(silent)
        if cleared:
            self._asked_at_last.difference_update(cleared)
            self.missed = {one: n for one, n in self.missed.items() if self.waits(one.pads)}
        return list(anew)

    def waits(self, pads: Sequence[str]) -> bool:
        """Say whether a touch of these pads would show nothing for sure."""
        return bool(self.doubtful) and any(pad in self.doubtful for pad in pads)

    def in_vain(self) -> list[Step]:
        """Give the touches in which nothing was heard since leads in doubt were heard last."""
        return [step for pad in self.doubtful for step in self.silent.get(pad, [])]

    def due(self, bends: Sequence[Step], touches: int, *, at_last: bool) -> Step | None:
        """Give the known bend to be heard now, if one is.

        Parameters
        ----------
        bends : sequence of Step
            Those that are known.
        touches : int
            Made so far.
        at_last : bool
            All else is done: what is in doubt is tried once more too.
        """
        begun = (one for one, times in self.missed.items() if times < MISSES and one in bends)
        others = (one for one in bends if one not in self.missed and self.waits(one.pads))
        step = next(begun, None) or next(others, None)
        if step is None:
            oldest = min(
                (one for one in bends if one not in self.missed), key=self._heard_at, default=None
            )
            long_ago = LOOK_AT_LAST if at_last else LOOK_EVERY
            if oldest and touches - self._heard_at(oldest) >= long_ago:
                step = oldest
        if step is None and at_last:
            step = self._to_try_once_more()
        return step and step.again(CHECK)

    def _heard_at(self, bend: Step) -> int:
        return min(self.heard_at.get(pad, 0) for pad in bend.pads)

    def _to_try_once_more(self) -> Step | None:
        for pad, bend in self.doubtful.items():
            if pad not in self._asked_at_last:
                self._asked_at_last.update(bend.pads)
                return bend
        return None
