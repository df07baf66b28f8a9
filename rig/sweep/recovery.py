"""The recovery ladder: the one place that decides whether the toy is alive.

Its rungs are `RUNGS`, from the gentlest on; after the last one the sweep stops with the toy off.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

import numpy as np

from rig.bench import Bench, Stimulus, Touch
from rig.bench.base import RAIL_DOWN_V
from rig.errors import BenchError, ToyLost
from rig.events import Event, Noticed, RungTried, ToyGone
from rig.listen import HOP_S, Baseline, frames, is_silent
from rig.project import Project
from rig.sweep import sounding
from rig.sweep.habits import LEAST_SILENT
from rig.sweep.hand import Revival
from rig.sweep.hearing import END, SPARE_FRAMES, Cue, Heard, Watcher, hear

RAIL_POLL_S = 0.1
RAIL_LIMIT_S = 60.0
PRESSES = 5
TAIL_CHECK_S = 0.15
PAUSE_MARGIN_S = 0.1
LONGEST_LISTEN_MS = 5000
"""The controller ends any touch by itself; longer listening is done in pieces."""
ROOM_MS = 1000
LATCHED_TIMES, LATCHED_MA, LATCHED_LISTEN_MS = 2.0, 3.0, 150
"""A silent toy that draws more than so many times what it does at rest, and so much on top (what a
converter of 10 bits is sure of), is latched up; so long it is listened to first."""
SUPPLY = "supply"

Tell = Callable[[Event], object]


class Recovery:
    """Asks the toy whether it's alive, and brings it back.

    Parameters
    ----------
    project : Project
    bench : Bench
    tell : callable
        Takes an event, for the log.
    """

    def __init__(self, project: Project, bench: Bench, tell: Tell):
        self.project = project
        self.bench = bench
        self.tell = tell
        self.silent_presses: Callable[[str], int] = lambda key: LEAST_SILENT
        self.idle_ma: float | None = None
        self._told_latched_up = False
        self._said = ""
        self._last: Heard | None = None

    def start(self) -> None:
        """Supply the toy, wait until it has started, and turn it on."""
        self.bench.supply(True)
        self._turn_on()

    def _turn_on(self) -> None:
        self.bench.wait(self.project.toy.boot_ms / 1000)
        self.press_on_keys()

    def press_on_keys(self) -> None:
        """Press the keys that turn the toy on, where it has such."""
        for key in self.project.toy.on:
            self._press(key)

    def answers(self, key: str, baseline: Baseline) -> bool:
        """Press a key with nothing closed and say whether the toy's own sound begins.

        A phrase that was never heard before may come, a few times in a row; silence counts
        sooner.
        """
        silent, self._last = 0, None
        for _ in range(PRESSES + self.silent_presses(key)):
            heard = self._press(key, baseline.answer_frames + SPARE_FRAMES)
            if heard.fault:
                continue
            if "press" not in heard.offsets:
                # the current guard has cut the supply: no press can be answered
                return False
            press = heard.frame("press", self.bench.rate_hz)
            self._last, self._said = heard, baseline.answer(heard.samples, press)
            if self._said == "known":
                return True
            if self._said == "strange" and self._is_moved(key, heard, press, baseline):
                return True
            silent += self._said == "none"
            if silent >= self.silent_presses(key):
                return False
            self.listen(self.project.toy.longest_phrase_s, baseline)
        return False

    def _is_moved(self, key: str, heard: Heard, press: int, baseline: Baseline) -> bool:
        """Say whether the toy answers as it does, but at another level, and tell it."""
        moved_db = baseline.moved_db(heard.samples, press)
        if moved_db is None:
            return False
        self.tell(Noticed(text=sounding.moved_words(key, moved_db)))
        return True

    def revive(self, key: str, baseline: Baseline) -> Revival:
        """Climb the ladder until the toy answers.

        Raises
        ------
        ToyLost
            When the last rung has failed; the toy is off then.
        BadSound
            The same, but it isn't the toy that fails: it sounds at another level, or no sound
            comes in.
        """
        at_once = self._is_latched_up(baseline)
        for rung in RUNGS:
            if at_once and rung.name != SUPPLY:
                continue
            for tries in range(1, rung.tries + 1):
                detail = rung.climb(self, baseline, tries)
                if detail is None:
                    break
                self.tell(RungTried(rung=rung.name, tries=tries, **detail))
                if self.answers(key, baseline):
                    # A toy that is pressed while it still speaks may stay silent, or be stopped.
                    self.listen(self.project.toy.longest_phrase_s, baseline)
                    return Revival(rung.name, tries)
        is_off = self.bench.safe() is None
        self._check_sound(key, baseline)
        self.tell(ToyGone(key=key))
        raise ToyLost(
            f"the toy doesn't answer key {key!r} after {RUNGS[-1].tries} power cycles; "
            f"{'it is off and ' if is_off else ''}all pads are open: look at it and its sound lead, "
            "then run `padsweep sweep` to continue"
        )

    def _is_latched_up(self, baseline: Baseline) -> bool:
        """Say whether a silent toy draws so much that its supply must go at once; it's told once.

        A chip whose input was pulled beyond its rails may conduct from rail to rail until it is
        without supply, silent and warm, far below what the guard allows.
        """
        if self.idle_ma is None:
            return False
        drawn_ma = self.bench.supply_ma()
        if drawn_ma <= LATCHED_TIMES * self.idle_ma + LATCHED_MA:
            return False
        heard = self._listen_once(LATCHED_LISTEN_MS)
        if heard.fault or not self.is_quiet(heard.samples, baseline):
            return False
        if not self._told_latched_up:
            self._told_latched_up = True
            self.tell(Noticed(
                text=f"the toy is silent and draws {drawn_ma:.0f} mA, {self.idle_ma:.0f} mA at rest: "
                "its supply is cut at once, now and whenever that comes again"
            ))
        return True

    def restore(self, baseline: Baseline) -> Revival:
        """Bring back a toy that answers, but isn't itself: with its supply cut it forgets all.

        Raises
        ------
        ToyLost
            When the rail doesn't fall.
        """
        self.tell(RungTried(rung=SUPPLY, tries=1, **self.cut_supply(baseline, 1)))
        self.listen(self.project.toy.longest_phrase_s, baseline)
        return Revival(SUPPLY, 1)

    def _check_sound(self, key: str, baseline: Baseline) -> None:
        """Tell a dead toy, which is off now, from an input that is no longer as it was."""
        if self._last is None:
            return
        try:
            self.bench.wait(self.project.rig.timings.rail_off_wait_s)
            room = self._listen_once(ROOM_MS)
        except BenchError:
            return
        if room.fault:
            return
        if is_silent(room.samples):
            raise sounding.nothing_comes()
        if self._said == "strange":
            press = self._last.frame("press", self.bench.rate_hz)
            louder_db = baseline.louder_db(self._last.samples, press)
            if abs(louder_db) >= sounding.CHANGED_DB:
                raise sounding.changed(key, louder_db)
        level_db = frames(room.samples, self.bench.rate_hz).level_db
        if not baseline.is_quiet(level_db):
            louder_db = float(np.median(level_db)) - baseline.noise_level_db
            raise sounding.covered(key, louder_db, room.samples, self.bench.rate_hz)

    # The rungs: each gives what is noted of it, or None where this rig or toy hasn't got it

    def wait(self, baseline: Baseline, tries: int) -> dict:
        """Wait out the longest phrase."""
        self.listen(self.project.toy.longest_phrase_s, baseline)
        return {}

    def press_on(self, baseline: Baseline, tries: int) -> dict | None:
        """Press the keys that turn the toy on."""
        self.press_on_keys()
        return {} if self.project.toy.on else None

    def reset(self, baseline: Baseline, tries: int) -> dict | None:
        """Pulse the toy's reset line, where one is wired, and turn the toy on."""
        if not self.bench.pulse_reset():
            return None
        self._turn_on()
        return {}

    def cut_supply(self, baseline: Baseline, tries: int) -> dict:
        """Cut the supply until the rail is down, longer on each try, restore it, turn the toy on."""
        fell_s = self.power_cycle(tries)
        return {"rail_fell_s": round(fell_s, 3)}

    def power_cycle(self, tries: int = 1) -> float:
        """Cut the supply until the rail is down, longer on each try; give the fall time in s.

        Raises
        ------
        ToyLost
            When the rail doesn't fall: something still feeds the toy.
        """
        self.bench.supply(False)
        begun_s = self.bench.now_s()
        while (rail_v := self.bench.rail_v()) >= RAIL_DOWN_V:
            if self.bench.now_s() - begun_s > RAIL_LIMIT_S:
                self.bench.safe()
                raise ToyLost(
                    f"the toy's supply is cut, but its rail stays at {rail_v:.2f} V: look for "
                    "what still feeds it, then run `padsweep sweep` to continue"
                )
            self.bench.wait(RAIL_POLL_S)
        fell_s = self.bench.now_s() - begun_s
        self.bench.wait(self.project.rig.timings.rail_off_wait_s * tries)
        self.start()
        return fell_s

    def listen(self, seconds: float, baseline: Baseline) -> bool:
        """Listen without pressing until the toy is quiet; say whether it still sounds at the end.

        Parameters
        ----------
        seconds : float
            The longest to listen, s.
        """
        tail = self.tail(baseline)
        is_over = self.until_quiet(tail / self.bench.rate_hz, baseline)
        remaining_ms = int(seconds * 1000)
        while remaining_ms > 0:
            dwell_ms = min(remaining_ms, LONGEST_LISTEN_MS)
            heard = self._listen_once(dwell_ms, is_over)
            if heard.ended_early or heard.fault:
                return False
            remaining_ms -= dwell_ms
        return not self.is_quiet(heard.samples[-tail:], baseline)

    def tail(self, baseline: Baseline) -> int:
        """Give for how many samples a toy must be silent to be done: longer than it ever pauses."""
        pause_s = baseline.longest_pause_s
        return int(max(TAIL_CHECK_S, pause_s + PAUSE_MARGIN_S) * self.bench.rate_hz)

    def until_quiet(self, seconds: float, baseline: Baseline) -> Watcher:
        """Give a watcher that ends a listening once it has been quiet for so long."""
        tail = int(seconds * self.bench.rate_hz)

        def is_over(sound: np.ndarray) -> Cue | None:
            enough = len(sound) > tail + int(TAIL_CHECK_S * self.bench.rate_hz)
            return END if enough and self.is_quiet(sound[-tail:], baseline) else None

        return is_over

    def _listen_once(self, dwell_ms: int, watch: Watcher | None = None) -> Heard:
        touch = Touch((), Stimulus(()), before_ms=20, lead_in_ms=0, dwell_ms=dwell_ms, tail_ms=20)
        return hear(self.bench, touch, watch=watch)

    def is_quiet(self, sound: np.ndarray, baseline: Baseline) -> bool:
        """Say whether a stretch of sound holds nothing but the room."""
        return baseline.is_silent_throughout(frames(sound, self.bench.rate_hz).level_db)

    def _press(self, key: str, answer_frames: int = 0) -> Heard:
        """Press a key with nothing closed, and hear at least so many frames after it."""
        timings = self.project.rig.timings
        touch = Touch(
            (), Stimulus((key,), self.project.toy.keys[key].press_ms), before_ms=timings.before_ms,
            lead_in_ms=max(timings.lead_in_ms, ceil(1000 * HOP_S * answer_frames)),
            dwell_ms=20, tail_ms=60,
        )
        return hear(self.bench, touch)


@dataclass(frozen=True)
class Rung:
    """A way to bring a toy back, and how often it is tried."""

    name: str
    tries: int
    climb: Callable[[Recovery, Baseline, int], dict | None]


RUNGS = (
    Rung("wait", 1, Recovery.wait),
    Rung("turn on", 1, Recovery.press_on),
    Rung("reset line", 1, Recovery.reset),
    Rung(SUPPLY, 3, Recovery.cut_supply),
)
