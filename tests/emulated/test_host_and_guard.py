"""The host's side of the controller's own protection, against the real firmware."""

from __future__ import annotations

import pytest
from emulator import CYCLES_PER_MS, Emulator

from rig.bench.configuration import Configuration, bring_into_force
from rig.bench.controller import Controller
from rig.errors import BenchError, Restarted

WANTED = Configuration(
    pads=16, forbidden=frozenset({3}), rails=frozenset({1, 5}), rail_series=frozenset({2}),
    peak_ma=250, average_ma=90, inrush_ms=20,
)


@pytest.fixture
def emulator():
    with Emulator(paced=True, pads=WANTED.pads) as emulator:
        yield emulator


@pytest.fixture
def controller(emulator):
    controller = Controller.open(emulator.pty)
    yield controller
    controller.close()


def test_the_configuration_is_stored_once_and_its_checksum_is_the_chip_s(emulator, controller):
    assert bring_into_force(controller, WANTED, "reed") is True
    assert bring_into_force(controller, WANTED, "reed") is False
    assert controller.query("SYSTem:CONFigure:FORBidden?") == "(@3)"
    with pytest.raises(BenchError, match="108"):
        controller.command("ROUTe:CLOSe (@1!3)")
    controller.close()
    emulator.reset()
    again = Controller.open(emulator.pty)
    assert bring_into_force(again, WANTED, "reed") is False
    again.close()


def test_firmware_for_other_switches_is_refused(controller):
    with pytest.raises(BenchError, match="firmware for reed switches, rig.yaml says multiplexer"):
        bring_into_force(controller, WANTED, "multiplexer")


def test_a_restart_is_told_once_with_its_cause(emulator, controller):
    controller.check_restart()
    emulator.jam()
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    with pytest.raises(Restarted, match="Restarted by watchdog") as caught:
        controller.check_restart()
    assert "\n" not in str(caught.value)
    controller.check_restart()


def test_a_touch_that_draws_too_much_ends_with_its_marker_and_stamps(emulator, controller):
    bring_into_force(controller, WANTED, "reed")
    controller.command("OUTPut ON")
    controller.command("TOUCh:CONNections (@1!2,2!4);SERies 1;KEYS 1")
    emulator.current_when_closed(300)
    controller.command("TOUCh:TIMing 60,120,100,1000,300;:TOUCh:INITiate")
    while controller.query("TOUCh:STATe?") != "DONE":
        pass
    start, press, close, release, opened, end = controller.numbers("TOUCh:TIMeline?", 6)
    states = emulator.settled()
    closed = next(state.cycle for state in states if state.closures)
    cut = next(s.cycle for s in states if s.cycle > closed and s.is_open_and_off)
    assert any(state.marker for state in states if state.cycle >= cut)
    assert start < press < close < opened <= end
    assert press < release <= min(opened, press + 122_000)
    assert (opened - close) / 1000 == pytest.approx((cut - closed) / CYCLES_PER_MS, abs=2)
    assert end - opened < 5_000
    assert [number for number, _ in controller.errors()] == [106]
    with pytest.raises(BenchError, match="105"):
        controller.command("OUTPut ON")
