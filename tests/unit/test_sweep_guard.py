"""The engine when the controller restarts by itself, or its current guard trips."""

from dataclasses import replace

import pytest
from test_sweep import make_project, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.errors import GuardTripped, Restarted
from rig.log import verify
from rig.sweep import SetAside, Sweep, SweepDone


@pytest.fixture
def project(tmp_path):
    return make_project(tmp_path / "toy")


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
    events = list(Sweep(project, Restarting(project), log).run())
    assert isinstance(events[-1], SweepDone)
    noted = [e for e in log.events() if e.kind == "controller restarted"]
    assert len(noted) == len(Restarting.restarts)
    assert verify(log) == []
    whole = new_log(project, "whole")
    list(Sweep(project, SimulatedBench(project), whole).run())
    assert {f.pair for f in finds(log.records())} == {f.pair for f in finds(whole.records())}
    log.close()
    whole.close()


def test_restarts_in_a_row_stop_it(project):
    class Sick(Restarting):
        restarts = range(22, 10_000)

    log = new_log(project)
    bench = Sick(project)
    with pytest.raises(Restarted):
        list(Sweep(project, bench, log).run())
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
    events = list(Sweep(project, Fatal(project), log).run())
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
    events = list(Sweep(project, bench, log).run())
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
        list(Sweep(project, Shorted(project), log).run())
    log.close()


def test_a_pad_that_trips_with_any_other_does_not_stop_the_sweep(project):
    class Hard(Tripping):
        trips = frozenset("C")

    log = new_log(project)
    assert isinstance(list(Sweep(project, Hard(project), log).run())[-1], SweepDone)
    tripped = [r for r in log.records() if r.after == "guarded"]
    assert len({(r.pads_1, r.pads_2) for r in tripped}) == len(project.toy.pads) - 1
    log.close()


def test_trips_that_have_no_pad_in_common_stop_it(project):
    class Warm(Tripping):
        @property
        def trips(self):
            return self.pads or frozenset("A")

    log = new_log(project)
    with pytest.raises(GuardTripped, match="times running.*continue"):
        list(Sweep(project, Warm(project), log).run())
    log.close()
