"""kill -9 at random moments: what was complete stays, and at most two touches are repeated."""

import random
from collections import Counter
from contextlib import suppress
from pathlib import Path

import numpy as np
from killing import random_moment, run_and_kill, tell_line

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.errors import LogError
from rig.log import SweepLog, verify

RATE_HZ = 48_000
TOUCH = Touch((Connection(("A",), ("B",), 10_000.0),), Stimulus(("moo",)))
LINE = Timeline(press_us=60_000, close_us=300_000, release_us=180_000, open_us=1_500_000,
                end_us=2_000_000)
KILLS = 40


def make_touches_for_ever(folder: Path, witness: Path) -> None:
    """What an engine does: each touch intended, made, and complete with the next one.

    The witness has a line for each touch begun, and for each that is sure to be complete.
    """
    noise = (0.5 * np.random.default_rng(4).standard_normal(RATE_HZ)).astype(np.float32)
    log = (SweepLog.open if (folder / "log.db").exists() else _create)(folder)
    plan = (f"p{count}" for count in range(10**9))
    done = {one.plan_key for one in log.records() if one.complete}
    last = None
    waiting: list[str] = []
    for key in plan:
        if key in done:
            continue
        log.intend(key, TOUCH)
        tell_line(witness, f"begun {key}")
        # Whatever was begun two intents ago can't be lost any more.
        waiting.append(key)
        if len(waiting) == 3:
            tell_line(witness, f"safe {waiting.pop(0)}")
        if last is not None:
            log.completed(last, "answers")
        last = log.next_number()
        log.made(last, key, "sweep", TOUCH, path_ohm=12_000.0, started_at="now", timeline=LINE,
                 samples=noise, rate_hz=RATE_HZ)


def _create(folder: Path) -> SweepLog:
    return SweepLog.create(folder, {"pads": []}, "h", {"toy.yaml": "x"})


def test_a_log_killed_at_random_moments(tmp_path):
    chance = random.Random(20)
    folder, witness = tmp_path / "sweeps" / "main", tmp_path / "witness"
    before: list = []
    left_behind = 0
    for _ in range(KILLS):
        moment = random_moment(chance, lambda: len(lines_with(witness, "begun")), most=10,
                               start_s=0.1, touch_s=0.03)
        assert run_and_kill(make_touches_for_ever, folder, witness, when=moment) is None
        if not (folder / "log.db").exists():  # killed before there was a log
            assert before == []
            continue
        left_behind += _unclean(folder)
        log = SweepLog.open(folder)
        assert verify(log) == []
        records = log.records()
        log.close()
        assert [one.number for one in records] == list(range(1, len(records) + 1))
        settled = [one for one in before if one.complete]
        assert [one for one in records if one.number in {old.number for old in settled}] == settled
        complete = {one.plan_key for one in records if one.complete}
        assert {line.split()[1] for line in lines_with(witness, "safe")} <= complete
        before = records
    repeats = sum(count - 1 for count in Counter(lines_with(witness, "begun")).values())
    assert len(before) > KILLS, "hardly anything was made: the test shows nothing"
    assert 0 < repeats <= 2 * KILLS
    assert left_behind > 0, "no kill left anything half done: the test shows nothing"


def lines_with(witness: Path, word: str) -> list[str]:
    """Give the witness' lines of one kind."""
    lines = witness.read_text().splitlines() if witness.exists() else []
    return [line for line in lines if line.startswith(word)]


def _unclean(folder: Path) -> bool:
    """Say if the kill left something that opening must clean up."""
    log = SweepLog.open(folder, read_only=True)
    known = {one.take for one in log.records()}
    return any(f"takes/{path.name}" not in known for path in (folder / "takes").iterdir())


def test_two_killed_attempts_are_counted(tmp_path):
    folder, witness = tmp_path / "main", tmp_path / "witness"
    for kills in (1, 2):
        assert run_and_kill(_intend_and_hang, folder, witness, when=lambda kills=kills: len(
            lines_with(witness, "closed")) == kills) is None
    with SweepLog.open(folder) as log:
        assert log.attempts("deadly") == 2


def _intend_and_hang(folder: Path, witness: Path) -> None:
    log = None
    with suppress(LogError):
        log = SweepLog.open(folder)
    log = log or _create(folder)
    log.intend("deadly", TOUCH)
    tell_line(witness, "closed")
    while True:
        log.flush()
