"""Low pads: two of them meet over the limiter alone, for a moment, while the toy is supplied."""

from __future__ import annotations

import itertools

import pytest
from emulator import CYCLES_PER_MS, Emulator, Port, configuration

LOW, RAIL, FORBIDDEN = (3, 5, 9), 1, 7
LOW_MS = 200
STORED = {
    "low": LOW, "low_ms": LOW_MS, "rails": [RAIL], "forbidden": [FORBIDDEN], "lead_ohm": 1_200,
    "supply_mv": 4_800, "pad_ua": 2_100, "bank_ohm": [0, 6_800, 33_000],
}  # fmt: skip
MEET = "ROUT:SER 1;CLOS (@1!3,2!5)"


@pytest.fixture
def rig():
    """Give a supplied rig with low pads, its rail up."""
    with Emulator(eeprom=configuration(**STORED)) as emulator:
        port = Port(emulator)
        port.write("*CLS;:OUTP ON")
        emulator.wait_cycles(250 * CYCLES_PER_MS)
        assert port.errors() == []
        yield emulator, port
        assert not any(is_forbidden(state) for state in emulator.events())


def is_forbidden(state) -> bool:
    """Say whether an image breaks a rule of low pads, whatever the firmware thinks of it."""
    on = [[pad for bus, pad in state.closures if bus == wanted] for wanted in (1, 2)]
    low = [set(pads) & set(LOW) for pads in on]
    shares = any(low[n] and len(on[n]) > 1 for n in (0, 1))
    shorted = any(low) and set(on[0]) & set(on[1])
    if not all(low):
        return bool(shares or shorted)
    beside = state.series - {1} or state.holds or state.sensed or state.continuity
    return bool(shares or shorted or beside or not state.supply)


def closed_ms(emulator) -> list[float]:
    """Give how long two low pads were closed at once, each time, ms."""
    spans, since = [], None
    for state in emulator.events():
        meets = len({pad for _, pad in state.closures} & set(LOW)) > 1
        if meets and since is None:
            since = state.cycle
        elif not meets and since is not None:
            spans.append((state.cycle - since) / CYCLES_PER_MS)
            since = None
    assert since is None
    return spans


REFUSED = [
    ("1!3,1!5", "0"), ("2!3,2!5", "1"), ("1!3,1!5,2!9", "1"),  # two on a bus
    ("1!3,1!4", "0"), ("2!5,2!6", "2"), ("1!3,2!5,2!6", "1"), ("1!3,1!4,2!6", "3"),  # a group
    ("1!3,2!3", "0"), ("1!3,2!4,1!4", "0"), ("1!4,2!4,2!5", "3"),  # a pad on both buses
    ("1!3,2!5", "2"), ("1!3,2!5", "1,2"), ("1!9,2!3", "2,3"),  # not the limiter alone
    ("1!3,1!1", "0"),  # a rail beside it
]  # fmt: skip


@pytest.mark.parametrize(("pads", "series"), REFUSED)
def test_a_forbidden_image_is_refused_from_commands_in_any_order_and_from_touches(rig, pads, series):
    emulator, port = rig
    port.write(f"ROUT:SER {series};CLOS (@{pads})")
    assert port.errors() == [-221]
    # One pad after the other, the channels last.
    port.write("ROUT:OPEN:ALL")
    for pad in pads.split(","):
        port.write(f"ROUT:CLOS (@{pad})")
    port.write(f"ROUT:SER {series}")
    assert set(port.errors()) == {-221}
    port.write("ROUT:OPEN:ALL")
    port.write(f"TOUC:CONN (@{pads});SER {series};TIM 1,1,1,20,1;INIT")
    assert port.errors() == [-221]
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    assert port.ask("TOUC:STAT?") == "IDLE"


@pytest.mark.parametrize(
    "more", ["ROUT:HOLD 1", "ROUT:HOLD 2", "MEAS:VOLT:BUS1?", "MEAS:VOLT:BUS2?", "MEAS:RES?"]
)
def test_nothing_that_could_feed_them_is_on_the_buses_with_them(rig, more):
    _, port = rig
    port.write(f"{MEET};:{more}")
    assert port.errors() == [-221]
    assert port.replies() == []
    port.write("ROUT:OPEN:ALL;:ROUT:HOLD 2")
    port.write(MEET)
    assert port.errors() == [-221]
    port.write("ROUT:OPEN (@1!3);:TOUC:CONN (@1!3,2!5);SER 1;TIM 1,1,1,20,1;INIT")
    assert port.errors() == [-221], "holds stay through touches"


@pytest.mark.parametrize(
    ("pads", "series", "error"),
    [
        ("1!3,2!4", "2", 0),  # 4.8 V / (32 + 6,800 + 1,200) ohm
        ("1!4,2!3", "2,3", 0),
        ("1!3,2!4", "1", 113),  # 3.9 mA
        ("1!3,2!1", "2", 0),  # a rail, through its own lead
        ("1!3,2!4,2!6", "3", 0),  # 2.0 mA from one of the two into the other alone
        ("1!3,2!7", "3", 108),
        ("1!3", "1", 0),
    ],
)
def test_beside_ordinary_pads_a_low_one_counts_with_its_own_lead_and_has_the_ordinary_time(
    rig, pads, series, error
):
    emulator, port = rig
    port.write(f"ROUT:SER {series};CLOS (@{pads})")
    assert port.errors() == ([error] if error else [])
    if not error:
        emulator.wait_cycles(2 * LOW_MS * CYCLES_PER_MS)
        assert emulator.state.closures
        assert port.errors() == []


def test_a_rail_s_reach_of_an_ordinary_pair_is_not_that_of_a_low_pad():
    """What a pair of ordinary leads may is too much for one ordinary and one low lead."""
    stored = configuration(**STORED | {"bank_ohm": [0, 1_000, 2_000]})
    with Emulator(eeprom=stored) as emulator:
        port = Port(emulator)
        port.write("*CLS;:ROUT:SER 2;CLOS (@1!4,2!6)")  # 1.4 mA
        assert port.errors() == []
        port.write("ROUT:OPEN:ALL;:ROUT:SER 2;CLOS (@1!4,2!3)")  # 2.15 mA
        assert port.errors() == [113]
        port.write("ROUT:OPEN:ALL;:ROUT:SER 3;CLOS (@1!4,2!3)")
        assert port.errors() == []


# --- how long


@pytest.mark.parametrize("low_ms", [10, 100, 2000])
def test_two_low_pads_open_after_their_time_with_the_host_dead(low_ms):
    with Emulator(eeprom=configuration(**STORED | {"low_ms": low_ms})) as emulator:
        port = Port(emulator)
        port.write("*CLS;:OUTP ON")
        emulator.wait_cycles(250 * CYCLES_PER_MS)
        port.write(MEET + ";:TOY:KEY:PRES 1")
        emulator.wait_for(lambda state: state.closures, 1)
        emulator.wait_cycles((low_ms + 50) * CYCLES_PER_MS)
        assert not emulator.state.is_anything_closed
        assert emulator.state.supply
        assert closed_ms(emulator) == [pytest.approx(low_ms + 2.5, abs=2.5)]
        assert port.errors() == [102]


def test_a_host_that_stops_after_starting_a_touch_leaves_it_to_end_in_time(rig):
    emulator, port = rig
    dwell_ms = LOW_MS - 5
    port.write(f"TOUC:CONN (@1!3,2!5);SER 1;KEYS 1;TIM 10,20,30,{dwell_ms},40;INIT")
    emulator.wait_for(lambda state: state.is_open_and_off, 10)
    assert closed_ms(emulator) == [pytest.approx(dwell_ms, abs=1)]
    assert port.errors() == [101]


def test_a_touch_that_ends_in_time_has_its_timeline_and_no_error(rig):
    emulator, port = rig
    port.write(f"TOUC:CONN (@1!9,2!3);SER 1;KEYS 1;TIM 10,20,30,{LOW_MS - 5},40")
    for _ in range(3):
        assert -1 not in port.touch()
    assert len(closed_ms(emulator)) == 3
    assert port.errors() == []


@pytest.mark.parametrize("start", ["INIT", "ARM"])
def test_a_touch_that_would_outlast_it_is_not_begun(rig, start):
    _, port = rig
    port.write(f"TOUC:CONN (@1!3,2!5);SER 1;TIM 10,20,30,{LOW_MS - 4},40;{start}")
    assert port.errors() == [-221]
    assert port.ask("TOUC:STAT?") == "IDLE"
    port.write(f"TOUC:CONN (@1!3,2!6);SER 2;{start}")  # ordinary ones may
    assert port.errors() == []


@pytest.mark.parametrize(
    "meanwhile",
    ["ROUT:CLOS:KEEP", "ROUT:CLOS (@1!3)", "ROUT:SER 0;SER 1", "TOY:KEY:PRES 2;REL 2",
     "OUTP ON", "*OPC"],
)  # fmt: skip
def test_nothing_that_the_host_says_meanwhile_lengthens_it(rig, meanwhile):
    emulator, port = rig
    port.write(MEET)
    closed = emulator.wait_for(lambda state: len(state.closures) == 2, 1).cycle
    while emulator.cycle < closed + (LOW_MS - 10) * CYCLES_PER_MS:
        port.write(meanwhile)
        emulator.wait_cycles(5 * CYCLES_PER_MS)
    assert port.errors() == []
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    assert closed_ms(emulator) == [pytest.approx(LOW_MS + 2.5, abs=2.5)]
    assert port.errors() == [102]


def test_long_replies_that_the_line_has_no_room_for_do_not_lengthen_it():
    with Emulator(eeprom=configuration(**STORED | {"pads": 64}), pads=64) as emulator:
        port = Port(emulator)
        port.write("*CLS;:OUTP ON")
        emulator.wait_cycles(250 * CYCLES_PER_MS)
        port.write(MEET)
        emulator.wait_for(lambda state: len(state.closures) == 2, 1)
        emulator.wait_cycles((LOW_MS - 25) * CYCLES_PER_MS)
        port.write(";:".join(["ROUT:CLOS? (@1!1:1!64,2!1:2!64)"] * 5))  # 51 ms of replies
        emulator.wait_cycles(200 * CYCLES_PER_MS)
        assert len(port.line()) == 5 * 256 - 1
        assert closed_ms(emulator) == [pytest.approx(LOW_MS + 2.5, abs=2.5)]


def test_the_shorter_of_both_times_holds(rig):
    emulator, port = rig
    port.write("OUTP OFF;*WAI;:SYST:CLOS:TIME 100")
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    port.write("OUTP ON")
    emulator.wait_cycles(250 * CYCLES_PER_MS)
    port.write(MEET)
    emulator.wait_cycles(250 * CYCLES_PER_MS)
    assert closed_ms(emulator) == [pytest.approx(102, abs=3)]
    assert port.errors() == [102]


# --- while the toy is supplied


def test_they_meet_only_once_the_supply_is_up(rig):
    emulator, port = rig
    port.write("OUTP OFF")
    emulator.wait_cycles(100 * CYCLES_PER_MS)
    touch = "TOUC:TIM 1,1,1,20,1;SER 1;CONN (@1!3,2!5);INIT"
    for message in (MEET, touch):
        port.write(f"ROUT:OPEN:ALL;:{message}")
        assert port.errors() == [-221]
    port.write("ROUT:OPEN:ALL;:OUTP ON")
    on = emulator.wait_for(lambda state: state.supply, 1).cycle
    accepted = None
    for _ in itertools.count():
        port.write(MEET)
        errors = port.errors()
        assert errors in ([], [-221])
        if not errors:
            accepted = emulator.cycle
            break
        port.write("ROUT:OPEN:ALL")
        emulator.wait_cycles(5 * CYCLES_PER_MS)
    assert 100 <= (accepted - on) / CYCLES_PER_MS < 120  # the blanking, as configured
    assert closed_ms_so_far(emulator) == 1


def closed_ms_so_far(emulator) -> int:
    """Give how often two low pads have met so far."""
    return sum(
        len(after.closures) == 2 and len(before.closures) < 2
        for before, after in itertools.pairwise(emulator.events())
    )


def test_switching_off_opens_them(rig):
    emulator, port = rig
    port.write(MEET)
    emulator.wait_for(lambda state: len(state.closures) == 2, 1)
    port.write("OUTP OFF")
    emulator.wait_for(lambda state: state.is_open_and_off, 1)
    assert closed_ms(emulator)[0] < 20


def test_a_rail_that_sags_lets_none_meet(rig):
    emulator, port = rig
    emulator.rail(900)
    port.write(MEET)
    assert port.errors() == [-221]
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    assert port.errors() == [110]


def test_a_latched_guard_lets_none_meet(rig):
    emulator, port = rig
    port.write("TOUC:CONN (@1!3,2!5);SER 1;TIM 100,1,1,20,1;INIT")
    emulator.wait_for(lambda state: state.marker, 1)
    emulator.current(440)
    emulator.wait_for(lambda state: not state.supply, 1)
    emulator.current(0)
    for message in (MEET, "TOUC:INIT"):
        port.write(message)
    assert port.errors() == [106, 105, 105]
    emulator.wait_cycles(300 * CYCLES_PER_MS)
    assert closed_ms(emulator) == []


# --- what is configured


@pytest.mark.parametrize(
    ("message", "errors"),
    [
        ("LOW:PADS (@3)", [-221]),  # no limiter
        ("LOW:LIM ON;PADS (@1,3)", [-221]),  # a rail
        ("LOW:LIM ON;PADS (@6:8)", [-221]),  # a forbidden pad
        ("LOW:LIM ON;PADS (@3);:SYST:CONF:RAIL (@3)", [-221]),
        ("LOW:LIM ON;PADS (@3);:SYST:CONF:FORB (@2:4)", [-221]),
        ("LOW:LIM ON;PADS (@3);LIM OFF", [-221]),
        ("LOW:LIM ON;PADS (@3);PADS NONE;LIM OFF", []),
        ("LOW:LIM ON;PADS (@33)", [-222]),
        ("LOW:TIME 9", [-222]), ("LOW:TIME 2.1 S", [-222]), ("LOW:LEAD 256", [-222]),
        ("LOW:TIME MAX;LEAD 33 OHM;LEAD DEF", []),
    ],
)  # fmt: skip
def test_low_pads_need_a_limiter_and_are_neither_rails_nor_forbidden(fresh_bench, message, errors):
    _, port = fresh_bench
    port.write("SYST:CONF:RAIL (@1);FORB (@7)")
    port.write("SYST:CONF:" + message)
    assert port.errors() == errors
    low = port.ask("SYST:CONF:LOW:PADS?")
    assert port.ask("SYST:CONF:RAIL?;FORB?") == "(@1);(@7)"
    assert low in ("NONE", "(@3)")
    assert low == "NONE" or port.ask("SYST:CONF:LOW:LIM?") == "1"


def test_without_low_pads_all_is_as_it_was(fresh_bench):
    """A fitted limiter alone forbids nothing."""
    emulator, port = fresh_bench
    port.write("SYST:CONF:LOW:LIM ON")
    port.write("ROUT:SER 1,2;HOLD 1;CLOS (@1!3:1!4,2!4:2!5);CLOS:KEEP")
    assert port.errors() == []
    assert emulator.state.closures == {(1, 3), (1, 4), (2, 4), (2, 5)}


def test_what_is_stored_of_it_survives_a_reset_and_holds_then(rig):
    emulator, port = rig
    port.write("OUTP OFF")
    emulator.wait_cycles(100 * CYCLES_PER_MS)
    port.write("SYST:CONF:LOW:PADS (@3,9);TIME 50;:SYST:CONF:SAVE;*OPC?")
    assert port.line() == "1"
    emulator.restart()
    assert port.errors() == [-500]
    assert port.ask("SYST:CONF:LOW:PADS?;LIM?;TIME?;LEAD?") == "(@3,9);1;50;32"
    port.write("ROUT:SER 1;CLOS (@1!3,2!9)")
    assert port.errors() == [-221]
