"""The three drivers of the pads, each build on its own rig: what they close, that they break
before they make, and that a chain which isn't whole is found."""

from __future__ import annotations

import pytest
from emulator import CYCLES_PER_US, Emulator, Port

DRIVERS = {
    "reed": "REED,64,8,1000,2000,12000",
    "crosspoint": "CROSSPOINT,64,8,10,10,11400",
    "multiplexer": "MULTIPLEXER,64,1,10,10,4600",
}
BREAK_US = {"reed": 2000, "crosspoint": 10, "multiplexer": 10}
RELAY_BREAK_US = 2000


@pytest.fixture(params=DRIVERS, scope="module")
def rig(request):
    with Emulator(driver=request.param, pads=64) as emulator:
        port = Port(emulator)
        assert port.errors() == [-500]
        yield request.param, emulator, port


@pytest.fixture
def bench(rig):
    _, _, port = rig
    port.write("*RST;*CLS")
    assert port.errors() == []
    return rig


def test_the_driver_says_what_it_can_do(bench):
    driver, _, port = bench
    assert port.ask("SYSTem:DRIVer?") == DRIVERS[driver]


def test_each_pad_closes_alone_on_each_bus(bench):
    _, emulator, port = bench
    start = len(emulator.events())
    wanted = []
    for bus in (1, 2):
        for pad in range(1, 65):
            assert port.ask(f"ROUT:CLOS (@{bus}!{pad});CLOS? (@{bus}!{pad});OPEN:ALL") == "1"
            wanted += [{(bus, pad)}, set()]
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.errors() == []
    assert [set(state.closures) for state in emulator.events()[start:]] == wanted


def test_a_path_through_two_pads_and_a_series_channel(bench):
    _, emulator, port = bench
    port.write("ROUT:SER 5;CLOS (@1!17,2!64)")
    state = emulator.wait_for(lambda state: len(state.closures) == 2, 5)
    assert (state.closures, state.series) == ({(1, 17), (2, 64)}, {5})
    port.write("TOY:KEY:PRES 3;:ROUT:OPEN (@1!17)")
    state = emulator.wait_for(lambda state: len(state.closures) == 1 and state.keys, 5)
    assert (state.closures, state.series, state.keys) == ({(2, 64)}, {5}, {3})
    port.write("ROUT:OPEN:ALL;:TOY:KEY:REL ALL")
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.errors() == []


def test_groups_close_where_the_driver_can_and_are_refused_where_not(bench):
    driver, emulator, port = bench
    port.write("ROUT:CLOS (@1!1,1!20,1!40,2!64)")
    if driver == "multiplexer":
        assert port.errors() == [-221]
        assert not emulator.state.closures
    else:
        assert port.errors() == []
        group = {(1, 1), (1, 20), (1, 40), (2, 64)}
        assert emulator.wait_for(lambda state: len(state.closures) == 4, 5).closures == group


def test_paths_break_for_their_drivers_time_before_the_next_is_made(bench):
    driver, emulator, port = bench
    start = len(emulator.events())
    port.write("ROUT:CLOS (@1!3);OPEN (@1!3);CLOS (@1!35);OPEN (@1!35);CLOS (@1!4);OPEN:ALL")
    port.write("ROUT:SER 1;SER 2;SER 3;SER 0")
    port.ask("*OPC?")
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    states = emulator.events()[start:]
    breaks = {"pads": [], "series": []}
    for before, gap, after in zip(states, states[1:], states[2:], strict=False):
        assert len(gap.closures) <= 1 and len(gap.series) <= 1
        span_us = (after.cycle - gap.cycle) / CYCLES_PER_US
        if before.closures and not gap.closures and after.closures:
            breaks["pads"].append(span_us)
        if before.series and not gap.series and after.series:
            breaks["series"].append(span_us)
    assert len(breaks["pads"]) == len(breaks["series"]) == 2
    assert min(breaks["pads"]) >= BREAK_US[driver]
    assert min(breaks["series"]) >= RELAY_BREAK_US
    if driver != "reed":
        assert max(breaks["pads"]) < RELAY_BREAK_US, "no relay moved: why so long?"


def test_a_touch_runs_on_every_driver(bench):
    _, emulator, port = bench
    start = len(emulator.events())
    port.write("TOUC:CONN (@1!33,2!50);SER 4;KEYS 2;TIM 5,20,30,40,10")
    timeline = port.touch()
    states = emulator.events()[start:]
    path = [s for s in states if s.closures == {(1, 33), (2, 50)} and s.series == {4}]
    close = next(s for s in states if s.marker).cycle + (timeline[2] - timeline[0]) * CYCLES_PER_US
    assert path[0].cycle == pytest.approx(close, abs=200 * CYCLES_PER_US)
    assert states[-1].is_open_and_off
    assert port.errors() == []


def registers(driver: str, pads: int) -> int:
    return 3 + 2 * pads // 8 if driver == "reed" else 5


@pytest.mark.parametrize("driver", DRIVERS)
@pytest.mark.parametrize("more", [-5, -2, -1, 1, 2, 8])
def test_a_chain_too_short_or_too_long_is_found_before_the_supply_goes_on(driver, more):
    with Emulator(driver=driver, pads=24) as emulator:
        port = Port(emulator)
        port.write("*CLS")
        emulator.chain_length(max(1, registers(driver, 24) + more))
        assert port.ask("*TST?") == "1"
        port.write("OUTPut ON")
        assert port.errors() == [-330]
        port.write("ROUT:CLOS (@1!5)")
        assert port.errors() == [-240]
        assert not any(s.is_anything_closed or s.gate for s in emulator.events())
        emulator.restart()
        assert port.errors() == [-500, -330]


@pytest.mark.parametrize("driver", DRIVERS)
def test_a_stage_of_the_chain_that_sticks_is_found_wherever_it_is(driver):
    with Emulator(driver=driver, pads=24) as emulator:
        port = Port(emulator)
        port.write("*CLS")
        for bit in range(registers(driver, 24) * 8):
            for level in (0, 1):
                emulator.stick(bit, level)
                assert port.ask("*TST?") == "1", f"stage {bit} at {level}"
        emulator.stick(0, -1)
        assert port.ask("*TST?") == "0"
