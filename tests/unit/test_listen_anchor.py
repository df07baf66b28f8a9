"""Toys that sound late, or now sooner and now later: takes are compared from where they begin."""

import numpy as np
import pytest
from phrases import BEFORE_S, DWELL_S, LEAD_IN_S, RATE_HZ, SPAN, TAIL_S, bent, held, loop, phrase

from rig.listen import HOP_S, Baseline, Ear, Span, first_begins
from rig.listen.judging.kept import Kept

PRESS = SPAN.press


def late(sound, rng, after_s, noise_dbfs=-62.0, before=None):
    """Make a take of a toy that begins so long after its press; it is closed a lead-in later."""
    close_s = BEFORE_S + after_s + LEAD_IN_S
    end_s = close_s + DWELL_S + TAIL_S
    out = rng.normal(0, 10 ** (noise_dbfs / 20), int(end_s * RATE_HZ))
    at = int((BEFORE_S + after_s) * RATE_HZ)
    sound = sound[: len(out) - at]
    out[at : at + len(sound)] += sound * 10 ** (rng.normal(0, 0.4) / 20)
    if before is not None:
        out[:at] += before[:at]
    span = Span.from_seconds(BEFORE_S, close_s, close_s + DWELL_S, end_s)
    return out.astype(np.float32), span


def lateness(rng, kind):
    return {"at once": 0.01, "at 0.3 s": 0.3 + rng.uniform(0, 0.02), "at 0.7 s": 0.7 + rng.uniform(0, 0.02),
            "40 to 240 ms": rng.uniform(0.04, 0.24), "500 to 700 ms": rng.uniform(0.5, 0.7)}[kind]  # fmt: skip


KINDS = ("at once", "at 0.3 s", "at 0.7 s", "40 to 240 ms", "500 to 700 ms")


def learnt(kind, rng, phrases=(1, 2), count=16):
    ear = Ear(RATE_HZ)
    for i in range(count):
        ear.learn("moo", *late(phrase(phrases[i % len(phrases)]), rng, lateness(rng, kind)))
    return ear


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_clean_is_none_and_what_is_bent_is_heard_however_late_the_toy_begins(kind):
    rng = np.random.default_rng(5)
    ear = learnt(kind, rng)
    steady = ear.baseline("moo").anchor.after_press is not None
    assert steady == (kind in ("at once", "at 0.3 s", "at 0.7 s"))
    clean, changed = [], []
    for i in range(20):
        sound = phrase(1 + i % 2)
        clean.append(ear.judge("moo", *late(sound, rng, lateness(rng, kind))).sound)
        for change in (loop(0.2), held):
            take = late(bent(sound, change), rng, lateness(rng, kind))
            changed.append(ear.judge("moo", *take).sound)
    assert clean.count("none") == len(clean)
    assert "none" not in changed
    assert changed.count("loop") >= 18


@pytest.mark.parametrize("kind", KINDS)
def test_an_answer_is_known_up_to_the_cap_and_silence_is_none(kind):
    rng = np.random.default_rng(6)
    baseline = learnt(kind, rng).baseline("moo")
    for _ in range(10):
        take, _ = late(phrase(2), rng, lateness(rng, kind))
        found = baseline.begins(take, PRESS)
        assert found.answer == "known"
    silence, _ = late(np.zeros(1), rng, 0.7)
    assert baseline.answer(silence, PRESS) == "none"
    other, _ = late(phrase(77), rng, lateness(rng, kind))
    assert baseline.answer(other, PRESS) == "strange"
    much_later = baseline.anchor.cap_frames * HOP_S + 0.5
    assert baseline.answer(late(phrase(2), rng, much_later)[0], PRESS) == "none"


def test_how_a_press_is_answered_is_told_as_soon_as_it_can_be():
    rng = np.random.default_rng(7)
    baseline = learnt("40 to 240 ms", rng).baseline("moo")
    take, _ = late(phrase(1), rng, 0.1)
    told = [baseline.begins(take[: int(s * RATE_HZ)], PRESS) for s in np.arange(0.1, 0.6, 0.01)]
    first = next(i for i, one in enumerate(told) if one is not None)
    assert told[first].answer == "known"
    # 0.06 s ahead of the press, 0.1 s late, 0.12 s of lead-in, and a window.
    assert 0.27 <= 0.1 + first * 0.01 <= 0.32
    assert abs((told[first].frame - PRESS) * HOP_S - 0.1) < 0.04
    assert all(one == told[first] for one in told[first:])


def test_a_press_into_sound_is_laid_where_it_is_most_like_a_clean_one():
    rng = np.random.default_rng(8)
    ear = learnt("40 to 240 ms", rng)
    hung = np.concatenate([phrase(9), phrase(9)])
    for after_s in (0.05, 0.12, 0.2):
        take, span = late(phrase(1), rng, after_s, before=0.3 * hung)
        found = ear.baseline("moo").begins(take, PRESS)
        assert found.answer == "known"
        assert abs((found.frame - PRESS) * HOP_S - after_s) < 0.06
        assert ear.judge("moo", take, span).sound == "none"


def test_a_toy_of_which_nothing_is_known_begins_where_it_rises_from_its_room():
    rng = np.random.default_rng(9)
    assert first_begins(late(phrase(1), rng, 0.005)[0], PRESS, RATE_HZ) == PRESS
    later = first_begins(late(phrase(1), rng, 0.5)[0], PRESS, RATE_HZ)
    assert abs((later - PRESS) * HOP_S - 0.5) < 0.05
    assert first_begins(late(np.zeros(1), rng, 0.5)[0], PRESS, RATE_HZ) is None
    # A relay that is heard closing is no toy, unless nothing follows.
    click = np.zeros(RATE_HZ)
    click[:300] = 0.1 * rng.normal(size=300)
    both = np.concatenate([click[: RATE_HZ // 5], phrase(1)])
    clicked = first_begins(late(both, rng, 0.0)[0], PRESS, RATE_HZ)
    assert abs((clicked - PRESS) * HOP_S - 0.2) < 0.05


def test_a_phrase_at_another_level_is_told_with_how_much():
    rng = np.random.default_rng(10)
    baseline: Baseline = learnt("at once", rng).baseline("moo")
    for db in (-5.0, 4.0, 8.0):
        take, _ = late(phrase(1) * 10 ** (db / 20), rng, 0.01)
        assert baseline.moved_db(take, PRESS) == pytest.approx(db, abs=1.5)
    assert baseline.moved_db(late(phrase(1), rng, 0.01)[0], PRESS) is None
    assert baseline.moved_db(late(3 * phrase(77), rng, 0.01)[0], PRESS) is None
    assert baseline.moved_db(late(np.zeros(1), rng, 0.7)[0], PRESS) is None


def test_what_is_kept_hangs_on_the_takes_and_their_order_alone():
    rng = np.random.default_rng(11)
    takes = [late(phrase(1 + i % 3), rng, lateness(rng, "40 to 240 ms")) for i in range(12)]
    one, other = Kept.of(takes, RATE_HZ), Kept.of(takes[:6], RATE_HZ)
    Baseline(other)  # looked at meanwhile
    for samples, span in takes[6:]:
        other.add(samples, span)
    one.compare_all()
    other.compare_all()
    assert one.anchor == other.anchor
    np.testing.assert_allclose(one.local_db, other.local_db)
