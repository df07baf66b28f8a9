"""The tables of README.md, between marker comments: made from the netlist and board.h.

    python -m firmware.generate.guide     writes drawings and tables anew
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import groupby
from pathlib import Path

from firmware.generate import held, limits, measures, sheets
from firmware.generate.legs import CONTROLLER_PINS
from firmware.generate.netlist import (
    CONTROLLER_NETS,
    DRIVERS,
    PADS,
    SERIES_OHM,
    Netlist,
    Part,
    build,
)  # fmt: skip
from firmware.generate.values import engineering
from rig.project.electrical import (
    RAIL_LIMIT_MA,
    current_ma,
    highest_v,
    least_lead_ohm,
    rail_safe_ohm,
)  # fmt: skip
from rig.project.models import Rig, Supply, Toy

FIRMWARE = Path(__file__).parents[1]
README = FIRMWARE / "README.md"
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)


def table(head: list[str], rows: list[list[str]]) -> str:
    """Write a table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def board_pins(text: str) -> list[tuple[str, str, str, str, str]]:
    """Read board.h: (name, pin, direction, what holds it in reset, use), in its order."""
    found = re.findall(
        r"^#define (\w+)_PIN (P[BCD]\d)\s+/\* ([^;*]+); ([^;*]+); ([^*]+?) \*/$", text, re.MULTILINE
    )
    if not found:
        raise ValueError("board.h: no line `#define NAME_PIN PXn /* direction; held; use */`")
    return found


def pins() -> str:
    """Every pin of the controller that is used."""
    rows = []
    for name, pin, way, holds, use in board_pins((FIRMWARE / "board.h").read_text("utf-8")):
        net = CONTROLLER_NETS[pin]
        if net not in (name, f"{name}_SENSE"):
            raise ValueError(f"board.h calls {pin} {name}, the netlist {net}")
        holds = holds.replace("kohm", "kΩ").replace("nothing", "")
        rows.append([pin, str(CONTROLLER_PINS[pin]), f"`{net}`", way, holds, use])
    return table(["pin", "leg", "net", "direction", "in reset held by", "use"], rows)


def held_table() -> str:
    """What holds each line while nothing drives it."""
    whole = build("reed")
    rows = []
    for level in held.levels(whole):
        holder = next(part for part in whole.kinds("resistor")
                      if level.net in held.loose(whole.without(part.ref)))  # fmt: skip
        rows.append([
            f"`{level.net}`", f"{holder.ref}, {holder.label}", f"{level.volts:.1f} V",
            f"at least {held.ON_V} V" if level.high else f"at most {held.OFF_V} V",
        ])  # fmt: skip
    return table(["net", "held by", "reads", "must read"], rows)


def _rating(part: Part) -> str:
    units = {"watt": "W", "volt": "V", "amp": "A"}
    if part.kind not in ("resistor", "capacitor"):
        return ""
    wanted = ("watt",) if part.kind == "resistor" else ("volt",)
    return ", ".join(f"{part.rating[q]:g} {units[q]}" for q in wanted)


def _refs(refs: list[str]) -> str:
    """Write names in a row, runs shortened: R41, R42, R43 is R41-R43."""
    split = [re.fullmatch(r"(\D+)(\d+)", ref).groups() for ref in refs]
    split.sort(key=lambda pair: (pair[0], int(pair[1])))
    runs: list[list[tuple[str, int]]] = []
    for letters, digits in split:
        number = int(digits)
        if runs and runs[-1][-1] == (letters, number - 1):
            runs[-1].append((letters, number))
        else:
            runs.append([(letters, number)])
    return ", ".join(
        f"{run[0][0]}{run[0][1]}" + (f"-{run[0][0]}{run[-1][1]}" if len(run) > 1 else "")
        for run in runs
    )


def _part_rows(parts: list[Part]) -> list[list[str]]:
    def alike(part: Part) -> tuple:
        tolerance = f"{part.percent:g} %" if part.percent else ""
        return (part.kind, part.value or 0, part.label, part.text, _rating(part), tolerance)

    rows = []
    for key, some in groupby(sorted(parts, key=alike), key=alike):
        refs = [part.ref for part in some]
        kind, value, label, text, rating, tolerance = key
        rows.append([str(len(refs)), _refs(refs), kind, label if value else "", tolerance, rating,
                     text])  # fmt: skip
    return rows


_PARTS_HEAD = ["count", "parts", "kind", "value", "tolerance", "at least", "what"]


def parts_shared() -> str:
    """Parts that every board has."""
    return table(_PARTS_HEAD, _part_rows([p for p in build("reed") if p.sheet not in DRIVERS]))


def parts_drivers() -> str:
    """Parts of each driver type, beside the shared ones."""
    blocks = []
    for driver in DRIVERS:
        parts = [p for p in build(driver) if p.sheet == driver]
        name = {"reed": "Reed relays", "crosspoint": "Crosspoint",
                "multiplexer": "Multiplexers"}[driver]  # fmt: skip
        blocks.append(f"**{name}**, {PADS} pads\n\n" + table(_PARTS_HEAD, _part_rows(parts)))
    return "\n\n".join(blocks)


def budget() -> str:
    """The 5 V supply's load at worst, for each driver type."""
    columns = {driver: {line.what: line.milliamp for line in limits.budget(build(driver))}
               for driver in DRIVERS}  # fmt: skip
    names = list(columns["reed"])
    rows = [[name, *(f"{columns[d][name]:.0f}" if name in columns[d] else "" for d in DRIVERS)]
            for name in names]  # fmt: skip
    rows.append(["**all together**", *(f"**{sum(columns[d].values()):.0f}**" for d in DRIVERS)])
    return table(["mA at 5.25 V", *DRIVERS], rows)


def lead_cases() -> list[tuple[str, Toy]]:
    """Give the supplies that lead resistors are worked out for."""
    cases = [(f"{n} cells", 1.5 * n, "cells") for n in (2, 3, 4, 6, 8)]
    cases.append(("bench supply, 12 V", 12.0, "bench"))
    return [(name, Toy.model_construct(supply=Supply(volts=volts, source=source)))
            for name, volts, source in cases]  # fmt: skip


def fitted_lead_ohm(toy: Toy, rig: Rig) -> float:
    """Give the next larger value of the E12 series (IEC 60063) that keeps the limit, ohms."""
    least = least_lead_ohm(toy, rig)
    values = (value * 10.0**decade for decade in range(2, 6) for value in E12)
    return next(round(value, 6) for value in values if value >= least * (1 - 1e-9))


def example_rig(lead_ohm: float) -> Rig:
    return Rig.model_construct(
        bench="hardware", lead_ohm=lead_ohm, series_ohm=[0.0], current_limit_ma=2.0, switch_ohm=0.0
    )


def leads() -> str:
    """Lead resistors for 2 mA with nothing of the series bank between."""
    rows = []
    for name, toy in lead_cases():
        rig = example_rig(0.0)
        fitted = fitted_lead_ohm(toy, rig)
        rows.append([
            name, f"{highest_v(toy):.1f} V", f"{least_lead_ohm(toy, rig):,.0f} Ω",
            engineering(fitted, "Ω"), f"{current_ma(toy, 2 * fitted):.2f} mA",
            f"{highest_v(toy) ** 2 / fitted * 1000:.0f} mW",
            f"{rail_safe_ohm(toy) / 1000:.1f} kΩ",
        ])  # fmt: skip
    return table(["supply", "fresh", "least R", "fit (E12)", "then at most",
                  "one lead across the supply", f"between two rails ({RAIL_LIMIT_MA} mA)"], rows)


def passes() -> str:
    """Which toys each driver type can switch."""
    rows = []
    for driver in DRIVERS:
        sure, most = measures.passes_v(driver)
        ohm = measures.switch_most_ohm(build(driver))
        if sure is None:
            fits = "all up to 12 V"
        else:
            fits = ", ".join(name for name, toy in lead_cases() if highest_v(toy) <= sure)
        volts = "any" if sure is None else f"0 to {sure:g} V"
        measured = "" if most is None else f"up to {most:g} V where its rail measures that"
        rows.append([driver, volts, measured, fits or "none for certain", f"{ohm:g} Ω"])
    return table(["driver", "passes for certain", "after measuring its rail", "toys",
                  "most ohms a switch"], rows)  # fmt: skip


def senses() -> str:
    """Scales and errors of what is measured."""
    n = build("reed")
    source_v, inner_ohm = measures.continuity_source(n)
    three = measures.ratio(n, "R51", "R52")
    thevenin = n["R51"].value * n["R52"].value / (n["R51"].value + n["R52"].value)
    low_ma, high_ma = measures.current_reading_ma(n, 150)
    low_v, high_v = measures.rail_reading_v(n, 4.5)
    low_ohm, high_ohm = measures.resistance_reading_ohm(n, 3000)
    scale = measures.current_mv_per_ma(n)
    rows = [
        ["rail", f"R20, R21: 1/{measures.ratio(n, 'R20', 'R21'):g}",
         f"{5 * measures.ratio(n, 'R20', 'R21'):.0f} V",
         f"{5000 * 3 / 1024:.1f} mV", f"4.5 V reads {low_v:.2f} to {high_v:.2f} V"],
        ["the controller's 5 V",
         f"U7: {n['U7'].rating['volts']:.3f} V at {CONTROLLER_NETS['PC5']}", "from 2.5 V up",
         f"{measures.LEAST_SUPPLY_V**2 / n['U7'].rating['volts'] / 1.024:.1f} mV",
         "{} V reads {:.2f} to {:.2f} V".format(measures.LEAST_SUPPLY_V, *measures.supply_reading_v(
             n, measures.LEAST_SUPPLY_V))],
        ["supply current",
         f"R15 × (1 + R18/R17) = {scale:.2f} mV/mA",
         f"{measures.current_full_scale_ma(n):.0f} mA", f"{5000 / 1024 / scale:.2f} mA",
         (f"150 mA reads {low_ma:.0f} to {high_ma:.0f} mA; none reads 0 to "
         f"{measures.current_reading_ma(n, 0)[1]:.0f} mA")],
        ["bus voltage", (f"R51, R52: 1/{three:g}, loads the bus with "
         f"{engineering(n['R51'].value + n['R52'].value, 'Ω')}"), f"{5 * three:.0f} V",
         f"{5000 * three / 1024:.1f} mV",
         f"settles in 5 × {thevenin * n['C51'].value * 1000:.2f} ms"],
        ["continuity", (f"{source_v * 1000:.1f} mV behind {inner_ohm / 1000:.2f} kΩ, × "
         f"{measures.gain(n, 'R58', 'R57'):.2f}"), "open",
         f"{_step_ohm(n, 3000):.0f} Ω at 3 kΩ", f"3 kΩ reads {low_ohm:,.0f} to {high_ohm:,.0f} Ω"],
    ]  # fmt: skip
    return table(["what", "how", "full scale", "one step", "worst corner of all tolerances"], rows)


def _step_ohm(n: Netlist, ohm: float) -> float:
    """Give what one step of the converter is worth at a resistance, ohms."""
    source_v, inner = measures.continuity_source(n)
    volts_per_ohm = source_v * inner / (ohm + inner) ** 2 * measures.gain(n, "R58", "R57")
    return measures.REFERENCE_V / measures.STEPS / volts_per_ohm


def _ohms(value: float) -> str:
    return "open" if value == float("inf") else f"{float(f'{value:.3g}'):,.0f}"


def plug() -> str:
    """What the self-test plug reads on the first board of each driver type."""
    boards = {driver: measures.plug_readings(build(driver)) for driver in DRIVERS}
    rows = []
    for i, (a, b, ohm, _, _) in enumerate(boards["reed"]):
        cells = [f"{_ohms(boards[d][i][3])}-{_ohms(boards[d][i][4])} Ω" for d in DRIVERS]
        rows.append([f"`ROUTe:CLOSe (@1!{a},2!{b})`", f"{ohm:,.0f} Ω", *cells])
    nothing = measures.resistance_reading_ohm(build("reed"), 1e12)[0]
    rows.append(["nothing", "open", *[f"9.9E37, or over {_ohms(nothing)} Ω"] * len(DRIVERS)])
    return table(["closed", "plug", *DRIVERS], rows)


def series() -> str:
    """What the series bank reads with no pad closed."""
    rows = []
    nothing = measures.resistance_reading_ohm(build("reed"), 1e12)[0]
    for channel, ohm, low, high in measures.series_readings(build("reed")):
        reads = f"{_ohms(low)} to {_ohms(high)} Ω"
        if high >= nothing:
            reads = f"over {_ohms(low)} Ω, or 9.9E37 as if open"
        rows.append([f"`ROUTe:SERies {channel}`", engineering(ohm, "Ω"), reads])
    return table(["closed", "fitted", "reads"], rows)


def side_by_side() -> str:
    """Values that two series channels make together."""
    rows = [[f"`ROUTe:SERies {a},{b}`",
             f"{engineering(SERIES_OHM[a - 1], 'Ω')} ∥ {engineering(SERIES_OHM[b - 1], 'Ω')}",
             engineering(ohm, "Ω")] for a, b, ohm in measures.series_pairs()]  # fmt: skip
    return table(["closed", "side by side", "make"], rows)


LOAD_V = 4.5
PEAK_DEFAULT_MA = 300
"""The firmware's limit of the supply current as it comes."""


def load_ma(ohm: float) -> float:
    """Give the current of three cells into a resistor in the toy's place, mA."""
    n = build("reed")
    loop = n["F1"].rating["least_ohm"] + n["U2"].rating["on_ohm"] + n["R15"].value
    return LOAD_V / (ohm + loop) * 1000


def loads() -> str:
    """What resistors in the toy's place read on three cells."""
    n = build("reed")
    rows = []
    for ohm, watt in ((100, 1), (47, 2), (10, 5)):
        loop_ohm = LOAD_V / load_ma(ohm) * 1000
        # the fuse may have 0.7 ohm more, three small cells 0.6 ohm between them
        least_ma = LOAD_V / (loop_ohm + 0.7 + 0.6) * 1000
        flows = [f"{ohm} Ω, {watt} W", f"{least_ma:.0f} to {load_ma(ohm):.0f} mA"]
        if least_ma > PEAK_DEFAULT_MA:
            rows.append([*flows, "the guard trips", f"over {PEAK_DEFAULT_MA} mA, error 106"])
            continue
        across = ohm + n["R15"].value
        volts = [measures.rail_reading_v(n, ma / 1000 * across) for ma in (least_ma, load_ma(ohm))]
        amps = [measures.current_reading_ma(n, ma) for ma in (least_ma, load_ma(ohm))]
        rows.append([*flows, f"{volts[0][0]:.2f} to {volts[1][1]:.2f} V",
                     f"{amps[0][0]:.0f} to {amps[1][1]:.0f} mA"])  # fmt: skip
    return table(["across J4", "flows", "`MEASure:VOLTage?`", "`MEASure:CURRent?`"], rows)


def ratings() -> str:
    """The parts that are used nearest to their limits."""
    words = {"watt": "power", "volt": "voltage", "amp": "current", "gate_v": "gate voltage",
             "contact_v": "contact voltage", "contact_a": "contact current",
             "coil_least_v": "pull-in, warm, of the least coil voltage",
             "output_a": "output current", "output_v": "output voltage",
             "hold_a": "current that has to hold at 40 °C", "pulse_a": "short, before it is cut",
             "least_ma": "current, least, of what it gets", "most_ma": "current, most",
             "fault_a": "short, cells of 0 Ω", "surge_a2s": "until F1 trips, A²s",
             "led_most_ma": "lamp, most", "led_least_ma": "lamp, least, of what it gets",
             "signal_a": "signal current", "rail": "own rail", "input": "input voltage"}  # fmt: skip
    worst: dict[tuple[str, str], limits.Stress] = {}
    for driver in DRIVERS:
        for stress in limits.stresses(build(driver)):
            key = (stress.quantity, build(driver)[stress.ref].kind)
            if key not in worst or _used(stress) > _used(worst[key]):
                worst[key] = stress
    rows = [[kind, words[quantity], s.ref, f"{s.worst:.3g}", f"{s.rating:.3g}",
             f"{_used(s):.0%}", f"{s.share:.0%}"]
            for (quantity, kind), s in sorted(worst.items(), key=lambda item: item[0][::-1])]
    return table(["kind", "limit", "worst part", "at worst", "rated", "used", "allowed"], rows)


def coils() -> str:
    """What packed relays need to pull in, with a magnetic shield and without."""
    n = build("reed")
    worst = min(n.kinds("relay"), key=lambda relay: limits.coil_v(n, relay))
    gets_v = limits.coil_v(n, worst)
    rows = []
    for name, shielded in (("with a magnetic shield", True), ("without", False)):
        needs_v = limits.pull_in_v(worst, shielded)
        holds = "holds" if needs_v <= gets_v else "fails"
        rows.append([name, f"{needs_v:.2f} V", f"{gets_v:.2f} V", holds,
                     f"{gets_v / needs_v - 1:+.0%}"])  # fmt: skip
    return table(["relays side by side", "need warm", "get at least", "", "margin"], rows)


def _used(stress: limits.Stress) -> float:
    return stress.worst / stress.rating


def bank() -> str:
    """The series bank as rig.yaml lists it."""
    return f"`series_ohm: [{', '.join(str(ohm) for ohm in SERIES_OHM)}]`"


BLOCKS: dict[str, Callable[[], str]] = {
    "pins": pins, "held": held_table, "shared parts": parts_shared, "driver parts": parts_drivers,
    "budget": budget, "leads": leads, "passes": passes, "senses": senses, "plug": plug,
    "series": series, "loads": loads, "ratings": ratings, "bank": bank,
    "coils": coils, "side by side": side_by_side,
}  # fmt: skip


def filled(text: str) -> str:
    """Put every generated block into README's text.

    Raises
    ------
    ValueError
        A block has no place in the text.
    """
    for name, make in BLOCKS.items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
        if len(pattern.findall(text)) != 1:
            raise ValueError(f"README.md: <!-- {name} --> has to stand there once")
        found = pattern.search(text)
        made = f"{found[1]}\n{make()}\n\n{found[2]}"
        text = text[: found.start()] + made + text[found.end() :]
    return text


def main() -> None:
    """Write drawings and tables."""
    sheets.main()
    README.write_text(filled(README.read_text("utf-8")), "utf-8", newline="\n")


if __name__ == "__main__":
    main()
