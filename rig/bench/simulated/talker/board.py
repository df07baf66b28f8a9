"""Boards of talkers, made at random from a seed.

Every board has the same chips; what differs is how strongly each line is driven, where the
thresholds lie, which parts are fitted, what the memory says, and which nets a person
happened to put leads on. What a bridge does follows from that in `chips`.

    osc          the clock's node: resistor to the rail, capacitor inside the chip
    row*, col*   the key matrix, read without diodes
    a0 ... a11   address lines from the sequencer to the speech memory
    d0 ... d7    data lines back
    stb, busy    the handshake between them
    dac, amp     the voice's output, and the amplifier's input behind a resistor; spk behind it
    loop, half   straps, low active: the phrase over and over, half speed
    mute, reset  the amplifier off (rests low), the sequencer held (rests high)
    out*, nc*    outputs for lamps that aren't fitted, tracks to nothing
"""

from __future__ import annotations

import numpy as np

from rig.bench.simulated import names
from rig.bench.simulated.circuit import BIAS, HIGH, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.clock import clock_of
from rig.bench.simulated.habits import Habits
from rig.bench.simulated.parts import Board, Net, matrix, place_pads
from rig.bench.simulated.talker import memory

ROWS, COLUMNS = 2, 3
CHIP_HZ = 640e3
"""Nominal clock: 80 cycles for a sample of the voice."""


def make_talker(seed: int, pads: int) -> Board:
    """Make a talker's board; see `rig.bench.simulated.board.make_board`."""
    rng = np.random.Generator(np.random.PCG64([seed, pads, 0x7A1]))
    wanted = _wanted_roles(rng, pads)
    nets, resistors, clock_ohm = _nets(rng, wanted)
    roles = {net.role: number for number, net in enumerate(nets)}
    key_count = 2 if pads < 12 else 4
    needs_on = bool(rng.random() < 0.3)
    key_names = [str(n) for n in rng.permutation(names.KEY_NAMES)[:key_count]]
    speech = memory.make_speech(rng, key_count)
    habits = Habits(
        stall_sounds=bool(rng.random() < 0.5),
        jam_sounds=bool(rng.random() < 0.4),
        crash_ratio=float(rng.uniform(1.9, 3.2)),
        dynamic=bool(rng.random() < 0.75),
        loop_latches=bool(rng.random() < 0.6),
    )
    chip_hz = float(CHIP_HZ * rng.uniform(0.96, 1.04))
    made_pads = place_pads(rng, pads, [roles[role] for role in wanted], nets)
    keys = tuple(key_names + (["on"] if needs_on else []))
    return Board(
        kind="talker",
        seed=seed,
        name=names.toy_name(rng, "Talking"),
        volts=float(rng.choice((3.0, 4.5, 4.5, 6.0))),
        pads=made_pads,
        keys=keys,
        on=("on",) if needs_on else (),
        longest_phrase_s=round(speech.longest_phrase_s / (chip_hz / CHIP_HZ) + 0.05, 1),
        boot_ms=int(rng.integers(30, 46)) * 10,
        rails=tuple(p.letter for p in made_pads if p.rail),
        nets=tuple(nets),
        circuit=Circuit(
            [net.drive for net in nets], resistors, {roles["vcc"]: 1.0, roles["gnd"]: 0.0}
        ),
        contacts=matrix(keys, roles, COLUMNS),
        inside=speech,
        clock=clock_of(clock_ohm, chip_hz),
        habits=habits,
        amplifier_gain=float(rng.uniform(6.0, 14.0)),
    )


def pins(bits: int) -> list[Net]:
    """Give the chips' pins at their usual values; the talker's codes always have 8 bits."""
    output = Drive(low_ohm=250.0, high_ohm=300.0)
    weak = Drive(low_ohm=15e3, high_ohm=20e3)
    found = [Net("vcc", Drive()), Net("gnd", Drive()), Net("osc", Drive(bias=(1e3, 0.5)))]
    found += [Net(f"a{i}", output, 0.47, LOW) for i in range(memory.ADDRESS_BITS)]
    found += [Net(f"d{i}", output, 0.47, LOW) for i in range(8)]
    found += [Net(role, weak, 0.47, LOW) for role in ("stb", "busy")]
    for role, level in (("loop", 1.0), ("mute", 0.0), ("reset", 1.0), ("half", 1.0)):
        found.append(Net(role, Drive(pull=(82e3, level)), 0.47))
    row = Drive(low_ohm=300.0, pull=(68e3, 1.0))
    found += [Net(f"row{i}", row, 0.47) for i in range(ROWS)]
    found += [Net(f"col{i}", Drive(pull=(47e3, 1.0)), 0.47) for i in range(COLUMNS)]
    found.append(Net("dac", Drive(bias=(300.0, 0.5)), idle=BIAS))
    found.append(Net("amp", Drive(pull=(150e3, 0.5))))
    found.append(Net("spk", Drive(bias=(10.0, 0.5)), idle=BIAS))
    return found


def inside(
    rng: np.random.Generator, bits: int, farads: dict[str, float], ohms: dict[str, float]
) -> tuple[memory.Speech, float, int]:
    """Fill the speech memory of a board that was written by hand."""
    speech = memory.make_speech(rng, ROWS * COLUMNS)
    return speech, speech.longest_phrase_s, 120


def _wanted_roles(rng: np.random.Generator, pads: int) -> list[str]:
    """Choose the nets that get leads: the rails, the clock, some live lines, and inert ones."""
    count = max(7, round(pads * rng.uniform(0.64, 0.72)))
    lively = max(2, round(0.55 * count - 3.9))
    families = {
        "data": [f"d{i}" for i in rng.permutation(8)],
        "address": [f"a{i}" for i in rng.permutation(memory.ADDRESS_BITS)],
        "shake": [str(r) for r in rng.permutation(["stb", "busy"])],
        "strap": [str(r) for r in rng.permutation(["loop", "mute", "reset", "half"])],
        "sound": ["amp", "spk", "dac"],
        "matrix": [str(r) for r in rng.permutation(
            [f"row{i}" for i in range(ROWS)] + [f"col{i}" for i in range(COLUMNS)]
        )],
        "out": ["out0", "out1", "out2"],
    }  # fmt: skip
    found = ["vcc", "gnd", "osc"]
    # a person puts leads on something of everything before the second of a kind
    first = [str(r) for r in rng.permutation(["strap", "sound", "address", "matrix", "out"])]
    turns = ["shake", "data", "strap", *first]
    while lively > 0 and turns:
        family = turns.pop(0)
        if families[family]:
            found.append(families[family].pop(0))
            lively -= 1
        if family == "sound" and found[-1] == "amp" and lively > 0 and rng.random() < 0.5:
            found.append(families["sound"].pop(0))
            lively -= 1
        if not turns and any(families.values()):
            turns = [str(r) for r in rng.permutation(sorted(families))]
    return found + [f"nc{i}" for i in range(count - len(found))]


def _nets(
    rng: np.random.Generator, wanted: list[str]
) -> tuple[list[Net], list[tuple[int, int, float]], float]:
    """Make every net of the board; lines of one chip differ in what sits in series with them."""

    def around(ohm: float) -> float:
        return float(ohm * rng.uniform(0.8, 1.25))

    def threshold() -> float:
        return float(rng.uniform(0.36, 0.58))

    weak_next = {"a": True, "d": True}

    def line(role: str) -> Drive:
        # of the lines that have leads, every other one is weak: through a series resistor
        weak = False
        if role in wanted:
            family = role[0]
            weak, weak_next[family] = weak_next[family], not weak_next[family]
        ohm = around(18e3) if weak else around(250.0)
        return Drive(low_ohm=ohm, high_ohm=ohm * float(rng.uniform(1.0, 1.5)))

    nets = [Net("vcc", Drive()), Net("gnd", Drive())]
    clock_ohm = float(rng.choice((22e3, 33e3, 47e3, 68e3)))
    nets.append(
        Net("osc", Drive(pull=(clock_ohm, 1.0), bias=(1e3, 0.5)), idle=OPEN)
    )
    ordered = [r for r in wanted if r[0] in "ad" and r[1:].isdigit()]
    lines = {role: line(role) for role in ordered}
    for role in [f"a{i}" for i in range(memory.ADDRESS_BITS)] + [f"d{i}" for i in range(8)]:
        nets.append(Net(role, lines.get(role) or line(role), threshold(), LOW))
    for role in ("stb", "busy"):
        ohm = around(15e3)
        nets.append(Net(role, Drive(low_ohm=ohm, high_ohm=ohm * 1.3), threshold(), LOW))
    for role, level in (("loop", 1.0), ("mute", 0.0), ("reset", 1.0), ("half", 1.0)):
        nets.append(Net(role, Drive(pull=(around(82e3), level)), threshold()))
    for i in range(ROWS):
        drive = Drive(low_ohm=around(300.0), pull=(around(68e3), 1.0))
        nets.append(Net(f"row{i}", drive, threshold(), OPEN))
    for i in range(COLUMNS):
        nets.append(Net(f"col{i}", Drive(pull=(around(47e3), 1.0)), threshold(), OPEN))
    nets.append(Net("dac", Drive(bias=(around(300.0), 0.5)), idle=BIAS))
    nets.append(Net("amp", Drive(pull=(around(150e3), 0.5)), idle=OPEN))
    nets.append(Net("spk", Drive(bias=(10.0, 0.5)), idle=BIAS))
    for i in range(3):
        state = HIGH if i == 0 else int(rng.integers(2))
        ohm = around(200.0)
        nets.append(Net(f"out{i}", Drive(low_ohm=ohm, high_ohm=ohm * 1.2), idle=state))
    for i in range(sum(role.startswith("nc") for role in wanted)):
        # tracks to parts that aren't fitted
        nets.append(Net(f"nc{i}", Drive()))
    roles = {net.role: number for number, net in enumerate(nets)}
    resistors = [(roles["dac"], roles["amp"], around(68e3))]
    return nets, resistors, clock_ohm
