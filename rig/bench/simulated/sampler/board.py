"""Boards of samplers, made at random from a seed.

    osc          the clock's node: resistor to the rail, capacitor inside the chip
    row*, col*   the key matrix, read without diodes
    a0 ... a14   address lines from the counter to the memory
    d0 ... d7    data lines from the memory to the latch (4 to 8 of them)
    b0 ... b7    the latch's outputs, each with 2R onto the ladder
    l0 ... l7    the ladder's nodes, R between; the last one is its output
    filt         behind a resistor, with a capacitor to ground; then the amplifier's input amp
    loop, half, rev   straps, low active: over and over, half speed, backwards
    mute, test   straps that rest low: the amplifier off, the chip's factory test
    reset        rests high
    led          high while the toy plays
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.bench.simulated import names
from rig.bench.simulated.circuit import BIAS, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.clock import clock_of
from rig.bench.simulated.habits import Habits
from rig.bench.simulated.parts import Board, Net, chosen_roles, matrix, place_pads
from rig.bench.simulated.sampler.sounds import ADDRESS_BITS, SAMPLE_HZ, Sounds, make_sounds

ROWS, COLUMNS = 2, 3
CYCLES_PER_SAMPLE = 64
CHIP_HZ = SAMPLE_HZ * CYCLES_PER_SAMPLE
STRAPS = (
    ("loop", 1.0), ("half", 1.0), ("rev", 1.0), ("reset", 1.0), ("mute", 0.0), ("test", 0.0),
)  # fmt: skip
"""Straps, and where they rest."""


@dataclass(frozen=True)
class Inside:
    """The memory's contents, and the filter's capacitor."""

    sounds: Sounds
    filter_farad: float


def make_sampler(seed: int, pads: int) -> Board:
    """Make a sampler's board; see `rig.bench.simulated.board.make_board`."""
    rng = np.random.Generator(np.random.PCG64([seed, pads, 0x5A3]))
    bits = int(rng.integers(4, 9))
    wanted = chosen_roles(rng, pads, {
        "address": [f"a{i}" for i in rng.permutation(ADDRESS_BITS)],
        "data": [f"d{i}" for i in rng.permutation(bits)],
        "ladder": [str(r) for r in rng.permutation(
            [f"b{i}" for i in range(bits)] + [f"l{i}" for i in range(bits)]
        )],
        "sound": [str(r) for r in rng.permutation(["filt", "amp"])] + ["spk"],
        "matrix": [str(r) for r in rng.permutation(
            [f"row{i}" for i in range(ROWS)] + [f"col{i}" for i in range(COLUMNS)]
        )],
        "strap": [str(r) for r in rng.permutation(
            ["loop", "half", "rev", "mute", "test", "reset"]
        )],
        "out": ["led"],
    })  # fmt: skip
    nets, resistors, clock_ohm = _nets(rng, wanted, bits)
    roles = {net.role: number for number, net in enumerate(nets)}
    key_count = 2 if pads < 12 else 4
    needs_on = bool(rng.random() < 0.3)
    sounds = make_sounds(rng, key_count, bits)
    keys = tuple(str(n) for n in rng.permutation(names.KEY_NAMES)[:key_count])
    keys += ("on",) if needs_on else ()
    habits = Habits(
        crash_ratio=float(rng.uniform(1.8, 3.2)),
        dynamic=bool(rng.random() < 0.6),
        jam_sounds=bool(rng.random() < 0.5),
        loop_latches=bool(rng.random() < 0.6),
        auto_off_s=float(rng.integers(60, 300)) if needs_on else None,
        bounce_ms=float(rng.choice((0.0, 0.0, 12.0, 40.0))),
        hiss=float(rng.choice((0.0, 1e-4, 4e-4))),
    )
    chip_hz = float(CHIP_HZ * rng.uniform(0.92, 1.08))
    made_pads = place_pads(rng, pads, [roles[role] for role in wanted], nets)
    speed = chip_hz / CHIP_HZ
    return Board(
        kind="sampler",
        seed=seed,
        name=names.toy_name(rng, "Noisy"),
        volts=float(rng.choice((3.0, 4.5, 6.0, 9.0))),
        pads=made_pads,
        keys=keys,
        on=("on",) if needs_on else (),
        longest_phrase_s=round(sounds.longest_s / speed + 0.05, 1),
        boot_ms=int(rng.integers(5, 30)) * 10,
        rails=tuple(p.letter for p in made_pads if p.rail),
        nets=tuple(nets),
        circuit=Circuit(
            [net.drive for net in nets], resistors, {roles["vcc"]: 1.0, roles["gnd"]: 0.0}
        ),
        contacts=matrix(keys, roles, COLUMNS),
        inside=Inside(sounds, filter_farad=float(rng.choice((1e-9, 2.2e-9, 3.3e-9)))),
        clock=clock_of(clock_ohm, chip_hz),
        habits=habits,
        amplifier_gain=float(rng.uniform(6.0, 14.0)),
        always=((roles["amp"], roles["gnd"], 10e6),),
    )


def pins(bits: int) -> list[Net]:
    """Give the chips' pins at their usual values, with codes of so many bits."""
    output = Drive(low_ohm=250.0, high_ohm=300.0)
    found = [Net("vcc", Drive()), Net("gnd", Drive()), Net("osc", Drive(bias=(1e3, 0.5)))]
    found += [Net(f"a{i}", output, 0.47, LOW) for i in range(ADDRESS_BITS)]
    found += [Net(f"d{i}", output, 0.47, LOW) for i in range(bits)]
    found += [Net(f"b{i}", Drive(low_ohm=250.0, high_ohm=250.0), idle=LOW) for i in range(bits)]
    found += [Net(f"l{i}", Drive()) for i in range(bits)]
    found += [Net("filt", Drive()), Net("amp", Drive(pull=(150e3, 0.5)))]
    found.append(Net("spk", Drive(bias=(10.0, 0.5)), idle=BIAS))
    found.append(Net("led", Drive(low_ohm=470.0, high_ohm=560.0), idle=LOW))
    for role, level in STRAPS:
        found.append(Net(role, Drive(pull=(82e3, level)), 0.47))
    row = Drive(low_ohm=300.0, pull=(68e3, 1.0))
    found += [Net(f"row{i}", row, 0.47) for i in range(ROWS)]
    found += [Net(f"col{i}", Drive(pull=(47e3, 1.0)), 0.47) for i in range(COLUMNS)]
    return found


def inside(
    rng: np.random.Generator, bits: int, farads: dict[str, float], ohms: dict[str, float]
) -> tuple[Inside, float, int]:
    """Fill the memory of a board that was written by hand."""
    sounds = make_sounds(rng, 4, bits)
    return Inside(sounds, farads.get("filt", 1e-12)), sounds.longest_s, 120


def _nets(
    rng: np.random.Generator, wanted: list[str], bits: int
) -> tuple[list[Net], list[tuple[int, int, float]], float]:
    """Make every net of the board; lines of one chip differ in what sits in series with them."""

    def around(ohm: float) -> float:
        return float(ohm * rng.uniform(0.8, 1.25))

    def threshold() -> float:
        return float(rng.uniform(0.36, 0.58))

    weak = {role for family in "ad" for role in
            [r for r in wanted if r[0] == family and r[1:].isdigit()][::2]}  # fmt: skip
    clock_ohm = float(rng.choice((22e3, 33e3, 47e3, 68e3)))
    nets = [
        Net("vcc", Drive()),
        Net("gnd", Drive()),
        Net("osc", Drive(pull=(clock_ohm, 1.0), bias=(1e3, 0.5)), idle=OPEN),
    ]
    for role in [f"a{i}" for i in range(ADDRESS_BITS)] + [f"d{i}" for i in range(bits)]:
        # of the lines that have leads, every other one is weak: through a series resistor
        ohm = around(18e3 if role in weak else 250.0)
        nets.append(Net(role, Drive(low_ohm=ohm, high_ohm=ohm * 1.2), threshold(), LOW))
    for i in range(bits):
        ohm = around(250.0)
        nets.append(Net(f"b{i}", Drive(low_ohm=ohm, high_ohm=ohm), idle=LOW))
    nets += [Net(f"l{i}", Drive()) for i in range(bits)]
    nets.append(Net("filt", Drive()))
    nets.append(Net("amp", Drive(pull=(around(150e3), 0.5))))
    nets.append(Net("spk", Drive(bias=(10.0, 0.5)), idle=BIAS))
    ohm = around(470.0)
    nets.append(Net("led", Drive(low_ohm=ohm, high_ohm=ohm * 1.2), idle=LOW))
    for role, level in STRAPS:
        nets.append(Net(role, Drive(pull=(around(82e3), level)), threshold()))
    for i in range(ROWS):
        drive = Drive(low_ohm=around(300.0), pull=(around(68e3), 1.0))
        nets.append(Net(f"row{i}", drive, threshold()))
    for i in range(COLUMNS):
        nets.append(Net(f"col{i}", Drive(pull=(around(47e3), 1.0)), threshold()))
    # tracks to parts that aren't fitted
    nets += [Net(role, Drive()) for role in wanted if role.startswith("nc")]
    roles = {net.role: number for number, net in enumerate(nets)}
    r_ohm = float(rng.choice((10e3, 22e3)))
    resistors = ladder(roles, bits, r_ohm)
    resistors += [
        (roles[f"l{bits - 1}"], roles["filt"], around(10e3)),
        (roles["filt"], roles["amp"], around(47e3)),
    ]
    return nets, resistors, clock_ohm


def ladder(roles: dict[str, int], bits: int, r_ohm: float) -> list[tuple[int, int, float]]:
    """Give the resistors of an R-2R ladder: V = V_rail code / 2^bits at its last node."""
    found = [(roles["l0"], roles["gnd"], 2 * r_ohm)]
    found += [(roles[f"b{i}"], roles[f"l{i}"], 2 * r_ohm) for i in range(bits)]
    found += [(roles[f"l{i}"], roles[f"l{i + 1}"], r_ohm) for i in range(bits - 1)]
    return found
