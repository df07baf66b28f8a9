"""What a sweep asks of whoever makes its touches: the rig, or a person with two tips."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, Protocol

from rig.bench import BenchState, Touch
from rig.events import HabitsLearnt
from rig.listen import Ear
from rig.sweep.hearing import Heard
from rig.sweep.known import Knowledge
from rig.sweep.outcome import Answer
from rig.sweep.steps import Step


class Leave(Exception):
    """The person leaves; everything heard so far is logged."""


@dataclass(frozen=True)
class Made:
    """A touch as it was made.

    Parameters
    ----------
    step : Step
        What it came to be: a clean press may turn out to be one for the baseline.
    heard : Heard or None
        None where it wasn't made.
    answer : str or None
        How the toy answered its key; None where that can't be told.
    facts : dict
        For its row.
    said : str
        "again" or "skip", where the person said so instead.
    bare : Made or None
        The press with nothing bridged that followed, where a bridged one brought no sound.
    """

    step: Step
    heard: Heard | None = None
    answer: Answer | None = None
    facts: dict = field(default_factory=dict)
    said: Literal["", "again", "skip"] = ""
    bare: Made | None = None


Sequel = Literal["quiet", "runs on", "answers", "stopped", "again", "skip"]
"""What a pair's touch left behind: quiet or a sound that goes on, and the next press will show how
the toy is; one that never falls silent though it answers its key; a toy that must be brought back;
or the person wants the touch made again, or left out."""


@dataclass(frozen=True)
class Revival:
    """How the toy came back: the rung that did it, and how often it was tried."""

    rung: str
    tries: int

    @property
    def froze(self) -> bool:
        """Say whether waiting and pressing again was not enough."""
        return self.rung != "wait"


class Hand(Protocol):
    """Makes touches, and brings the toy back."""

    rate_hz: int
    is_person: bool
    """It waits for what is told of each touch, a change is followed by a clean press at once, and
    each run begins with one: toy and microphone may have been moved."""

    def meet(self, ear: Ear, known: Knowledge) -> None:
        """Take hold of what the sweep knows; called once, before anything else."""

    def state(self) -> BenchState:
        """Say which bench this is."""

    def now_s(self) -> float:
        """Give the bench's clock, seconds."""

    def start(self, key: str) -> None:
        """Have the toy ready to be pressed."""

    def idle(self) -> None:
        """Keep the controller's dead-man fed while the disk is slow."""

    def choose(self) -> Step | None:
        """Pick the next pair's touch, where one is due; see `next_pair`."""

    def touch(self, step: Step) -> Touch:
        """Give a step's touch as this hand makes it."""

    def ready(self, step: Step) -> bool:
        """Wait until a step may begin; False where the person says that the toy froze."""

    def make(self, step: Step, touch: Touch, why: str, meanwhile: Callable[[], None]) -> Made:
        """Make a touch.

        Parameters
        ----------
        step : Step
        touch : Touch
        why : str
            Why it is asked for, in a few words; may be empty.
        meanwhile : callable
            Work to do while it is under way.

        Raises
        ------
        Leave
        BadSound
            Nothing was ever heard of this key.
        """

    def settle(self, made: Made) -> Sequel:
        """See what a pair's touch left behind."""

    def revive(self, key: str) -> Revival:
        """Bring the toy back until it answers its key.

        Raises
        ------
        ToyLost, BadSound
        """

    def get_to_know(self, key: str) -> HabitsLearnt:
        """Press a key whose baseline is made a few times more, to learn what the toy does with it.

        Nobody asks a person, who looks after that.
        """

    def know(self, habits: HabitsLearnt) -> None:
        """Take in what was learnt so, now or in an earlier run."""

    def restore(self, key: str) -> Revival:
        """Bring back a toy that answers this key, but doesn't sound like itself any more.

        Raises
        ------
        ToyLost, BadSound
        """

    def note(self, text: str) -> None:
        """Tell a person who is there a line that asks for nothing."""

    def leave(self) -> str | None:
        """Leave the toy off where that is in this hand; gives what a person must be told if not.

        So it is in a pause too.
        """

    def pass_pause(self) -> bool:
        """Let a moment of a pause pass; True where the person says that it is over.

        Raises
        ------
        Leave
        """

    def wake(self, key: str) -> None:
        """Have the toy ready to be pressed behind a pause, as if it had never been on.

        Raises
        ------
        ToyLost, BadSound
        """
