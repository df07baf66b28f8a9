"""The likeliest pair next: smoothed counts, the plan's own order among equals."""

import itertools
import math
from dataclasses import replace
from functools import partial

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_sweeps import make_project

from rig.sweep import Knowledge, plan
from rig.sweep.order import likeliest, next_pair
from rig.sweep.outcome import NO_ANSWER, Outcome
from rig.sweep.shown import Shown, ShownPads
from rig.sweep.steps import Step, clean, lone_steps, pair_steps
from rig.touches import Target


def step(pair, series_ohm=10_000.0, key="red"):
    return Step("sweep", Target.pair(*pair, series_ohm, key))


def shown_by(made):
    shown = ShownPads()
    for pads, hit, stopped in made:
        shown.take_in(tuple(pads), hit, stopped)
    return shown


DUE = [step(pair) for pair in ("AB", "AC", "AD", "BC", "BD", "CD")]


def test_nothing_known_keeps_the_plan_s_order():
    assert likeliest(DUE, {}) == DUE[0]


def test_a_pad_that_has_shown_something_comes_first():
    shown = shown_by([(("C", "X"), True, False), (("A", "X"), False, False)])
    assert likeliest(DUE, shown) == step("BC")


def test_a_pad_that_showed_nothing_comes_after_one_never_touched():
    shown = shown_by([(("A", "X"), False, False), (("B", "Y"), False, False)])
    assert likeliest(DUE, shown) == step("CD")


def test_freezes_cost_time():
    hit, hit_and_stop = Shown(4, 1, 0), Shown(4, 1, 3)
    assert likeliest(DUE, {"A": hit_and_stop, "C": hit}) != DUE[1]
    assert likeliest([step("AB"), step("BC")], {"A": hit_and_stop, "C": hit}) == step("BC")


def test_among_equals_a_tip_may_stay_where_it_is():
    assert likeliest(DUE, {}, held=("B", "D")) == step("BD")


def test_clock_pads_come_last():
    assert likeliest(DUE, {"A": Shown(1, 1, 0)}, last=("A",)) == step("BC")
    assert likeliest([step("AB")], {}, last=("A",)) == step("AB")


@given(st.lists(st.tuples(st.sampled_from(["AB", "AC", "BD", "CD"]), st.booleans(),
                          st.booleans()), max_size=40))
def test_no_other_that_is_due_promises_more(made):
    """Counted and worked out here anew, from what the touches showed: each pair counts once."""
    shown = shown_by(made)
    made = [(pair, any(hit for one, hit, _ in made if one == pair),
             any(stop for one, _, stop in made if one == pair))
            for pair in dict.fromkeys(pair for pair, _, _ in made)]
    counts = {
        pad: (sum(pad in pair for pair, _, _ in made),
              sum(pad in pair and hit for pair, hit, _ in made),
              sum(pad in pair and stop for pair, _, stop in made)) for pad in "ABCD"
    }  # fmt: skip
    assert {pad: (one.touches, one.hits, one.stops) for pad, one in shown.items()} == {
        pad: told for pad, told in counts.items() if told[0]}

    def share(count, of, prior):  # as if touched three times more, with the share of all pads
        return (count + 3 * prior) / (of + 3)

    touches, *all_shown = (sum(told[i] for told in counts.values()) for i in range(3))
    means = [share(count, touches, 0.05) for count in all_shown]

    def promise(one):
        hit, stop = (
            math.prod(share(counts[pad][i + 1], counts[pad][0], mean) for pad in one.pads) / mean
            for i, mean in enumerate(means)
        )
        return hit / (15 + 45 * min(stop, 1))

    most = max(map(promise, DUE))
    assert promise(likeliest(DUE, shown)) == pytest.approx(most, rel=1e-9)


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    made = make_project(tmp_path_factory.mktemp("order") / "toy")
    pads = {name: pad.model_copy(update={"forbidden": name > "E", "kind": kind})
            for (name, pad), kind in zip(made.toy.pads.items(),
                                         ["signal", "rail", "rail", "clock"] + 4 * ["signal"],
                                         strict=True)}  # fmt: skip
    return replace(made, toy=made.toy.model_copy(update={"pads": pads}))


WAYS = ("none", "none", "pitch", "freeze", "lost", "unanswered", "clipped", "dropped")


def sweep(known, choose, ways):
    """Make the plan's steps, each taken in when the one after it is made; gives them in order."""
    made, pending = [], None
    for one in plan(known, choose):
        if pending:
            known.apply(pending)
        pending = None
        made.append(one)
        way = next(ways) if one.pads else "none"
        if way == "lost":
            known.apply(Outcome(one, "no sound arrived"))
        elif way == "unanswered":
            known.apply(Outcome(one, NO_ANSWER, "none"))
        elif way == "dropped":
            known.drop(one)
            ways = itertools.chain(["none"], ways)
        elif one.is_clean:
            known.apply(Outcome(one, sound="none", after="answers"))
        else:
            sound = {"freeze": "cut", "clipped": "lost"}.get(way, way)
            after = "freeze" if way == "freeze" else "answers"
            pending = Outcome(one, sound=sound, after=after)
        assert len(made) < 2000
    return made


@pytest.mark.parametrize("path_first", [False, True])
@settings(max_examples=40, deadline=None, derandomize=True, database=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip
@given(ways=st.lists(st.sampled_from(WAYS), max_size=80), then=st.sampled_from(["none", "pitch"]))
def test_from_high_to_low_nothing_below_a_stop_nothing_dropped_nothing_twice(
    project, path_first, ways, then
):
    known = Knowledge(project)
    made = sweep(known, partial(next_pair, known, path_first=path_first),
                 itertools.chain(ways, itertools.repeat(then)))  # fmt: skip
    settled = {}
    for one in (one for one in made if one.kind == "sweep"):
        settled.setdefault(one.target.place, []).append(one.series_ohm)
    for place, values in settled.items():
        assert values == sorted(values, reverse=True)
        stops = [s.series_ohm for s, spot in known.spots.items()
                 if s.target.place == place and spot.stops]  # fmt: skip
        assert not stops or min(values) >= max(stops)
        for ohm in set(values):  # only what came to nothing is made again
            spot = known.spots[Step("sweep", place.over(ohm))]
            again = values.count(ohm) - 1
            assert again <= len(spot.faults) + ways.count("dropped")
    for one in pair_steps(project):
        spot = known.spot(one)
        stopped_above = any(known.spot(other).stops for other in known.steps
                            if other.pads == one.pads and other.series_ohm > one.series_ohm)
        assert spot.swept or spot.aside or stopped_above
    assert not known.left and not known.froze
    assert not known.confirms.waiting
    assert next(known.leads.wanted(known.confirms), None) is None


def test_a_rig_finishes_a_pair_before_it_begins_a_third_and_hands_finish_a_path(project):
    for path_first in (False, True):
        known = Knowledge(project)
        made = [one for one in sweep(known, partial(next_pair, known, path_first=path_first),
                                     itertools.repeat("none")) if len(one.pads) == 2]  # fmt: skip
        if path_first:
            paths = [one.series_ohm for one in made]
            assert paths == sorted(paths, reverse=True)
            continue
        last = {one.pads: n for n, one in enumerate(made)}
        for n, one in enumerate(made):
            open_pairs = {other.pads for other in made[:n] if last[other.pads] > n}
            assert len(open_pairs | {one.pads}) <= 2


def test_leads_alone_come_first_and_pairs_of_one_that_is_heard_wait_for_its_takes(project):
    known, made = Knowledge(project), []
    for one in plan(known):
        heard = one.pads == ("A",) and one.kind != "baseline"
        sound = "pitch" if heard else "none"
        known.apply(Outcome(one, sound=sound, after="answers"))
        made.append(one)
    lone = [one for one in made if one.is_lone and one.kind == "sweep"]
    first_pair = next(n for n, one in enumerate(made) if len(one.pads) == 2)
    assert [one.pads for one in lone] == [("A",), ("B",), ("C",), ("D",), ("E",)]
    assert {one.series_ohm for one in lone} == {min(project.rig.swept_ohm)}
    assert all(one in made[:first_pair] for one in lone)
    of_a = [n for n, one in enumerate(made) if one.pads and "A" in one.pads]
    kinds = [made[n].kind for n in of_a]
    takes = project.rig.sweep.baseline_takes
    at_first = 1 + 3 + takes
    assert kinds[:at_first] == ["sweep", *3 * ["confirm"], *takes * ["baseline"]]
    assert {made[n].pads for n in of_a[:at_first]} == {("A",)}
    # What its lead does alone is a bend as good as any to see that it's still on.
    others = [made[n] for n in of_a[at_first:] if (made[n].kind, made[n].pads) != ("check", ("A",))]
    assert others and all(len(one.pads) == 2 and one.kind == "sweep" for one in others)
    assert any("A" not in one.pads for one in made[first_pair : of_a[at_first]] if one.pads)


def test_a_lead_that_is_not_heard_again_or_stops_the_toy_has_no_baseline(project):
    for confirm, after in (("none", "answers"), ("pitch", "freeze")):
        known = Knowledge(project)
        made = []
        for one in plan(known):
            is_it = one.pads == ("A",)
            sound = "pitch" if is_it and one.kind == "sweep" else confirm if is_it else "none"
            known.apply(Outcome(one, sound=sound, after=after if is_it else "answers"))
            made.append(one)
        assert not any(one.is_lone and one.kind == "baseline" for one in made)
        assert {one.pads for one in made} >= {one.pads for one in pair_steps(project)}


def test_no_pair_is_touched_lower_while_it_is_not_known_how_it_left_the_toy(project):
    known = Knowledge(project)
    known.clean_takes[project.sweep_keys[0]] = 99
    for lead in lone_steps(project):
        known.apply(Outcome(lead, sound="none", after="answers"))
    steps = plan(known)
    first = next(steps)
    second = next(steps)
    assert second.pads != first.pads
    known.apply(Outcome(first, sound="pitch", after="answers"))
    third = next(steps)
    assert third.pads == first.pads and third.series_ohm < first.series_ohm
    # Neither of the two that are under way, though one was heard over its highest value.
    assert next(steps).pads not in (first.pads, second.pads)


def test_a_freeze_without_a_sound_is_seen_again_behind_a_good_press_too(project):
    known = Knowledge(project)
    lone, pair = (next(s for s in known.steps if s.is_lone is is_lone) for is_lone in (True, False))
    known.apply(Outcome(pair, sound="none", after="freeze"))
    again = known.next_freeze()
    assert again == pair.again("confirm")
    known.apply(Outcome(clean("check", *pair.target.keys), sound="none", after="answers"))
    assert known.between.ready
    assert known.stage(again) is None
    assert known.stage(lone) is None
