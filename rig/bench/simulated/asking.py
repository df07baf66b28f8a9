"""Asking a simulated toy how it really is: whether it answers a press, and when it begins to.

For `truth`, tests and benchmarks. What is asked are copies of the toy, which miss no press.
"""

from __future__ import annotations

import numpy as np

from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy

ANSWER_S = 0.5
"""For so long a key is held, and the answer to it waited for."""

ASKED = 3
"""So often a toy with habits is pressed: the first press may wake or stop it."""

_STEP, _LOOK = RATE_HZ // 1000, RATE_HZ // 50
_QUIET_LOOKS = 5
_PHRASES = 4
"""For so many of its longest phrases a toy is waited for that sounds."""


def press_or_not(toy: SimulatedToy, key: str) -> tuple[np.ndarray, np.ndarray]:
    """Give what a toy sounds like from a press on, and what without it, for `ANSWER_S`."""
    other = toy.fork()
    other.keys({key})
    samples = round(ANSWER_S * RATE_HZ)
    return other.run(samples), toy.run(samples)


def wait_for_quiet(toy: SimulatedToy, longest_phrase_s: float) -> None:
    """Let a toy end what it says, for a few of its longest phrases at most."""
    left, quiet = round(_PHRASES * longest_phrase_s * RATE_HZ), 0
    # between two phrases that were asked for it is quiet for a moment
    while quiet < _QUIET_LOOKS and left > 0:
        quiet = 0 if toy.sounding else quiet + 1
        toy.run(_LOOK)
        left -= _LOOK


def begin_sounding(
    toy: SimulatedToy, key: str, press_ms: int, longest_phrase_s: float
) -> int:
    """Press a quiet toy until it begins to sound, and leave it there.

    Parameters
    ----------
    press_ms : int
        For so long each press is held.
    longest_phrase_s : float
        What else it says by itself is waited for so long.

    Returns
    -------
    int
        How long ago the press was, ms; where no press brought anything, that of the last one.
    """
    most_ms = max(press_ms, round(1000 * toy.board.habits.latest_answer_s)) + round(1000 * ANSWER_S)
    for _ in range(ASKED):
        toy.keys({key})
        for past_ms in range(most_ms):
            if past_ms == press_ms:
                toy.keys(set())
            if toy.sounding:
                return past_ms
            toy.run(_STEP)
        wait_for_quiet(toy, longest_phrase_s)
    return most_ms


def answers(toy: SimulatedToy, key: str, longest_phrase_s: float) -> bool:
    """Say whether a copy of a toy answers one of `ASKED` presses, each from quiet if it can be.

    A toy may sleep, ignore what comes while it speaks, or stop at a press. It answers where it
    doesn't sound, sample for sample, as a copy does that nobody pressed.
    """
    pressed, still = toy.fork(), toy.fork()
    pressed.notice_all()
    still.notice_all()
    span = round((ANSWER_S + toy.board.habits.latest_answer_s) * RATE_HZ)
    for _ in range(ASKED):
        waited = round(_PHRASES * longest_phrase_s * RATE_HZ)
        while pressed.sounding and waited > 0:
            waited -= _LOOK
            if not _alike(pressed, still, _LOOK):
                return True
        pressed.keys({key})
        if not _alike(pressed, still, round(ANSWER_S * RATE_HZ)):
            return True
        pressed.keys(set())
        if not _alike(pressed, still, span):
            return True
    return False


def _alike(one: SimulatedToy, other: SimulatedToy, samples: int) -> bool:
    return np.array_equal(one.run(samples), other.run(samples))


def is_frozen(toy: SimulatedToy, key: str, longest_phrase_s: float) -> bool:
    """Say whether a toy as it is now is frozen; what is asked are copies of it.

    It answers neither a press at once (some jam only if nothing is pressed) nor one later.

    Parameters
    ----------
    longest_phrase_s : float
        After so long it is asked again.
    """
    at_once, later = toy.fork(), toy.fork()
    later.run(round(longest_phrase_s * RATE_HZ))
    if later.tripped:
        return False
    if toy.board.habits.is_plain:
        return all(np.array_equal(*press_or_not(one, key)) for one in (at_once, later))
    return not any(answers(one, key, longest_phrase_s) for one in (at_once, later))
