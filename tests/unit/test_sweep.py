"""The engine on the simulated bench, in order and with everything that can go wrong."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from listening import told_during
from small_sweeps import make_project, new_log

from rig.bench.base import Timeline
from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.errors import CaptureLost, RigError, ToyLost
from rig.events import FreezeSeen, Progress, RungTried, SetAside, SweepDone, TakeLost, ToyGone
from rig.listen import lost
from rig.log import SweepLog, verify
from rig.project import path_ohm, setup_facts, setup_hash, touchable
from rig.sweep import Knowledge, Step, Sweep, plan
from rig.sweep.book import SAMPLE_EVERY, Book
from rig.sweep.confirming import APART, RIG
from rig.sweep.hearing import Heard
from rig.sweep.outcome import NO_ANSWER, Outcome
from rig.touches import Target


@pytest.fixture
def project(tmp_path):
    return make_project(tmp_path / "toy")


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    project = make_project(tmp_path_factory.mktemp("swept") / "toy")
    log = new_log(project)
    bench = SimulatedBench(project)
    events = told_during(log, Sweep(project, bench, log).run)
    log.close()
    return project, events, SweepLog.open(log.folder, read_only=True), bench


def test_every_pair_is_touched_from_high_to_low(swept):
    project, events, log, _ = swept
    assert isinstance(events[-1], SweepDone)
    touched = {}
    for record in log.records():
        if record.kind == "sweep" and record.complete and not record.fault:
            touched.setdefault((record.pads_1, record.pads_2), []).append(record)
    pads = list(project.toy.pads)
    series = sorted(project.rig.series_ohm, reverse=True)
    for i, one in enumerate(pads):
        for other in pads[i + 1 :]:
            made = touched[one, other]
            paths = [r.path_ohm for r in made]
            stops = [r.after == "freeze" for r in made]
            allowed = [
                path_ohm(project.rig, s)
                for s in series
                if touchable(project, (one,), (other,), s) is None
            ]
            assert paths == allowed[: len(paths)]
            # Lower values follow only where the higher one did not freeze the toy.
            assert len(paths) == len(allowed) or stops[-1]
            assert not any(stops[:-1])


def test_every_hit_was_touched_again_and_every_freeze_recovered(swept):
    _, events, log, _ = swept
    records = [r for r in log.records() if r.complete and not r.fault]
    confirmed = {(r.pads_1, r.pads_2, r.path_ohm) for r in records if r.kind == "confirm"}
    hits = {
        (r.pads_1, r.pads_2, r.path_ohm)
        for r in records
        if r.kind == "sweep" and (r.sound != "none" or r.after == "freeze")
    }
    assert hits == confirmed
    assert hits
    freezes = [r for r in records if r.after == "freeze"]
    assert freezes
    assert len(freezes) == sum(isinstance(e, FreezeSeen) for e in events)
    rungs = [e for e in log.events() if isinstance(e, RungTried) and e.rung == "supply"]
    assert len(rungs) == len(freezes)
    # A dead toy is not touched: the lead-in shows it before anything closes.
    for dead in (r for r in log.records() if r.fault == NO_ANSWER):
        assert dead.timeline.close_us is None
    # The next touch made after each freeze was answered by the toy.
    for frozen in freezes:
        later = [r for r in records if r.number > frozen.number]
        assert not later or later[0].after in ("answers", "freeze", "runs on")


def test_a_clean_take_that_follows_a_freeze_brings_the_toy_back_first(swept, project):
    *_, log, _ = swept
    frozen = next(r for r in log.records() if r.after == "freeze" and r.kind == "sweep")
    again = new_log(project)
    sweep = Sweep(project, SimulatedBench(project), again)

    def ask_for_more(event):
        if isinstance(event, Progress) and event.touch == frozen.number:
            sweep.known.hear_more(frozen.key)

    again.listen(ask_for_more)
    events = told_during(again, sweep.run)
    again.flush()
    assert isinstance(events[-1], SweepDone)
    records = again.records()
    # The press of the clean take wasn't answered: the pair before it is known to freeze the toy.
    assert records[frozen.number].kind == "baseline"
    assert records[frozen.number].fault == NO_ANSWER
    assert records[frozen.number - 1].after == "freeze"
    assert records[frozen.number - 1].facts["rung"] == "supply"
    assert all(r.sound != "none" for r in records if r.kind == "baseline" and r.fault)
    again.close()


def test_the_toy_is_left_off_and_open(swept):
    *_, bench = swept
    bench.wait(5)
    assert bench.rail_v() < 0.2


def test_the_log_is_whole_and_takes_hold_the_press(swept):
    project, _, log, _ = swept
    assert not verify(log)
    for record in log.records():
        samples, rate_hz = log.read_take(record.number)
        assert len(samples) == record.take_samples
        assert record.offsets["press"] / rate_hz == pytest.approx(
            project.rig.timings.before_ms / 1000, abs=0.002
        )


class Counting(SimulatedBench):
    """A bench that counts its touches."""

    made = bridged = 0

    def begin(self, touch):
        self.made += 1
        self.bridged += bool(touch.connections)
        super().begin(touch)


class Interrupted(Counting):
    """A bench whose person presses Ctrl-C during the given touch."""

    at = 30

    def stream(self):
        for chunk in super().stream():
            if self.made == self.at:
                raise KeyboardInterrupt
            yield chunk


def test_ctrl_c_leaves_the_toy_off_and_the_next_run_goes_on(project, swept):
    log = new_log(project)
    bench = Interrupted(project)
    with pytest.raises(KeyboardInterrupt):
        Sweep(project, bench, log).run()
    log.close()
    bench.wait(5)
    assert bench.rail_v() < 0.2
    log = SweepLog.open(log.folder, setup_hash(project), setup_facts(project))
    before = log.records()
    events = told_during(log, Sweep(project, SimulatedBench(project), log).run)
    assert isinstance(events[-1], SweepDone)
    after = log.records()
    log.close()
    assert [r.number for r in before] == [r.number for r in after[: len(before)]]
    assert sum(r.kind == "baseline" for r in after) == sum(
        r.kind == "baseline" for r in swept[2].records()
    )
    pairs = [(r.pads_1, r.pads_2, r.path_ohm) for r in after
             if r.kind == "sweep" and r.complete and not r.fault]
    assert len(pairs) == len(set(pairs))
    assert {f.pair for f in finds(after)} == {f.pair for f in finds(swept[2].records())}


class Deaf(Counting):
    """A bench whose marker channel goes silent for some touches of pairs."""

    silent = range(12, 14)

    def is_silent(self):
        return self.bridged in self.silent and self.is_bridged

    def begin(self, touch):
        self.is_bridged = bool(touch.connections)
        super().begin(touch)

    def stream(self):
        for chunk in super().stream():
            if self.is_silent():
                chunk = replace(chunk, marker=np.zeros_like(chunk.marker))
            yield chunk


def test_lost_takes_are_recorded_never_ranked_and_made_again(project, swept):
    log = new_log(project)
    events = told_during(log, Sweep(project, Deaf(project), log).run)
    lost = [r for r in log.records() if r.fault and r.fault != NO_ANSWER]
    assert {r.sound for r in lost} == {"lost"}
    assert len(lost) == len(Deaf.silent) == sum(isinstance(e, TakeLost) for e in events)
    assert all("marker" in r.fault for r in lost)
    assert {f.pair for f in finds(log.records())} == {f.pair for f in finds(swept[2].records())}
    log.close()


def test_a_dead_sound_path_pauses_the_sweep_with_one_clear_line(project):
    class Mute(Deaf):
        def is_silent(self):
            return self.made >= 20

    log = new_log(project)
    bench = Mute(project)
    with pytest.raises(CaptureLost, match=r"takes in a row were lost .*continue") as caught:
        Sweep(project, bench, log).run()
    assert "\n" not in str(caught.value)
    bench.wait(5)
    assert bench.rail_v() < 0.2
    assert all(r.sound == "lost" for r in log.records()[19:])
    log.close()


def test_a_freeze_counts_though_its_take_is_lost(project):
    log = new_log(project)
    book = Book(project, log, SimulatedBench(project).rate_hz)
    step = next(s for s in book.known.steps if s.series_ohm == max(project.rig.series_ohm))
    lower = [s for s in book.known.steps if s.pads == step.pads and s != step]
    log.intend(step.plan_key, step.touch(project))
    log.made(1, step.plan_key, step.kind, step.touch(project), path_ohm=1e5,
             started_at=datetime.now(UTC), samples=None,
             timeline=Timeline(press_us=0, close_us=0, release_us=0, open_us=0, end_us=0),
             rate_hz=book.rate_hz)
    judgement = lost("clipped")
    log.judged(1, judgement)
    book.complete(1, step, Heard(np.zeros(0)), judgement, "freeze", {})
    assert book.known.spot(step).stops == 1
    assert lower and not any(one in book.known.left for one in lower)
    again = Book(project, log, book.rate_hz)
    again.remember()
    assert again.known.spots == book.known.spots
    log.close()


class Dropping(SimulatedBench):
    """A bench that loses samples in one touch of a pair."""

    bridged = 0

    def begin(self, touch):
        self.bridged += bool(touch.connections)
        self.is_bridged = bool(touch.connections)
        super().begin(touch)

    def stream(self):
        for number, chunk in enumerate(super().stream()):
            yield replace(chunk, lost=self.is_bridged and self.bridged == 4 and number == 3)


def test_lost_samples_make_a_lost_take(project):
    log = new_log(project)
    Sweep(project, Dropping(project), log).run()
    lost = [r for r in log.records() if r.fault and r.fault != NO_ANSWER]
    assert len(lost) == 1
    log.close()


class Stubborn(SimulatedBench):
    """A bench whose toy never comes back once its supply has been cut."""

    cut = False

    def supply(self, on):
        self.cut = self.cut or not on
        super().supply(on and not self.cut)


def test_a_toy_that_does_not_come_back_stops_the_sweep(project):
    log = new_log(project)
    bench = Stubborn(project)
    with pytest.raises(ToyLost, match="it is off and all pads are open") as caught:
        Sweep(project, bench, log).run()
    assert "\n" not in str(caught.value)
    records = log.records()
    # The touch that killed it is known and complete, so it is not tried again.
    assert records[-2].after == "freeze" or records[-1].after == "freeze"
    assert any(isinstance(e, ToyGone) for e in log.events())
    log.close()


def test_a_silent_toy_is_refused_at_its_baseline(project):
    class Silent(SimulatedBench):
        def supply(self, on):
            super().supply(False)

    log = new_log(project)
    with pytest.raises(RigError, match="nothing is heard when key"):
        Sweep(project, Silent(project), log).run()
    log.close()


def test_a_clean_take_into_which_the_toy_still_sounds_is_no_silence(project):
    class SoundingOn(Counting):
        def stream(self):
            for number, chunk in enumerate(super().stream()):
                if self.made == 3 and number == 0:  # as loud as the toy, until the press
                    hum = 0.3 * np.sin(np.arange(len(chunk.sound)) / 20)
                    chunk = replace(chunk, sound=chunk.sound + hum)
                yield chunk

    log = new_log(project)
    events = told_during(log, Sweep(project, SoundingOn(project), log).run)
    baselines = [e for e in events if isinstance(e, Progress) and e.kind == "baseline"]
    assert len(baselines) >= project.rig.sweep.baseline_takes
    log.close()


def test_a_touch_that_killed_the_host_twice_is_set_aside(project):
    log = new_log(project)
    step = next(s for s in Knowledge(project).steps)
    for _ in range(2):
        log.intend(step.plan_key, step.touch(project))
    Sweep(project, SimulatedBench(project), log).run()
    made = [r for r in log.records() if (r.pads_1, r.pads_2) == step.pads]
    assert not made
    assert [e.plan_key for e in log.events() if isinstance(e, SetAside)] == [step.plan_key]
    log.close()


def test_takes_with_a_lead_on_that_one_kill_met_at_once_are_no_two_kills(project):
    with new_log(project) as log:
        book = Book(project, log, 48_000)
        with_it = next(s for s in Knowledge(project).steps).again("baseline")
        met = []
        for _ in range(3):
            log.intend(with_it.plan_key, with_it.touch(project))
            met.append(book.killed_before(with_it))
        assert met == [False, False, True]


def test_progress_reaches_its_end(swept):
    _, events, _, _ = swept
    last = [e for e in events if isinstance(e, Progress)][-1]
    assert last.done == last.planned


def test_the_plan_alone_touches_everything_once(project):
    known = Knowledge(project)
    steps = []
    for step in plan(known):
        steps.append(step)
        known.apply(Outcome(step, sound="none", after="answers"))
    swept_steps = [s for s in steps if s.kind == "sweep"]
    assert len(swept_steps) == len(set(swept_steps)) == len(known.steps)
    assert not [s for s in steps if s.kind == "confirm"]


def planned(project, hits):
    """Give the plan's steps where only some touches of a pair are heard, by which of it they are."""
    known, steps, pair = Knowledge(project), [], None
    for step in plan(known):
        steps.append(step)
        if pair is None and len(step.pads) == 2:
            pair = step
        of_pair = sum(one.pads == pair.pads and one.series_ohm == pair.series_ohm
                      for one in steps) if pair else 0
        heard = pair is not None and step.again("sweep") == pair and of_pair in hits
        known.apply(Outcome(step, sound="pitch" if heard else "none", after="answers"))
    return known, steps, pair


@pytest.mark.parametrize(
    ("hits", "confirms"),
    [((1,), 3), ((1, 2, 3, 4), 3), ((1, 3), 6), ((1, 2, 4), 6), ((), 0)],
)
def test_a_hit_is_touched_three_times_more_and_again_as_often_where_some_was_heard(
    project, hits, confirms
):
    known, steps, pair = planned(project, hits)
    made = [i for i, s in enumerate(steps) if s.kind == "confirm"]
    assert [steps[i] for i in made] == confirms * [replace(pair, kind="confirm")]
    # Each between two clean presses, and far enough apart.
    assert all(steps[i - 1].kind == steps[i + 1].kind == "check" for i in made)
    assert all(b - a >= APART for a, b in itertools.pairwise([steps.index(pair), *made]) if confirms)
    if confirms:
        assert known.confirms.calibrating[pair.key] >= RIG.calibrating


def test_a_hit_that_does_not_come_back_asks_for_more_clean_takes(project):
    _, steps, _ = planned(project, (1,))
    last = max(i for i, s in enumerate(steps) if s.kind == "confirm")
    assert [s.kind for s in steps[last + 1 : last + 9]] == ["check"] + 6 * ["baseline"] + ["check"]


def test_a_pair_that_was_not_settled_keeps_its_order(project):
    known = Knowledge(project)
    odd = Step(
        "sweep", Target.pair("A", "C", max(project.rig.series_ohm), project.sweep_keys[0])
    )
    made, dropped = [], 0
    for step in plan(known):
        if step == odd and dropped < 3:
            dropped += 1
            known.drop(step)
            continue
        made.append(step)
        known.apply(Outcome(step, sound="none", after="answers"))
    order = [s.series_ohm for s in made if s.pads == ("A", "C")]
    assert order == sorted(project.rig.series_ohm, reverse=True)


def test_keeping_finds_gives_up_the_takes_in_which_nothing_was_heard(project, swept):
    lean = replace(project, rig=project.rig.model_copy(update={"keep": "finds"}))
    log = new_log(lean)
    Sweep(lean, SimulatedBench(lean), log).run()
    assert not verify(log)
    records = log.records()
    kept = [r for r in records if r.take]
    assert len(kept) < 0.8 * len(records)
    assert all(r.take for r in records if r.kind == "baseline")
    dull = [r for r in records if r.kind == "sweep" and (r.sound, r.after) == ("none", "answers")]
    assert len(dull) > SAMPLE_EVERY
    assert [r.number for r in dull if r.take] == [
        r.number for r in dull if r.number % SAMPLE_EVERY == 0
    ]
    assert all(r.take for r in records if r not in dull)
    found = finds(records)
    assert {f.pair for f in found} == {f.pair for f in finds(swept[2].records())}
    for find in found:
        log.read_take(find.best_touch)
    log.close()


def test_clock_pads_come_last_among_the_pairs_of_a_value(project):
    pads = project.toy.pads | {"B": project.toy.pads["B"].model_copy(update={"kind": "clock"})}
    marked = replace(project, toy=project.toy.model_copy(update={"pads": pads}))
    highest = max(project.rig.series_ohm)
    first = [s.pads for s in Knowledge(marked).steps if s.series_ohm == highest]
    with_clock = ["B" in pair for pair in first]
    assert with_clock == sorted(with_clock)
    assert any(with_clock)
