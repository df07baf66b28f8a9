"""The engine before an unsafe touch, when the controller restarts, or its current guard trips."""

import itertools
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from listening import told_during
from small_sweeps import make_project, new_log

from rig.bench import Connection
from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.errors import GuardTripped, Restarted
from rig.events import ControllerRestarted, SetAside, SweepDone
from rig.log import verify
from rig.project.electrical import RAIL_LIMIT_MA, highest_v
from rig.project.models import Pad, Toy
from rig.sweep import Step, Sweep
from rig.sweep import run as run_module
from rig.touches import Target


@pytest.fixture
def project(tmp_path):
    return make_project(tmp_path / "toy")


class Reached(Exception):
    """A touch has got as far as the bench."""


def flows_ma(one, volts, lead_ohm):
    """The current of each pad, mA; pads without a voltage are one net that nothing drives."""
    net, wires = "net", [("bus 1", "bus 2", max(one.series_ohm, 1e-3))]
    for bus, side in (("bus 1", one.pads_1), ("bus 2", one.pads_2)):
        wires += [(pad if pad in volts else net, bus, max(lead_ohm, 1e-3)) for pad in side]
    free = sorted({end for wire in wires for end in wire[:2]} - set(volts))
    drawn, known = np.zeros((len(free), len(free))), np.zeros(len(free))
    for a, b, ohm in wires:
        for here, there in ((a, b), (b, a)):
            if here in free:
                drawn[free.index(here), free.index(here)] += 1 / ohm
                if there in free:
                    drawn[free.index(here), free.index(there)] -= 1 / ohm
                else:
                    known[free.index(here)] += volts[there] / ohm
    at_v = volts | dict(zip(free, np.linalg.solve(drawn, known), strict=True))
    return {a: abs(at_v[a] - at_v[b]) / ohm * 1000 for a, b, ohm in wires if a in volts}


def worst_ma(one, volts, lead_ohm):
    """The most that each pad carries, whichever of the pads are at the plus and at the minus."""
    pads = one.pads_1 + one.pads_2
    ways = [
        flows_ma(one, dict(zip(pads, at, strict=True)), lead_ohm)
        for at in itertools.product((0.0, volts), repeat=len(pads))
    ]
    return {pad: max(way[pad] for way in ways) for pad in pads}


def rails_ma(one, rails, volts, lead_ohm):
    """What flows from rail to rail where all other pads are one net within the toy, mA."""
    return flows_ma(one, dict(zip(rails, (0.0, volts), strict=True)), lead_ohm)[rails[0]]


class Edge(SimulatedBench):
    """A bench that makes no touch, but looks whether it is safe."""

    def __init__(self, project):
        super().__init__(project)
        self.project = project

    def begin(self, touch):
        toy, rig = self.project.toy, self.project.rig
        pads = [pad for one in touch.connections for pad in one.pads_1 + one.pads_2]
        assert len(set(pads)) == len(pads)
        assert not any(toy.pads[pad].forbidden for pad in pads)
        for one in touch.connections:
            kinds = {pad: toy.pads[pad].kind for pad in one.pads_1 + one.pads_2}
            sides = [[kinds[pad] for pad in side] for side in (one.pads_1, one.pads_2)]
            assert all(side.count("rail") <= 1 for side in sides)
            volts = highest_v(toy)
            for pad, flows_ma in worst_ma(one, volts, rig.lead_ohm).items():
                assert flows_ma <= rig.current_limit_ma * 1.000001
                assert kinds[pad] != "clock" or volts / flows_ma * 1000 >= 30_000 * 0.999999
            if all("rail" in side for side in sides):
                rails = [pad for pad, kind in kinds.items() if kind == "rail"]
                assert rails_ma(one, rails, volts, rig.lead_ohm) <= RAIL_LIMIT_MA * 1.000001
        raise Reached


def test_no_touch_that_is_refused_reaches_a_bench(project):
    """Whatever a plan asks for: pads of any kind, one pad twice, none that there is, any path."""
    log = new_log(project)
    bench = Edge(project)
    outcomes, events = Counter(), []
    log.listen(events.append)
    pad = st.builds(
        Pad, kind=st.sampled_from(["signal", "signal", "signal", "rail", "clock"]),
        forbidden=st.sampled_from([*11 * [False], True]),
    )

    series_ohm = st.sampled_from([0.0, 6800.0, 26_000.0, 150_000.0])

    @st.composite
    def closing(draw):
        """One or two connections, of pads of their own; now and then a pad comes again, or isn't there."""
        letters = list(draw(st.permutations("ABCDEF")))
        if draw(st.integers(0, 5)) == 0:
            letters[draw(st.integers(2, 5))] = draw(st.sampled_from("ABCDEFZ"))
        made = []
        for most in draw(st.sampled_from([[2], [3], [2, 2], [1, 1]])):
            sides = [tuple(letters.pop() for _ in range(min(len(letters), draw(st.integers(1, most))))) for _ in range(2)
                     if letters]
            if len(sides) == 2 and all(sides):
                made.append(Connection(*sides, draw(series_ohm)))
        return made

    keys = st.sampled_from([(), ("hello",), ("hello", "stop")])

    @example([Pad()] * 6, [Connection(("A",), ("B",), 150e3)], (), 2.0, "sweep")
    @example([Pad()] * 6, [Connection(("A", "B"), ("C",), 150e3), Connection(("D",), ("E",), 150e3)],
             (), 2.0, "sweep")
    @example([Pad(forbidden=True)] * 6, [Connection(("A",), ("B",), 150e3)], (), 2.0, "sweep")
    @example([Pad()] * 6, [Connection(("A",), ("B",), 150e3), Connection(("B",), ("C",), 150e3)],
             (), 2.0, "sweep")
    @settings(max_examples=400, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.lists(pad, min_size=6, max_size=6), closing(), keys, st.sampled_from([0.1, 0.9, 2.0, 5.0]),
        st.sampled_from(["sweep", "confirm"]),
    )  # fmt: skip
    def check(pads, connections, keys, limit_ma, kind):
        toy = Toy.model_validate(
            project.toy.model_dump() | {
                "pads": {p: pad.model_dump() for p, pad in zip("ABCDEF", pads, strict=True)},
                "keys": {"hello": {}, "stop": {}},
            }
        )  # fmt: skip
        rig = project.rig.model_copy(update={"current_limit_ma": limit_ma})
        bench.project = replace(project, toy=toy, rig=rig)
        sweep = Sweep(bench.project, bench, log)
        step = Step(kind, Target(tuple(connections), keys))
        before = log.attempts(step.plan_key)
        try:
            sweep.make(step)
        except Reached:
            outcomes[step.target.is_single_pair] += 1
            log.withdraw(step.plan_key, "a test")
            return
        outcomes["refused"] += 1
        event = events[-1]
        assert isinstance(event, SetAside) and event.why.startswith("refused: ")
        assert log.attempts(step.plan_key) == before
        assert sweep.known.spot(step).aside

    check()
    assert min(outcomes[way] for way in (True, False, "refused")) >= 5, outcomes
    log.close()


def test_a_plan_that_asks_for_it_is_told_why_and_goes_on(project, monkeypatch):
    toy = project.toy
    pads = {**toy.pads, "C": toy.pads["C"].model_copy(update={"forbidden": True})}
    project = replace(project, toy=toy.model_copy(update={"pads": pads}))
    asked = Step("sweep", Target.pair("A", "C", 0.0, project.sweep_keys[0]))

    monkeypatch.setattr(run_module, "plan", lambda known, choose: [asked])
    log = new_log(project)
    events = told_during(log, Sweep(project, SimulatedBench(project), log).run)
    assert isinstance(events[-1], SweepDone)
    (aside,) = [e for e in events if isinstance(e, SetAside)]
    assert aside.what.startswith("A-C over") and aside.why == "refused: pad C is forbidden in toy.yaml"
    assert not log.attempts(asked.plan_key) and not log.records()
    (noted,) = [e for e in log.events() if isinstance(e, SetAside)]
    assert noted.plan_key == asked.plan_key
    log.close()


class Restarting(SimulatedBench):
    """A bench whose controller restarts as certain touches begin: the toy is off then."""

    made = 0
    restarts = (22, 40)

    def begin(self, touch):
        self.made += 1
        if self.made in self.restarts:
            self.supply(False)
            raise Restarted("controller on port restarted by itself (start 1 -> 2; 103)")
        super().begin(touch)


def test_a_restart_is_noted_and_the_sweep_goes_on(project):
    log = new_log(project)
    events = told_during(log, Sweep(project, Restarting(project), log).run)
    assert isinstance(events[-1], SweepDone)
    noted = [e for e in log.events() if isinstance(e, ControllerRestarted)]
    assert len(noted) == len(Restarting.restarts)
    assert verify(log) == []
    whole = new_log(project, "whole")
    Sweep(project, SimulatedBench(project), whole).run()
    assert {f.pair for f in finds(log.records())} == {f.pair for f in finds(whole.records())}
    log.close()
    whole.close()


def test_restarts_in_a_row_stop_it(project):
    class Sick(Restarting):
        restarts = range(22, 10_000)

    log = new_log(project)
    bench = Sick(project)
    with pytest.raises(Restarted):
        Sweep(project, bench, log).run()
    bench.wait(5)
    assert bench.rail_v() < 0.2
    log.close()


def test_a_pair_that_restarts_the_controller_twice_is_set_aside(project):
    class Fatal(SimulatedBench):
        def begin(self, touch):
            pads = {pad for c in touch.connections for pad in c.pads_1 + c.pads_2}
            if pads == {"A", "B"}:
                self.supply(False)
                raise Restarted("controller on port restarted by itself (start 1 -> 2; 104)")
            super().begin(touch)

    log = new_log(project)
    events = told_during(log, Sweep(project, Fatal(project), log).run)
    assert isinstance(events[-1], SweepDone)
    assert any(isinstance(e, SetAside) for e in events)
    assert all((r.pads_1, r.pads_2) != ("A", "B") for r in log.records())
    log.close()


class Tripping(SimulatedBench):
    """A bench whose guard trips whenever these pads are joined."""

    trips = frozenset("AC")
    supplies = 0

    def begin(self, touch):
        self.pads = {pad for c in touch.connections for pad in c.pads_1 + c.pads_2}
        super().begin(touch)

    def timeline(self):
        line = super().timeline()
        if not self.trips <= self.pads:
            return line
        super().supply(False)
        return replace(line, guarded=True)

    def supply(self, on):
        self.supplies += on
        super().supply(on)


def test_a_trip_is_the_pair_s_after_and_the_toy_is_supplied_again(project):
    log = new_log(project)
    bench = Tripping(project)
    events = told_during(log, Sweep(project, bench, log).run)
    assert isinstance(events[-1], SweepDone)
    tripped = [r for r in log.records() if r.after == "guarded"]
    assert {(r.pads_1, r.pads_2) for r in tripped} == {("A", "C")}
    # the highest value and its confirmation; no lower one
    assert {r.path_ohm for r in tripped} == {max(r.path_ohm for r in tripped)}
    assert bench.supplies > len(tripped)
    found = [f for f in finds(log.records()) if f.pair == "A-C"]
    assert [f.after for f in found] == ["guarded"]
    log.close()


def test_a_trip_with_nothing_bridged_stops_the_sweep(project):
    class Shorted(Tripping):
        trips = frozenset()

    log = new_log(project)
    with pytest.raises(GuardTripped, match="with nothing bridged.*continue"):
        Sweep(project, Shorted(project), log).run()
    log.close()


def test_a_pad_that_trips_with_any_other_does_not_stop_the_sweep(project):
    class Hard(Tripping):
        trips = frozenset("C")

    log = new_log(project)
    assert isinstance(told_during(log, Sweep(project, Hard(project), log).run)[-1], SweepDone)
    tripped = [r for r in log.records() if r.after == "guarded"]
    # With each of the others, and its lead alone.
    assert len({r.target.name for r in tripped}) == len(project.toy.pads)
    log.close()


def test_trips_that_have_no_pad_in_common_stop_it(project):
    class Warm(Tripping):
        @property
        def trips(self):
            return self.pads or frozenset("A")

    log = new_log(project)
    with pytest.raises(GuardTripped, match="times running.*continue"):
        Sweep(project, Warm(project), log).run()
    log.close()
