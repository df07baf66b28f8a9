"""How strongly the pins of toys' chips drive, and boards whose lines are driven so.

The boards of a seed have weak lines among their address and data lines, so that a path of 3 kohm
turns some over. Here the same boards get lines as strong as their chips would drive them, and weak
ones only where a part makes them weak: pulls of keys and straps, an open drain, capacitors charged
through resistors, the sound path. Some have the chips behind a regulator, below the battery's rail.

Resistances are those of data sheets, from memory, as ohms = volts lost / amperes at a typical
part; the shares of chips and regulators are our choice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rig.bench.simulated.circuit import Circuit, Drive
from rig.bench.simulated.diodes import Diode, protection
from rig.bench.simulated.parts import Board, Net

REAL = "real"
"""The only drivers with a name; without one a board has those that its seed gives."""

REGULATED = "vreg"
"""Role of the net behind the regulator, on which nobody puts a lead."""

_ALIKE = 0.1
"""Share by which lines of one chip differ (our choice)."""

_THRESHOLD_V = 0.8
"""Gate voltage at which a transistor begins to conduct; beyond it conductance is proportional."""


@dataclass(frozen=True)
class Output:
    """How a family of parts drives a line.

    Parameters
    ----------
    low_ohm, high_ohm : (float, float)
        Least and most of a typical part, towards its low and its high rail.
    at_v : float or None
        Supply that these are for; at another they go with 1 / (supply - 0.8 V). None: parts that are
        made for whatever the toy's supply is.
    """

    low_ohm: tuple[float, float]
    high_ohm: tuple[float, float]
    at_v: float | None = None


OUTPUTS: Mapping[str, Output] = {
    # 74HC data sheets (memory): at 4.5 V and 4 mA typically 0.15 to 0.26 V low, 4.32 V high
    "74HC": Output((40.0, 65.0), (45.0, 80.0), 4.5),
    # 4000 series (memory): at 5 V typically 1 mA at 0.4 V low and at 4.6 V high: 400 ohm
    "4000": Output((300.0, 440.0), (300.0, 440.0), 5.0),
    # 8-bit microcontrollers (memory): at most 0.6 V at 8.5 mA low (70 ohm), 0.7 V at 3 mA high
    # (230 ohm), large ports about 25 ohm both; typically half of the most
    "port": Output((40.0, 70.0), (60.0, 230.0)),
    # mask-programmed sound chips on 3 V (memory): 4 to 8 mA at 0.6 V low, 2 to 4 mA high
    "mask chip": Output((75.0, 150.0), (150.0, 300.0)),
    # mask ROM and EPROM (memory): at most 0.4 V at 2.1 mA low (190 ohm), 2.4 V of 5 V at 0.4 to 1 mA
    # high, typically much less: about half, and 150 to 400 ohm
    "mask ROM": Output((80.0, 190.0), (150.0, 400.0)),
}

OPEN_DRAIN_OHM = 4.7e3, 10e3, 22e3
"""Pull-ups fitted beside outputs that only pull down (common practice, no source)."""

_OPEN_DRAIN_SHARE = 0.3
"""Of the talkers whose memory answers over such an output."""

_PINS = {
    "talker": "osc row col a d stb busy dac loop half reset out",
    "keyboard": "osc row col q mix env tone vib led loop oct test reset",
    "sampler": "osc row col a d b loop half rev test reset led",
}
"""Roles, without their numbers, of the chips' pins. All others are joints of resistors, bare tracks,
the battery's or the amplifier's: mute is its input."""

ALIKE_BOTH_WAYS = frozenset({"b"})
"""A latch on a ladder: a sampler's codes are summed, so its sides are taken as alike (HC's are)."""


def _bare(role: str) -> str:
    return role.rstrip("0123456789")


def _is_chips(kind: str, role: str) -> bool:
    return _bare(role) in _PINS[kind].split()


def _chips(kind: str, chips_v: float) -> dict[str, tuple[str, ...]]:
    """Give the families that may drive each role, without its number; one chip shares one draw."""
    own = ("port", "mask chip")
    logic = (*(("74HC",) if chips_v <= 6.0 else ()), *(("4000",) if chips_v >= 4.5 else ()))
    return {
        "talker": {"a": own, "stb": own, "row": own, "out": own, "d": ("mask ROM", "mask chip"),
                   "busy": ("mask ROM", "mask chip")},
        "keyboard": {"q": own, "vib": own, "led": own, "row": own},
        "sampler": {"a": logic, "b": logic, "row": own, "led": own, "d": ("mask ROM",)},
    }[kind]  # fmt: skip


_ONE_CHIP = {"talker": ("a stb row out", "d busy"), "keyboard": ("q vib led row",),
             "sampler": ("a", "b", "row led", "d")}  # fmt: skip


def _regulated_v(rng: np.random.Generator, volts: float) -> float:
    """Give what the chips are fed with: the battery, or 3 to 5 V from a regulator."""
    if volts > 6.0:
        return 5.0
    if volts == 6.0:
        return float(rng.choice((6.0, 6.0, 3.0, 3.3)))
    return 3.0 if volts == 4.5 and rng.random() < 1 / 3 else volts


def with_drivers(board: Board, name: str) -> Board:
    """Give a board whose lines are driven as strongly as chips drive them.

    Its pads, sounds, thresholds and parts are those of the same board without.

    Parameters
    ----------
    name : str
        `REAL`.

    Raises
    ------
    ValueError
        There are no drivers of that name.
    """
    if name != REAL:
        raise ValueError(f"no drivers {name!r}; there are {REAL!r}")
    rng = np.random.Generator(
        np.random.PCG64([board.seed, list(_ONE_CHIP).index(board.kind), 0xD21E])
    )
    chips_v = _regulated_v(rng, board.volts)
    drives = driven(rng, board.kind, chips_v, [(net.role, net.drive) for net in board.nets])
    nets = [replace(net, drive=drive) for net, drive in zip(board.nets, drives, strict=True)]
    return on_rail(board, nets, chips_v / board.volts)


def driven(
    rng: np.random.Generator,
    kind: str,
    chips_v: float,
    lines: Sequence[tuple[str, Drive]],
) -> list[Drive]:
    """Draw how strongly lines are driven; those that no chip drives stay as they are.

    Parameters
    ----------
    kind : str
        Of `rig.bench.simulated.kinds.KINDS`.
    chips_v : float
        Supply of the chips, volts.
    lines : sequence of (str, Drive)
        Roles, and how they are driven so far.
    """
    families = _chips(kind, chips_v)
    ohms: dict[str, tuple[float, float]] = {}
    for chip in _ONE_CHIP[kind]:
        roles = chip.split()
        family = OUTPUTS[str(rng.choice(families[roles[0]]))]
        scale = 1.0
        if family.at_v is not None:
            scale = (family.at_v - _THRESHOLD_V) / (chips_v - _THRESHOLD_V)
        low, high = (
            scale * float(np.exp(rng.uniform(*np.log(ends))))
            for ends in (family.low_ohm, family.high_ohm)
        )
        ohms |= dict.fromkeys(roles, (low, high))
    is_open_drain = bool(rng.random() < _OPEN_DRAIN_SHARE)
    found = []
    for role, drive in lines:
        if _bare(role) not in ohms:
            found.append(drive)
            continue
        low, high = (
            ohm * float(rng.uniform(1 - _ALIKE, 1 + _ALIKE)) for ohm in ohms[_bare(role)]
        )
        if role == "busy" and is_open_drain:
            pull_ohm = float(rng.choice(OPEN_DRAIN_OHM))
            found.append(replace(drive, low_ohm=low, high_ohm=None, pull=(pull_ohm, 1.0)))
        elif drive.high_ohm is None:
            found.append(replace(drive, low_ohm=low))  # a key's row only pulls down
        elif _bare(role) in ALIKE_BOTH_WAYS:
            found.append(replace(drive, low_ohm=low, high_ohm=low))
        else:
            found.append(replace(drive, low_ohm=low, high_ohm=high))
    return found


def on_rail(board: Board, nets: Sequence[Net], share: float, rail: int | None = None) -> Board:
    """Give a board with these nets, its chips on a rail of their own where `share` is below 1.

    Levels and thresholds of the chips' pins are then shares of their rail, and a diode holds each
    pin to it. All other diodes are left out: no node can leave the span of the sources that it is
    joined to, so none falls below ground and none of the amplifier's rises above the battery.

    Parameters
    ----------
    share : float
        Of the chips' supply in the battery's, above 0 to 1.
    rail : int or None
        Which of the nets that supply is; None where it has still to be made.
    """
    circuit, nets = board.circuit, list(nets)
    fixed, names = dict(circuit.fixed), list(circuit.names)
    diodes: list[Diode] = []
    if share < 1.0:
        nets = [
            _fed(net, share) if _is_chips(board.kind, net.role) else net for net in nets
        ]
        if rail is None:
            rail = len(nets)
            nets.append(Net(REGULATED, Drive()))
            names.append(REGULATED)
        fixed[rail] = share
        for number, net in enumerate(nets):
            if _is_chips(board.kind, net.role):
                diodes.append(protection(number, board.roles["gnd"], rail)[1])
    made = Circuit(
        [net.drive for net in nets], circuit.resistors, fixed, diodes=diodes, rail_v=board.volts,
        names=names,
    )  # fmt: skip
    return replace(board, nets=tuple(nets), circuit=made, chip_rail=share)


def _fed(net: Net, share: float) -> Net:
    """Give a chip's net on a lower rail."""
    drive = net.drive
    return replace(
        net,
        threshold=net.threshold * share,
        drive=replace(
            drive,
            pull=drive.pull and (drive.pull[0], drive.pull[1] * share),
            bias=drive.bias and (drive.bias[0], drive.bias[1] * share),
            low=drive.low * share,
            high=drive.high * share,
        ),
    )
