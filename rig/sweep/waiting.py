"""One press by hand: wait for its sound, and cut its take out of a stream without marker."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import Literal, cast

import numpy as np

from rig.bench import Chunk, Timeline
from rig.bench.byhand import Command, ListeningBench, Prompt
from rig.errors import BadSound
from rig.listen import frames, loud_level_db
from rig.listen.watch import Watch, trigger_level_db
from rig.project.models import Timings
from rig.sweep import sounding
from rig.sweep.hand import Leave
from rig.sweep.hearing import Heard

ROOM_S = 1.0
"""So long the room is heard before anything is asked."""
PRESS_AHEAD_S = 0.03
"""A press is placed so far ahead of the sound that it makes: toys take some tens of ms, and
judging leaves out what follows a press at once."""
CLOSED_AHEAD_S = 0.05
"""The bridge is closed by then, at the latest: it was held before the key went down."""
LEAST_BEFORE_S = 0.15
"""Each take has at least so much of the room ahead of its sound."""
TOO_SOON_MOST, SOUNDS_ON_S = 2, 6.0
TAPPED: dict[int, Command] = {2: "again", 3: "froze"}
"""What two and three taps on the microphone say."""


What = Literal["sound", "silence", "again", "skip", "froze"]


@dataclass(frozen=True)
class Got:
    """What came of a prompt.

    Parameters
    ----------
    what : str
        "sound", "silence" when nothing was heard in time, or what the person answered.
    heard : Heard or None
        The take; with "silence" and "froze" it holds the end of the waiting.
    """

    what: What
    heard: Heard | None = None


class Listener:
    """Waits for the toy on a bench by hand, and knows how loud toy and room are.

    Parameters
    ----------
    bench : ListeningBench
    timings : Timings
        Read are `before_ms`, `lead_in_ms` and `dwell_ms`.
    longest_s : float
        What sounds by itself for longer than the toy's longest phrase, s, and `SOUNDS_ON_S`, is
        frozen.
    """

    def __init__(self, bench: ListeningBench, timings: Timings, longest_s: float):
        self._sounds_on_s = max(SOUNDS_ON_S, longest_s)
        self.bench = bench
        self._before = self._samples(timings.before_ms / 1000)
        self._lead_in = self._samples(timings.lead_in_ms / 1000)
        self._dwell = self._samples(timings.dwell_ms / 1000)
        self._room = np.zeros(0, np.float32)
        self._room_db = 0.0
        self._room_mel_db = np.zeros(0)
        self._toys_db: list[float] = []

    def _samples(self, seconds: float) -> int:
        return round(seconds * self.bench.rate_hz)

    @property
    def trigger_db(self) -> float:
        """The level from which a sound is the toy's, dB re full scale."""
        toy_db = float(np.median(self._toys_db)) if self._toys_db else None
        return trigger_level_db(self._room_db, toy_db)

    def hear_room(self) -> None:
        """Listen to the room with the toy silent."""
        self.bench.person.say(Prompt("room"))
        self.bench.skip()
        tape = _Tape()
        while tape.length < self._samples(ROOM_S):
            tape.add(self.bench.listen())
        self._room = tape.cut(0, tape.length)
        room = frames(self._room, self.bench.rate_hz)
        self._room_db = loud_level_db(room.level_db)
        if words := sounding.room_words(self._room_db, self._room, self.bench.rate_hz):
            self.bench.person.note(words)
        self._room_mel_db = 10 * np.log10(np.mean(10 ** (room.mel_db / 10), axis=0))

    def hidden(self, key: str) -> BadSound:
        """Tell why a key's sound isn't heard above the room."""
        return sounding.hidden(
            key, quiet_db=self._room_db, stands_db=0.0,
            sound=self._room, rate_hz=self.bench.rate_hz, by_hand=True,
        )

    def learn_level(self, heard: Heard) -> None:
        """Take in how loud the toy is, from a take with nothing bridged."""
        sound = frames(heard.samples[heard.offsets["press"] :], self.bench.rate_hz)
        self._toys_db.append(loud_level_db(sound.level_db))

    def wait(self, prompt: Prompt, limit_s: float | None = None) -> Got:
        """Say a prompt, sound the tone and wait for the toy.

        Parameters
        ----------
        prompt : Prompt
        limit_s : float or None
            How long to wait for the sound, s; None: for ever.

        Raises
        ------
        Leave
            The person leaves.
        CaptureLost
            The sound stopped.
        """
        bridged, any_time = prompt.pads is not None or prompt.ask == "explore", False
        for tries in count(1):
            self.bench.person.say(prompt)
            got = self._once(bridged, limit_s, any_time)
            if got is not None:
                return got
            self.bench.person.note("too soon: wait for the tone, then press")
            state = self.until_quiet(SOUNDS_ON_S if bridged else self._sounds_on_s)
            if state in ("again", "skip"):
                return Got(cast(What, state))
            if state == "froze" or (state == "sounding" and not bridged):
                return Got("froze", self._end_of_waiting(_Tape(), bridged))
            # What comes too soon again and again is the bridge itself, which makes it sound.
            any_time = bridged and (tries >= TOO_SOON_MOST or state == "sounding")
        raise AssertionError("a count has no end")

    def _once(self, bridged: bool, limit_s: float | None, any_time: bool) -> Got | None:
        """Wait for one press; None when it came before the tone was over, unless it may."""
        tone_s = 0.0 if any_time else self.bench.person.tone("go")
        self.bench.skip()
        watch = self._watch(0.0 if any_time else tone_s + LEAST_BEFORE_S)
        tape = _Tape()
        limit = np.inf if limit_s is None else self._samples(limit_s)
        said: str = self.command()
        if said == "next":  # meant for what was asked before, which ended just then
            said = ""
        while watch.onset is None and not said:
            said = self.command()
            chunk = self.bench.listen()
            tape.add(chunk)
            watch.feed(chunk.sound)
            if watch.too_soon:
                return None
            said = said or TAPPED.get(watch.taps, "")
            if tape.length > limit or said == "next":
                said = "silence"
        if watch.onset is not None:
            earliest = self._samples(LEAST_BEFORE_S - PRESS_AHEAD_S)
            press = max(watch.onset - self._samples(PRESS_AHEAD_S), earliest)
            start = max(press - self._before, self._samples(tone_s))
            heard = self._take(tape, start, press, bridged)
            self.bench.person.tone("stop")
            return Got("sound", heard)
        if said not in ("silence", "froze"):
            return Got(cast(What, said))
        return Got(cast(What, said), self._end_of_waiting(tape, bridged))

    def _end_of_waiting(self, tape: _Tape, bridged: bool) -> Heard:
        """Give a take that ends now."""
        while tape.length < self._before + self._dwell:
            tape.add(self.bench.listen())
        start = tape.length - self._before - self._dwell
        return self._take(tape, start, start + self._before, bridged)

    def _take(self, tape: _Tape, start: int, press: int, bridged: bool) -> Heard:
        """Listen to a take's end and cut it out; its bridge was closed before the press.

        With nothing bridged the closing is put behind the press: up to there the ear learns
        how the toy answers.
        """
        end = press + self._dwell
        while tape.length < end:
            tape.add(self.bench.listen())
        close = press - self._samples(CLOSED_AHEAD_S) if bridged else press + self._lead_in
        places = {"start": start, "press": press, "close": close, "open": end, "end": end}
        offsets = {name: at - start for name, at in places.items()}
        at_us = {name: round(at * 1e6 / self.bench.rate_hz) for name, at in offsets.items()}
        timeline = Timeline(
            press_us=at_us["press"], close_us=at_us["close"], release_us=None,
            open_us=at_us["open"], end_us=at_us["end"],
        )
        if tape.is_lost(start, end):
            return Heard(np.zeros(0, np.float32), {}, timeline=timeline, fault="sound samples were lost")
        return Heard(tape.cut(start, end), offsets, timeline=timeline)

    def until_quiet(self, limit_s: float) -> str:
        """Listen until the toy is quiet, for so long (s) at most.

        Returns
        -------
        str
            "quiet", "sounding" at the end of the time, or what the person said meanwhile.
        """
        watch, listened = self._watch(), 0
        while listened < self._samples(limit_s):
            if said := self.command():
                return said
            chunk = self.bench.listen()
            listened += len(chunk.sound)
            watch.feed(chunk.sound)
            if watch.quiet():
                return "quiet"
        return "sounding"

    def _watch(self, clear_s: float = 0.0) -> Watch:
        return Watch(self.bench.rate_hz, self.trigger_db, self._room_mel_db, clear_s)

    def command(self) -> Command:
        """Give what the person answered since the last call; raises `Leave`."""
        said = self.bench.person.command()
        if said == "leave":
            raise Leave
        return said


class _Tape:
    """Sound since a prompt, with the places at which some is missing."""

    def __init__(self) -> None:
        self.length = 0
        self._pieces: list[np.ndarray] = []
        self._lost: list[tuple[int, int]] = []

    def add(self, chunk: Chunk) -> None:
        end = self.length + len(chunk.sound)
        if chunk.lost:
            self._lost.append((self.length, end))
        self._pieces.append(chunk.sound)
        self.length = end

    def cut(self, start: int, end: int) -> np.ndarray:
        return np.concatenate(self._pieces)[start:end].astype(np.float32)

    def is_lost(self, start: int, end: int) -> bool:
        return any(first < end and last > start for first, last in self._lost)
