"""Habits by name, for tests and benchmarks, and habits drawn at random as toys have them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from rig.bench.simulated.habits import Habits, Phrases, WhileSounding
from rig.bench.simulated.parts import Board
from rig.bench.simulated.supply import SAGS_BY

REAL = "real"
"""In place of a name: drawn at random."""

HABITS: Mapping[str, Mapping[str, Any]] = {
    "late 120": {"answer_ms": (120.0, 120.0)},
    "late 300": {"answer_ms": (300.0, 300.0)},
    "late 700": {"answer_ms": (700.0, 700.0)},
    "late 40-240": {"answer_ms": (40.0, 240.0)},
    "late 500-700": {"answer_ms": (500.0, 700.0)},
    "misses": {"misses": 0.1},
    "play/stop": {"while_sounding": "stops"},
    "ignored": {"while_sounding": "ignored"},
    "queued": {"while_sounding": "queued"},
    "next": {"while_sounding": "next"},
    "in turn": {"phrases": "in turn"},
    "same": {"phrases": "same"},
    "greeting": {"greets": True},
    "wakes": {"sleep_s": 3.0},
    "nag": {"nag_s": 8.0},
    "goodbye": {"auto_off_s": 40.0, "goodbye": True},
    "thump": {"thump_db": 6.0},
    "hiss before": {"hiss_before_ms": 200.0, "hiss_before_db": -15.0},
    "whine": {"whine_hz": 5200.0, "whine_db": -25.0},
    "hum": {"hum_s": 2.5, "hum_db": -18.0},
    "sag": {"sag_percent_a_minute": 1.0},
    "turned up 4 dB": {"turned_db": 4.0, "turned_at_s": 240.0},
    "turned down and back": {"turned_db": -6.0, "turned_at_s": 1.0, "falls_back": True},
    "motor": {"motor_ma": 80.0},
    "boots late and misses": {"answer_ms": (250.0, 600.0), "misses": 0.05, "thump_db": 0.0},
    "shelf": {"greets": True, "nag_s": 20.0, "sleep_s": 4.0, "while_sounding": "ignored"},
    "music box": {"while_sounding": "stops", "answer_ms": (60.0, 120.0), "hum_s": 1.5},
    "story": {"while_sounding": "queued", "phrases": "in turn", "hiss_before_ms": 120.0},
    "worn": {"sag_percent_a_minute": 0.5, "motor_ma": 60.0, "whine_hz": 3400.0, "misses": 0.08,
             "turned_db": -3.0, "turned_at_s": 300.0},
}  # fmt: skip
"""What each named toy does that a plain one doesn't; the last five are mixtures."""


_WAYS: Mapping[str, tuple[tuple[WhileSounding, ...], tuple[Phrases, ...]]] = {
    "talker": (("anew", "anew", "ignored", "ignored", "next", "stops"),
               ("random", "random", "in turn", "same")),
    "sampler": (("anew", "anew", "ignored", "stops", "next", "queued"),
                ("random", "random", "random", "in turn")),
    "keyboard": (("anew", "anew", "anew", "anew", "anew", "stops"),
                 ("random", "random", "random", "random", "random", "in turn")),
}  # fmt: skip
"""What a press does while a toy of a kind sounds, and which phrase comes: one of these."""


def with_habits(board: Board, name: str) -> Board:
    """Give a board with habits by their name, or drawn at random.

    Parameters
    ----------
    name : str
        Of `HABITS`, or `REAL`.
    """
    habits = drawn(board) if name == REAL else replace(board.habits, **HABITS[name])
    return replace(board, habits=_fitting(board, habits))


def _fitting(board: Board, habits: Habits) -> Habits:
    """Take away what no toy of this board could have been sold with."""
    power = board.power
    # what its own motor takes from the cells leaves the chips running, worn cells too
    spare = 1 - power.runs_above - 0.05 - (SAGS_BY if habits.sag_percent_a_minute else 0.0)
    most_ma = 1000 * 0.6 * max(0.0, spare) * board.volts / power.source_ohm
    playing = [key for key in board.keys if key not in board.on]
    return replace(
        habits,
        motor_ma=round(min(habits.motor_ma, most_ma), 1),
        cycles=habits.cycles if len(playing) > 1 else "",
    )


def drawn(board: Board) -> Habits:
    """Draw a board's habits at random; they have a chance of their own, apart from the board's.

    The shares are our choice, no source. Answers: a third at once, the others within 0.4 s, each
    press otherwise for half of these; one in eight boots for up to 0.9 s. One press in 50 to 8 is
    missed by a fourth of the toys. What a press does to a sounding toy, and which phrase comes, is
    drawn from `_WAYS`. A fourth greets, half of those with an `on` key turn themselves off, a sixth nags (20 to 90 s),
    a fifth sleeps (30 to 180 s). Half of the amplifiers thump (10 dB below to 8 dB above the
    speech), a third hisses before it speaks, a fifth hums after it, a fifth whines. A third has
    lamps or a motor (15 to 110 mA), a fourth worn cells (0.1 to 0.6 % a minute). One in six gets
    its volume turned by 2 to 5 dB within a quarter of an hour; with half of all toys it falls
    back where the supply was away.
    """
    ways, phrases = _WAYS[board.kind]
    rng = np.random.Generator(np.random.PCG64([board.seed, list(_WAYS).index(board.kind), 0x4AB1]))

    def one_in(times: float) -> bool:
        return bool(rng.random() < 1 / times)

    def between(least: float, most: float, places: int = 0) -> float:
        return round(float(rng.uniform(least, most)), places)

    answer_ms = 0.0, 0.0
    if not one_in(3):
        least = between(20, 200)
        answer_ms = (least, least + between(20, 200)) if one_in(2) else (least, least)
    if one_in(8):
        least = between(250, 600)
        answer_ms = least, least + between(0, 300)
    auto_off_s = board.habits.auto_off_s
    if auto_off_s is None and board.on and one_in(2):
        auto_off_s = between(60, 300)
    turned = one_in(6)
    return replace(
        board.habits,
        answer_ms=answer_ms,
        misses=between(0.02, 0.12, 3) if one_in(4) else 0.0,
        while_sounding=ways[int(rng.integers(len(ways)))],
        phrases=phrases[int(rng.integers(len(phrases)))],
        auto_off_s=auto_off_s,
        sleep_s=between(30, 180) if one_in(5) else None,
        greets=one_in(4),
        nag_s=between(20, 90) if one_in(6) else None,
        goodbye=one_in(2) and auto_off_s is not None,
        thump_db=between(-10, 8) if one_in(2) else None,
        hiss_before_ms=between(50, 300) if one_in(3) else 0.0,
        hiss_before_db=between(-30, -15),
        whine_hz=between(2000, 12000) if one_in(5) else None,
        whine_db=between(-40, -25),
        hum_s=between(0.5, 4.0, 1) if one_in(5) else 0.0,
        hum_db=between(-30, -18),
        sag_percent_a_minute=between(0.1, 0.6, 2) if one_in(4) else 0.0,
        turned_db=between(2, 5) * (1 if one_in(2) else -1) if turned else 0.0,
        turned_at_s=between(60, 900) if turned else 0.0,
        falls_back=one_in(2),
        motor_ma=between(15, 110) if one_in(3) else 0.0,
        cycles="volume" if one_in(6) else "",
    )
