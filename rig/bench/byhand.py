"""The bench without switches: a person bridges the pads, a microphone hears the toy.

There is no controller and no marker. The sound runs on and on; what is bridged and pressed
is asked of the person, and when it happened is heard. Whoever talks to the person (words,
tones, keys) is handed in, so that this module knows neither screen nor loudspeaker.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

from rig.bench.base import BenchState, Chunk
from rig.bench.capture import Capture
from rig.errors import BenchError
from rig.project import Project

Ask = Literal[
    "room", "level", "clean", "touch", "once more", "bare", "quieten", "battery", "explore", "control",
]
"""What a prompt wants: silence; a press to set the level; a press with nothing bridged; a
pair bridged and a press; the same press again; bridge off and a press; the toy made quiet
by a press; the batteries out and in; poking at will; a control of the finished build set and a
press."""

Command = Literal["", "again", "skip", "froze", "next", "leave"]
"""What the person may answer at any time; "" for nothing."""


@dataclass(frozen=True)
class Prompt:
    """What the person is asked to do.

    Parameters
    ----------
    ask : str
        One of `Ask`.
    key : str
        Key of the toy to press, where one is.
    pads : tuple of (str, str) or None
        The pair to bridge.
    path_ohm : float or None
        What is to be between the tips, ohms.
    why : str
        What led to it, in a few words; may be empty.
    control : int or None
        Number on the sheet of the control to set, all others open.
    setting : str
        What to set it to; see `rig.verify.settings`.
    late : bool
        It is to be set as soon as the toy sounds, not before the press.
    """

    ask: Ask
    key: str = ""
    pads: tuple[str, ...] | None = None
    path_ohm: float | None = None
    why: str = ""
    control: int | None = None
    setting: str = ""
    late: bool = False


class Person(Protocol):
    """Whoever passes words to the person and back."""

    def say(self, prompt: Prompt) -> None:
        """Show what is wanted now."""

    def note(self, text: str) -> None:
        """Show a line that asks for nothing."""

    def tone(self, name: Literal["go", "stop"]) -> float:
        """Sound a short tone; give for how long from now it may be heard, s (0: not at all)."""

    def command(self) -> Command:
        """Give what was answered since the last call; never waits."""

    def which(self) -> tuple[str, str] | None:
        """Ask which two pads that was; None where the person doesn't say."""


class ListeningBench(Protocol):
    """What a sweep by hand may ask of its bench: a person, and sound without end."""

    rate_hz: int
    person: Person

    def state(self) -> BenchState:
        """Say which bench this is."""

    def listen(self) -> Chunk:
        """Wait for sound and give all there is since the last call, in order."""

    def skip(self) -> None:
        """Forget what was heard meanwhile: the next `listen` gives sound from now on."""

    def now_s(self) -> float:
        """Give the bench's clock, seconds."""

    def close(self) -> None:
        """Give the sound device back."""


class ByHandBench:
    """A person and a sound device.

    Parameters
    ----------
    project : Project
        Its `sound` says which input is recorded.
    person : Person
    clock : callable
        Gives seconds; never goes back.

    Raises
    ------
    BenchError
        The sound device can't be used; see `Capture.open`.
    """

    def __init__(
        self, project: Project, person: Person, *, clock: Callable[[], float] = time.monotonic
    ) -> None:
        sound = project.rig.sound
        if sound is None:
            raise BenchError("bench: by-hand needs 'sound' in rig.yaml")
        self.person = person
        self.rate_hz: int = sound.rate_hz
        self._clock = clock
        self._capture = Capture.open(
            sound.device, sound.rate_hz, sound.sound_channel, sound.sound_channel, clock=clock
        )

    def state(self) -> BenchState:
        """Say which sound device this bench listens to."""
        device = self._capture.device
        return BenchState(
            kind="by-hand", identity=f"by hand, {device}",
            facts={"sound_device": device, "rate_hz": self.rate_hz},
        )

    def listen(self) -> Chunk:
        """Wait for sound and give all there is since the last call.

        Raises
        ------
        CaptureLost
            The sound stopped.
        """
        return self._capture.read()

    def skip(self) -> None:
        """Forget what was heard meanwhile."""
        self._capture.skip()

    def now_s(self) -> float:
        """Give the bench's clock, seconds."""
        return self._clock()

    def close(self) -> None:
        """Give the sound device back; never raises."""
        self._capture.close()
