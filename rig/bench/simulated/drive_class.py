"""How strongly a net of a simulated board is held, in a word; for benchmarks."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

from rig.bench.simulated.circuit import BIAS, HIGH, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.limiter import Limited
from rig.bench.simulated.parts import Board

RAIL, STRONG, MIDDLE, WEAK = "rail", "< 150", "150-500", "weak"
ORDER = RAIL, STRONG, MIDDLE, WEAK
"""From the strongest: the supply, ohms of outputs (the weakest 4000 series a little above 500), and
all that a pull, a capacitor or the sound path holds, or an output that only pulls down."""

_STRONG_OHM, _DRIVEN_OHM = 150.0, 600.0


def drive_class(board: Board, net: int) -> str:
    """Give the class of a net's driver, by the mean of its two sides."""
    drive = board.nets[net].drive
    if net in board.circuit.fixed:
        return RAIL
    if drive.low_ohm is None or drive.high_ohm is None:
        return WEAK
    mean_ohm = (drive.low_ohm + drive.high_ohm) / 2
    if mean_ohm < _STRONG_OHM:
        return STRONG
    return MIDDLE if mean_ohm <= _DRIVEN_OHM else WEAK


def pair_class(board: Board, net: int, other: int) -> tuple[str, str]:
    """Give the classes of two nets, the stronger first."""
    one, two = sorted((drive_class(board, net), drive_class(board, other)), key=ORDER.index)
    return one, two


def worst_ma(board: Board, net: int, other: int, ohm: float) -> float:
    """Give the highest current through a path between two nets, mA, at the nominal supply.

    Tried are all states that the two nets' own drivers can be in, with all others as at rest.

    Parameters
    ----------
    ohm : float
        Of the whole path; may be `limiter.Limited`, on a circuit that knows its rail's voltage.
    """
    circuit = board.circuit
    bridged = circuit.bridged([(net, other, ohm)])
    state = [one.idle for one in board.nets]
    worst_a = 0.0
    for one, two in product(*(_states(board.nets[n].drive) for n in (net, other))):
        state[net], state[other] = one, two
        levels, _ = bridged.solved(state)
        ends = [_level(circuit, bridged.place, levels, n) for n in (net, other)]
        across_v = (ends[0] - ends[1]) * board.volts
        passed_a = ohm.passed_a(across_v) if isinstance(ohm, Limited) else across_v / ohm
        worst_a = max(worst_a, abs(passed_a))
    return 1000 * worst_a


def _level(circuit: Circuit, place: dict[int, int], levels: list[float], net: int) -> float:
    return circuit.fixed[net] if net in circuit.fixed else levels[place[net]]


def _states(drive: Drive) -> Iterator[int]:
    """Give the states that a net's driver can be in."""
    if drive.low_ohm is not None:
        yield LOW
    if drive.high_ohm is not None:
        yield HIGH
    if drive.bias is not None:
        yield BIAS
    if drive.low_ohm is None or drive.high_ohm is None:
        yield OPEN
