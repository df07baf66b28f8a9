"""The manner of made-up changes: the plain cases, by hand."""

import numpy as np
import pytest

from rig.listen import MANNER, MANNER_AMOUNT, MANNER_UNIT
from rig.listen.describing.describe import describe_excerpts
from rig.listen.describing.excerpts import Excerpt
from rig.listen.measures.features import frames

RATE_HZ = 24_000
SECONDS = 1.6
ROOM_DBFS = -80.0
T = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ


def melody(speed=1.0):
    """Notes of several partials, each 0.2 s, that die away; silence behind."""
    hz = [220.0, 330.0, 262.0, 392.0, 294.0, 440.0]
    at = T * speed
    which = np.minimum((at / 0.2).astype(int), len(hz) - 1)
    into = at - 0.2 * which
    tone = sum(np.sin(2 * np.pi * n * np.array(hz)[which] * into) / n for n in range(1, 9))
    return np.where(at < 1.2, 0.08 * tone * np.exp(-4 * into), 0.0)


def described(changed, clean=None):
    """Describe a changed melody, over a room's noise."""
    rng = np.random.default_rng(1)
    noise = 10 ** (ROOM_DBFS / 20)
    mine, theirs = (
        one + noise * rng.normal(size=len(one)) for one in (changed, melody() if clean is None else clean))
    bent, plain = (Excerpt(one, frames(one, RATE_HZ), 0) for one in (mine, theirs))
    return describe_excerpts(bent, plain, len(plain.frames), ROOM_DBFS + 3, RATE_HZ)


def gated(sound, hz):
    return np.where((T * hz) % 1 < 0.5, sound, 0.0)


def rounded(sound, step):
    return step * np.round(sound / step)


@pytest.mark.parametrize(("changed", "manner", "amount", "unit"), [
    (melody(0.7), "slowed", 70.0, "%"), (melody(1.4), "sped", 140.0, "%"),
    (gated(melody(), 9.0), "chopped", 9.0, "Hz"),
    (melody() * (0.55 + 0.45 * np.sin(2 * np.pi * 6 * T)), "motorboating", 6.0, "Hz"),
    (melody() * np.cos(2 * np.pi * 310 * T), "metallic", 310.0, "Hz"),
    (melody() + 0.1 * np.sin(2 * np.pi * 3000 * T), "squeal", 3000.0, "Hz"),
    (np.where(T < 0.5, melody(), 0.0), "stops early", 0.5, "s"),
], ids=lambda one: one if isinstance(one, str) else "")  # fmt: skip
def test_a_manner_with_its_amount(changed, manner, amount, unit):
    told = described(changed).measures
    assert (told.get(MANNER), told.get(MANNER_UNIT)) == (manner, unit)
    assert told[MANNER_AMOUNT] == pytest.approx(amount, rel=0.06)


@pytest.mark.parametrize(("changed", "manner"), [
    (rounded(melody(), 0.1), "crushed"), (np.clip(6 * melody(), -0.15, 0.15), "distorted"),
])
def test_a_manner_by_its_name(changed, manner):
    assert described(changed).measures.get(MANNER) == manner


@pytest.mark.parametrize("changed", [2.0 * melody(), 0.4 * melody()])
def test_louder_and_softer_have_no_manner(changed):
    told = described(changed)
    assert told.sound == "level"
    assert MANNER not in told.measures


def test_nothing_at_all_is_described_without_trouble():
    silent = np.zeros(len(T))
    for changed, clean in ((silent, silent), (silent, melody()), (melody(), silent)):
        described(changed, clean)
    described(melody()[:300], melody()[:300])
