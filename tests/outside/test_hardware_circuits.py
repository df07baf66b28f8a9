"""The board's circuits in ngspice, an independent circuit simulator (Debian's package).

The decks are written from the netlist of the hardware guide, so that a part changed there
is simulated here; tolerances are taken at their worst corners.
"""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

from firmware.generate import heartbeat, held, limits
from firmware.generate.netlist import DRIVERS, Netlist, build
from firmware.generate.spice import MODELS, line, node, run

BOARD = build("reed")
OFF_WITHIN_MS = 20.0  # the protocol's promise after the last beat

README = (Path(__file__).parents[2] / "firmware" / "README.md").read_text("utf-8")
SHORTEST_HOLD_MS = 6.0  # what the emulator counts with


def with_values(**values) -> Netlist:
    """Give the board with other values of some parts."""
    return Netlist("reed", [replace(p, value=values.get(p.ref, p.value)) for p in BOARD])


def test_the_heartbeat_holds_over_gaps_of_6_ms_in_every_corner():
    held_ms = heartbeat.longest_gap_ms(BOARD)
    assert held_ms >= SHORTEST_HOLD_MS + 1.0
    least_ma = BOARD["U2"].rating["led_least_ma"]
    for corner in heartbeat.SHORTEST:
        assert heartbeat.least_lamp_ma(BOARD, corner, held_ms - 0.2) >= least_ma, corner
        assert heartbeat.least_lamp_ma(BOARD, corner, 2.0) >= least_ma, corner
    # said in the guide, from `python -m firmware.generate.heartbeat`
    said = re.search(r"holds over gaps of ([\d.]+) ms between", README)
    assert float(said[1]) == pytest.approx(held_ms, abs=0.15)


def test_silence_of_the_heartbeat_opens_the_switch():
    off_ms = heartbeat.off_ms(BOARD)
    assert 10 < off_ms <= OFF_WITHIN_MS - 1.0
    said = re.search(r"is open ([\d.]+) ms after", README)
    assert float(said[1]) == pytest.approx(off_ms, abs=0.15)


@pytest.mark.parametrize("ref, value", [("C8", 100e-9), ("R14", 68e3), ("R66", 10e3)])
def test_a_part_that_shortens_the_hold_is_noticed(ref, value):
    board, least_ma = with_values(**{ref: value}), BOARD["U2"].rating["led_least_ma"]
    assert any(heartbeat.least_lamp_ma(board, corner, SHORTEST_HOLD_MS) < least_ma
               for corner in heartbeat.SHORTEST)  # fmt: skip


def test_parts_that_lengthen_the_hold_are_noticed():
    for values in ({"C8": 270e-9}, {"R14": 150e3}, {"R11": 1e6}):
        hold_ms = heartbeat.silence_ms(with_values(**values), heartbeat.LONGEST[1], 0.1)
        assert hold_ms + heartbeat.RELAY_OFF_MS > OFF_WITHIN_MS, values


def test_the_hold_against_the_handbook():
    # handbook: charge shared between C7 and C8 at each edge, then V e^(-t/RC) to a third of the
    # supply; steps of the supply less R13's share and 0.3 V of the diode
    c7, c8 = BOARD["C7"].value * 1.1, BOARD["C8"].value * 1.05
    tau_ms = c8 * BOARD["R14"].value * 1.01 * 1000
    step_v = limits.LOGIC_MOST_V * 4.7 / (4.7 + 0.245) - 0.3
    shared = c7 / (c7 + c8)
    peak_v = shared * step_v / (1 - (1 - shared) * math.exp(-2.0 / tau_ms))
    least_v = limits.LOGIC_MOST_V * 9.9 / (9.9 + 20.2)
    found_ms = heartbeat.silence_ms(BOARD, heartbeat.Corner(1, 25, 0.0), 0.1)
    assert found_ms == pytest.approx(tau_ms * math.log(peak_v / least_v), rel=0.05)


STIFF_OHM = 0.3
"""Eight cells and their clips at their stiffest (common practice, no source)."""


def fuse(a: str, b: str, start_c: float) -> str:
    """Write F1 with its warmth: the node `warm` is its temperature.

    0.125 J/K and 136 K/W make 2.5 A trip it within 4 s and leave 0.77 W in it when tripped
    (data sheet of the RXEF050, memory); cold it has its least resistance.
    """
    ohm = f"({BOARD['F1'].rating['least_ohm']}*(1+exp(min((v(warm)-110)/2.5,20))))"
    return (
        f"BF1 {a} {b} I=v({a},{b})/{ohm}\n"
        f"BWARM 0 warm I=v({a},{b})*v({a},{b})/{ohm}\nCWARM warm 0 0.125 IC={start_c}\n"
        f"RWARM warm air 136\nVAIR air 0 {start_c}"
    )


def test_the_simulated_fuse_trips_when_its_data_sheet_says():
    deck = ["fuse", "I1 0 f 2.5", fuse("f", "0", 20), ".tran 5m 6 UIC",
            ".meas tran t WHEN v(f)=5", ".end"]  # fmt: skip
    assert 2.5 < run(deck)["t"] <= 4.5


def reversed_cells(board, volts=limits.TOY_V, ohm=STIFF_OHM, air_c=0.0) -> dict[str, float]:
    """Simulate reversed clips with the supply switch on, from cold for a minute."""
    deck = ["reversed cells", MODELS, f"VCELLS 0 inside {volts}\nRCELLS inside cellp {ohm}",
            fuse("cellp", "fused", air_c), "RF2 fused guarded 5m",
            *[line(board[ref]) for ref in ("D2",) if ref in board.parts],
            f"RU2 guarded rail {board['U2'].rating['on_ohm']}",
            *[line(board[ref]) for ref in ("R20", "R21")],
            "BSQUARE 0 let I=i(VCELLS)*i(VCELLS)\nCLET let 0 1 IC=0\nRLET let 0 1e9",
            f".temp {air_c}", ".tran 2m 60 UIC", ".meas tran worst MIN v(rail)",
            ".meas tran last FIND v(rail) AT=59.9", ".meas tran amps FIND i(VCELLS) AT=59.9",
            ".meas tran let FIND v(let) AT=5", ".end"]  # fmt: skip
    return run(deck)


def test_reversed_cells_trip_the_fuse_and_spare_the_toy():
    said = reversed_cells(BOARD)
    assert said["worst"] > -0.65, said  # a silicon junction takes no harm from it
    assert -0.45 < said["last"] < 0, said
    # tripped for ever: what the fuse keeps itself warm with
    assert -said["amps"] * (limits.TOY_V + said["last"]) == pytest.approx(0.92, rel=0.1), said
    assert said["let"] < BOARD["F1"].rating["let_a2s"], said


@pytest.mark.parametrize("volts, ohm", [(1.8, 1.0), (4.8, 0.3), (9.6, 2.0)])
def test_other_cells_reversed_spare_the_toy_as_well(volts, ohm):
    said = reversed_cells(BOARD, volts, ohm)
    assert -0.65 < said["worst"] < 0, said
    assert -said["amps"] < BOARD["D2"].rating["amp"] * limits.OTHER_SHARE, said


def test_a_board_without_the_diode_would_be_noticed():
    assert reversed_cells(BOARD.without("D2"))["last"] < -12


WIRE_PF = 60
"""Half a metre of wire and the pin at its end (common practice, no source)."""


def fed_ma(board, ref: str) -> float:
    """Current from a line that idles high into what has no supply, its protection diode first."""
    ends = [node(net) for net in board[ref].pins.values()]
    if "TXD" not in board[ref].pins.values():
        ends.reverse()
    deck = ["fed", MODELS, f"VLINE {ends[0]} 0 {limits.LOGIC_MOST_V}", line(board[ref]),
            f"DCLAMP {ends[1]} dead SILICON\nVDEAD dead 0 0", ".control", "op",
            "print i(VDEAD)", ".endc", ".end"]  # fmt: skip
    return run(deck)["i(vdead)"] * 1000


@pytest.mark.parametrize("ref", ["R9", "R10"])
def test_neither_end_of_the_serial_line_feeds_the_other(ref):
    # a coil needs 7.5 mA, the supply switch's lamp 5 mA, a chip's clamp stands 20 mA (memory)
    assert fed_ma(BOARD, ref) < 1.2
    parts = [replace(p, value=10.0) if p.ref == ref else p for p in BOARD]
    assert fed_ma(Netlist("reed", parts), ref) > 20


@pytest.mark.parametrize("ref, far, pulled", [("R9", "RXD", "R24"), ("R10", "TO_HOST", "R25")])
def test_the_serial_lines_edges_fit_their_bits(ref, far, pulled):
    bit_us, least_v = 1e6 / 250_000, limits.LOGIC_LEAST_V
    near = ({*BOARD[ref].pins.values()} - {far}).pop()
    deck = ["edges", f"VIN {node(near)} 0 PULSE(0.4 {least_v} 2u 20n 20n {bit_us}u 1)",
            f"VCC p5v 0 {least_v}",
            line(BOARD[ref]), line(BOARD[pulled]), f"CFAR {node(far)} 0 {WIRE_PF}p",
            ".tran 10n 12u", f".meas tran low FIND v({node(far)}) AT=1.9u",
            f".meas tran rise WHEN v({node(far)})={0.6 * least_v} RISE=1",
            f".meas tran fall WHEN v({node(far)})={0.3 * least_v} FALL=1", ".end"]  # fmt: skip
    said = run(deck)
    # logic levels 0.3 and 0.6 of the supply (ATmega328P data sheet, memory)
    assert said["low"] < 0.3 * least_v - 0.5, said
    for edge, at_us in (("rise", 2), ("fall", 2 + bit_us)):
        assert 0 < said[edge] * 1e6 - at_us < bit_us / 8, said


def clock_high_ns(board) -> float:
    """How long the shift clock is high at the registers, of the 125 ns that the firmware makes."""
    # sbi and cbi, two cycles of 16 MHz each; 30 ohm of pin; 19 registers of a board of 64 pads
    # and a metre of wire; a power register needs 0.85 of the supply (data sheets, memory)
    deck = ["shift clock", f"VPIN pin 0 PULSE(0 {limits.LOGIC_LEAST_V} 1u 5n 5n 120n 1)",
            "RPIN pin chain_clock 30", line(board["R28"]), "CFAR shift 0 300p", ".tran 0.5n 2u",
            *[f".meas tran {edge} WHEN v(shift)={0.85 * limits.LOGIC_LEAST_V} {edge}=1"
              for edge in ("rise", "fall")], ".end"]  # fmt: skip
    said = run(deck)
    return (said["fall"] - said["rise"]) * 1e9


def test_the_shift_clock_reaches_the_registers():
    assert clock_high_ns(BOARD) >= 2 * 40  # 40 ns (TPIC6B595 data sheet, memory), twice
    parts = [replace(p, value=150.0) if p.ref == "R28" else p for p in BOARD]
    assert clock_high_ns(Netlist("reed", parts)) < 40


@pytest.mark.parametrize("driver", DRIVERS)
def test_levels_during_reset_against_ngspice(driver):
    # handbook: superposition; the leak is a current put in at one net at a time
    board = build(driver)
    deck = ["floating pins", "Vp5v p5v 0 5", "Vp12v p12v 0 12", "Vp15v p15v 0 15"]
    deck += [line(p) for p in board.kinds("resistor")]
    deck += [line(p) for p in board.kinds("transformer")]
    deck += [f"RLEAK{i} {node(net)} 0 1e11" for i, net in enumerate(sorted(board.nets))
             if net not in ("GND", "+5V", "+12V", "+15V")]  # fmt: skip
    levels = {level.net: level for level in held.levels(board)}
    deck += [f"I{i} 0 {node(net)} {held.LEAK_A}" for i, net in enumerate(levels)]
    deck += [".options gmin=1e-15", ".control", "op"]
    deck += [f"print v({node(net)})" for net in levels] + [".endc", ".end"]
    said = run(deck)
    for net, level in levels.items():
        # the held nets don't share a resistor, so the leaks don't add up
        assert said[f"v({node(net)})"] == pytest.approx(
            level.volts + level.ohm * held.LEAK_A, abs=1e-4), net  # fmt: skip


def test_the_marker_stays_above_the_hosts_threshold():
    from rig.bench.base import MARKER_PULSE_MS
    from rig.bench.marker import MARKER_LEVEL

    # Line inputs: full scale from 1.0 V (common practice) to 2.83 V (2 V r.m.s., the loudest
    # consumer level), 10 kohm. The first 80 % of half a pulse must be above the host's level.
    least_v = limits.LOGIC_LEAST_V
    deck = ["marker", f"VPIN marker 0 PULSE(0 {least_v} 1m 1u 1u {MARKER_PULSE_MS}m 1)",
            *[line(BOARD[ref]) for ref in ("R3", "C63", "R64", "R65", "T2")],
            "RLINE right line_gnd 10k", "RGND line_gnd 0 1", "EOUT line 0 right line_gnd 1"]
    until = 1 + 0.8 * MARKER_PULSE_MS / 2
    deck += [".tran 5u 20m", ".meas tran top MAX v(line)",
             f".meas tran late FIND v(line) AT={until}m", ".end"]  # fmt: skip
    said = run(deck)
    assert said["late"] >= 2.83 * MARKER_LEVEL, said
    # a 1.0 V input isn't clipped
    assert said["top"] * limits.LOGIC_MOST_V / least_v <= 0.9, said


def test_the_rail_bleeds_below_0_2_v():
    # handbook: V e^(-t/RC); 1,000 uF at 12.8 V, the bleed's transistor included
    bleed = BOARD["R22"].value
    deck = ["bleed", f"CT rail 0 1000u IC={limits.TOY_V}", f"VG bleed 0 {limits.LOGIC_LEAST_V}",
            line(BOARD["R22"]),
            line(BOARD["Q3"], threshold_v=1.5), line(BOARD["R20"]), line(BOARD["R21"]),
            ".tran 1m 3 UIC", ".meas tran t WHEN v(rail)=0.2 FALL=1", ".end"]  # fmt: skip
    said = run(deck)
    assert said["t"] == pytest.approx(bleed * 1e-3 * math.log(limits.TOY_V / 0.2), rel=0.05)


def test_an_overcurrent_reaches_the_converter_within_a_third_of_a_millisecond():
    # The amplifier: open-loop gain 1e5 and one pole that gives 10 MHz of gain-bandwidth
    # (MCP6024 data sheet, memory).
    gain = 1 + BOARD["R18"].value / BOARD["R17"].value
    deck = ["step", "ISTEP 0 toym PULSE(0 0.6 1m 1u 1u 10m 1)",
            *[line(BOARD[ref]) for ref in ("R15", "R16", "C9", "R17", "R18", "R19", "C10")],
            "EAMP pole0 0 shunt gain_50 1e5\nRPOLE pole0 pole 1k\nCPOLE pole 0 1.59u",
            "EOUT amperes 0 pole 0 1", ".tran 1u 5m",
            f".meas tran t WHEN v(current_sense)={0.3 * 0.22 * gain!r} RISE=1",
            ".meas tran last FIND v(current_sense) AT=4m", ".end"]  # fmt: skip
    said = run(deck)
    assert said["last"] == pytest.approx(0.6 * 0.22 * gain, rel=0.01)
    # half of a step: 0.7 of the shunt's time constant, and the amplifier's
    assert (said["t"] - 1e-3) * 1000 < 0.33


def test_the_sound_path_is_a_tenth_and_flat_where_toys_sound():
    deck = ["sound", "VS speaker_1 speaker_2 DC 0 AC 1", "RREF speaker_2 0 1meg",
            *[line(BOARD[ref]) for ref in ("C61", "R62", "R63", "C62", "T1")],
            "RLINE left line_gnd 10k", "RISO line_gnd 0 1meg", "EOUT line 0 left line_gnd 1",
            ".control", "ac dec 40 20 50k"]  # fmt: skip
    names = {"a100": 100, "a1k": 1000, "a8k": 8000, "a40k": 40000}
    deck += [f"meas ac {name} FIND vdb(line) AT={hz}" for name, hz in names.items()]
    said = run([*deck, ".endc", ".end"])
    db = {name: said[name] for name in names}
    assert db["a1k"] == pytest.approx(-21.0, abs=1.0)
    assert abs(db["a100"] - db["a1k"]) < 3 and abs(db["a8k"] - db["a1k"]) < 3
    assert db["a40k"] < db["a1k"] - 3
