"""Logs, touches and takes for the tests of the log and of what reads it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.listen.judgement import Judgement
from rig.log import SweepLog

RATE_HZ = 48_000
SETUP = {
    "bench": "simulated",
    "supply": {"volts": 4.5, "source": "cells"},
    "lead_ohm": 1000.0,
    "pads": [["A", "signal"], ["B", "signal"], ["C", "rail"]],
    "keys": [["moo", 120]],
}
HASH = "a" * 64
LINE = Timeline(press_us=60_000, close_us=300_000, release_us=180_000, open_us=1_500_000,
                end_us=2_000_000)


def bridge(pad_1: str = "A", pad_2: str = "B", series_ohm: float = 10_000.0) -> Touch:
    """One pad to one pad around the cow's key."""
    return Touch((Connection((pad_1,), (pad_2,), series_ohm),), Stimulus(("moo",)))


BASELINE = Touch((), Stimulus(("moo",)))


def tone(seconds: float = 0.05, hz: float = 440.0) -> np.ndarray:
    """A short sine, float32."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    return (0.1 * np.sin(2 * np.pi * hz * t)).astype(np.float32)


def new_log(folder: Path, **more) -> SweepLog:
    """A fresh log in `folder`."""
    return SweepLog.create(folder, SETUP, HASH, {"toy.yaml": "name: cow\n"}, **more)


def add(log: SweepLog, *, kind: str = "sweep", touch: Touch | None = None, sound: str = "none",
        after: str | None = "answers", amount: float | None = None, unit: str | None = None,
        score: float = 0.2, path_ohm: float | None = 12_000.0, fault: str | None = None,
        facts: dict | None = None, samples: np.ndarray | None = None, take: bool = True) -> int:
    """Make, judge and (unless `after` is None) complete one touch; gives its number."""
    number = log.next_number()
    touch = bridge() if touch is None else touch
    key = f"{kind} {number}"
    log.intend(key, touch)
    if samples is None and take:
        samples = tone()
    log.made(number, key, kind, touch, path_ohm=path_ohm if touch.connections else None,
             started_at="2031-05-04T03:02:01.000+00:00", timeline=LINE, samples=samples,
             rate_hz=RATE_HZ, offsets={"press": 2880}, fault=fault, facts=facts)
    log.judged(number, Judgement(sound, amount=amount, unit=unit, score=score, p_value=0.01,
                                 judge="test 1"))
    if after is not None:
        log.completed(number, after, {})
    return number
