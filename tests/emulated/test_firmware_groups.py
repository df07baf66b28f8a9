"""What flows at worst through a pad of a group, worked out by the controller, against a nodal
solution of the same leads (numpy); series channels side by side."""

from __future__ import annotations

import random
from itertools import product

import numpy as np
import pytest
from emulator import CYCLES_PER_MS, Emulator, Port, configuration

BANK_OHM = [0, 6_800, 33_000, 150_000, 1_500, 15_000, 470_000, 2_200_000]
LEAD_OHM, SUPPLY_MV, LIMIT_UA = 1_500, 4_800, 2_000


def worst_ma(
    on_1: int,
    on_2: int,
    series_ohm: float | None,
    lead_ohm: float = LEAD_OHM,
    supply_mv: float = SUPPLY_MV,
) -> float:
    """Solve every way in which the pads can lie at the two ends of the supply; give the most."""
    worst = 0.0
    lead, between = 1 / lead_ohm, 0.0
    if series_ohm is not None:
        between = 1 / max(series_ohm, 1e-6)
    for ends in product((0.0, supply_mv), repeat=on_1 + on_2):
        bus_1, bus_2 = ends[:on_1], ends[on_1:]
        matrix = [[on_1 * lead + between, -between], [-between, on_2 * lead + between]]
        volts = np.linalg.lstsq(
            np.array(matrix), np.array([sum(bus_1) * lead, sum(bus_2) * lead]), rcond=None
        )[0]
        flows = [abs(mv - volts[0]) * lead for mv in bus_1] + [
            abs(mv - volts[1]) * lead for mv in bus_2
        ]
        worst = max(worst, *flows)
    return worst


@pytest.fixture(scope="module")
def rig():
    stored = configuration(lead_ohm=LEAD_OHM, supply_mv=SUPPLY_MV, pad_ua=LIMIT_UA,
                           bank_ohm=BANK_OHM)  # fmt: skip
    with Emulator(eeprom=stored) as emulator:
        port = Port(emulator)
        port.write("*CLS")
        yield emulator, port


GROUPS = [(m, n) for m in range(5) for n in range(5) if m + n]


@pytest.mark.parametrize("channel", range(9))
def test_a_group_is_closed_where_no_pad_can_carry_too_much_and_nowhere_else(rig, channel):
    _, port = rig
    decided = set()
    for on_1, on_2 in GROUPS:
        port.write(f"ROUT:OPEN:ALL;:ROUT:SER {channel}")
        pads = [f"1!{n + 1}" for n in range(on_1)] + [f"2!{n + 9}" for n in range(on_2)]
        port.write(f"ROUT:CLOS (@{','.join(pads)})")
        errors = port.errors()
        series = BANK_OHM[channel - 1] if channel else None
        ma = worst_ma(on_1, on_2, series)
        assert errors in ([], [113])
        if errors == []:
            assert ma <= LIMIT_UA / 1000 * 1.0001, (on_1, on_2)
        else:  # what is rounded down may refuse within 3 %
            assert ma > LIMIT_UA / 1000 * 0.97, (on_1, on_2)
        decided.add(bool(errors))
    port.write("ROUT:OPEN:ALL")
    assert decided == {False, True}


def test_one_against_seven_is_refused_where_each_pair_of_them_may_be(rig):
    emulator, port = rig
    port.write("ROUT:OPEN:ALL;:ROUT:SER 1;CLOS (@1!1,2!9)")
    assert port.errors() == []
    port.write("ROUT:CLOS (@2!10:2!15)")
    assert port.errors() == [113]
    assert emulator.state.closures == {(1, 1), (2, 9)}
    port.write("ROUT:OPEN:ALL;:TOUC:CONN (@1!1,2!9:2!15);SER 1;INIT")
    assert port.errors() == [113]


def test_a_pad_on_both_buses_is_a_wire_between_them(rig):
    _, port = rig
    port.write("ROUT:OPEN:ALL;:ROUT:CLOS (@1!1,2!1)")
    assert port.errors() == []
    port.write("ROUT:CLOS (@1!2)")  # 3 kohm between two pads
    assert port.errors() == []
    port.write("ROUT:CLOS (@2!3)")  # two beside each other
    assert port.errors() == [113]
    port.write("ROUT:OPEN:ALL")


def test_series_channels_side_by_side_count_as_what_they_are_together(rig):
    emulator, port = rig
    port.write("ROUT:SER 2,6")
    emulator.wait_for(lambda state: state.series == {2, 6}, 5)
    assert port.ask("ROUT:SER?") == "2,6"
    assert port.ask("ROUT:SER 0;SER?") == "0"
    for wrong in ("0,2", "2,0", "9", "1,9", ""):
        port.write(f"ROUT:SER {wrong}")
        assert len(port.errors()) == 1, wrong
    port.write("TOUC:CONN (@1!1,2!9);SER 3,4;KEYS NONE;TIM 0,1,5,20,5")
    port.touch()
    assert any(state.series == {3, 4} for state in emulator.events())
    assert port.errors() == []


def test_two_channels_that_may_join_rails_may_not_do_it_together():
    stored = configuration(rails=[1, 2], rail_series=[3, 4], bank_ohm=BANK_OHM)
    with Emulator(eeprom=stored) as emulator:
        port = Port(emulator)
        port.write("*CLS;:ROUT:SER 3;CLOS (@1!1,2!2)")
        assert port.errors() == []
        for message in ("ROUT:SER 3,4", "ROUT:OPEN:ALL;:ROUT:SER 3,4;CLOS (@1!1,2!2)",
                        "ROUT:OPEN:ALL;:TOUC:CONN (@1!1,2!2);SER 3,4;INIT"):  # fmt: skip
            port.write(message)
            assert port.errors() == [109], message


def test_random_limits_and_groups_agree_with_the_solver():
    rng = random.Random(5)
    for _ in range(4):
        lead, supply, limit = rng.randrange(500, 9_000), rng.randrange(1_500, 12_800), 2_000
        bank = [rng.randrange(0, 60) * 1_000 for _ in range(8)]
        stored = configuration(lead_ohm=lead, supply_mv=supply, pad_ua=limit, bank_ohm=bank)
        with Emulator(eeprom=stored) as emulator:
            port = Port(emulator)
            port.write("*CLS")
            for on_1, on_2 in rng.sample(GROUPS, 8):
                channel = rng.randrange(1, 9)
                pads = [f"1!{n + 1}" for n in range(on_1)] + [f"2!{n + 9}" for n in range(on_2)]
                port.write(f"ROUT:OPEN:ALL;:ROUT:SER {channel};CLOS (@{','.join(pads)})")
                refused = port.errors()
                ma = worst_ma(on_1, on_2, bank[channel - 1], lead, supply)
                assert (ma <= limit / 1000 * 1.0001) if not refused else ma > limit / 1000 * 0.95
                emulator.wait_cycles(5 * CYCLES_PER_MS)
