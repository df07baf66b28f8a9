"""One touch on any bench: run it, watch its stream, and cut its take out of it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import KW_ONLY, dataclass, field
from typing import cast

import numpy as np

from rig.bench import Bench, Chunk, Timeline, Touch
from rig.bench.marker import TiedTimeline, find_pulses, tie
from rig.errors import CaptureLost
from rig.listen import HOP_S, Baseline, Beginning, first_begins, is_silent
from rig.sweep.outcome import Answer

MUTED = "the sound input gives nothing at all, not even noise: is it muted?"
MONO = "the marker is on the sound channel as well: is the input mono?"
SWAPPED = "the marker is on the sound channel: swap sound_channel and marker_channel in rig.yaml"
EXPLAINED = (MUTED, MONO, SWAPPED)
"""Faults that say what to look at."""
SPARE_FRAMES = 5
"""Beyond the frames that are compared: one window's length, and room for the shift."""
SAME_PULSE, PULSE_AROUND = 2, 20
"""Samples between two channels' views of one pulse, at most, and that are looked at before it."""


@dataclass(frozen=True)
class Cue:
    """What a watcher wants done: the touch ended, or its pads closed so long after its start, s."""

    close_at_s: float | None = None


END = Cue()
Watcher = Callable[[np.ndarray], Cue | None]
"""Is given all sound since the start marker whenever more has come, up to its first cue."""


@dataclass(frozen=True)
class Heard:
    """What came back of one touch.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        The take, from the start marker to the end marker; empty when it was lost.
    offsets : dict of str to int
        Sample of the take at which each step happened (those that did).
    timeline : Timeline or None
        The controller's own stamps.
    fault : str or None
        Why the take can't be judged.
    ended_early : bool
        True when the watcher ended the touch.
    clock_ratio : float or None
        Sound device's seconds per controller's second in this touch.
    """

    samples: np.ndarray
    offsets: dict[str, int] = field(default_factory=dict)
    _: KW_ONLY
    timeline: Timeline | None = None
    fault: str | None = None
    ended_early: bool = False
    clock_ratio: float | None = None

    def seconds(self, step: str, rate_hz: int) -> float:
        """Give the time of a step since the start of the take."""
        return self.offsets[step] / rate_hz

    def frame(self, step: str, rate_hz: int) -> int:
        """Give the frame of the take in which a step happened."""
        return round(self.seconds(step, rate_hz) / HOP_S)


class LeadIn:
    """Watches a touch's lead-in: has the pads closed once the toy is heard to begin.

    Where it's known not to answer the touch is ended.

    Parameters
    ----------
    baseline : callable
        Gives that of the key which is pressed, or None while too little of it is known; called when
        there is something to hear.
    press_s, lead_in_s : float
        Time of the press since the start marker, and from the toy's beginning to the closing.
    rate_hz : int
    strange_is_known : bool
        What was never heard before is what a clean take is made for.

    Attributes
    ----------
    answer : str or None
        How the press was answered, one of `Answer`; None until enough was heard.
    """

    def __init__(
        self,
        baseline: Callable[[], Baseline | None],
        press_s: float,
        lead_in_s: float,
        rate_hz: int,
        *,
        strange_is_known: bool,
    ) -> None:
        self.answer: Answer | None = None
        self._baseline = baseline
        self._lead_in_s = lead_in_s
        self._rate_hz = rate_hz
        self._press = round(press_s / HOP_S)
        self._strange_is_known = strange_is_known

    def __call__(self, sound: np.ndarray) -> Cue | None:
        """Take in all sound since the start marker."""
        found = self._begins(sound)
        if found is None:
            return None
        self.answer = cast(Answer, found.answer)
        if self.answer == "strange" and self._strange_is_known:
            self.answer = "known"
        if self.answer != "known":
            return END
        return Cue(found.frame * HOP_S + self._lead_in_s)

    def _begins(self, sound: np.ndarray) -> Beginning | None:
        baseline = self._baseline()
        if baseline is not None:
            return baseline.begins(sound, self._press, SPARE_FRAMES)
        frame = first_begins(sound, self._press, self._rate_hz)
        return None if frame is None else Beginning("known", frame)


def hear(
    bench: Bench,
    touch: Touch,
    watch: Watcher | None = None,
    meanwhile: Callable[[], None] | None = None,
    known_ratio: float | None = None,
) -> Heard:
    """Make one touch and give its take.

    Parameters
    ----------
    bench : Bench
    touch : Touch
    watch : callable, optional
        See `Watcher`.
    meanwhile : callable, optional
        Work done right after the touch has begun, while the bench is busy with it.
    known_ratio : float, optional
        The clocks' ratio of earlier touches: with it, smaller losses of sound show.

    Raises
    ------
    BenchError
        When the bench itself fails; a take that is merely lost is returned with its fault.
    """
    bench.begin(touch)
    if meanwhile:
        meanwhile()
    tape = _Tape(bench.rate_hz)
    start: int | None = None
    cue: Cue | None = None
    for chunk in bench.stream():
        tape.add(chunk)
        if watch is None or cue is not None:
            continue
        if start is None:
            start = next(iter(tape.pulses()), None)
        if start is not None:
            cue = watch(tape.sound[start : tape.length])
            if cue is END:
                bench.end_early()
            elif cue is not None and cue.close_at_s is not None:
                bench.close_at(cue.close_at_s)
    ended = cue is END
    timeline = bench.timeline()
    fault, tied = tape.tie(timeline, known_ratio)
    if fault:
        nothing = np.zeros(0, dtype=np.float32)
        return Heard(nothing, timeline=timeline, fault=fault, ended_early=ended)
    offsets = {
        name: at - tied.start
        for name in ("start", "press", "close", "release", "open", "end")
        if (at := getattr(tied, name)) is not None
    }
    take = tape.sound[tied.start : tied.end].copy()
    return Heard(take, offsets, timeline=timeline, ended_early=ended, clock_ratio=tied.clock_ratio)


class _Tape:
    """The stream of one touch, put together as it comes."""

    def __init__(self, rate_hz: int):
        self.rate_hz = rate_hz
        self.length = 0
        self.is_lost = False
        self.sound = np.empty(2 * rate_hz, dtype=np.float32)
        self.marker = np.empty(2 * rate_hz, dtype=np.float32)

    def add(self, chunk: Chunk) -> None:
        end = self.length + len(chunk.sound)
        if end > len(self.sound):
            self.sound = np.concatenate([self.sound, np.empty(end, dtype=np.float32)])
            self.marker = np.concatenate([self.marker, np.empty(end, dtype=np.float32)])
        self.sound[self.length : end] = chunk.sound
        self.marker[self.length : end] = chunk.marker
        self.length = end
        self.is_lost = self.is_lost or chunk.lost

    def pulses(self) -> list[int]:
        return find_pulses(self.marker[: self.length], self.rate_hz)

    def tie(
        self, timeline: Timeline, known_ratio: float | None
    ) -> tuple[str | None, TiedTimeline | None]:
        """Place the timeline in the tape; gives the fault instead where that can't be done."""
        if self.is_lost:
            return "sound samples were lost", None
        if not self.length:
            return "no sound arrived", None
        pulses = self.pulses()
        try:
            if len(pulses) != 2:
                raise CaptureLost(f"{len(pulses)} marker pulses instead of 2")
            tied = tie(timeline, pulses[0], pulses[1], self.rate_hz, known_ratio)
        except CaptureLost as fault:
            return self._explained(timeline, str(fault)), None
        if all(map(self._is_heard_too, pulses)):
            return MONO, None
        return None, tied

    def _is_heard_too(self, pulse: int) -> bool:
        """Say whether a marker pulse is there on the sound channel as well."""
        around = self.sound[max(0, pulse - PULSE_AROUND) : pulse + self.rate_hz // 100]
        beside = find_pulses(around, self.rate_hz, max(0, pulse - PULSE_AROUND))
        return any(abs(at - pulse) <= SAME_PULSE for at in beside)

    def _explained(self, timeline: Timeline, fault: str) -> str:
        """Give what is behind a marker that isn't as it should be, where that can be seen."""
        sound, marker = self.sound[: self.length], self.marker[: self.length]
        if is_silent(sound) and is_silent(marker):
            return MUTED
        beside = find_pulses(sound, self.rate_hz)
        with contextlib.suppress(CaptureLost):
            if len(beside) == 2 and tie(timeline, beside[0], beside[1], self.rate_hz):
                return SWAPPED
        return fault
