"""By hand what is kept is measured too, over the values that the person has between the tips."""

import pytest
from hands import Hands, StandIn, write_project
from listening import told_during

from rig.bench.simulated.board import make_board
from rig.choose import finds
from rig.events import SweepDone
from rig.log import SweepLog, verify
from rig.log.between import parts
from rig.log.records import CONTROL
from rig.project import load_project, setup_facts, setup_hash
from rig.sweep.asking import SweepByHand
from rig.sweep.measuring import TIMES, Wanted, pick_steps

SEED, PADS, LEADS, PATH_OHM = 9, 8, "ABF", 10_000.0
BEND = ("B", "F")
"""A pair of this board that changes the sound (looked up beforehand)."""


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    project = load_project(write_project(tmp_path_factory.mktemp("m") / "toy", SEED, PADS, LEADS))
    folder = project.folder / "sweeps" / "main"
    with SweepLog.create(folder, setup=setup_facts(project), setup_hash=setup_hash(project)) as log:
        bench = StandIn(Hands(make_board(SEED, PADS), SEED, PATH_OHM, (0.35, 0.7)), None)
        SweepByHand(project, bench, log).run()
        before = log.records()
        steps = pick_steps(project, [Wanted(BEND, (project.sweep_keys[0],))])
        again = StandIn(Hands(make_board(SEED, PADS), SEED, PATH_OHM, (0.35, 0.7)), None)
        events = told_during(log, lambda: SweepByHand(project, again, log).measure(steps))
        assert not verify(log)
        yield before, log.records(), events, again


def test_each_value_is_asked_for_on_both_ways_between_presses_with_nothing_bridged(measured):
    before, records, events, _ = measured
    assert isinstance(events[-1], SweepDone)
    made = records[len(before):]
    assert {one.kind for one in made} == {CONTROL}
    counting = parts(records).measuring
    touches = [one for one in made if not one.target.is_clean and one.number in counting]
    assert [one.facts["way"] for one in touches] == ["down", "up"] * TIMES
    assert {one.target.name for one in touches} == {"B-F"}
    for one in touches:
        assert records[one.number - 2].target.is_clean and records[one.number - 2].facts["itself"]


def test_the_finds_stay_what_they_were(measured):
    before, records, *_ = measured
    assert "B-F" in {one.pair for one in finds(before)}
    assert finds(records) == finds(before)
