"""The hardware guide: drawings, tables and text agree with one netlist, board.h and commands."""

import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from firmware.generate import guide, held, limits, measures, sheets
from firmware.generate.drawing import Sheet
from firmware.generate.legs import leg
from firmware.generate.netlist import (
    CHIP_TYPES,
    CONTROLLER_NETS,
    DRIVERS,
    SERIES_OHM,
    Netlist,
    build,
    resistor,
)  # fmt: skip
from rig.project.electrical import highest_v, refusals

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware"
README = (FIRMWARE / "README.md").read_text("utf-8")
BOARDS = {driver: build(driver) for driver in DRIVERS}
PINS = guide.board_pins((FIRMWARE / "board.h").read_text("utf-8"))


# -- what is generated is what is in the repository ------------------------------------------


@pytest.mark.parametrize("name", sheets.SHEETS)
def test_a_drawing_is_what_the_netlist_gives(name):
    drawn = (FIRMWARE / "drawings" / f"{name}.svg").read_bytes()
    assert drawn == sheets.SHEETS[name]().encode(), "run python -m firmware.generate.guide"


@pytest.mark.parametrize("name", sheets.SHEETS)
def test_a_drawing_says_every_part_and_its_value(name):
    svg = (FIRMWARE / "drawings" / f"{name}.svg").read_text("utf-8")
    words = set(re.findall(r">([^<>]+)</tspan>", svg))
    written = " ".join(words)
    board = BOARDS.get(name, BOARDS["reed"])
    alike = sheets.alike(board, 3) if name == "reed" else set()
    for part in board:
        if part.sheet != name or part.ref in alike or part.ref.startswith("RL"):
            continue
        # a quad amplifier shows as U3.1, U3.2 ...
        assert re.search(rf"\b{part.ref}\b", written), part.ref
        if part.kind in ("resistor", "capacitor"):
            beside = {f"{part.ref}  {part.label}", part.label}
            assert any(re.sub(r"\s+", " ", word) in {re.sub(r"\s+", " ", b) for b in beside}
                       for word in words), part.ref  # fmt: skip


def _boxes(svg: str) -> dict[str, tuple[float, float, float, float]]:
    """Give each label with about the box that its letters fill: left, top, right, bottom."""
    found = {}
    texts = re.findall(
        r'<text x="([-\d.]+)" y="([-\d.]+)".*?font-size="(\d+)".*?text-anchor="(\w+)">\n'
        r'<tspan x="[-\d.]+" dy="([\d.]+)">([^<]+)</tspan>', svg)  # fmt: skip
    for x, y, size, anchor, down, text in texts:
        # DejaVu Sans: capitals and figures are about 0.66 of the size wide, others less
        text = re.sub(r"\s+", " ", text)
        wide = sum(0.32 if c == " " else 0.66 if c.isupper() or c.isdigit() else 0.55
                   for c in text) * float(size)  # fmt: skip
        left = float(x) - wide * {"start": 0, "middle": 0.5, "end": 1}[anchor]
        base = float(y) + float(down)
        found[f"{text} at {x},{y}"] = (left, base - 0.73 * float(size), left + wide, base)
    return found


def _segments(svg: str):
    for path in re.findall(r'<path d="([^"]+)"', svg):
        for stroke in path.split("M"):
            points = re.findall(r"([-\d.]+),([-\d.]+)", stroke)
            yield from itertools.pairwise(tuple(map(float, point)) for point in points)


def _strikes(segment, box) -> bool:
    """Say whether a line runs through a box, at any of many points along it."""
    (x1, y1), (x2, y2) = segment
    left, top, right, bottom = box
    steps = int(max(abs(x2 - x1), abs(y2 - y1))) + 1
    along = (i / steps for i in range(steps + 1))
    return any(left < x1 + (x2 - x1) * part < right and top < y1 + (y2 - y1) * part < bottom
               for part in along)  # fmt: skip


def unreadable(svg: str) -> list[str]:
    """Give labels that a line strikes through, that overlap, or that the edge cuts."""
    boxes = _boxes(svg)
    segments = list(_segments(svg))
    left, top, width, height = (float(v) for v in re.search(r'viewBox="([^"]+)"', svg)[1].split())
    bad = [f"{name}: struck" for name, box in boxes.items()
           if any(_strikes(segment, box) for segment in segments)]  # fmt: skip
    bad += [f"{a} and {b}" for (a, one), (b, other) in itertools.combinations(boxes.items(), 2)
            if one[0] < other[2] and other[0] < one[2]
            and one[1] < other[3] and other[1] < one[3]]  # fmt: skip
    bad += [f"{name}: cut" for name, (x1, y1, x2, y2) in boxes.items()
            if x1 < left or y1 < top or x2 > left + width or y2 > top + height]  # fmt: skip
    return bad


@pytest.mark.parametrize("name", sheets.SHEETS)
def test_a_drawings_labels_can_be_read(name):
    svg = (FIRMWARE / "drawings" / f"{name}.svg").read_text("utf-8")
    assert len(_boxes(svg)) == len(re.findall("<tspan", svg)) > 20
    assert unreadable(svg) == []


def test_a_struck_an_overlapping_and_a_cut_label_are_noticed():
    sheet = Sheet(BOARDS["reed"], "supply")
    sheet.text((0, 0), "struck")
    sheet.line((-2, 0.01), (2, 0.01))
    sheet.text((4, 0), "one on")
    sheet.text((4.5, 0.05), "another")
    drawn = sheet.drawing.get_imagedata("svg").decode().replace("><", ">\n<")
    cut = re.sub(r'viewBox="[^"]+"', 'viewBox="-100 -50 140 100"', drawn)
    assert [len([w for w in unreadable(cut) if kind in w])
            for kind in ("struck", "and", "cut")] == [1, 1, 2]  # fmt: skip


def test_the_tables_are_what_netlist_and_board_give():
    assert guide.filled(README) == README, "run python -m firmware.generate.guide"


def test_a_changed_value_changes_drawing_and_parts_list(monkeypatch):
    board = BOARDS["reed"]
    other = Netlist("reed", [replace(p, value=330.0) if p.ref == "R22" else p for p in board])
    for module in (sheets, guide):
        monkeypatch.setattr(module, "build", lambda *_: other)
    assert sheets.supply().encode() != (FIRMWARE / "drawings" / "supply.svg").read_bytes()
    assert guide.parts_shared() not in README


def test_a_drawing_refuses_a_wire_that_the_netlist_has_not():
    sheet = Sheet(BOARDS["reed"], "supply")
    sheet.two("R20", (0, 0))
    sheet.two("R22", (4, 0))
    sheet.wire(("R20", "1"), ("R22", "1"))  # both on the rail
    with pytest.raises(ValueError, match="no wire"):
        sheet.wire(("R20", "2"), ("R22", "2"))


def test_a_drawing_refuses_two_nets_at_one_point():
    sheet = Sheet(BOARDS["reed"], "supply")
    sheet.two("R20", (0, 0))
    with pytest.raises(ValueError, match="drawn onto"):
        sheet.two("R15", (0, 0))


def test_a_drawing_without_one_of_its_parts_is_not_finished():
    with pytest.raises(ValueError, match="F1 pin 1 isn't drawn"):
        Sheet(BOARDS["reed"].without("J3"), "supply").finish()


# -- the netlist and board.h -----------------------------------------------------------------


def test_the_netlist_has_the_pins_that_board_h_has():
    used = {pin: net for pin, net in CONTROLLER_NETS.items() if re.fullmatch(r"P[BCD]\d", pin)}
    programmer = {"PB4": "MISO", "PB5": "SCK"}
    named = {pin: name for name, pin, *_ in PINS}
    assert set(used) == set(named) | set(programmer)
    for pin, name in named.items():
        assert used[pin] in (name, f"{name}_SENSE"), pin


def _resistors_on(net) -> set[tuple[float, str]]:
    """Give each resistor on a net: its ohms and its other end."""
    return {(part.value, ({*part.pins.values()} - {net}).pop())
            for part, _ in BOARDS["reed"].on(net) if part.kind == "resistor"}  # fmt: skip


@pytest.mark.parametrize("name, pin, way, holds, use", PINS)
def test_what_board_h_says_holds_a_pin_is_fitted(name, pin, way, holds, use):
    fitted = _resistors_on(CONTROLLER_NETS[pin])
    for ohm, beyond in list(fitted):
        if ohm < 100:  # a line's series resistor: what is behind it holds the pin
            fitted |= _resistors_on(beyond)
    said = re.fullmatch(r"(\d+) kohm to (ground|\+5 V)", holds)
    if said:
        rail = {"ground": "GND", "+5 V": "+5V"}[said[2]]
        assert (float(said[1]) * 1000, rail) in fitted
    else:
        assert not {rail for _, rail in fitted} & {"GND", "+5V"} or holds.startswith(
            ("divider", "shunt reference")
        )


def test_no_pin_hangs_alone():
    for driver, board in BOARDS.items():
        for net in board.nets:
            if not re.fullmatch(r"TOY\d+", net):
                assert len(board.on(net)) > 1, (driver, net)


@pytest.mark.parametrize("driver", DRIVERS)
def test_the_chain_goes_through_every_register_and_back(driver):
    board, seen = BOARDS[driver], []
    assert board["R27"].pins["1"] == "CHAIN_DATA"
    net = board["R27"].pins["2"]
    while net != "CHAIN_READ":
        (register,) = [part for part, pin in board.on(net) if pin == "SER"]
        seen.append(register.ref)
        assert register.pins["G"] == "ENABLE_NOT"
        net = register.pins["SEROUT"]
    assert seen[:3] == ["U4", "U5", "U6"]
    assert len(seen) == {"reed": 9, "crosspoint": 5, "multiplexer": 5}[driver]
    assert set(seen) == {part.ref for part in board if part.kind.endswith("register")}


def test_every_chip_has_its_capacitor():
    for driver, board in BOARDS.items():
        chips = [part for part in board.kinds(*CHIP_TYPES)
                 if {"VCC", "VDD"} & set(part.pins) and part.ref != "U1"]  # fmt: skip
        assert len(chips) > 5, driver
        for part in chips:
            assert board[f"C{part.ref}"].value == 100e-9


def test_each_supply_leg_of_the_controller_has_its_capacitor():
    board = BOARDS["reed"]
    core = sheets.core()
    for ref, number in (("C3", 7), ("C6", 20), ("C4", 21)):
        assert board[ref].value == 100e-9
        assert re.search(rf"at \w+, leg {number}<", core)


@pytest.mark.parametrize("pads", [8, 16, 32, 64])
@pytest.mark.parametrize("driver", DRIVERS)
def test_boards_of_other_sizes_hold_and_stand(driver, pads):
    board = build(driver, pads)
    assert held.loose(board) == []
    assert [s for s in limits.stresses(board) if not s.holds] == []
    for pad in range(1, pads + 1):
        for bus in (1, 2):
            assert _reaches(board, f"PAD{pad}", f"BUS{bus}"), (pad, bus)


def _reaches(board, pad, bus) -> bool:
    """Say whether one switch lies between a pad and a bus."""
    on_bus = {part.ref for part, _ in board.on(bus)}
    return any(part.ref in on_bus for part, _ in board.on(pad))


def test_the_examples_bank_is_the_one_that_is_drawn():
    rig = yaml.safe_load((ROOT / "configs" / "hardware" / "rig.yaml").read_text("utf-8"))
    assert tuple(rig["series_ohm"]) == SERIES_OHM[: len(rig["series_ohm"])]
    assert rig["lead_ohm"] == BOARDS["reed"]["RL1"].value


# -- held while every pin floats -------------------------------------------------------------


@pytest.mark.parametrize("driver", DRIVERS)
def test_the_board_is_held_while_the_controllers_pins_float(driver):
    levels = {level.net: level for level in held.levels(BOARDS[driver])}
    assert levels["ENABLE_NOT"].volts == pytest.approx(5.0, abs=0.01)
    for net in ("SUPPLY", "HOLD", "BEATS", "BLEED", "RESET_LINE", "STROBE", "MARKER"):
        assert levels[net].volts == pytest.approx(0.0, abs=0.01), net
    assert held.loose(BOARDS[driver]) == []


HOLDERS = {"R1": "RESET_NOT", "R2": "SUPPLY", "R3": "MARKER", "R4": "ENABLE_NOT",
           "R5": "CHAIN_READ", "R6": "BLEED", "R7": "STROBE", "R8": "RESET_LINE",
           "R14": "HOLD", "R60": "BEATS", "R24": "RXD", "R25": "TXD"}  # fmt: skip


@pytest.mark.parametrize("driver", DRIVERS)
@pytest.mark.parametrize("ref", HOLDERS)
def test_a_holding_resistor_left_out_is_noticed(driver, ref):
    assert held.loose(BOARDS[driver].without(ref)) == [HOLDERS[ref]]


@pytest.mark.parametrize(
    "driver, ref",
    [(d, p.ref) for d in ("crosspoint", "multiplexer") for p in BOARDS[d].kinds("resistor")
     if p.sheet == d and not p.ref.startswith("RL")],
)  # fmt: skip
def test_a_drivers_holding_resistor_left_out_is_noticed(driver, ref):
    lines = set(BOARDS[driver][ref].pins.values()) - {"GND", "+5V"}
    assert set(held.loose(BOARDS[driver].without(ref))) == lines


def test_a_holding_resistor_to_the_wrong_rail_is_noticed():
    parts = [p for p in BOARDS["reed"] if p.ref != "R2"]
    wrong = Netlist("reed", [*parts, resistor("R2", 10e3, "SUPPLY", "+5V")])
    assert held.loose(wrong) == ["SUPPLY"]


def test_the_supply_switch_needs_both_transistors():
    board = BOARDS["reed"]
    assert board["Q2"].pins["S"] == board["Q1"].pins["D"]
    assert board["Q2"].pins["G"] == board["U3"].pins["4out"]
    assert board["U3"].pins["4+"] == board["C8"].pins["+"]
    assert board["Q2"].pins["D"] == board["U2"].pins["K"]
    assert {part.ref for part, _ in board.on("LED_MID")} == {"Q1", "Q2"}


def test_every_leg_of_a_chip_is_used_once():
    for driver, board in BOARDS.items():
        for part in board:
            numbers = [n for pin in part.pins for n in leg(part, pin).split(",") if n]
            assert len(numbers) == len(set(numbers)), part.ref
            if part.kind in CHIP_TYPES and part.kind != "converter":
                assert len(numbers) >= len(part.pins), (driver, part.ref)


def test_the_dummy_load_is_in_place_of_the_loudspeaker_and_never_beside_it():
    board = BOARDS["reed"]
    # one jumper joins SPEAKER_1 to one of the two; R61 has no other way to it
    assert {part.ref for part, _ in board.on("DUMMY")} == {"JP1", "R61"}
    assert {part.ref for part, _ in board.on("LOUDSPEAKER")} == {"JP1", "J7"}
    assert "8.2 Ω" in README and "4.1 Ω" in README


def test_fuse_and_cut_off_come_before_all_else_and_off_the_board():
    board = BOARDS["reed"]
    assert {part.ref for part, _ in board.on("CELL+")} == {"J3", "F1"}
    assert {part.ref for part, _ in board.on("FUSED")} == {"F1", "F2"}
    assert board["F2"].pins["2"] == board["J9"].pins["lead+"] == board["J9"].pins["+"]
    assert "within 5 cm" in README and "within 5 cm" in sheets.supply()


# -- ratings, budget -------------------------------------------------------------------------


@pytest.mark.parametrize("driver", DRIVERS)
def test_every_part_is_rated_above_what_it_gets(driver):
    stresses = list(limits.stresses(BOARDS[driver]))
    assert [s for s in stresses if not s.holds] == []
    rated = {s.ref for s in stresses}
    for part in BOARDS[driver]:
        if part.kind not in ("connector", "crystal", "controller", "amplifier", "register",
                             "converter"):  # fmt: skip
            assert part.ref in rated, part.ref


@pytest.mark.parametrize(
    "ref, change",
    [("R22", {"watt": 0.6, "volt": 200}), ("R15", {"watt": 0.25, "volt": 200}),
     ("C71", {"volt": 25}), ("U2", {"pulse_a": 6.0}), ("K24", {"coil_least_v": 4.2}),
     ("U7", {"least_ma": 2.0}), ("D2", {"amp": 1.0}), ("D2", {"surge_a2s": 45.0}),
     ("F1", {"fault_a": 30.0})],
)  # fmt: skip
def test_a_part_rated_too_low_is_noticed(ref, change):
    board = BOARDS["crosspoint"]
    parts = [replace(p, rating=p.rating | change) if p.ref == ref else p for p in board]
    bad = {s.ref for s in limits.stresses(Netlist("crosspoint", parts)) if not s.holds}
    assert bad == {ref}


def test_relays_without_a_shield_are_not_enough():
    parts = [replace(p, text=p.text.replace("magnetically shielded, ", "")) for p in BOARDS["reed"]]
    bad = [s for s in limits.stresses(Netlist("reed", parts)) if not s.holds]
    assert {s.quantity for s in bad} == {"coil_least_v"}
    assert {s.ref for s in bad} == {p.ref for p in BOARDS["reed"].kinds("relay")}
    # by hand: 3.75 V, 8 % warm, 20 % for the neighbours; 4.54 V less two coils' drop
    assert bad[0].worst == pytest.approx(3.75 * 1.08 * 1.2)
    assert min(s.rating for s in bad) == pytest.approx(4.54 * 250 / 259.5)


def test_power_against_the_handbook():
    # handbook: P = V^2 / R and I^2 R, by hand with the tolerance's lower end
    found = {(s.ref, s.quantity): s.worst for s in limits.stresses(BOARDS["reed"])}
    assert found["R22", "watt"] == pytest.approx(12.8**2 / (220 * 0.95), rel=1e-6)
    assert found["R15", "watt"] == pytest.approx(1.0**2 * 0.22, rel=0.02)
    assert found["R61", "watt"] == pytest.approx(12.8 * 0.45, rel=1e-6)
    assert found["R63", "watt"] < 12.8**2 / 6220 * 0.11


@pytest.mark.parametrize("driver", DRIVERS)
def test_the_board_needs_less_than_isolator_and_usb_give(driver):
    need = sum(line.milliamp for line in limits.budget(BOARDS[driver]))
    assert 100 < need < limits.ISOLATOR_MA * limits.BUDGET_SHARE < limits.USB_MA
    # all eight series channels at once don't take more than the isolator gives either
    most = sum(line.milliamp for line in limits.budget(BOARDS[driver], series=8))
    assert most < limits.ISOLATOR_MA


def test_64_pads_of_crosspoints_need_more_than_the_isolator_gives():
    need = sum(line.milliamp for line in limits.budget(build("crosspoint", 64)))
    assert limits.ISOLATOR_MA < need < limits.USB_MA
    assert "64 pads" in README.split("## Current budget")[1].split("## Parts")[0]


def test_the_budget_counts_every_coil_that_may_be_closed():
    # 8 pads, 3 series, 8 keys, 2 holds, 1 sense: 22 coils of 500 ohm, 10 % low, at 5.25 V
    coils = sum(line.milliamp for line in limits.budget(BOARDS["reed"]) if "coil" in line.what)
    assert coils == pytest.approx(22 * 5.25 / 450 * 1000)


# -- leads and drivers agree with what the host refuses --------------------------------------


@pytest.mark.parametrize("name, toy", guide.lead_cases())
def test_the_lead_table_is_what_the_host_takes(name, toy):
    toy = toy.model_copy(update={"contains": []})
    fitted = guide.fitted_lead_ohm(toy, guide.example_rig(0.0))

    def refused(ohm):
        rig = guide.example_rig(ohm).model_copy(
            update={"switch": "reed", "accept_higher_current": False}
        )
        return [place for _, place, _ in refusals(toy, rig) if place == ("lead_ohm",)]

    assert not refused(fitted)
    smaller = max(v * 10.0**d for d in range(2, 6) for v in guide.E12 if v * 10.0**d < fitted * 0.99)
    assert refused(smaller)
    assert f"| {guide.engineering(fitted, 'Ω')} |" in README


@pytest.mark.parametrize("driver", ["crosspoint", "multiplexer"])
def test_the_host_refuses_what_a_driver_does_not_pass(driver):
    sure, most = measures.passes_v(driver)
    for _, toy in guide.lead_cases():
        toy = toy.model_copy(update={"contains": []})
        rig = guide.example_rig(1e4).model_copy(
            update={"switch": driver, "accept_higher_current": False}
        )
        for rail_v in (sure, most):
            rig = rig.model_copy(update={"switch_rail_v": rail_v})
            refused = any(place == ("switch",) for _, place, _ in refusals(toy, rig))
            assert refused == (highest_v(toy) > rail_v + 1e-9)


# -- what is measured ------------------------------------------------------------------------


def told(file, name, pattern=r"#define {} (.*?)(?: */\*.*)?$"):
    """Give what a constant of the firmware is said to be."""
    text = (FIRMWARE / file).read_text("utf-8")
    found = re.search(pattern.format(name), text, re.MULTILINE)
    assert found, f"{file} has no {name}"
    return found[1]


def test_the_guide_counts_with_the_firmware_s_own_figures():
    assert told("board.h", "ADC_REFERENCE_MV") == f"{measures.REFERENCE_V * 1000:.0f}UL"
    assert told("board.h", "REFERENCE_MV") == f"{BOARDS['reed']['U7'].rating['volts'] * 1000:.0f}UL"
    assert told("current.c", "MV_PER_MA") == f"{measures.SHUNT_MV_PER_MA:.0f}UL"
    toy = "commands_toy.c"
    assert told(toy, "SOURCE_OHM") == f"{measures.CONTINUITY_OHM:.0f}UL"
    source_mv, gain = round(measures.CONTINUITY_V * 1000), round(measures.CONTINUITY_GAIN)
    assert told(toy, "SOURCE_MV") == f"({source_mv}UL * {gain})"
    assert told(toy, "OPEN_SUM") == f"(SOURCE_SUM * {round(100 * measures.OPEN_FROM)} / 100)"
    peak = told("configuration.c", "peak_ma", r"\.{} = (\w+)")
    peak = peak if peak.isdigit() else told("configuration.h", peak)
    assert peak == str(guide.PEAK_DEFAULT_MA)
    # the sense line's filter has settled, and the beats are those that are simulated
    upper, lower = (BOARDS["reed"][ref].value for ref in ("R51", "R52"))
    filter_s = upper * lower / (upper + lower) * BOARDS["reed"]["C51"].value
    assert int(told(toy, "SENSE_SETTLE_US")) >= 5e6 * filter_s
    assert told("clock.c", "TICK_US") == "1000"
    assert told("board.h", "RELAYS_LEAST_MV") == f"{measures.LEAST_SUPPLY_V * 1000:.0f}"
    # how long a hung loop goes on beating, and after the last beat nothing holds any more
    permit_ms = told("supply.c", "PERMIT_MS")
    assert f"expires after {permit_ms} ms" in README and re.search(rf"{permit_ms} \+ 20 ms", README)
    assert int(told("supply.c", "SILENT_US")) > 20_000


def test_the_scales_the_firmware_counts_with_are_the_boards():
    board, text = BOARDS["reed"], (FIRMWARE / "board.h").read_text("utf-8")
    divider = int(re.search(r"#define RAIL_DIVIDER (\d+)UL", text)[1])
    assert measures.ratio(board, "R20", "R21") == measures.ratio(board, "R51", "R52") == divider
    assert measures.current_mv_per_ma(board) == pytest.approx(measures.SHUNT_MV_PER_MA, rel=3e-3)
    source_v, inner_ohm = measures.continuity_source(board)
    assert source_v < 0.2
    assert source_v == pytest.approx(measures.CONTINUITY_V, rel=0.01)
    assert inner_ohm == pytest.approx(measures.CONTINUITY_OHM, rel=0.02)
    assert measures.gain(board, "R58", "R57") == pytest.approx(measures.CONTINUITY_GAIN, rel=5e-3)
    assert measures.current_full_scale_ma(board) >= limits.PEAK_LIMIT_A * 1000
    # an open circuit stays below the amplifier's end
    assert 1.1 * source_v * measures.gain(board, "R58", "R57") < limits.LOGIC_LEAST_V


def test_amplifier_inputs_stay_within_their_supply():
    board = BOARDS["reed"]
    highest = limits.TOY_V / measures.ratio(board, "R51", "R52")
    assert highest < limits.LOGIC_LEAST_V
    assert limits.TOY_V / measures.ratio(board, "R20", "R21") < limits.LOGIC_LEAST_V


@pytest.mark.parametrize("driver", DRIVERS)
def test_the_plugs_ranges_tell_every_pair_apart(driver):
    rows = measures.plug_readings(BOARDS[driver])
    assert [ohm for _, _, ohm, _, _ in rows] == sorted(ohm for _, _, ohm, _, _ in rows)
    for (_, _, ohm, low, high), (_, _, _, next_low, _) in itertools.pairwise(rows):
        assert low < ohm < high < next_low
    assert rows[-1][4] < measures.resistance_reading_ohm(BOARDS[driver], 1e12)[0]


def test_values_side_by_side_against_the_handbook():
    # handbook: 1/R = 1/R1 + 1/R2; by hand 470 k and 2.2 M are 387 k, 150 k and 470 k 114 k,
    # 33 k and 150 k 27 k
    found = {(a, b): ohm for a, b, ohm in measures.series_pairs()}
    assert found[7, 8] == pytest.approx(387e3, rel=2e-3)
    assert found[4, 7] == pytest.approx(114e3, rel=5e-3)
    assert found[3, 4] == pytest.approx(27e3, rel=5e-3)
    assert (4, 8) not in found  # 140 k is 150 k
    singles = [ohm for ohm in SERIES_OHM if ohm]
    for ohm in found.values():
        assert all(abs(ohm - other) / other > 0.13 for other in singles)


def test_what_reads_as_open_is_said_to():
    rows = {row.split("|")[2].strip(): row for row in guide.series().splitlines()[2:]}
    nothing = measures.resistance_reading_ohm(BOARDS["reed"], 1e12)[0]
    for _, ohm, _, high in measures.series_readings(BOARDS["reed"]):
        assert ("as if open" in rows[guide.engineering(ohm, "Ω")]) == (high >= nothing)
    assert "as if open" in rows["2.2 MΩ"] and "as if open" not in rows["33 kΩ"]


def test_the_loads_against_the_handbook():
    # Ohm's law: 4.5 V over 100 ohm, fuse 0.5, switch 0.06, shunt 0.22
    assert guide.load_ma(100) == pytest.approx(4500 / 100.78, rel=1e-3)
    rows = {line.split("|")[1].strip(): line for line in guide.loads().splitlines()[2:]}
    assert "error 106" in rows["10 Ω, 5 W"] and "error" not in rows["47 Ω, 2 W"]
    assert 2 * limits.WATT_SHARE > 4.5**2 / 47 and 5 * limits.WATT_SHARE > 4.5**2 / 10


def test_the_text_names_the_plugs_resistors():
    kilohm = [float(value) for value in re.findall(r"([\d.]+) kΩ", README.split("in this order:")[1])]
    assert [value * 1000 for value in kilohm[:8]] == list(measures.PLUG_OHM)


def test_the_5_v_that_passes_is_enough_and_a_good_one_is_never_refused():
    board = BOARDS["reed"]
    # by hand: 2.5 V 0.8 % off is 2.48 V or 2.52 V, two steps off of 1,024
    for volts, low, high in ((4.6, 4.546, 4.655), (5.0, 4.941, 5.061)):
        assert measures.supply_reading_v(board, volts) == pytest.approx((low, high), abs=2e-3)
    assert measures.supply_reading_v(board, limits.LOGIC_LEAST_V)[1] < measures.LEAST_SUPPLY_V
    a_little_more_v = limits.LOGIC_LEAST_V + 0.02
    assert measures.supply_reading_v(board, a_little_more_v)[1] > measures.LEAST_SUPPLY_V
    asked = float(re.search(r"sockets still empty: ([\d.]+) to 5\.25 V", README)[1])
    assert measures.supply_reading_v(board, asked)[0] > measures.LEAST_SUPPLY_V


def test_a_perfect_reading_is_in_the_middle():
    # by hand: 180.72 mV behind 10.12 kohm into 3 kohm is 41.32 mV; read as if 180 mV and 10 kohm
    low, high = measures.resistance_reading_ohm(BOARDS["reed"], 3000)
    node = 5 * 10.5 / 290.5 * 3000 / (3000 + 280 * 10.5 / 290.5 * 1000)
    told = node * (1 + 20 / 1.05) / 20
    assert low < 10_000 * told / (0.18 - told) < high
    assert high - low < 0.15 * 3000


# -- text ------------------------------------------------------------------------------------


def _headers() -> set[str]:
    """Every command, optional nodes and suffixes written out, queries with their mark."""
    found = set()
    text = (FIRMWARE / "commands.def").read_text("utf-8")
    for kind, pattern in re.findall(r'^(COMMAND|QUERY|BOTH)\("([^"]+)"', text, re.MULTILINE):
        forms = {pattern}
        while any("[" in form for form in forms):
            forms = {made for form in forms for made in (
                re.sub(r"\[([^\]]*)\]", r"\1", form, count=1),
                re.sub(r"\[[^\]]*\]", "", form, count=1),
            )}  # fmt: skip
        for form in forms:
            suffix = re.search(r"<(\d)\|(\d)>", form)
            written = [form] if not suffix else [
                form.replace(suffix[0], digit) for digit in ("", suffix[1], suffix[2])]
            for header in written:
                found |= {header} if kind != "QUERY" else set()
                found |= {f"{header}?"} if kind != "COMMAND" else set()
    return found


def test_every_command_named_exists_and_is_in_the_protocol():
    protocol = (FIRMWARE / "PROTOCOL.md").read_text("utf-8")
    headers = _headers()
    named = set(re.findall(r"`((?:\*|[A-Z]{3,}[a-z]*[:a-z\[])[\w:*]*\??)", README))
    named = {name for name in named if ":" in name or name.startswith("*") or name.endswith("?")
             or name in headers}  # fmt: skip
    assert {"*IDN?", "*TST?", "ROUTe:CLOSe", "MEASure:VOLTage?"} <= named
    assert named <= headers
    for name in named:
        assert name.rstrip("?").split(":")[-1].rstrip("12") in protocol, name


def test_every_link_and_file_named_exists():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (FIRMWARE / target).exists(), target
    for heading in re.findall(r"\]\(#([\w-]+)\)", README):
        assert re.search(rf"^#+ {heading}$", README, re.MULTILINE | re.IGNORECASE), heading
    listed = set(re.findall(r"drawings/(\w+)\.svg", README))
    assert listed == set(sheets.SHEETS) == {p.stem for p in (FIRMWARE / "drawings").iterdir()}


def test_the_steps_of_bringing_it_up_are_counted_and_each_switch_is_tried_alone():
    steps = README.split("## Bringing it up")[1].split("### Self-test plug")[0]
    numbers = [int(n) for n in re.findall(r"^(\d+)\. ", steps, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))
    assert f"without cells until step {numbers[4]}." in steps
    (alone,) = [step for step in re.split(r"^\d+\. ", steps, flags=re.MULTILINE) if "Q1" in step]
    assert "Q2" in alone and alone.count("111") == 2
    # what the step bridges is what it says: the line's transistor, then the beats'
    board = BOARDS["reed"]
    assert board["Q1"].pins["G"] == "SUPPLY" and board["Q2"].pins["G"] == "BEATS"


def test_the_fuse_bytes_mean_what_the_text_says():
    # ATmega328P data sheet (memory), a programmed fuse is 0:
    # low: CKDIV8 CKOUT SUT1..0 CKSEL3..0; high: RSTDISBL DWEN SPIEN WDTON EESAVE BOOTSZ1..0
    # BOOTRST; extended: BODLEVEL2..0, 100 is 4.3 V
    low, high, extended = (int(re.search(rf"-U {name}:w:0x(\w\w):m", README)[1], 16)
                           for name in ("lfuse", "hfuse", "efuse"))  # fmt: skip
    assert low >> 7 == 1  # not divided by 8
    assert low & 0x0F == 0b0111 and low >> 4 & 0b11 == 0b11  # full swing, slowest start
    assert high >> 7 == 1 and high >> 5 & 1 == 0  # reset pin stays one, programmer stays able
    assert high >> 3 & 1 == 0 and high & 1 == 1  # EEPROM kept, starts at 0
    assert extended & 0b111 == 0b100
    asked = README.split("`SYSTem:FUSes?` answers")[1]
    assert re.findall(r"\d+", asked)[:3] == [str(low), str(high), str(extended)]


def test_the_cautions_come_first_and_are_whole():
    first = README.split("\n## ")[1]
    assert first.startswith("Cautions")
    for word in ("12 V d.c.", "mains", "lithium", "charger", "flash", "inverter", "isolator",
                 "transformer", "local electrical codes", "licensed"):  # fmt: skip
        assert word in first, word
