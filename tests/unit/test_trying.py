"""Pads held on the simulated bench for a person who listens: what is heard, and when it opens."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from rig.bench import Stimulus, Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.choose import Pick, keep, load_picks
from rig.errors import AskTwice, GuardTripped, HeldTooLong, Refused, ToyLost
from rig.listen import Ear, Span
from rig.project import path_ohm
from rig.project.models import Guard
from rig.project.side_by_side import channels
from rig.sweep.hearing import hear
from rig.touches import Target
from rig.trying import AWAY_S, LEAVE_S, Holding, Session
from rig.trying.holding import LEFT, OPENED, TRIPPED
from rig.trying.ladder import rungs
from rig.trying.session import picks_to_try

SEED, PADS, KEY = 8, 8, "bell"
BANK_OHM = [0.0, 6_800.0, 33_000.0, 150_000.0]
DRONE = ("B", "E", 0.0)
PITCH = ("F", "G", 150_000.0)
NOTHING = ("A", "D", 150_000.0)
"""Two pairs of this board that change its sound, each its own way, and one that doesn't."""
BEFORE_S, LEAD_IN_S, DWELL_S, TAIL_S = 0.06, 0.3, 0.9, 0.3


@pytest.fixture
def project(tmp_path):
    made = new_simulated_project(tmp_path / "toy", SEED, PADS)
    return replace(made, rig=made.rig.model_copy(update={"series_ohm": BANK_OHM}))


class Trying:
    """A holding on a simulated bench that has started, and what was heard since."""

    def __init__(self, project, stopped_ohm=()):
        self.bench = SimulatedBench(project)
        self.sound = []
        self.holding = Holding(project, self.bench, self.sound.append, dict(stopped_ohm))
        self.holding.start()

    def wait(self, seconds, tick_s=0.5):
        """Let time pass with nobody there; gives what was told."""
        told = []
        for _ in range(round(seconds / tick_s)):
            told += self.holding.tick(tick_s)
        return told

    @property
    def links(self):
        """What the toy itself has bridged."""
        return self.bench.toy._wiring.links


@pytest.fixture
def trying(project):
    return Trying(project)


# What is heard


def touch_sound(bench, ear, *pair):
    """Judge a touch of a pair, as a sweep does."""
    heard = hear(bench, a_touch(*pair))
    span = Span.from_samples(heard.offsets, len(heard.samples), bench.rate_hz)
    return ear.judge(KEY, heard.samples, span)


def a_touch(*pair):
    return Touch(
        Target.pair(*pair).connections if pair else (), Stimulus((KEY,)),
        before_ms=round(1000 * BEFORE_S), lead_in_ms=round(1000 * LEAD_IN_S),
        dwell_ms=round(1000 * DWELL_S), tail_ms=round(1000 * TAIL_S),
    )


def held_sound(trying, ear, *pair):
    """Judge the same steps, done by hand: a press, a moment later the pair held, and let go."""
    holding = trying.holding
    trying.sound.clear()
    holding.tick(BEFORE_S)
    holding.press(KEY)
    holding.tick(LEAD_IN_S - 0.12)
    if pair:
        holding.hold([Target.pair(*pair)])
    holding.tick(DWELL_S)
    holding.release()
    holding.tick(TAIL_S)
    ends = np.cumsum([BEFORE_S, LEAD_IN_S, DWELL_S, TAIL_S])
    return ear.judge(KEY, np.concatenate(trying.sound), Span.from_seconds(*ends))


def test_a_held_path_sounds_as_a_touch_over_it_does(trying):
    bench, ear = trying.bench, Ear(SimulatedBench.rate_hz)
    while ear.takes_learnt(KEY) < 16:
        heard = hear(bench, a_touch())
        ear.learn(KEY, heard.samples, Span.from_samples(heard.offsets, len(heard.samples), bench.rate_hz))
        bench.wait(1.0)
    said = {}
    for pair in ((), NOTHING, DRONE, PITCH):
        touched = touch_sound(bench, ear, *pair)
        bench.wait(1.5)
        held = held_sound(trying, ear, *pair)
        bench.wait(1.5)
        assert held.sound == touched.sound, pair
        said[pair] = held
    assert [said[one].sound for one in ((), NOTHING, DRONE, PITCH)] == ["none", "none", "drone", "pitch"]
    assert said[PITCH].amount == pytest.approx(-1608, abs=60)  # as a sweep of this board says


def test_a_toy_sounds_on_between_calls_however_long_they_are(project):
    heard = []
    for tick_s in (0.05, 0.01, 1.0):
        trying = Trying(project)
        trying.holding.hold([Target.pair(*PITCH)])
        trying.holding.press(KEY)
        trying.wait(1.0, tick_s)
        heard.append(np.concatenate(trying.sound))
        assert len(heard[-1]) == pytest.approx(1.12 * trying.bench.rate_hz, abs=2)
    assert np.sqrt(np.mean(heard[0] ** 2)) > 0.02
    for other in heard[1:]:  # the room's noise is another each time, 40 dB below
        assert np.corrcoef(heard[0], other)[0, 1] > 0.99


# When it opens


def test_a_minute_without_a_person_opens_everything_and_ten_end_it(trying):
    holding = trying.holding
    holding.hold([Target.pair(*NOTHING)])
    assert trying.wait(AWAY_S - 1) == []
    assert len(trying.links) == 1
    holding.seen()
    assert trying.wait(AWAY_S - 1) == []
    assert trying.wait(2) == [OPENED]
    assert not trying.links
    assert not holding.is_closed
    assert not holding.is_over
    assert trying.wait(LEAVE_S - AWAY_S) == [LEFT]
    assert holding.is_over


def test_the_bench_opens_by_itself_what_nobody_says_is_wanted(trying):
    bench = trying.bench
    bench.hold(Target.pair(*NOTHING).connections)
    bench.listen(59.0)
    assert trying.links
    with pytest.raises(HeldTooLong):
        bench.listen(2.0)
    assert not trying.links
    bench.hold(Target.pair(*NOTHING).connections)
    bench.listen(40.0)
    bench.stay()
    bench.listen(40.0)
    assert trying.links


def test_what_the_bench_opened_by_itself_is_told_once(trying, monkeypatch):
    holding = trying.holding
    holding.hold([Target.pair(*NOTHING)])
    monkeypatch.setattr("rig.trying.holding.AWAY_S", 1e9)
    assert trying.wait(61) == [OPENED]
    assert not holding.is_closed
    assert trying.wait(1) == []


def test_a_minute_that_is_over_for_both_at_once_is_told_once(trying, monkeypatch):
    holding, let_go = trying.holding, trying.bench.let_go

    def too_late():
        let_go()
        raise HeldTooLong("just now")

    holding.hold([Target.pair(*NOTHING)])
    monkeypatch.setattr(trying.bench, "let_go", too_late)
    assert trying.wait(60.5) == [OPENED]


def test_a_rail_that_stays_up_is_told_without_a_word_of_a_sweep(trying, monkeypatch):
    monkeypatch.setattr(trying.bench, "rail_v", lambda: 3.0)
    with pytest.raises(ToyLost) as caught:
        trying.holding.bring_back()
    assert str(caught.value).endswith("look for what still feeds it")


def test_release_and_safe_open_all(trying):
    holding = trying.holding
    holding.hold([Target.pair(*NOTHING), Target.pair(*DRONE)])
    assert len(trying.links) == 2
    holding.release()
    assert not trying.links
    holding.hold([Target.pair(*NOTHING)])
    assert trying.bench.safe() is None
    assert not trying.links
    assert not trying.bench.toy._supply.on


def test_the_guard_trips_as_ever_and_the_toy_is_brought_back(project):
    sensitive = project.rig.model_copy(update={"guard": Guard(peak_ma=10, average_ma=10)})
    trying = Trying(replace(project, rig=sensitive))
    holding = trying.holding
    holding.hold([Target.pair(*PITCH)])
    holding.press(KEY)
    assert trying.wait(2.0) == [TRIPPED]
    assert holding.is_off
    assert not trying.links
    with pytest.raises(GuardTripped):
        trying.bench.hold(Target.pair(*PITCH).connections)
    for act in (lambda: holding.press(KEY), lambda: holding.hold([Target.pair(*PITCH)])):
        with pytest.raises(Refused, match="bring it back first"):
            act()
    holding.bring_back()
    assert not holding.is_off
    assert trying.bench.rail_v() > 1
    assert not trying.links
    with pytest.raises(AskTwice, match="F-G stopped the toy over 153 kΩ: once more to go there"):
        holding.hold([Target.pair(*PITCH)])


# What is refused


def test_what_a_sweep_refuses_is_refused_and_nothing_else_closes(trying, project):
    holding = trying.holding
    pads = project.toy.pads
    rails = [letter for letter, pad in pads.items() if pad.kind == "rail"]
    assert len(rails) == 2
    holding.hold([Target.pair(*NOTHING)])
    for targets, why in (
        ([Target.pair(*rails, 0.0)], "are rails: at least"),
        ([Target.pair("A", "Q", 0.0)], "there is no pad Q"),
        ([Target.pair(*NOTHING), Target.pair("A", "B", 0.0)], "a pad can't be closed twice"),
    ):
        with pytest.raises(Refused, match=why):
            holding.hold(targets)
        assert [one.pads_1 for one in trying.links] == [("A",)]
    with pytest.raises(Refused, match="the toy has no key nose"):
        holding.press("nose")


def test_a_forbidden_pad_and_a_group_beyond_the_limit_are_refused(project):
    pads = {n: p.model_copy(update={"forbidden": n == "B"}) for n, p in project.toy.pads.items()}
    toy = project.toy.model_copy(update={"pads": pads})
    rig = project.rig.model_copy(update={"current_limit_ma": 1.0})
    holding = Trying(replace(project, toy=toy, rig=rig)).holding
    with pytest.raises(Refused, match="pad B is forbidden"):
        holding.hold([Target.pair("A", "B", 150_000.0)])
    with pytest.raises(Refused, match="mA could flow, the limit is 1 mA"):
        holding.hold([Target.pair("A", "D", 0.0)])
    assert not holding.is_closed


def test_a_rig_with_one_pair_of_buses_holds_one_connection(project):
    rig = project.rig.model_copy(update={"bench": "hardware"})
    holding = Holding(replace(project, rig=rig), SimulatedBench(project), lambda sound: None, {})
    with pytest.raises(Refused, match="need 2 pairs of buses, this bench has one"):
        holding.hold([Target.pair(*NOTHING), Target.pair(*DRONE)])
    two = Target.pair(*NOTHING).connections + Target.pair("B", "C", 0.0).connections
    with pytest.raises(Refused, match="need 2 pairs of buses"):
        holding.hold([Target(two)])


def test_steps_go_through_all_that_the_bank_makes_and_past_what_is_unsafe(trying, project):
    rig, holding = project.rig, trying.holding
    paths = [path_ohm(rig, one) for one in holding.rungs]
    assert all(high >= 1.05 * low for low, high in pairwise(paths))
    made = {channels(BANK_OHM, one) for one in holding.rungs}
    assert None not in made
    assert {(1,), (2,), (3,), (4,)} <= made
    assert any(len(one) > 1 for one in made)
    at = Target.pair("A", "D", 0.0)
    climbed = [at.series_ohm]
    while at.series_ohm < max(BANK_OHM):
        at = holding.stepped([at], 1)
        climbed.append(at.series_ohm)
    assert climbed == holding.rungs
    with pytest.raises(Refused, match="the bank makes no more than 153 kΩ"):
        holding.stepped([at], 1)
    rails = [letter for letter, pad in project.toy.pads.items() if pad.kind == "rail"]
    # Side by side never joins rails, so these steps are left out.
    down = holding.stepped([Target.pair(*rails, 150_000.0)], -1)
    assert down.series_ohm == 33_000.0
    down = holding.stepped([down], -1)
    assert down.series_ohm == 6_800.0
    with pytest.raises(Refused, match="are rails"):
        holding.stepped([down], -1)


def test_what_is_swept_is_among_the_steps(project):
    swept = project.rig.sweep.model_copy(update={"series_ohm": [5_640.0, 150_000.0]})
    assert {5_640.0, 150_000.0} <= set(rungs(project.rig.model_copy(update={"sweep": swept})))


@pytest.mark.parametrize("series_ohm", [6_800.0, 33_000.0])
def test_a_path_that_stopped_the_toy_is_asked_for_twice(project, series_ohm):
    stopped = path_ohm(project.rig, 33_000.0)
    trying = Trying(project, {"F-G": stopped})
    holding, target = trying.holding, Target.pair("G", "F", series_ohm)
    with pytest.raises(AskTwice, match="F-G stopped the toy over 36 kΩ: once more"):
        holding.hold([target])
    assert not trying.links
    holding.hold([target.over(150_000.0)])
    holding.hold([target], sure=True)
    assert len(trying.links) == 1
    holding.release()
    holding.hold([target])  # it was asked for twice already
    with pytest.raises(AskTwice):
        holding.hold([target.over(0.0)])


def test_what_was_held_when_the_toy_is_brought_back_is_asked_for_twice(trying):
    holding = trying.holding
    holding.hold([Target.pair(*NOTHING)])
    holding.release()
    holding.bring_back()
    with pytest.raises(AskTwice, match="A-D stopped the toy over 153 kΩ"):
        holding.hold([Target.pair(*NOTHING)])
    holding.hold([Target.pair(*DRONE)])


# A person among their picks


@pytest.fixture
def session(project):
    """Give a session over three picks, of which the last is only named; and its trying."""
    keep(project.folder, "A-D", at_ohm=153_000, key=KEY, note="nothing yet")
    keep(project.folder, "B-E", at_ohm=3_000)
    trying = Trying(project, {"F-G": path_ohm(project.rig, 33_000.0)})
    picks = picks_to_try(project.folder, ["d-a", "B-E 3k", "F-G 36k"])
    made = Session(trying.holding, picks, [])
    made.begin()
    made.links = lambda: [(*one.pads_1, *one.pads_2, one.series_ohm) for one in trying.links]
    return made


def test_picks_are_gone_through_in_their_order(session):
    assert session.links() == [("A", "D", 150_000.0)]
    assert session.do("previous") == "that was the first pick"
    assert session.do("next") == ""
    assert session.links() == [("B", "E", 0.0)]
    assert session.do("next").startswith("F-G stopped the toy over 36 kΩ: once more")
    assert session.links() == []
    assert session.do("close") == ""
    assert session.links() == [("F", "G", 33_000.0)]
    assert session.do("next") == "that was the last pick"
    assert session.do("previous") == ""
    assert session.links() == [("B", "E", 0.0)]


def test_another_word_between_forgets_that_it_was_asked(session):
    session.do("next")
    session.do("next")
    session.do("press")
    assert "once more" in session.do("close")
    assert session.links() == []


def test_open_and_close_step_and_keep(session, project):
    session.do("open")
    assert session.links() == []
    session.do("step", "down")
    assert session.links() == []
    session.do("close")
    (held,) = session.links()
    assert held == ("A", "D", session.holding.rungs[-2])
    path = session.holding.path(session.current.target)
    assert session.do("keep").startswith("kept: A-D ")
    first, second = load_picks(project.folder)
    assert first == Pick("A-D", at_ohm=float(f"{path:.3g}"), key=KEY, note="nothing yet")
    assert second == Pick("B-E", at_ohm=3_000)
    session.do("step", "down")
    session.do("keep")
    assert len(load_picks(project.folder)) == 2, "the entry that is tried is the one that changes"


def test_what_was_only_named_is_kept_with_its_key(session, project):
    session.do("next")
    session.do("next")
    assert session.do("keep") == "kept: F-G 36k"
    assert load_picks(project.folder)[-1] == Pick("F-G", at_ohm=36_000, key=KEY)


def test_several_together_are_held_and_stepped_one_at_a_time(session):
    assert session.do("add") == ""
    assert session.links() == [("A", "D", 150_000.0), ("B", "E", 0.0)]
    session.do("step", "up")
    assert session.links()[0] == ("A", "D", 150_000.0)
    assert session.links()[1] == ("B", "E", session.holding.rungs[1])
    assert "a pad can't be closed twice" in session.do("add", "A-B")
    assert "once more" in session.do("add", "F-G 36k")
    assert len(session.links()) == 2
    assert session.do("add", "F-G 36k") == ""
    assert len(session.links()) == 3
    session.do("drop")
    session.do("drop")
    assert session.links() == [("A", "D", 150_000.0)]
    assert session.do("drop") == "one is held alone: open it instead"


def test_words_that_ask_for_nothing_are_told(session):
    assert session.do("step", "sideways") == "a step goes up or down"
    assert session.do("press", "nose").startswith("the toy has no key nose")
    assert session.do("add", "nose").startswith("'nose' is no pair")
