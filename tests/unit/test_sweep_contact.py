"""A lead that comes off in mid-sweep: what was touched with it is touched again, or waits."""

from dataclasses import replace

import pytest
from listening import told_during
from scripted_hand import ScriptedHand
from small_sweeps import few_leads, new_log

from rig.choose import finds
from rig.events import Noticed, SweepDone
from rig.log import SweepLog, verify
from rig.sweep import contact, known
from rig.sweep.contact import CHECK, Contact
from rig.sweep.outcome import Outcome
from rig.sweep.run import Run
from rig.sweep.steps import Step
from rig.touches import Target

PADS = "ABCDEFGH"
VALUES = [0.0, 6_800.0, 33_000.0, 150_000.0]
BENDS = {("A", "B"), ("A", "C"), ("D", "E")}
LOW_ONLY = {("C", "H")}
"""Heard over the least value alone, so late."""


class ComesOff(ScriptedHand):
    """A toy of which one lead is off from one touch on, for so many; of a bend that ends as well."""

    def __init__(self, lead=None, since=0, until=0, ends=None):
        super().__init__(self.say)
        self.lead, self.since, self.until, self.ends = lead, since, until, ends
        self.on_pads = []

    def say(self, step):
        if not step.is_clean:
            self.on_pads.append(step)
        if self.since <= self.made < self.until and (
            self.lead in step.pads or step.pads == self.ends
        ):
            return "ok"
        heard = step.pads in BENDS or (step.pads in LOW_ONLY and not step.series_ohm)
        return "odd" if heard else "ok"


@pytest.fixture(autouse=True)
def looks_often(monkeypatch):
    monkeypatch.setattr(contact, "LOOK_EVERY", 30)
    monkeypatch.setattr(contact, "LOOK_AT_LAST", 10)
    monkeypatch.setattr(known, "CHECK_EVERY", 10)


def swept(folder, hand):
    """Sweep 28 pairs over four values, or go on with that; gives finds, events and hand."""
    path = folder / "toy" / "sweeps" / "main"
    if path.exists():
        hand.project = swept.project
        log = SweepLog.open(path)
    else:
        project = few_leads(folder / "toy", PADS)
        rig = project.rig.model_copy(update={"series_ohm": VALUES})
        hand.project = swept.project = replace(project, rig=rig)
        log = new_log(hand.project)
    with log:
        events = told_during(log, Run(hand.project, hand, log).run)
        assert not verify(log)
        assert isinstance(events[-1], SweepDone)
        return {one.pair for one in finds(log.records())}, events, hand


def told(events):
    return [one.text for one in events if isinstance(one, Noticed)]


ALL = {"A-B", "A-C", "D-E", "C-H"}
OFF = 115
"""By then A-B and A-C are known, and C is touched with others."""


def test_known_bends_are_heard_again_and_cost_little(tmp_path):
    found, events, hand = swept(tmp_path, ComesOff())
    looks = [step for step in hand.on_pads if step.kind == CHECK]
    assert found == ALL and not told(events)
    assert {pad for step in looks for pad in step.pads} >= set("ABCDE")
    assert len(looks) < len(hand.on_pads) / 8


def test_what_was_touched_without_the_lead_is_touched_again_once_it_is_back(tmp_path):
    off = ComesOff("C", since=OFF, until=10**6)
    found, events, _ = swept(tmp_path, off)
    assert found == ALL - {"C-H"}
    doubt, at_last = told(events)
    assert doubt.startswith("A-C, which changed the sound each time, no longer does")
    assert at_last.startswith("no bend of C that is known is heard any more: look at its lead")
    in_vain = off.on_pads[-1]
    assert (in_vain.kind, in_vain.pads) == (CHECK, ("A", "C"))
    # Somebody looks after it; the next run makes what waited.
    back = ComesOff()
    found, events, _ = swept(tmp_path, back)
    assert found == ALL and not told(events)
    again = [step for step in back.on_pads if step.kind == "sweep"]
    assert len(again) > 5 and all("C" in step.pads for step in again)
    assert f"the {len(again)} touches" in at_last
    # Nothing is left for a third one.
    _, _, third = swept(tmp_path, ComesOff())
    assert not [step for step in third.on_pads if step.kind == "sweep"]


def test_a_lead_that_is_back_by_the_end_is_seen_in_the_same_run(tmp_path):
    found, events, _ = swept(tmp_path, ComesOff("C", since=OFF, until=190))
    assert found == ALL
    assert len(told(events)) == 1


def test_a_bend_that_is_gone_puts_no_lead_in_doubt_where_others_are_heard(tmp_path):
    found, events, hand = swept(tmp_path, ComesOff(since=150, until=10**6, ends=("A", "C")))
    # A is heard with B, and C with H.
    assert found == ALL and not hand.known.contact.doubtful
    assert len(told(events)) == 1


class GoesUnconfirmed(ComesOff):
    """A toy of which a pair is heard in its first touches, but in none that confirms it."""

    def say(self, step):
        said = super().say(step)
        return "ok" if step.kind == "confirm" and step.pads == self.ends else said


def test_a_pair_that_is_never_heard_again_is_told_where_it_was_heard_over_two_paths(tmp_path):
    found, events, _ = swept(tmp_path, GoesUnconfirmed(ends=("D", "E")))
    assert found == ALL - {"D-E"}
    (told_once,) = told(events)
    assert "in no confirming touch: D-E;" in told_once and "come off" in told_once


def test_a_single_hit_that_isnt_heard_again_is_no_lead_s_doing(tmp_path):
    found, events, _ = swept(tmp_path, GoesUnconfirmed(ends=("C", "H")))
    assert found == ALL - {"C-H"} and not told(events)


def test_touches_with_a_lead_in_doubt_wait(tmp_path):
    project = few_leads(tmp_path / "toy", "ABD")
    knowledge = known.Knowledge(project)
    for alone in knowledge.due(begun=False):
        knowledge.apply(Outcome(alone, sound="none", after="answers"))
    pairs = knowledge.due(begun=False)
    assert {one.pads for one in pairs} == {("A", "B"), ("A", "D"), ("B", "D")}
    knowledge.contact.doubtful["A"] = pairs[0]
    assert {one.pads for one in knowledge.due(begun=False)} == {("B", "D")}
    # And its lead alone, in which nothing was heard, is to be made again.
    assert {one.pads for one in knowledge.waiting()} == {("A",), ("A", "B"), ("A", "D")}


def step(one, other, kind="sweep"):
    return Step(kind, Target.pair(one, other, 0.0, "red"))


def test_a_first_touch_that_only_seemed_to_be_heard_proves_no_lead():
    known = Contact()
    assert not known.take(step("A", "B"), True, False, 7)
    assert not known.heard_at
    assert not known.take(step("A", "B", "confirm"), True, False, 20)
    assert known.heard_at == {"A": 20, "B": 20}
    for touches in (30, 31, 32):
        known.take(step("A", "B", CHECK), False, False, touches)
    assert set(known.doubtful) == {"A", "B"}
    known.take(step("A", "D"), True, False, 40)  # by chance: nothing confirms it
    assert set(known.doubtful) == {"A", "B"}


def test_a_frozen_toy_proves_the_lead_as_well():
    known = Contact()
    known.take(step("A", "B", "confirm"), True, False, 20)
    known.take(step("A", "F"), False, False, 25)
    for touches in (30, 31, 32):
        known.take(step("A", "B", CHECK), False, False, touches)
    assert known.take(step("A", "D"), False, True, 40) == [step("A", "F")]
    assert set(known.doubtful) == {"B"} and known.missed
    # B's own lead, with which nothing was touched in vain.
    assert not known.take(step("B", "D"), False, True, 50)
    assert not known.doubtful and not known.missed
