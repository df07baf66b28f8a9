"""Which finds are one family, how families are named, and that one cause gives one family."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from making_records import record, seen_twice

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project, project_board
from rig.choose import finds
from rig.choose.families import (
    FAMILY_DISTANCE,
    RANGE_PART,
    distances,
    families,
    touch_distances,
)
from rig.listen.judging.fingerprint import SIZE
from rig.log import SweepLog
from rig.project import setup_facts, setup_hash
from rig.sweep import Sweep

LOUDER = [6.0] * SIZE
QUIETER = [-9.0] * SIZE
DARKER = [0.0, 0.0, 0.0, 0.0, -15.0, -20.0, -25.0, -25.0] * (SIZE // 8)


def heard(change_db, number=1, **more):
    """One touch with the shape of its change."""
    return record(number, measures={"change_db": list(change_db)}, **more)


def nearly(change_db, seed=1):
    """The same change, heard again in a room."""
    return np.array(change_db) + np.random.default_rng(seed).integers(-1, 2, SIZE)


def test_the_same_change_is_one_family_whatever_its_word():
    found = [[heard(LOUDER)], [heard(nearly(LOUDER), sound="timbre")], [heard(QUIETER)],
             [heard(DARKER)], [heard(nearly(DARKER))]]
    one, again, other, dark, darker = families(found)
    assert one == again
    assert dark == darker
    assert len({one, other, dark}) == 3


def test_opposite_changes_are_as_far_as_can_be():
    apart = touch_distances([heard(LOUDER), heard(-np.array(LOUDER))])
    assert apart.ravel() == pytest.approx([0.0, 1.0, 1.0, 0.0])


def test_finds_are_compared_over_the_paths_that_they_share():
    gentle, harsh = {"path_ohm": 90_000.0}, {"path_ohm": 3_000.0}
    one = [heard(LOUDER, **gentle), heard(DARKER, **harsh)]
    gentle_alone = [heard(LOUDER, **gentle)]
    swapped = [heard(DARKER, **gentle), heard(LOUDER, **harsh)]
    apart = distances([one, gentle_alone, swapped])
    assert apart[0, 1] == pytest.approx(RANGE_PART / 2)
    assert apart[0, 2] > FAMILY_DISTANCE


def test_without_a_path_in_common_the_surest_touches_are_compared():
    one = [heard(LOUDER, path_ohm=90_000.0, score=9.0), heard(DARKER, path_ohm=80_000.0)]
    apart = distances([one, [heard(LOUDER, path_ohm=3_000.0)]])
    assert apart[0, 1] == pytest.approx(RANGE_PART)


def test_another_phrase_of_the_toy_doesnt_hide_the_likeness():
    one = [heard(QUIETER), heard(DARKER)]
    again = [heard(DARKER), heard(LOUDER)]
    assert distances([one, again])[0, 1] == 0.0


def test_touches_of_older_judges_are_told_by_word_and_amount():
    old = [record(1, amount=300.0), record(2, amount=310.0), record(3, amount=700.0),
           record(4, sound="cut", amount=-30.0, unit="dB")]
    apart = touch_distances(old)
    assert apart[0].tolist() == [0.0, 0.0, 1.0, 1.0]
    assert touch_distances([old[0], heard(LOUDER)])[0, 1] in (0.0, 1.0)


CHANGES = st.lists(st.integers(-40, 40), min_size=SIZE, max_size=SIZE)
TOUCH = st.builds(
    lambda change, path_ohm, stored: replace(
        heard(change, path_ohm=path_ohm), **({} if stored else {"measures": {}})),
    CHANGES, st.sampled_from([1e3, 1e4]), st.booleans(),
)


@settings(max_examples=40)
@given(st.lists(st.lists(TOUCH, min_size=1, max_size=3), min_size=1, max_size=5))
def test_distances_are_symmetric_and_within_bounds(found):
    apart = distances(found)
    assert apart.shape == (len(found), len(found))
    assert np.array_equal(apart, apart.T)
    assert not np.diag(apart).any()
    assert (apart >= 0.0).all()
    assert (apart <= 1.0).all()
    assert len(families(found)) == len(found)


def alike(pads, first, change_db, **more):
    return seen_twice(pads, first, measures={"change_db": list(change_db)}, **more)


def test_a_family_is_named_by_its_best_so_its_name_contradicts_none_of_them():
    found = finds([*alike("AB", 1, LOUDER, score=9.0), *alike("CD", 3, DARKER),
                   *alike("EF", 5, DARKER, sound="cut", amount=-40.0, unit="dB", score=9.0)])
    assert {one.pair: one.family for one in found} == {
        "A-B": "A-B", "C-D": "C-D", "E-F": "C-D"}


def test_what_is_silent_is_told_by_what_comes_after():
    found = finds([record(1, sound="none", after="freeze"), record(2, "CD", sound="none",
                   after="freeze", path_ohm=90_000.0),
                   *seen_twice("EF", 3, sound="none", after="runs on")])
    assert sorted(one.family for one in found) == ["freeze", "freeze", "runs on"]


def test_each_family_is_heard_before_any_comes_again():
    touches = []
    for place, pad in enumerate("BCDEFGHIJ"):
        touches += alike("A" + pad, 1 + 2 * place, LOUDER, sound="loop", score=9.0)
    touches += alike("KL", 21, DARKER, sound="level", score=1.0)
    touches += alike("MN", 23, QUIETER, sound="loop", score=2.0)
    found = finds(touches)
    assert {one.pair for one in found[1:3]} == {"K-L", "M-N"}
    assert len({one.family for one in found[:3]}) == 3
    assert len({one.family for one in found}) == 3


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A small board's touches and the net of each of its pads."""
    folder = tmp_path_factory.mktemp("families") / "toy"
    project = new_simulated_project(folder, 2605, 9, "keyboard")
    rig = project.rig.model_copy(update={
        "series_ohm": (0, 33_000),
        "sweep": project.rig.sweep.model_copy(update={"baseline_takes": 8}),
    })
    project = replace(project, rig=rig)
    log = SweepLog.create(
        project.folder / "sweeps" / "main", setup_facts(project), setup_hash(project), {}
    )
    Sweep(project, SimulatedBench(project), log).run()
    log.close()
    with SweepLog.open(log.folder, read_only=True) as log:
        return log.records(), project_board(project).net_of


def test_bends_of_one_cause_are_one_family(swept):
    records, net_of = swept
    by_cause = {}
    for one in finds(records):
        if one.sound != "none":
            cause = frozenset((net_of[one.pads_1], net_of[one.pads_2]))
            by_cause.setdefault(cause, []).append(one.family)
    several = [mine for mine in by_cause.values() if len(mine) > 1]
    assert len(several) >= 2
    assert all(len(set(mine)) == 1 for mine in several)
    # and yet not all is one family
    assert len({family for mine in by_cause.values() for family in mine}) > 1


def test_every_change_that_was_heard_has_its_shape(swept):
    records, _ = swept
    heard = [one for one in records if one.sound not in (None, "none", "lost")]
    assert heard
    for one in heard:
        shape = one.measures["change_db"]
        assert len(shape) == SIZE
        assert any(shape)
