"""Nodal analysis of the toy's board, and what bridges do to the nets they touch.

Voltages are fractions of the rail: every source on the board is a driver or a pull to
one of the rails or to a bias between them, so the solution scales with the rail and one
memo serves fresh and flat cells alike. Only diodes have volts of their own; they are
solved at the rail's nominal voltage.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rig.bench.simulated.diodes import Diode, conduct
from rig.bench.simulated.transient import Transient

GROUND = -1
"""Node number of the reference in `solve`."""

LEAK_SIEMENS = 1e-11
"""Leakage of every node to the reference, so that a floating net has a voltage (100 Gohm)."""

LOW, HIGH, OPEN, BIAS = 0, 1, 2, 3
"""What a net's driver does: pulls to ground, pulls to the rail, lets go, holds its bias."""


def solve(
    nodes: int,
    resistors: Sequence[tuple[int, int, float]],
    sources: Sequence[tuple[int, float, float]],
) -> tuple[np.ndarray, np.ndarray]:
    """Solve a resistor network by nodal analysis (Kirchhoff's current law at every node).

    Parameters
    ----------
    nodes : int
        How many nodes there are beside the reference.
    resistors : sequence of (node, node, ohm)
        `GROUND` is the reference; ohm > 0.
    sources : sequence of (node, volts, ohm)
        Thevenin sources from the reference to a node; ohm > 0.

    Returns
    -------
    volts : ndarray, shape (nodes,)
    impedance_ohm : ndarray, shape (nodes, nodes)
        The inverse of the conductance matrix: its diagonal is the Thevenin resistance
        seen at each node, an element (i, j) the volts at i per ampere put in at j.

    Raises
    ------
    ValueError
        A resistance is not above zero.
    """
    siemens = np.zeros((nodes, nodes))
    siemens[np.diag_indices(nodes)] = LEAK_SIEMENS
    amps = np.zeros(nodes)
    for a, b, ohm in resistors:
        if not ohm > 0:
            raise ValueError(f"resistance between nodes {a} and {b} is {ohm} ohm, must be above 0")
        g = 1.0 / ohm
        if a != GROUND:
            siemens[a, a] += g
        if b != GROUND:
            siemens[b, b] += g
        if a != GROUND and b != GROUND:
            siemens[a, b] -= g
            siemens[b, a] -= g
    for node, volts, ohm in sources:
        if not ohm > 0:
            raise ValueError(f"source at node {node} has {ohm} ohm, must be above 0")
        siemens[node, node] += 1.0 / ohm
        amps[node] += volts / ohm
    impedance_ohm = np.linalg.inv(siemens)
    return impedance_ohm @ amps, impedance_ohm


@dataclass(frozen=True)
class Drive:
    """How one net is driven and pulled.

    Parameters
    ----------
    low_ohm, high_ohm : float or None
        Output resistance of the driver towards its low and its high rail; None where
        nothing drives.
    pull : (ohm, fraction of the rail) or None
        A resistor that is always there.
    bias : (ohm, fraction of the rail) or None
        What the net is held at in the state `BIAS`.
    low, high : float
        The driver's own rails, fractions of the board's.
    """

    low_ohm: float | None = None
    high_ohm: float | None = None
    pull: tuple[float, float] | None = None
    bias: tuple[float, float] | None = None
    low: float = 0.0
    high: float = 1.0

    def sources(self, state: int) -> list[tuple[float, float]]:
        """Give the (ohm, fraction) sources of this net in a driver state."""
        found = []
        if self.pull is not None:
            found.append(self.pull)
        if state == LOW and self.low_ohm is not None:
            found.append((self.low_ohm, self.low))
        elif state == HIGH and self.high_ohm is not None:
            found.append((self.high_ohm, self.high))
        elif state == BIAS and self.bias is not None:
            found.append(self.bias)
        return found


@dataclass(frozen=True)
class Link:
    """Pads closed onto the two buses, with the series value between the buses.

    Parameters
    ----------
    pads_1, pads_2 : tuple of str
    lead_ohm, series_ohm, switch_ohm : float
        Each pad reaches its bus through its lead and one switch contact.
    """

    pads_1: tuple[str, ...]
    pads_2: tuple[str, ...]
    lead_ohm: float
    series_ohm: float
    switch_ohm: float


class Bridged:
    """The part of the board that extra resistors reach, solved once per driver state."""

    def __init__(
        self, circuit: Circuit, bridges: tuple[tuple[int, int, float], ...], whole: bool = False
    ):
        fixed = circuit.fixed
        resistors = circuit.resistors + bridges
        neighbours: dict[int, list[int]] = {}
        for a, b in [*((a, b) for a, b, _ in resistors), *circuit.coupled]:
            neighbours.setdefault(a, []).append(b)
            neighbours.setdefault(b, []).append(a)
        reached: set[int] = set()
        todo = [node for a, b, _ in bridges for node in (a, b) if node not in fixed]
        if whole:
            todo += [net for net in range(len(circuit.drives)) if net not in fixed]
        while todo:
            node = todo.pop()
            if node in reached:
                continue
            reached.add(node)
            todo += [n for n in neighbours.get(node, ()) if n not in fixed]
        nodes = sorted(reached)
        self.place = {node: i for i, node in enumerate(nodes)}
        self.members = tuple(node for node in nodes if node < len(circuit.drives))
        self._drives = circuit.drives
        self._resistors: list[tuple[int, int, float]] = []
        self._rails: list[tuple[int, float, float]] = []
        for a, b, ohm in resistors:
            if a in fixed and b in fixed:
                continue
            if a in fixed or b in fixed:
                rail, node = (a, b) if a in fixed else (b, a)
                if node in self.place:
                    self._rails.append((self.place[node], fixed[rail], ohm))
            elif a in self.place:
                self._resistors.append((self.place[a], self.place[b], ohm))
        self._fixed = fixed
        self._rail_v = circuit.rail_v
        self._diodes = [d for d in circuit.diodes if self._reaches(d.anode, d.cathode)]
        self._across, self._offset = self._between([(d.anode, d.cathode) for d in self._diodes])
        self._capacitors = [c for c in circuit.capacitors if self._reaches(*c[:2])]
        self._memo: dict[tuple[int, ...], tuple[list[float], np.ndarray]] = {}

    def _reaches(self, a: int, b: int) -> bool:
        return a in self.place or b in self.place

    def _between(self, ends: Sequence[tuple[int, int]]) -> tuple[np.ndarray, np.ndarray]:
        """Give what turns levels into the differences between two ends each."""
        across, offset = np.zeros((len(ends), len(self.place))), np.zeros(len(ends))
        for i, pair in enumerate(ends):
            for net, sign in zip(pair, (1.0, -1.0), strict=True):
                if net in self._fixed:
                    offset[i] += sign * self._fixed[net]
                else:
                    across[i, self.place[net]] += sign
        return across, offset

    def solved(self, state: Sequence[int]) -> tuple[list[float], np.ndarray]:
        """Give the levels and impedances of the reached nodes.

        Parameters
        ----------
        state : sequence of int, shape (nets,)
            Driver state of every net of the board.

        Returns
        -------
        levels : list of float
            Fractions of the rail, at the places that `place` gives.
        impedance_ohm : ndarray
            Small-signal: diodes that conduct count as their resistance at their current.
        """
        key = tuple([state[m] for m in self.members])
        found = self._memo.get(key)
        if found is None:
            sources = list(self._rails)
            for net, net_state in zip(self.members, key, strict=True):
                for ohm, fraction in self._drives[net].sources(net_state):
                    sources.append((self.place[net], fraction, ohm))
            volts, impedance_ohm = solve(len(self.place), self._resistors, sources)
            if self._diodes:
                volts, impedance_ohm = self._clamped(volts, impedance_ohm)
            found = (volts.tolist(), impedance_ohm)
            self._memo[key] = found
        return found

    def _clamped(
        self, levels: np.ndarray, impedance_ohm: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Let the diodes conduct."""
        across = self._across
        open_v = (across @ levels + self._offset) * self._rail_v
        towards = impedance_ohm @ across.T
        seen_ohm = across @ towards
        found = conduct(open_v, seen_ohm, self._diodes)
        if found is None:
            return levels, impedance_ohm
        amps, dynamic_ohm = found
        levels = levels - towards @ amps / self._rail_v
        loop_ohm = seen_ohm + np.diag(dynamic_ohm)
        return levels, impedance_ohm - towards @ np.linalg.solve(loop_ohm, towards.T)

    def transient(self, state: Sequence[int]) -> Transient:
        """Give how the reached nodes move while the drivers are in a state.

        Levels are fractions of the rail here too. Diodes count as their small-signal
        resistance at the state's d.c. point.
        """
        levels, impedance_ohm = self.solved(state)
        across, offset = self._between([(a, b) for a, b, _ in self._capacitors])
        farads = [farad for *_, farad in self._capacitors]
        return Transient(np.asarray(levels), impedance_ohm, across, farads, offset)


class Circuit:
    """A board's nets with their drivers and fixed parts.

    A net that nothing holds has a leak of 100 Gohm to ground: it is at 0 V, and
    `floating` names it.

    Parameters
    ----------
    drives : sequence of Drive, one per net
    resistors : sequence of (net, net, ohm)
    fixed : dict of net to fraction of the rail
        Nets held by the supply itself.
    diodes : sequence of Diode
        Between any two nets; `diodes.protection` gives the two of a chip's pin. They need
        `rail_v`.
    capacitors : sequence of (net, net, farad)
        Open at d.c.; `Bridged.transient` gives what they do over time.
    rail_v : float or None
        Nominal voltage of the rail.
    names : sequence of str
        Of the nets, for errors.

    Raises
    ------
    ValueError
        A part has no value above zero or an end that isn't a net, a fixed net is driven,
        or there are diodes and no `rail_v`.
    """

    def __init__(
        self,
        drives: Sequence[Drive],
        resistors: Sequence[tuple[int, int, float]],
        fixed: dict[int, float],
        *,
        diodes: Sequence[Diode] = (),
        capacitors: Sequence[tuple[int, int, float]] = (),
        rail_v: float | None = None,
        names: Sequence[str] = (),
    ):
        self.drives = tuple(drives)
        self.resistors = tuple(resistors)
        self.fixed = dict(fixed)
        self.diodes = tuple(diodes)
        self.capacitors = tuple(capacitors)
        self.names = tuple(names) or tuple(f"net {i}" for i in range(len(self.drives)))
        if self.diodes and rail_v is None:
            raise ValueError("diodes need the rail's voltage; give rail_v")
        self.rail_v = rail_v
        self.coupled = [(d.anode, d.cathode) for d in self.diodes]
        self.coupled += [(a, b) for a, b, _ in self.capacitors]
        self._check()
        self._bridged: dict[tuple, Bridged] = {}

    def _check(self) -> None:
        count = len(self.drives)
        for what, unit, parts in (
            ("resistor", "ohm", self.resistors),
            ("capacitor", "farad", self.capacitors),
        ):
            for a, b, value in parts:
                if not (0 <= a < count and 0 <= b < count):
                    raise ValueError(f"{what} between nets {a} and {b}: there are {count} nets")
                if not value > 0:
                    raise ValueError(
                        f"{what} between {self.names[a]} and {self.names[b]} has {value} {unit}, "
                        "must be above 0"
                    )
        for net in self.fixed:
            if self.drives[net] != Drive():
                raise ValueError(f"{self.names[net]} is held by the supply and driven as well")

    def floating(self, state: Sequence[int]) -> tuple[str, ...]:
        """Name the nets that nothing holds while the drivers are in a state."""
        held = set(self.fixed)
        held |= {net for net, drive in enumerate(self.drives) if drive.sources(state[net])}
        links = [(a, b) for a, b, _ in self.resistors]
        links += [(d.anode, d.cathode) for d in self.diodes]
        grown = True
        while grown:
            more = {n for a, b in links for n in (a, b) if a in held or b in held} - held
            grown = bool(more)
            held |= more
        return tuple(self.names[net] for net in range(len(self.drives)) if net not in held)

    def bridged(
        self, bridges: Sequence[tuple[int, int, float]], whole: bool = False
    ) -> Bridged:
        """Add resistors between nets (numbers from `len(drives)` up are extra nodes).

        Only the nets that they reach are solved, or with `whole` every one.
        """
        key = tuple(sorted((min(a, b), max(a, b), ohm) for a, b, ohm in bridges if a != b))
        found = self._bridged.get((key, whole))
        if found is None:
            if len(self._bridged) > 4096:
                self._bridged.clear()
            found = self._bridged[key, whole] = Bridged(self, key, whole)
        return found

    def link_resistors(
        self, links: Sequence[Link], net_of: dict[str, int]
    ) -> list[tuple[int, int, float]]:
        """Turn closed links into resistors, with the buses as extra nodes.

        A link of one pad to one pad is a single resistor; with more pads on a bus, each
        reaches the bus's node through its own lead and contact.
        """
        found = []
        extra = len(self.drives)
        for link in links:
            reach_ohm = link.lead_ohm + link.switch_ohm
            if len(link.pads_1) == 1 and len(link.pads_2) == 1:
                path_ohm = max(2 * reach_ohm + link.series_ohm, 0.01)
                found.append((net_of[link.pads_1[0]], net_of[link.pads_2[0]], path_ohm))
                continue
            bus_1, bus_2 = extra, extra + (1 if link.series_ohm > 0 else 0)
            extra = bus_2 + 1
            for pads, bus in ((link.pads_1, bus_1), (link.pads_2, bus_2)):
                found += [(net_of[pad], bus, max(reach_ohm, 0.01)) for pad in pads]
            if bus_1 != bus_2:
                found.append((bus_1, bus_2, link.series_ohm))
        return found
