"""Touches that measure what is kept, on the simulated bench: of the same log, and no find hangs on them."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from itertools import pairwise

import pytest
from listening import Enough, told_during
from small_sweeps import make_project, new_log

from rig.bench import Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.events import Progress, SweepDone
from rig.log import SweepLog, verify
from rig.log.between import parts
from rig.log.records import CONTROL
from rig.project import path_ohm, setup_facts, setup_hash
from rig.sweep import Sweep
from rig.sweep.book import Book
from rig.sweep.measuring import (
    APART,
    MOST_VALUES,
    TIMES,
    TOGETHER_TIMES,
    Wanted,
    measured_ohm,
    pick_steps,
    together_steps,
    together_target,
    touches_to_measure,
)

MEASURED = ("B-F", "C-F")
"""A pair that bends over low paths, and one that freezes the toy over them."""


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A swept project, its finds, and the log open; then measured, with one stop on the way."""
    project = make_project(tmp_path_factory.mktemp("measured") / "toy")
    log = new_log(project)
    Sweep(project, SimulatedBench(project), log).run()
    before = log.records()
    wanted = [Wanted(tuple(pair.split("-")), (project.sweep_keys[0],)) for pair in MEASURED]
    steps = pick_steps(project, wanted)

    def enough(event):
        if isinstance(event, Progress) and event.touch == before[-1].number + 13:
            raise Enough

    log.listen(enough)
    with pytest.raises(Enough):
        Sweep(project, SimulatedBench(project), log).measure(steps)
    log.close()
    log = SweepLog.open(log.folder, setup=setup_facts(project), setup_hash=setup_hash(project))
    stopped_at = len(log.records())
    sweep = Sweep(project, SimulatedBench(project), log)
    events = told_during(log, lambda: sweep.measure(steps))
    yield project, log, before, stopped_at, events, steps, sweep
    log.close()


def test_each_value_is_touched_on_both_ways_and_none_at_or_below_a_stop(swept):
    project, log, before, *_ = swept
    records = log.records()
    counting = parts(records).measuring
    for pair in MEASURED:
        stops = [r.path_ohm for r in before if r.target.name == pair and r.stops]
        paths = [path_ohm(project.rig, ohm) for ohm in measured_ohm(project)]
        made = [(r.path_ohm, r.facts["way"]) for r in records
                if r.kind == CONTROL and r.target.name == pair and r.number in counting]  # fmt: skip
        allowed = [path for path in paths if path > max(stops, default=0.0)]
        for way in ("down", "up"):
            assert sorted(path for path, on in made if on == way) == sorted(allowed * TIMES)
        down = [path for path, way in made if way == "down"]
        assert down == sorted(allowed, reverse=True) * TIMES
    assert any(r.stops for r in before if r.target.name == "C-F")


def test_each_lies_between_two_clean_presses_that_sound_like_the_toy(swept):
    _, log, before, *_ = swept
    made = [r for r in log.records()[len(before):] if not r.fault]
    assert all(r.kind == CONTROL for r in made)
    for at, one in enumerate(made):
        if not one.target.is_clean:
            assert made[at - 1].target.is_clean and made[at - 1].facts["itself"]
            assert made[at + 1].target.is_clean


def test_it_goes_on_where_it_stopped(swept):
    _, log, before, stopped_at, events, steps, sweep = swept
    assert isinstance(events[-1], SweepDone)
    assert len(before) < stopped_at < len(log.records())
    assert touches_to_measure(sweep.known, steps) == 0
    assert not verify(log)
    again = len(log.records())
    Sweep(swept[0], SimulatedBench(swept[0]), log).measure(steps)
    assert len(log.records()) == again


def test_what_was_measured_is_read_back_from_the_log(swept):
    project, log, *_, sweep = swept
    read = Book(project, log, sweep.hand.rate_hz)
    read.remember()
    assert read.known.measured == sweep.known.measured
    assert read.known.spots == sweep.known.spots
    assert read.ear.takes_learnt(project.sweep_keys[0]) == sweep.book.ear.takes_learnt(project.sweep_keys[0])


def test_no_find_hangs_on_them(swept):
    _, log, before, *_ = swept
    assert finds(log.records(), 0.05) == finds(before, 0.05)
    assert parts(log.records()).reference == parts(before).reference
    assert parts(log.records()).calibrating == parts(before).calibrating


def test_the_schema_is_what_it_was(swept):
    _, log, *_ = swept
    log.flush()
    with closing(sqlite3.connect(log.folder / "log.db")) as db:
        kinds = {row[0] for row in db.execute("SELECT DISTINCT kind FROM touch")}
        (version,) = db.execute("PRAGMA user_version").fetchone()
    assert kinds <= {"baseline", "sweep", "confirm", "check"}
    assert version == 2


def test_several_at_once_are_touched_at_their_paths(swept):
    project, log, *_ = swept
    key = project.sweep_keys[0]
    assert together_target(project, [(("F", "A"), ("B",), 39_000.0)], key) is None  # both are rails
    two = together_target(project, [(("A",), ("B",), 11_000.0), (("D",), ("E",), 39_000.0)], key)
    star = together_target(project, [(("D", "G"), ("B",), 39_000.0)], key)
    assert [c.series_ohm for c in two.connections] == [6_800.0, 33_000.0]
    count = len(log.records())
    Sweep(project, SimulatedBench(project), log).measure(together_steps([two, star]))
    made = [r for r in log.records()[count:] if not r.target.is_clean and not r.fault]
    assert [r.target.name for r in made].count("A-B / D-E") == TOGETHER_TIMES
    assert {r.kind for r in made} == {CONTROL}
    hardware = replace(project, rig=project.rig.model_copy(update={"bench": "hardware"}))
    assert together_target(hardware, [(("A",), ("B",), 1e4), (("D",), ("E",), 1e4)], key) is None


def bank(project, *ohm, **sweep):
    options = project.rig.sweep.model_copy(update=sweep)
    return replace(project, rig=project.rig.model_copy(update={"series_ohm": list(ohm), "sweep": options}))


def test_values_made_side_by_side_fill_the_gaps(swept):
    project = swept[0]
    assert measured_ohm(bank(project, 0.0, 150_000.0)) == [150_000.0, 0.0]
    filled = measured_ohm(bank(project, 0.0, 10_000.0, 15_000.0, 150_000.0))
    assert 5_769.0 in [round(ohm) for ohm in filled]  # 10, 15 and 150 kohm side by side
    eight = measured_ohm(bank(project, 0.0, 1_500.0, 6_800.0, 15_000.0, 33_000.0, 150_000.0, 470_000.0, 2.2e6))
    assert len(eight) <= MOST_VALUES
    paths = [path_ohm(project.rig, ohm) for ohm in eight]
    assert all(high / low >= APART for high, low in pairwise(paths))
    swept_only = measured_ohm(bank(project, 0.0, 6_800.0, 33_000.0, series_ohm=[6_800.0, 33_000.0]))
    assert min(swept_only) == 6_800.0  # nothing below what pairs were swept over


def test_by_hand_the_persons_own_resistors_lie_between_the_tips_too(swept):
    project = swept[0]
    rig = project.rig.model_copy(update={
        "bench": "by-hand", "series_ohm": [100_000.0, 10_000.0], "lead_ohm": 0.0, "switch_ohm": 0.0,
        "parts": project.rig.parts.model_copy(update={"resistors_ohm": [1_000.0, 22_000.0, 47_000.0]}),
    })  # fmt: skip
    by_hand = replace(project, rig=rig)
    assert measured_ohm(by_hand) == [100_000.0, 47_000.0, 22_000.0, 10_000.0]
    wanted = [Wanted(("A", "B"), ("boat",)), Wanted(("A", "C"), ("boat",))]
    order = [step.series_ohm for step in pick_steps(by_hand, wanted, times=1)]
    assert order[:4] == [100_000.0, 100_000.0, 47_000.0, 47_000.0]  # the part is changed once for all


def test_nothing_is_touched_that_safety_refuses(swept):
    project = swept[0]
    forbidden = {n: p.model_copy(update={"forbidden": n == "B"}) for n, p in project.toy.pads.items()}
    safe = replace(project, toy=project.toy.model_copy(update={"pads": forbidden}))
    assert pick_steps(safe, [Wanted(("A", "B"), ("boat",))]) == []


class Freezing(SimulatedBench):
    """A bench whose guard trips when a pair is touched over a value for the first time after so many."""

    def __init__(self, project, at_ohm):
        super().__init__(project)
        self.at_ohm = at_ohm
        self.touched: list[float] = []

    def begin(self, touch: Touch) -> None:
        if touch.connections:
            self.touched.append(touch.connections[0].series_ohm)
        super().begin(touch)


def test_a_stop_while_measuring_ends_the_way_down(swept, monkeypatch):
    """A value that stops the toy is touched no more, nor is any below it, on either way."""
    project, log, *_ = swept
    key = project.sweep_keys[0]
    steps = pick_steps(project, [Wanted(("A", "B"), (key,))])
    sweep = Sweep(project, bench := Freezing(project, 0.0), log)
    complete = sweep.book.complete

    def frozen(number, step, heard, judgement, after, evidence):
        froze = step.kind == CONTROL and step.series_ohm == 6_800.0
        complete(number, step, heard, judgement, "freeze" if froze else after, evidence)

    monkeypatch.setattr(sweep.book, "complete", frozen)
    sweep.measure(steps)
    assert sweep.known.measured.stops["A-B"] == 6_800.0
    assert bench.touched.count(6_800.0) == 1
    assert min(bench.touched) == 6_800.0
    assert bench.touched.count(33_000.0) == 2 * TIMES
