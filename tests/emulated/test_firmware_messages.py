"""Messages: what they move, what a damaged or overlong one does not, and what waits."""

from __future__ import annotations

import pytest
from emulator import CYCLES_PER_MS, START_CYCLES, Emulator, Port


def test_close_and_read_back(bench):
    emulator, port = bench
    port.write("ROUTe:SERies 3;CLOSe (@1!3,2!5)")
    assert port.ask("ROUTe:CLOSe? (@1!3,1!5,2!5,2!3)") == "1,0,1,0"
    assert port.ask("ROUTe:SERies?") == "3"
    state = emulator.wait_for(lambda state: state.closures, 5)
    assert (state.closures, state.series) == ({(1, 3), (2, 5)}, {3})
    port.write("ROUTe:OPEN (@1!3)")
    assert port.ask("ROUTe:CLOSe? (@1!3,2!5)") == "0,1"
    port.write("ROUTe:OPEN:ALL")
    assert port.ask("ROUTe:CLOSe:STATe? (@2!5)") == "0"
    assert port.ask("ROUTe:SERies?") == "0"
    assert emulator.wait_for(lambda state: not state.closures, 5).series == frozenset()


@pytest.mark.parametrize("bus", [1, 2])
@pytest.mark.parametrize("pad", [1, 2, 8, 9, 16, 17, 24, 25, 32])
def test_each_pad_has_its_own_relay(bench, bus, pad):
    emulator, port = bench
    port.write(f"ROUTe:CLOSe (@{bus}!{pad})")
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(bus, pad)}
    port.write("ROUTe:OPEN:ALL")
    emulator.wait_for(lambda state: not state.closures, 5)


def test_keys_are_pressed_and_released(bench):
    emulator, port = bench
    port.write("TOY:KEY:PRESs 1,8")
    emulator.wait_for(lambda state: state.keys == {1, 8}, 5)
    port.write("TOY:KEY:RELease 8")
    emulator.wait_for(lambda state: state.keys == {1}, 5)
    port.write("TOY:KEY:RELease ALL")
    emulator.wait_for(lambda state: not state.keys, 5)


def test_supply_off_opens_everything(bench):
    emulator, port = bench
    port.write("OUTPut:STATe 1;:TOY:KEY:PRESs 1;:ROUTe:SERies 1;CLOSe (@1!1,2!2)")
    assert port.ask("OUTPut?") == "1"
    emulator.wait_for(lambda state: state.supply and state.keys and state.closures, 5)
    port.write("OUTPut OFF")
    assert port.ask("OUTPut:STATe?") == "0"
    assert emulator.wait_for(lambda state: not state.supply, 5).is_open_and_off


@pytest.mark.parametrize("rail_mv", [0, 150, 3_000, 4_512, 9_000, 12_000])
def test_the_rail_is_measured_within_one_step_of_the_converter(bench, rail_mv):
    emulator, port = bench
    emulator.rail(rail_mv)
    emulator.wait_cycles(10 * CYCLES_PER_MS)
    step_v = 3 * 5.0 / 1024
    assert float(port.ask("MEASure:VOLTage?")) == pytest.approx(rail_mv / 1000, abs=2 * step_v)


def test_a_message_stops_at_its_first_error(bench):
    emulator, port = bench
    port.write("ROUT:CLOS (@1!1);NONSENSE;CLOS (@1!2)")
    assert port.errors() == [-113]
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 1)}


@pytest.mark.parametrize("bad", [b"\x00", b"\x02", b"\x1b", b"\x7f", b"\x80", b"\xff"])
@pytest.mark.parametrize("place", [0, 5, 15, 19])
def test_a_bad_byte_spoils_its_whole_message(bench, bad, place):
    emulator, port = bench
    before = emulator.settled()
    message = b"ROUTe:CLOSe (@1!1)\n"
    port.write(message[:place] + bad + message[place:])
    if place == len(message):
        port.write(b"\n")
        assert port.errors() == [-101]
        emulator.wait_for(lambda state: state.closures == {(1, 1)}, 5)
        return
    assert port.errors() == [-101]
    assert emulator.settled() == before


@pytest.mark.parametrize("length", [201, 255, 256, 257, 300, 1000, 5000])
def test_an_overlong_line_closes_nothing_whatever_is_in_it(bench, length):
    emulator, port = bench
    before = emulator.settled()
    filler = "ROUTe:CLOSe (@1!1);:" * (length // 20 + 1)
    port.write(filler[:length])
    assert port.errors() == [-363]
    assert emulator.settled() == before
    port.write("ROUTe:CLOSe (@1!2)")
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 2)}


def test_messages_behind_a_long_wait_run_whole_or_not_at_all(bench):
    """While *OPC? waits, input piles up until the ring overflows: what was lost is reported,
    and nothing is closed that no message asked for."""
    emulator, port = bench
    port.write("TOUCh:CONNections NONE;KEYS NONE;TIMing 0,1,0,1000,0;INITiate;*OPC?")
    start = len(emulator.events())
    for pad in range(1, 33):
        port.write(f"ROUTe:CLOSe (@1!{pad});OPEN:ALL")
    assert port.line() == "1"
    port.write("")  # ends whatever is left over of the loss
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    assert set(port.errors()) == {-363}
    asked_for = {frozenset({(1, pad)}) for pad in range(1, 33)} | {frozenset()}
    seen = {state.closures for state in emulator.events()[start:]}
    assert frozenset({(1, 1)}) in seen <= asked_for


def test_bytes_lost_by_a_blind_receiver_are_reported_and_close_nothing(bench):
    """The chip holds two bytes and a third on its way; the rest of 20 ms is overwritten."""
    emulator, port = bench
    before = emulator.settled()
    emulator.blind(20)
    port.write("ROUTe:CLOSe (@1!1)")
    emulator.wait_until_it_sees()
    port.write("")  # the loss may have eaten the line's end too
    assert port.errors() == [-363]
    assert emulator.settled() == before
    port.write("ROUTe:CLOSe (@1!2)")
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 2)}


@pytest.mark.parametrize(("rest", "errors"), [(b" 7\n", []), (b" 17\n", [-363])])
def test_the_receiver_holds_three_bytes_and_no_more(bench, rest, errors):
    """ATmega328P data sheet, "Data OverRun": two buffered and one in the shift register."""
    emulator, port = bench
    port.write(b"*ESE")
    emulator.wait_cycles(20 * CYCLES_PER_MS)
    emulator.blind(20)
    port.write(rest)
    emulator.wait_until_it_sees()
    assert port.errors() == errors
    assert port.ask("*ESE?") == ("0" if errors else "7")


def test_the_tail_of_a_message_cut_by_a_reset_is_not_run():
    with Emulator() as emulator:
        port = Port(emulator)
        port.write("*ESE?" + ";:ROUTe:CLOSe (@1!1)" * 9)
        emulator.reset()
        emulator.wait_cycles(START_CYCLES)
        resumed = emulator.resets[0]
        assert not any(state.closures for state in emulator.events() if state.cycle > resumed)
        port.replies()
        assert set(port.errors()) == {-500, -363}


def test_half_a_command_waits_and_joined_to_another_is_refused(bench):
    emulator, port = bench
    before = emulator.settled()
    port.write(b"ROUTe:CLOSe (@1!1,2!")
    emulator.wait_cycles(100 * CYCLES_PER_MS)
    assert emulator.settled() == before
    port.write("ROUTe:CLOSe (@1!2)")
    assert port.errors() == [-171]
    assert emulator.settled() == before


def test_the_longest_reply_is_whole_and_does_not_starve_the_watchdog(bench):
    emulator, port = bench
    resets = len(emulator.resets)
    query = "CLOS? (@1!1:1!32,2!1:2!32)"
    reply = port.ask("ROUT:" + ";".join([query] * 7))
    assert reply == ";".join([",".join("0" * 64)] * 7)
    assert len(emulator.resets) == resets


def test_long_messages_dont_move_the_steps_of_a_touch(bench):
    """Each message takes about 9 ms; a step waits for one command of it at most."""
    _, port = bench
    long = ":STAT:QUES:NTR 0;" * 11 + "*ESE?"
    for _ in range(20):
        port.write("TOUC:CONN (@1!1);KEYS 1;TIM 5,200,7,6,5;INIT")
        for _ in range(6):
            assert port.ask(long) == "0"
        start, press, close, _, opened, end = port.timeline()
        steps = [press - start, close - press, opened - close, end - opened]
        for us, ms in zip(steps, (5, 7, 6, 5), strict=True):
            assert 1000 * ms <= us < 1000 * ms + 1200
    assert port.errors() == []


def test_self_test_passes_and_moves_nothing(bench):
    emulator, port = bench
    port.write("ROUTe:SERies 1;CLOSe (@1!1,2!2)")
    emulator.wait_for(lambda state: len(state.closures) == 2, 5)
    before = emulator.settled()
    assert port.ask("*TST?") == "0"
    assert emulator.settled() == before
