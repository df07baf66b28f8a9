"""The recovery ladder, rung by rung: a toy that stops answering, and what brings it back."""

from dataclasses import replace

import pytest
from listening import told_during
from small_sweeps import TAKES, few_leads, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.errors import ToyLost
from rig.events import FreezeSeen, Noticed, Recovered, RungTried, SweepDone
from rig.sweep import Sweep
from rig.sweep.habits import silent_presses
from rig.sweep.outcome import NO_ANSWER
from rig.sweep.recovery import RAIL_LIMIT_S

ON = "fish"
"""The key that turns the toy on, where a test has one; it isn't the one that is swept with."""


@pytest.fixture
def project(tmp_path):
    return few_leads(tmp_path / "toy")


def turned_on(project):
    """The same toy with a key that turns it on."""
    return replace(project, toy=project.toy.model_copy(update={"on": [ON]}))


class Dying(SimulatedBench):
    """A bench whose toy answers no key any more once a pair was bridged, for the first time.

    Attributes
    ----------
    presses : list of str
        Keys pressed since the toy died.
    turned_on_by : list of str
        Keys pressed since the supply was switched on last.
    off_s : list of float
        How long the supply was off each time, s.
    """

    def __init__(self, project):
        super().__init__(project)
        self.dead = self.dies = self.died = False
        self.presses, self.turned_on_by, self.off_s = [], [], []
        self.cut_s = None
        press = self.toy.keys
        self.toy.keys = lambda down: press(self.reach(down))

    def begin(self, touch):
        if self.dies:
            self.dead, self.dies = True, False
        elif touch.connections and not self.died:
            self.dies = self.died = True
        super().begin(touch)

    def reach(self, down):
        """Give the keys that the toy feels."""
        for key in down:
            self.turned_on_by.append(key)
            if self.dead:
                self.presses.append(key)
                self.dead = not self.is_revived_by_press(key)
        return set() if self.dead else down

    def is_revived_by_press(self, key):
        return False

    def supply(self, on):
        if on and self.cut_s is not None:
            self.off_s.append(self.now_s() - self.cut_s)
        self.cut_s = None if on else self.now_s()
        if on:
            self.turned_on_by.clear()
        super().supply(on)


class Missing(Dying):
    """Its toy misses so many presses and is well then, or as soon as its supply was cut."""

    misses = 0

    def is_revived_by_press(self, key):
        return len(self.presses) > self.misses

    def supply(self, on):
        super().supply(on)
        self.dead = self.dead and on


def swept(project, bench):
    """Sweep to the end; gives the log's first touch of a pair, its rungs, and the events."""
    with new_log(project) as log:
        events = told_during(log, Sweep(project, bench, log).run)
        assert isinstance(events[-1], SweepDone)
        touch = next(one for one in log.records() if one.pads_1)
        rungs = [one.rung for one in log.events() if isinstance(one, RungTried)]
    return touch, rungs, events


@pytest.mark.parametrize(
    ("misses", "after", "rungs"),
    [(6, "answers", ["wait"]), (7, "freeze", ["wait", "supply"])],
)
def test_more_silent_presses_than_a_living_toy_ever_misses_make_a_freeze_and_fewer_do_not(
    project, misses, after, rungs
):
    # The first press that is missed is the one in the next touch's lead-in. Before it the toy has
    # noticed nine: it misses three in ten at most, and six in a row in one case of a thousand.
    assert silent_presses(TAKES + 1, 0) == 6
    bench = Missing(project)
    bench.misses = misses
    touch, climbed, events = swept(project, bench)
    assert (touch.after, touch.facts["rung"], climbed) == (after, rungs[-1], rungs)
    assert touch.facts["answered"] is False
    freezes = [one for one in events if isinstance(one, FreezeSeen)]
    recovered = [one for one in events if isinstance(one, Recovered)]
    assert len(freezes) == (after == "freeze")
    assert [one.rung for one in recovered] == rungs[-1:]


@pytest.mark.parametrize(("drawn_ma", "rungs"), [(80.0, ["supply"]), (6.9, ["wait", "supply"])])
def test_a_silent_toy_that_draws_far_more_than_at_rest_loses_its_supply_at_once(
    project, drawn_ma, rungs
):
    class LatchedUp(Missing):
        misses = 99

        def supply_ma(self):
            return drawn_ma if self.dead else 2.0

    touch, climbed, events = swept(project, LatchedUp(project))
    assert touch.after == "freeze"
    assert climbed == rungs
    told = [one.text for one in events if isinstance(one, Noticed)]
    latched = f"the toy is silent and draws {drawn_ma:.0f} mA, 2 mA at rest: its supply is "
    latched += "cut at once, now and whenever that comes again"
    assert told == [latched] * (drawn_ma > 7)


def test_the_keys_that_turn_the_toy_on_are_pressed_before_anything_is_reset(project):
    class Off(Dying):
        def is_revived_by_press(self, key):
            return key == ON

    project = turned_on(project)
    bench = Off(project)
    touch, rungs, _ = swept(project, bench)
    assert rungs == ["wait", "turn on"]
    assert (touch.after, touch.facts["rung"]) == ("freeze", "turn on")
    assert not bench.off_s


def test_a_toy_that_missed_the_key_that_turns_it_on_is_turned_on_again(project):
    class Missed(SimulatedBench):
        """Its toy is off until the key that turns it on was pressed twice."""

        def __init__(self, project):
            super().__init__(project)
            press, self.on = self.toy.keys, 0

            def reach(down):
                self.on += ON in down
                press(down if self.on >= 2 else set())

            self.toy.keys = reach

    with new_log(turned_on(project)) as log:
        Sweep(turned_on(project), Missed(project), log).run()
        first, second = log.records()[:2]
    assert (first.fault, second.fault) == (NO_ANSWER, None)


def test_a_reset_line_is_pulsed_before_the_supply_is_cut(project):
    class WithLine(Dying):
        def pulse_reset(self):
            self.dead = False
            self.turned_on_by.clear()
            return True

    project = turned_on(project)
    bench = WithLine(project)
    touch, rungs, _ = swept(project, bench)
    assert rungs == ["wait", "turn on", "reset line"]
    assert (touch.after, touch.facts["rung"]) == ("freeze", "reset line")
    assert not bench.off_s
    assert bench.turned_on_by[0] == ON


def test_the_supply_stays_off_longer_on_each_try_and_the_toy_is_turned_on(project):
    class Hard(Dying):
        """It takes three cuts."""

        def supply(self, on):
            super().supply(on)
            self.dead = self.dead and len(self.off_s) < 3

    project = turned_on(project)
    bench = Hard(project)
    with new_log(project) as log:
        Sweep(project, bench, log).run()
        touch = next(one for one in log.records() if one.pads_1)
        cuts = [one for one in log.events() if isinstance(one, RungTried) and one.rung == "supply"]
    assert (touch.after, touch.facts["rung"], touch.facts["tries"]) == ("freeze", "supply", 3)
    assert [one.tries for one in cuts] == [1, 2, 3]
    waits_s = [off_s - one.rail_fell_s for off_s, one in zip(bench.off_s, cuts, strict=True)]
    usual_s = project.rig.timings.rail_off_wait_s
    assert waits_s == pytest.approx([usual_s, 2 * usual_s, 3 * usual_s], abs=0.05)
    assert bench.turned_on_by[0] == ON


def test_a_rail_that_stays_up_stops_the_sweep(project):
    class Fed(Dying):
        """Something else feeds its toy."""

        def rail_v(self):
            assert self.cut_s is None or self.now_s() - self.cut_s < 1.5 * RAIL_LIMIT_S
            return 3.0

    with new_log(project) as log:
        with pytest.raises(ToyLost, match=r"its rail stays at 3.00 V: .*continue") as caught:
            Sweep(project, Fed(project), log).run()
        touch = next(one for one in log.records() if one.pads_1)
    assert "\n" not in str(caught.value)
    assert (touch.after, touch.facts["rung"]) == ("freeze", "none")


def test_a_host_that_is_late_closes_nothing_onto_a_dead_toy(project):
    class Late(Missing):
        misses = 9

        def end_early(self):
            """Too late: the touch goes on to its lead-in's end."""

    with new_log(project) as log:
        Sweep(project, Late(project), log).run()
        touch, following = [one for one in log.records() if one.pads_1][:2]
    assert touch.after == "freeze"
    assert following.fault == NO_ANSWER
    assert following.timeline.close_us is None
