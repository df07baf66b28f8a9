"""Boards of keyboards, made at random from a seed.

    osc          the clock's node: resistor to the rail, capacitor inside the chip
    row*, col*   the key matrix, read without diodes
    q0 q1 q2     the note's divider outputs: four times, twice and once the note
    mix          where the mixer's resistors from q0, q1 and q2 meet
    env          the envelope's capacitor: charged while a key is down, leaking after
    tone         the mixed sound behind the envelope, on its way to the amplifier's input amp
    vib          a slow square wave for a vibrato that isn't fitted
    led          high while the toy sounds
    loop, oct    straps: the tune over and over, all notes an octave up (both low active)
    mute, test   straps that rest low: the amplifier off, the chip's factory test
    reset        rests high
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.bench.simulated import names
from rig.bench.simulated.circuit import BIAS, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.clock import clock_of
from rig.bench.simulated.habits import Habits
from rig.bench.simulated.parts import Board, Net, chosen_roles, matrix, place_pads

ROWS, COLUMNS = 2, 5
CHIP_HZ = 512e3
"""Nominal clock: the dividers are made for it."""

NOTES = ("do", "re", "mi", "fa", "so", "la", "ti", "high do")
SEMITONES = (0, 2, 4, 5, 7, 9, 11, 12)
TUNE = "tune"
TUNE_PLACE = 8
TUNE_STEP_S = 0.22
STRAPS = (("loop", 1.0), ("oct", 1.0), ("reset", 1.0), ("mute", 0.0), ("test", 0.0))
"""Straps, and where they rest."""


@dataclass(frozen=True)
class Inside:
    """What only the keyboard's chip knows.

    Parameters
    ----------
    semitones : tuple of int
        Of each note key above the lowest.
    base_hz : float
        The lowest note at the chip's nominal clock.
    tune : tuple of int
        Keys of the built-in tune, by their places; -1 is a rest.
    env_farad : float
        The envelope's capacitor.
    """

    semitones: tuple[int, ...]
    base_hz: float
    tune: tuple[int, ...]
    env_farad: float


def make_keyboard(seed: int, pads: int) -> Board:
    """Make a keyboard's board; see `rig.bench.simulated.board.make_board`."""
    rng = np.random.Generator(np.random.PCG64([seed, pads, 0x6B3]))
    wanted = chosen_roles(rng, pads, {
        "note": [f"q{i}" for i in rng.permutation(3)],
        "envelope": ["env"],
        "sound": [str(r) for r in rng.permutation(["mix", "amp", "tone"])] + ["spk"],
        "matrix": [str(r) for r in rng.permutation(
            [f"row{i}" for i in range(ROWS)] + [f"col{i}" for i in range(COLUMNS)]
        )],
        "strap": [str(r) for r in rng.permutation(["loop", "oct", "mute", "test", "reset"])],
        "out": [str(r) for r in rng.permutation(["vib", "led"])],
    })  # fmt: skip
    nets, resistors, clock_ohm, decay_ohm = _nets(rng, wanted)
    roles = {net.role: number for number, net in enumerate(nets)}
    note_count = 4 if pads < 12 else 8
    needs_on = bool(rng.random() < 0.4)
    keys = (*NOTES[:note_count], *((TUNE,) if note_count == 8 else ()))
    contacts = matrix((*NOTES, TUNE, "on"), roles, COLUMNS)
    decay_s = float(rng.uniform(0.45, 0.85))
    tune = tuple(int(n) for n in rng.integers(-1, note_count, 8))
    habits = Habits(
        crash_ratio=float(rng.uniform(1.8, 3.2)),
        dynamic=bool(rng.random() < 0.6),
        jam_sounds=bool(rng.random() < 0.5),
        loop_latches=bool(rng.random() < 0.6),
        auto_off_s=float(rng.integers(60, 300)) if needs_on else None,
        bounce_ms=float(rng.choice((0.0, 0.0, 12.0, 40.0))),
        hiss=float(rng.choice((0.0, 1e-4, 4e-4))),
    )
    chip_hz = float(CHIP_HZ * rng.uniform(0.9, 1.1))
    made_pads = place_pads(rng, pads, [roles[role] for role in wanted], nets)
    longest_s = 0.5 + 3.2 * decay_s + (len(tune) * TUNE_STEP_S if TUNE in keys else 0.0)
    return Board(
        kind="keyboard",
        seed=seed,
        name=names.toy_name(rng, "Musical"),
        volts=float(rng.choice((3.0, 4.5, 6.0, 9.0))),
        pads=made_pads,
        keys=(*keys, *(("on",) if needs_on else ())),
        on=("on",) if needs_on else (),
        longest_phrase_s=round(longest_s, 1),
        boot_ms=int(rng.integers(5, 30)) * 10,
        rails=tuple(p.letter for p in made_pads if p.rail),
        nets=tuple(nets),
        circuit=Circuit(
            [net.drive for net in nets], resistors, {roles["vcc"]: 1.0, roles["gnd"]: 0.0}
        ),
        contacts={k: c for k, c in contacts.items() if k in keys or (k == "on" and needs_on)},
        inside=Inside(
            semitones=SEMITONES,
            base_hz=float(rng.choice((196.0, 220.0, 261.6, 329.6))),
            tune=tune,
            env_farad=decay_s / decay_ohm,
        ),
        clock=clock_of(clock_ohm, chip_hz),
        habits=habits,
        amplifier_gain=float(rng.uniform(6.0, 14.0)),
        press_ms=400,
        always=((roles["amp"], roles["gnd"], 10e6), (roles["mix"], roles["gnd"], 10e6)),
    )


def pins(bits: int) -> list[Net]:
    """Give the chip's pins at their usual values; the keyboard has no codes."""
    output = Drive(low_ohm=1.5e3, high_ohm=1.8e3)
    found = [Net("vcc", Drive()), Net("gnd", Drive()), Net("osc", Drive(bias=(1e3, 0.5)))]
    found += [Net(f"q{i}", output, 0.47, LOW) for i in range(3)]
    found.append(Net("mix", Drive(pull=(100e3, 0.5))))
    found.append(Net("env", Drive(high_ohm=4.7e3), 0.47))
    found.append(Net("tone", Drive(bias=(1e3, 0.5)), idle=BIAS))
    found.append(Net("amp", Drive(pull=(150e3, 0.5))))
    found.append(Net("spk", Drive(bias=(10.0, 0.5)), idle=BIAS))
    found += [Net(role, Drive(low_ohm=470.0, high_ohm=560.0), idle=LOW) for role in ("vib", "led")]
    for role, level in STRAPS:
        found.append(Net(role, Drive(pull=(82e3, level)), 0.47))
    row = Drive(low_ohm=300.0, pull=(68e3, 1.0))
    found += [Net(f"row{i}", row, 0.47) for i in range(ROWS)]
    found += [Net(f"col{i}", Drive(pull=(47e3, 1.0)), 0.47) for i in range(COLUMNS)]
    return found


def inside(
    rng: np.random.Generator, bits: int, farads: dict[str, float], ohms: dict[str, float]
) -> tuple[Inside, float, int]:
    """Give what the chip of a board that was written by hand knows."""
    env_farad = farads.get("env", 1e-9)
    made = Inside(SEMITONES, 261.6, tuple(int(n) for n in rng.integers(-1, 8, 8)), env_farad)
    decay_s = ohms.get("env", 220e3) * env_farad
    return made, 0.5 + 3.2 * decay_s + len(made.tune) * TUNE_STEP_S, 400


def _nets(
    rng: np.random.Generator, wanted: list[str]
) -> tuple[list[Net], list[tuple[int, int, float]], float, float]:
    """Make every net of the board."""

    def around(ohm: float) -> float:
        return float(ohm * rng.uniform(0.8, 1.25))

    def threshold() -> float:
        return float(rng.uniform(0.36, 0.58))

    clock_ohm = float(rng.choice((22e3, 33e3, 47e3, 68e3)))
    decay_ohm = around(220e3)
    nets = [
        Net("vcc", Drive()),
        Net("gnd", Drive()),
        Net("osc", Drive(pull=(clock_ohm, 1.0), bias=(1e3, 0.5)), idle=OPEN),
    ]
    for i in range(3):
        ohm = around(1.5e3)
        nets.append(Net(f"q{i}", Drive(low_ohm=ohm, high_ohm=ohm * 1.2), threshold(), LOW))
    nets.append(Net("mix", Drive(pull=(around(100e3), 0.5))))
    nets.append(Net("env", Drive(high_ohm=around(4.7e3), pull=(decay_ohm, 0.0)), threshold()))
    nets.append(Net("tone", Drive(bias=(around(1e3), 0.5)), idle=BIAS))
    nets.append(Net("amp", Drive(pull=(around(150e3), 0.5))))
    nets.append(Net("spk", Drive(bias=(10.0, 0.5)), idle=BIAS))
    for role in ("vib", "led"):
        ohm = around(470.0)
        nets.append(Net(role, Drive(low_ohm=ohm, high_ohm=ohm * 1.2), idle=LOW))
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
    resistors = [
        (roles["q0"], roles["mix"], around(100e3)),
        (roles["q1"], roles["mix"], around(68e3)),
        (roles["q2"], roles["mix"], around(47e3)),
        (roles["tone"], roles["amp"], around(68e3)),
    ]
    return nets, resistors, clock_ohm, decay_ohm
