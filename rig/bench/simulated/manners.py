"""What a toy's chips make of presses and of time that passes, besides playing.

The chips ask it at each of their looks at the keys (about 20 ms), and only while their logic
runs: whatever stops them for good stops this with them, so that a frozen toy stays frozen.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from enum import Enum
from typing import overload

import numpy as np

from rig.bench.simulated.beside import Beside
from rig.bench.simulated.habits import STEP_DB
from rig.bench.simulated.parts import Board

LOOKS_A_S = 50
OWN = -1
"""In place of a key's place: what a toy says by itself."""

_MOST_QUEUED = 3
_VOLUMES = 3


class Act(Enum):
    """What the chips do: begin a key's sound, stop, or turn off; or wait till the sound ends."""

    BEGIN = "begin"
    STOP = "stop"
    WAIT = "wait"
    NOTHING = "nothing"
    OFF = "off"


class Manners:
    """The state that habits need between two looks.

    Parameters
    ----------
    board : Board
    places : sequence of str or None
        The key at each place of the matrix.
    """

    def __init__(self, board: Board, places: Sequence[str | None]):
        habits = self._habits = board.habits
        playing = [key for key in board.keys if key not in board.on]
        self._cycling = places.index(playing[-1]) if habits.cycles else None
        self._sleep_looks = _looks(habits.sleep_s)
        self._nag_looks = _looks(habits.nag_s)
        self._hum_looks = _looks(habits.hum_s) or 0
        self._warm_looks = 0
        if habits.hiss_before_ms or habits.thump_db is not None:
            # a click takes a look, whatever follows it
            self._warm_looks = max(1, round(habits.hiss_before_ms / 1000 * LOOKS_A_S))
        self._beside = Beside(habits)
        self._noise_at = 0
        self.power_on()

    def fork(self) -> Manners:
        """Copy it with all its state."""
        return copy.copy(self)

    def power_on(self) -> None:
        """Start as after the supply has been away."""
        self._greeting = False
        self._leaving = False
        self._quiet = self._alone = 0
        self._queue: tuple[int, ...] = ()
        self._turns: dict[int, int] = {}
        self._warming: tuple[int, int] | None = None
        self._humming = 0
        self._was_sounding = False
        self._volume = 0
        self._moved = False
        self._now = ""

    def comes_alive(self) -> None:
        """Note that the chips are ready, after their start or after a key that turned them on."""
        self._greeting = self._habits.greets
        self._quiet = self._alone = 0
        self._leaving = False

    def variant(self, place: int, count: int) -> int | None:
        """Give which of a key's `count` sounds comes now; None where the kind picks as it does."""
        if self._takes_turns():
            return (self._turns.get(place, 0) + self._moved) % count
        return 0 if self._habits.phrases == "same" else None

    def _takes_turns(self) -> bool:
        return self._moved or self._habits.phrases == "in turn"

    def pressed(self, place: int, sounding: bool) -> Act:
        """Say what comes of a press that the chips have noticed.

        Parameters
        ----------
        place : int
            Of the key in the matrix.
        sounding : bool
            Whether something plays.
        """
        asleep = self._sleep_looks is not None and self._quiet > self._sleep_looks
        self._quiet = self._alone = 0
        self._leaving = False
        if asleep:
            return Act.NOTHING
        if place == self._cycling:
            self._volume = (self._volume + 1) % _VOLUMES
            return Act.NOTHING
        if sounding or self._warming:
            return self._pressed_again(place)
        return self._begin(place)

    def _pressed_again(self, place: int) -> Act:
        way = self._habits.while_sounding
        if way == "ignored":
            return Act.NOTHING
        if way == "queued":
            self._queue = (*self._queue, place)[:_MOST_QUEUED]
            return Act.WAIT
        warming, self._warming = self._warming, None
        if way == "stops":
            return Act.STOP
        self._moved = way == "next" and self._habits.phrases != "in turn"
        if warming:
            # the amplifier is on its way up already
            self._warming = place, warming[1]
            return Act.NOTHING
        return Act.BEGIN

    def _begin(self, place: int) -> Act:
        """Begin from quiet: at once, or once the amplifier is up."""
        if self._warm_looks and not self._humming:
            self._warming = place, 0
            return Act.NOTHING
        return Act.BEGIN

    def began(self, place: int) -> None:
        """Note that a key's sound begins."""
        self._humming = 0
        if self._takes_turns() and place != OWN:
            self._turns = {**self._turns, place: self._turns.get(place, 0) + 1}
        self._moved = False

    def look(self, sounding: bool, held: bool) -> int | Act | None:
        """Let a look's time pass.

        Parameters
        ----------
        sounding : bool
            Whether something plays.
        held : bool
            Whether a key is down.

        Returns
        -------
        int, Act.OFF or None
            The place of the key whose sound begins now, `OWN`, or that the toy turns itself off.
        """
        self._now = ""
        if self._warming:
            return self._warm(*self._warming)
        if sounding:
            self._was_sounding = True
        elif self._was_sounding:
            self._was_sounding = False
            self._humming = self._hum_looks
        self._quiet = 0 if sounding or held else self._quiet + 1
        self._alone = 0 if held else self._alone + 1
        if self._is_left() and not (self._leaving and sounding):
            if self._habits.goodbye and not self._leaving:
                self._leaving = True
                return OWN if sounding else self._begins(OWN)
            return Act.OFF
        if sounding:
            return None
        begun = self._by_itself()
        if begun is not None or self._warming:
            return begun
        if self._humming:
            self._humming -= 1
            self._now = "hum"
        return None

    def _is_left(self) -> bool:
        off_s = self._habits.auto_off_s
        return off_s is not None and self._alone > off_s * LOOKS_A_S

    def _by_itself(self) -> int | None:
        if self._queue:
            place, self._queue = self._queue[0], self._queue[1:]
            return self._begins(place)
        if self._greeting:
            self._greeting = False
            return self._begins(OWN)
        if self._nag_looks is not None and self._quiet >= self._nag_looks:
            self._quiet = 0
            return self._begins(OWN)
        return None

    def _begins(self, place: int) -> int | None:
        return place if self._begin(place) is Act.BEGIN else self._warm(place, 0)

    def _warm(self, place: int, at: int) -> int | None:
        if at == self._warm_looks:
            self._warming = None
            return place
        self._now = "hiss" if at else "thump"
        self._warming = place, at + 1
        return None

    @overload
    def sound(self, samples: np.ndarray, count: int, rate_hz: float) -> np.ndarray: ...

    @overload
    def sound(
        self, samples: np.ndarray | None, count: int, rate_hz: float
    ) -> np.ndarray | None: ...

    def sound(self, samples: np.ndarray | None, count: int, rate_hz: float) -> np.ndarray | None:
        """Give what the amplifier gets during a look: what plays, at the volume, and its noise.

        Parameters
        ----------
        samples : ndarray of float32, shape (count,), or None
            What plays; None for nothing. It isn't changed.
        count : int
            Samples of a look.
        rate_hz : float
            Of these samples.
        """
        if samples is not None and self._volume:
            samples = samples * np.float32(10 ** (-self._volume * STEP_DB / 20))
        if not self._now:
            return samples
        self._noise_at += 1
        noise = self._beside.noise(self._now, count, rate_hz, self._noise_at)
        # heard once: whatever stops the chips stops it with them
        self._now = ""
        return noise if samples is None else samples + noise


def _looks(seconds: float | None) -> int | None:
    return None if seconds is None else round(seconds * LOOKS_A_S)
