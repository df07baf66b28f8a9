"""The touch before: a pair's touch that is made, and waits for what shows how it left the toy."""

from __future__ import annotations

from dataclasses import dataclass

from rig.errors import ToyLost
from rig.events import FreezeSeen, Recovered, Unsettled
from rig.listen import Judgement
from rig.sweep.book import Book
from rig.sweep.hand import Hand
from rig.sweep.hearing import Heard
from rig.sweep.steps import Step


@dataclass
class Pending:
    """A pair's touch that is made, but of which it isn't known how it left the toy."""

    number: int
    step: Step
    heard: Heard
    judgement: Judgement | None = None
    ran_on: bool = False

    @property
    def living(self) -> str:
        """Say how the toy is after it, where it answers."""
        return "runs on" if self.ran_on else "answers"


class TouchBefore:
    """The one touch that is pending, where there is one, and what comes of it.

    Parameters
    ----------
    book : Book
    hand : Hand
    """

    def __init__(self, book: Book, hand: Hand):
        self.book = book
        self.hand = hand
        self.pending: Pending | None = None
        self.recoveries = 0

    def take(self) -> Pending | None:
        """Give it, where there is one; it isn't pending any more."""
        pending, self.pending = self.pending, None
        return pending

    def judge(self) -> None:
        """Judge its take, once."""
        pending = self.pending
        if pending and pending.judgement is None:
            pending.judgement = self.book.judge(pending.number, pending.step, pending.heard)

    def complete(self, key: str, answered: bool) -> None:
        """Settle how it left the toy, now that a key was pressed again.

        Raises
        ------
        ToyLost, BadSound
        """
        evidence: dict = {"answered": answered}
        if not answered:
            self.revive(key, evidence)
        elif pending := self.take():
            self.close(pending, pending.living, evidence)

    def revive(self, key: str, evidence: dict) -> None:
        """Bring the toy back; what had to be done for it tells how this touch left it.

        Raises
        ------
        ToyLost, BadSound
        """
        pending = self.take()
        try:
            revival = self.hand.revive(self.book.project.single_key(key))
        except ToyLost:
            if pending:
                self._freeze(pending, evidence | {"rung": "none"})
            raise
        evidence = evidence | {"rung": revival.rung, "tries": revival.tries}
        self.book.log.tell(Recovered(
            touch=pending.number if pending else None, rung=revival.rung, tries=revival.tries,
        ))
        if revival.froze:
            self.recoveries += 1
            if pending:
                self._freeze(pending, evidence)
        elif pending:
            self.close(pending, pending.living, evidence)

    def _freeze(self, pending: Pending, evidence: dict) -> None:
        step = pending.step
        self.book.log.tell(FreezeSeen(
            touch=pending.number, name=step.target.name, key=step.key,
            path_ohm=step.path_ohm(self.book.project),
        ))
        self.close(pending, "freeze", evidence)

    def close(self, pending: Pending, after: str, evidence: dict) -> None:
        """Complete a touch that isn't pending any more."""
        self.book.complete(
            pending.number, pending.step, pending.heard, pending.judgement, after, evidence
        )

    def drop(self) -> Pending | None:
        """Give up on it, since its sequel won't come: it is due again."""
        pending = self.take()
        if pending:
            self.book.known.drop(pending.step)
            self.book.log.tell(Unsettled(touch=pending.number))
        return pending
