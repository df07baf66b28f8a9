"""Nothing is tried for ever: whatever goes wrong, and however often, the sweep ends."""

import itertools
import tempfile
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from listening import told_during
from scripted_hand import ENDS, ScriptedHand
from small_sweeps import TAKES, few_leads, new_log

from rig.errors import CaptureLost, GuardTripped, Restarted, RigError, ToyLost
from rig.events import Noticed, SetAside, SweepDone
from rig.sweep import Knowledge
from rig.sweep.limits import LIMITS, Patience
from rig.sweep.outcome import Outcome
from rig.sweep.run import Run
from rig.sweep.steps import Step
from rig.touches import Target

PAIRS = 3
MOST = 300
"""Touches in which three pairs over one path must come to their end, whatever happens."""


def in_turn(*words):
    """Give a script of words one after the other, behind a good baseline."""
    script = itertools.chain(TAKES * ["ok"], *words)
    return lambda step: next(script)


def swept(folder, script, is_person=False, name="main"):
    """Sweep three pairs; give the events, the rows, and what ended it (None: all is done)."""
    project = few_leads(Path(folder) / "toy")
    hand = ScriptedHand(script, is_person)
    hand.project = project
    events, end = [], None
    with new_log(project, name) as log:
        def note(event):
            events.append(event)
            assert hand.made <= MOST, "no end"

        log.listen(note)
        try:
            Run(project, hand, log).run()
        except RigError as trouble:
            end = trouble
        assert (end is None) == isinstance(events[-1], SweepDone)
        return events, log.records(), end


@pytest.mark.parametrize(
    ("always", "ends"),
    [("ok", None), ("odd", RigError), ("lost", CaptureLost), ("silent", ToyLost), ("strange", ToyLost),
     ("freeze", None), ("guarded", None), ("restart", Restarted), ("runs on", None),
     ("gone", ToyLost)],
)  # fmt: skip
def test_a_fault_that_never_stops_ends_within_its_bound(tmp_path, always, ends):
    events, records, end = swept(tmp_path, in_turn(itertools.repeat(always)))
    if always == "guarded":
        assert end is None or isinstance(end, GuardTripped)
    else:
        assert end is None if ends is None else isinstance(end, ends)
    made = Counter((r.pads_1, r.pads_2) for r in records if r.touch.connections)
    if always in ("silent", "strange"):
        assert max(made.values()) == LIMITS["unanswered"].of_step
        assert any(isinstance(e, SetAside) for e in events)
        assert "pressed alone" in str(end) and "\n" not in str(end)


@settings(max_examples=25, deadline=None, database=None, derandomize=True,
          suppress_health_check=list(HealthCheck))  # fmt: skip
@given(st.lists(st.sampled_from([*ENDS[:-1], "ok", "ok"]), max_size=MOST), st.sampled_from(ENDS[:-1]))
def test_any_sequence_of_faults_ends(then, at_last):
    with tempfile.TemporaryDirectory() as folder:
        events, records, _ = swept(folder, in_turn(then, itertools.repeat(at_last)))
    assert records and events


@pytest.mark.parametrize("is_person", [False, True])
@pytest.mark.parametrize("fault", ["lost", "silent", "strange", "restart", "freeze"])
def test_faults_in_turn_with_good_touches_end_too(tmp_path, fault, is_person):
    for good in (1, 2, 3):
        script = in_turn(itertools.cycle([fault, *good * ["ok"]]))
        _, records, _ = swept(tmp_path / str(good), script, is_person)
        assert len(records) > TAKES


@pytest.mark.parametrize("presses", [
    ["ok", "ok", "odd"], ["odd", "ok"], ["ok", "odd", "odd", "ok"], ["odd", "odd", "ok", "ok", "ok"],
])  # fmt: skip
@pytest.mark.parametrize("is_person", [False, True])
def test_a_toy_that_is_odd_again_and_again_ends_too(tmp_path, presses, is_person):
    clean = itertools.cycle(presses)

    def script(step):
        if step.kind == "baseline":
            return "ok"
        return next(clean) if step.is_clean else "odd"

    assert swept(tmp_path, script, is_person)[1]


@pytest.mark.parametrize("words", [
    ["ok"], ["freeze", "ok"], ["runs on"], ["silent", "silent", "ok"], ["lost"],
])  # fmt: skip
def test_the_same_outcomes_leave_the_same_log_whichever_hand_makes_them(tmp_path, words):
    logs = []
    for is_person in (False, True):
        each = {}

        def script(step, each=each):
            words_left = each.setdefault(step, iter(words))
            return "ok" if step.is_clean else next(words_left, words[-1])

        _, records, end = swept(tmp_path / str(is_person), script, is_person)
        rows = [(r.plan_key, r.kind, r.sound, r.after, r.fault) for r in records]
        # A person is asked for a clean press right after what runs on; the rest is the same.
        logs.append([row for row in rows if row[1] != "check"] + [str(end)])
    rig, person = logs
    assert len(rig) > TAKES and rig == person


def test_a_row_begins_anew_when_something_goes_well_and_a_run_does_not():
    patience = Patience()
    restarts = [patience.lose("restart") for _ in range(LIMITS["restart"].in_a_row)]
    assert restarts == [*(LIMITS["restart"].in_a_row - 1) * [False], True]
    patience = Patience()
    told = []
    for _ in range(LIMITS["restart"].in_a_run):
        told.append(patience.lose("restart"))
        patience.regain("restart")
    assert told == [*(len(told) - 1) * [False], True]
    assert patience.count("restart") == 0


def test_clipped_takes_count_in_the_row_of_lost_ones():
    patience, most = Patience(), LIMITS["lost"].in_a_row
    told = [patience.lose("clipped" if n % 2 else "lost") for n in range(most)]
    assert told == [*(most - 1) * [False], True]


def test_what_was_set_aside_is_made_after_all_when_the_person_says_so(tmp_path):
    project = few_leads(tmp_path / "toy")
    pair = ("A", "B")

    def sweep(log, first, retry=False):
        hand = ScriptedHand(lambda step: first if step.pads == pair else "ok")
        hand.project = project
        return told_during(log, Run(project, hand, log, retry=retry).run)

    def left_over(log):
        return {r.plan_key for r in log.records() if r.sound == "lost"} - {
            r.plan_key for r in log.records() if r.complete and r.sound == "none"
        }

    with new_log(project) as log:
        (told,) = [e.text for e in sweep(log, "lost") if isinstance(e, Noticed)]
        assert told == "1 touch is set aside: `padsweep sweep --retry` makes it after all"
        assert len(left_over(log)) == 1
        made = len(log.records())
        # Going on doesn't touch it, ...
        assert not [e for e in sweep(log, "ok") if isinstance(e, SetAside)]
        assert len(log.records()) == made and len(left_over(log)) == 1
        # ... saying so does, and what is read back remembers that.
        assert not [e for e in sweep(log, "ok", retry=True) if isinstance(e, Noticed)]
        assert not left_over(log)
        assert not [e for e in sweep(log, "ok") if isinstance(e, Noticed)]


def test_a_touch_under_a_value_that_stopped_the_toy_is_not_made_after_all(tmp_path):
    project = few_leads(tmp_path / "toy")
    project = replace(project, rig=project.rig.model_copy(update={"series_ohm": [150e3, 33e3]}))
    known = Knowledge(project)
    pairs = [step for step in known.steps if not step.is_lone]
    high, low = (next(s for s in pairs if s.series_ohm == ohm) for ohm in (150e3, 33e3))
    known.set_aside(low, "lost")
    known.apply(Outcome(high, sound="none", after="freeze"))
    other = Step("sweep", pairs[1].target.over(low.series_ohm))
    known.set_aside(other, "lost")
    known.retry()
    assert low not in known.left and other in known.left


def test_a_pair_that_has_been_forbidden_since_it_was_set_aside_stays_out(tmp_path):
    project = few_leads(tmp_path / "toy")
    pads = {**project.toy.pads, "B": project.toy.pads["B"].model_copy(update={"forbidden": True})}
    known = Knowledge(replace(project, toy=project.toy.model_copy(update={"pads": pads})))
    gone = Step("sweep", Target.pair("A", "B", known.steps[0].series_ohm, known.steps[0].key))
    for _ in range(LIMITS["lost"].of_step):
        known.apply(Outcome(gone, fault="no sound arrived"))
    known.apply(Outcome(gone, sound="pitch", after="answers"))
    known.retry()
    for step in known.due(begun=False):
        known.apply(Outcome(step, sound="none", after="answers"))  # the leads alone
    assert {step.pads for step in known.due(begun=False)} == {("A", "D")}
    assert not known.due(begun=True)
