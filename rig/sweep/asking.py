"""The sweep by hand: pair after pair, or what a person finds who pokes at will."""

from __future__ import annotations

from datetime import UTC, datetime

from rig.bench.byhand import ListeningBench
from rig.events import SweepDone, Told
from rig.log import SweepLog
from rig.outcomes import is_change
from rig.project import Project, touchable
from rig.sweep import sounding
from rig.sweep.person import PersonHand
from rig.sweep.plan import plan
from rig.sweep.run import Run
from rig.sweep.steps import Step, clean
from rig.touches import Target


class SweepByHand(Run):
    """One run of a sweep by hand.

    Parameters
    ----------
    project : Project
    bench : ListeningBench
    log : SweepLog
        Open for writing, of this very set-up.
    retry : bool
        Make what was set aside in earlier runs after all.
    """

    def __init__(
        self, project: Project, bench: ListeningBench, log: SweepLog, *, retry: bool = False
    ) -> None:
        self.person = PersonHand(project, bench, log)
        super().__init__(project, self.person, log, retry=retry)

    def explore(self) -> SweepDone | None:
        """Listen while the person pokes at will, and ask which two it was when something is new.

        It ends when the person leaves.

        Raises
        ------
        ToyLost, BenchError, LogError, RigError
        """
        return self._until_left(self._explore_on)

    def _explore_on(self) -> SweepDone:
        for step in plan(self.known, self._choose):
            if step.kind != "baseline":
                self.known.drop(step)
                break
            self.make(step)
        while True:
            key = self.project.sweep_keys[0]
            self._explore(key)
            self.pause_where_asked(clean("check", key))

    def _explore(self, key: str) -> None:
        """Hear one press of a person who pokes at will."""
        began = datetime.now(UTC)
        got = self.person.poke(key)
        if got.what == "froze":
            self._before.revive(key, {"answered": False})
        if got.what != "sound":
            return
        if got.heard.fault:
            self.person.note(f"that one was lost: {got.heard.fault}")
            return
        judgement = self.book.heard_as(Target.clean(key), got.heard)
        if judgement.sound == "lost":
            self.person.note(f"that one was lost: {sounding.lost_words(judgement.measures)}")
            return
        self.log.tell(Told(
            touch=self.log.next_number(), kind="explore", name=None, key=key, path_ohm=None,
            sound=judgement.sound, amount=judgement.amount, unit=judgement.unit,
        ))
        if not is_change(judgement.sound):
            return
        if step := self._named(key):
            made = self.person.made(step, got)
            self.take_in(made, self.person.touch(step), began)

    def _named(self, key: str) -> Step | None:
        """Ask which two it was; gives the step that touches them."""
        while (pads := self.person.which()) is not None:
            order = list(self.project.toy.pads)
            one, other = sorted(pads, key=lambda pad: order.index(pad) if pad in order else -1)
            series_ohm = self.project.rig.series_ohm[0]
            reason = touchable(self.project, (one,), (other,), series_ohm)
            if reason is None:
                return Step("sweep", Target.pair(one, other, series_ohm, key))
            self.person.note(reason)
        return None
