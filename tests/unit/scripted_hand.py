"""A hand whose touches end as a script says, with takes made here: for what no bench does for long."""

from __future__ import annotations

import numpy as np

from rig.bench import BenchState, Timeline
from rig.errors import Restarted, ToyLost
from rig.events import HabitsLearnt
from rig.sweep.hand import Made, Revival
from rig.sweep.hearing import Heard
from rig.sweep.order import next_pair

RATE_HZ = 48_000
STEPS_MS = {"start": 0, "press": 60, "release": 180, "close": 360, "open": 900, "end": 1000}
ENDS = ("ok", "odd", "lost", "silent", "strange", "freeze", "guarded", "restart", "runs on", "gone")
"""As the baseline; another sound; no take; no answer; an answer never heard; the toy is frozen after
it; the guard trips; the controller restarts; it sounds on; it never comes back."""


def take(rng: np.random.Generator, odd: bool) -> np.ndarray:
    """Give a take of a toy that beeps when it is pressed, and otherwise while it is bridged."""
    t = np.arange(STEPS_MS["end"] * RATE_HZ // 1000) / RATE_HZ
    hz = np.where(odd & (t >= 0.4) & (t < 0.9), 1870.0, 700.0)
    beep = np.where((t >= 0.1) & (t < 0.8), 0.2 * np.sin(2 * np.pi * np.cumsum(hz) / RATE_HZ), 0.0)
    return (beep + rng.normal(0.0, 1e-4, len(t))).astype(np.float32)


class ScriptedHand:
    """Makes touches that end as `script` says.

    Parameters
    ----------
    script : callable
        Gives one word of `ENDS` for a step.
    is_person : bool
    """

    rate_hz = RATE_HZ

    def __init__(self, script, is_person=False):
        self.script, self.is_person = script, is_person
        self.rng = np.random.default_rng(1)
        self.made = 0
        self.frozen = self.gone = False

    def meet(self, ear, known):
        self.ear, self.known = ear, known

    def state(self):
        return BenchState("simulated", "scripted")

    def now_s(self):
        return float(self.made)

    def start(self, key):
        self.frozen = False

    def idle(self):
        pass

    def choose(self):
        return next_pair(self.known, path_first=False)

    def touch(self, step):
        return step.touch(self.project)

    def ready(self, step):
        return True

    def make(self, step, touch, why, meanwhile):
        self.made += 1
        meanwhile()
        end = self.script(step)
        if end == "restart":
            raise Restarted("the controller restarted by itself")
        is_learnt = self.ear.takes_learnt(step.key) >= 3
        answer = {"silent": "none", "strange": "strange"}.get(end, "known")
        if answer == "strange" and step.kind == "baseline":  # what a clean take is made for
            answer = "known"
        if self.frozen:
            answer = "none"
        self.gone = self.gone or end == "gone"
        self.frozen = self.gone or ((self.frozen or end == "freeze") and not step.is_clean)
        at_us = {name: 1000 * ms for name, ms in STEPS_MS.items()}
        if answer != "known" and is_learnt:
            at_us |= {"close": None, "open": None}
        stamps = {f"{n}_us": at_us[n] for n in ("press", "close", "release", "open", "end")}
        timeline = Timeline(**stamps, guarded=end == "guarded")
        if end == "lost":
            fault = "sound samples were lost"
            return Made(step, Heard(np.zeros(0, np.float32), {}, timeline=timeline, fault=fault))
        offsets = {name: us * RATE_HZ // 1_000_000 for name, us in at_us.items() if us is not None}
        heard = Heard(take(self.rng, end == "odd"), offsets, timeline=timeline)
        self.ran_on = end == "runs on"
        return Made(step, heard, answer if is_learnt else None)

    def settle(self, made):
        return "runs on" if self.ran_on else "quiet"

    def revive(self, key):
        if self.gone:
            raise ToyLost("the toy doesn't answer")
        froze, self.frozen = self.frozen, False
        return Revival("supply" if froze else "wait", 1)

    def restore(self, key):
        return Revival("supply", 1)

    def get_to_know(self, key):
        return HabitsLearnt(
            key=key, presses=8, unnoticed=0, soonest_s=0.0, latest_s=0.0, steady=True, phrases=1,
            heard_once=0, order="", while_sounding="anew", shortest_s=1.0, longest_s=1.0,
        )

    def know(self, habits):
        pass

    def note(self, text):
        pass

    def leave(self):
        return None

    def pass_pause(self):
        return True

    def wake(self, key):
        self.frozen = False
