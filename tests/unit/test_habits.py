"""What presses with nothing bridged show of a toy: how often it misses, what a press does while it sounds."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import binom

from rig.events import HabitsLearnt
from rig.sweep.habits import (
    CONFIDENCE,
    FROZEN_CHANCE,
    MOST_SILENT,
    Double,
    agreed,
    did,
    order_of,
    paragraph,
    silent_presses,
    unnoticed_bound,
)

ROOM_DB, PRESS = -60.0, 6
LENGTH_S = (1.0, 1.2)
BASELINE = SimpleNamespace(
    noise_level_db=ROOM_DB, sound_db=ROOM_DB + 9,
    is_quiet=lambda level_db: bool(np.median(level_db) < ROOM_DB + 9),
)


@pytest.mark.parametrize(("presses", "unnoticed"), [(16, 0), (16, 3), (100, 0), (100, 11), (19, 19)])
def test_the_bound_is_the_share_at_which_so_few_misses_are_as_rare_as_stated(presses, unnoticed):
    u = unnoticed_bound(presses, unnoticed)
    if unnoticed == presses:
        assert u == 1.0
    else:
        assert binom.cdf(unnoticed, presses, u) == pytest.approx(1 - CONFIDENCE, rel=1e-9)


def test_the_rarer_a_toy_misses_a_press_the_fewer_silent_ones_show_that_it_is_frozen():
    assert [silent_presses(16, 0), silent_presses(100, 0), silent_presses(5000, 0)] == [4, 2, 2]
    assert silent_presses(100, 20) == 6
    assert silent_presses(16, 16) == MOST_SILENT
    # By chance: a toy that misses as many as the bound allows is hardly ever taken for frozen.
    u = unnoticed_bound(100, 20)
    assert u ** silent_presses(100, 20) <= FROZEN_CHANCE


def double(pieces, since_s=0.4, answer="none"):
    """Make a take of a second press: lengths in s of sound (positive) and quiet (negative)."""
    level_db = [ROOM_DB] * 0
    for s in pieces:
        level_db += [ROOM_DB + (40.0 if s > 0 else 0.0)] * round(abs(s) * 100)
    return Double(np.array(level_db), PRESS, since_s, answer)


@pytest.mark.parametrize(("made", "what"), [
    (double([0.06, 0.1, -1.5]), "stops"),
    (double([0.06, 0.7, -1.5]), "ignored"),
    (double([0.06, 1.1, -1.5]), "anew"),
    (double([0.06, 0.3, -0.2, 0.6, -1.5]), "anew"),
    (double([0.06, 1.8, -1.5]), "queued"),
    (double([0.06, 0.2, -1.5], answer="known"), "anew"),
    (double([-0.06, 1.1, -1.5]), ""),
    (double([0.06, 1.0, -1.5], since_s=0.1), ""),
    (double([0.06, 9.0]), "unclear"),
    (double([0.06, 5.0, -1.0]), "unclear"),
])  # fmt: skip
def test_what_a_press_did_is_told_by_when_the_toy_falls_silent(made, what):
    assert did(made, BASELINE, LENGTH_S) == what


def test_three_that_agree_are_enough_and_of_five_one_may_differ():
    assert agreed(["stops"] * 3) == "stops"
    assert agreed(["stops", "", "stops"]) == "stops"
    assert agreed(["anew", "ignored", "anew", "anew", "anew"]) == "anew"
    assert agreed(["anew", "ignored", "anew", "ignored", "anew"]) == "varies"
    assert agreed(["", "", ""]) == ""


def test_phrases_come_in_turn_or_at_random_and_too_few_tell_nothing():
    assert order_of([1, 2, 3] * 5) == "in turn"
    assert order_of([1, 2, 1, 1, 2, 2, 1, 2, 1, 1]) == "at random"
    assert order_of([1] * 16) == order_of([1, 2, 3, 4, 5]) == ""


def learnt(**how):
    usual = HabitsLearnt(
        key="moo", presses=16, unnoticed=0, soonest_s=0.02, latest_s=0.03, steady=True, phrases=1,
        heard_once=0, order="", while_sounding="anew", shortest_s=1.0, longest_s=1.0,
    )
    return HabitsLearnt(**(vars(usual) | how))


def test_the_paragraph_says_what_a_person_would_recognise():
    assert paragraph(learnt()) == (
        "key 'moo': it sounds 0.02 s after its press, for 1.0 s, always says the same, noticed every "
        "press; pressed while it sounds it begins anew"
    )
    assert paragraph(learnt(
        unnoticed=2, latest_s=0.4, steady=False, phrases=5, heard_once=2, order="at random",
        while_sounding="stops", longest_s=2.5, idle_ma=12.0, sounding_ma=55.4, first_wakes=True,
    )) == (
        "key 'moo': it sounds 0.02 to 0.40 s after its press, for 1.0 to 2.5 s, has 5 phrases, at "
        "random (one press in 8 brings a new one), missed 2 of 16 presses; pressed while it sounds it "
        "stops; its first press only wakes it; it draws 12 mA at rest and 55 mA sounding"
    )
