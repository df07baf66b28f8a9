"""Boards of simulated toys, made at random from a seed.

Every board of a kind has the same chips; what differs is how strongly each line is
driven, where the thresholds lie, which parts are fitted, what the memory says, and which
nets a person happened to put leads on. What a bridge does follows from that in `toy`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rig.bench.simulated import memory, names
from rig.bench.simulated.circuit import BIAS, HIGH, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.clock import RcClock
from rig.errors import ConfigError

MIN_PADS, MAX_PADS = 8, 64
ROWS, COLUMNS = 2, 3
KEY_CONTACT_OHM = 800.0


@dataclass(frozen=True)
class Net:
    """One conductor of the board.

    Parameters
    ----------
    role : str
        What the net is to the chips, such as "a3" or "osc".
    drive : Drive
    threshold : float
        Where an input on this net turns over, fraction of the rail.
    idle : int
        Driver state with the toy at rest.
    """

    role: str
    drive: Drive
    threshold: float = 0.5
    idle: int = OPEN


@dataclass(frozen=True)
class Pad:
    """A pad as a person sees it, and the net that only the simulation knows."""

    letter: str
    note: str
    net: int
    rail: bool = False


@dataclass(frozen=True)
class Habits:
    """What the chips of one board do where designs differ.

    Parameters
    ----------
    stall_sounds, jam_sounds : bool
        Whether the last frame goes on sounding while the sequencer waits, or has stopped for good.
    crash_ratio : float
        Clock over its nominal frequency at which the sequencer jams.
    dynamic : bool
        Whether the sequencer loses its state when the clock stands still.
    loop_latches : bool
        Whether a loop asked for at the loop input goes on until a key is pressed.
    """

    stall_sounds: bool
    jam_sounds: bool
    crash_ratio: float
    dynamic: bool
    loop_latches: bool


@dataclass(frozen=True)
class Board:
    """A toy's board: what the person can know of it, and its inside.

    Parameters
    ----------
    name : str
        The toy's invented name.
    volts : float
        Of its cells.
    pads : tuple of Pad, in the order of their letters
    keys : tuple of str
    on : tuple of str
        Keys that turn the toy on after its supply was away; may be empty.
    longest_phrase_s : float
    boot_ms : int
    rails : tuple of str
        Pads at the battery's terminals.
    """

    kind: str
    seed: int
    name: str
    volts: float
    pads: tuple[Pad, ...]
    keys: tuple[str, ...]
    on: tuple[str, ...]
    longest_phrase_s: float
    boot_ms: int
    rails: tuple[str, ...]
    nets: tuple[Net, ...] = field(repr=False)
    circuit: Circuit = field(repr=False)
    speech: memory.Speech = field(repr=False)
    clock: RcClock
    habits: Habits
    amplifier_gain: float

    @property
    def letters(self) -> tuple[str, ...]:
        """The pads' letters in order."""
        return tuple(pad.letter for pad in self.pads)

    @property
    def net_of(self) -> dict[str, int]:
        """The net of every pad."""
        return {pad.letter: pad.net for pad in self.pads}

    @property
    def roles(self) -> dict[str, int]:
        """The number of every net by its role."""
        return {net.role: number for number, net in enumerate(self.nets)}


def make_board(seed: int, pads: int, kind: str = "talker") -> Board:
    """Make a board.

    Parameters
    ----------
    seed : int, 0 or more
    pads : int
        How many leads the person attached, 8 to 64.
    kind : str
        "talker".

    Raises
    ------
    ConfigError
        The kind isn't known, or the number of pads is out of range.
    """
    if kind != "talker":
        raise ConfigError(f"no simulated toy of the kind {kind!r}; the kinds are: talker")
    if not MIN_PADS <= pads <= MAX_PADS:
        raise ConfigError(
            f"a simulated board has {MIN_PADS} to {MAX_PADS} pads, not {pads}; change pads"
        )
    if seed < 0:
        raise ConfigError(f"a board's seed is 0 or more, not {seed}; change seed")
    rng = np.random.Generator(np.random.PCG64([seed, pads, 0x7A1]))
    wanted = _wanted_roles(rng, pads)
    nets, resistors, dynamic_ohm = _nets(rng, wanted)
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
    chip_hz = float(640e3 * rng.uniform(0.96, 1.04))
    clock = _clock(dynamic_ohm, chip_hz)
    made_pads = _pads(rng, pads, [roles[role] for role in wanted], roles)
    return Board(
        kind=kind,
        seed=seed,
        name=names.toy_name(rng),
        volts=float(rng.choice((3.0, 4.5, 4.5, 6.0))),
        pads=made_pads,
        keys=tuple(key_names + (["on"] if needs_on else [])),
        on=("on",) if needs_on else (),
        longest_phrase_s=round(speech.longest_phrase_s / (chip_hz / 640e3) + 0.05, 1),
        boot_ms=int(rng.integers(30, 46)) * 10,
        rails=tuple(p.letter for p in made_pads if p.rail),
        nets=tuple(nets),
        circuit=Circuit(
            [net.drive for net in nets], resistors, {roles["vcc"]: 1.0, roles["gnd"]: 0.0}
        ),
        speech=speech,
        clock=clock,
        habits=habits,
        amplifier_gain=float(rng.uniform(6.0, 14.0)),
    )


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


def _clock(r_ohm: float, chip_hz: float) -> RcClock:
    trial = RcClock(r_ohm, 1.0, empty_s=0.0)
    empty_s = 4e-8
    c_farad = (1.0 / chip_hz - empty_s) * trial.nominal_hz()
    return RcClock(r_ohm, c_farad, empty_s=empty_s)


def _pads(
    rng: np.random.Generator, count: int, nets: list[int], roles: dict[str, int]
) -> tuple[Pad, ...]:
    """Put leads on every wanted net once, and on some of them again, in a person's order."""
    idle = {number for role, number in roles.items() if role.startswith("nc")}
    doubled = [roles[str(rng.choice(("gnd", "vcc")))]]
    # long tracks with many joints on them are mostly those that do nothing
    others = [n for n in nets if n not in (roles["gnd"], roles["vcc"])]
    others += [n for n in others if n in idle]
    while len(nets) + len(doubled) < count:
        doubled.append(int(rng.choice(others)))
    placed = list(nets) + doubled[: count - len(nets)]
    placed = [placed[i] for i in rng.permutation(len(placed))]
    notes = names.pad_notes(rng, count)
    known = {placed.index(roles["vcc"]): "battery spring, plus",
             placed.index(roles["gnd"]): "battery spring, minus"}
    return tuple(
        Pad(letter, known.get(i, notes[i]), placed[i], i in known)
        for i, letter in enumerate(names.letters(count))
    )
