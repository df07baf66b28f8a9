"""What closures do to the nets of a board, worked out from the nets' open state.

Each island of nets is known with nothing bridged: its levels and its impedances (`nodal`).
A bridge joins a few of those nets, its ports. The ports' own conductances, the inverse of
their impedances, and the bridge's make a small system; its solution goes back into the
islands through their impedances. So a touch costs as many unknowns as it has ends, however
large the board is.

A limited bridge is a resistor first. Where more than its limit would flow it is a source of that
current instead: one step, exact for one limiter, since the rest of the circuit passes less current
the more voltage is left to it. Several change over one at a time until none is on the wrong side.
"""

from __future__ import annotations

from collections.abc import Sequence
from operator import itemgetter
from typing import TYPE_CHECKING

import numpy as np

from rig.bench.simulated.diodes import conduct
from rig.bench.simulated.limiter import Limited
from rig.bench.simulated.nodal import LEAK_SIEMENS, add_resistors
from rig.bench.simulated.transient import Transient

if TYPE_CHECKING:
    from rig.bench.simulated.circuit import Circuit

_MOST_TRIALS = 20


class Bridged:
    """The part of the board that extra resistors reach, solved once per driver state.

    Attributes
    ----------
    place : dict of node to int
        Where each reached node stands in what `solved` gives.
    members : tuple of int
        The reached nets.
    is_linear : bool
        Whether neither a diode nor a limiter is among what is reached, so that levels superpose.
    """

    def __init__(
        self, circuit: Circuit, bridges: tuple[tuple[int, int, float], ...], whole: bool = False
    ):
        self._fixed = fixed = circuit.fixed
        self._rail_v = circuit.rail_v or 1.0
        nets = len(circuit.drives)
        ends = sorted({node for a, b, _ in bridges for node in (a, b) if node not in fixed})
        ports = [node for node in ends if node < nets]
        buses = [node for node in ends if node >= nets]
        islands = circuit.islands if whole else circuit.reached(ports)
        self.members = tuple(sorted(net for island in islands for net in island.nets))
        self.place = {node: i for i, node in enumerate((*self.members, *buses))}
        self._islands = [
            (island, np.array([self.place[net] for net in island.nets])) for island in islands
        ]
        self._ports = np.array([self.place[net] for net in ports], int)
        self._bridges_siemens = np.zeros((len(ends), len(ends)))
        self._bridges_amps = np.zeros(len(ends))
        for bus in range(len(ports), len(ends)):
            self._bridges_siemens[bus, bus] = LEAK_SIEMENS
        within = {node: i for i, node in enumerate(ends)}
        add_resistors(self._bridges_siemens, self._bridges_amps, bridges, within, fixed)
        self._diodes = [d for d in circuit.diodes if self._reaches(d.anode, d.cathode)]
        self._across, self._offset = self._between([(d.anode, d.cathode) for d in self._diodes])
        self._limits = [one[2] for one in bridges if isinstance(one[2], Limited)]
        self._over, self._beside = self._between(
            [(a, b) for a, b, ohm in bridges if isinstance(ohm, Limited)]
        )
        self._knee_v = [ohm * ohm.limit_a for ohm in self._limits]
        self.is_linear = not self._diodes and not self._limits
        self._capacitors = [c for c in circuit.capacitors if self._reaches(*c[:2])]
        # the memo's key, picked for every reading: the members' driver states, or, where a
        # bridge reaches no net, anything that stays the same
        self._picked = itemgetter(*self.members) if self.members else len
        self._memo: dict[int | tuple[int, ...], tuple[list[float], np.ndarray]] = {}

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
        key = self._picked(state)
        found = self._memo.get(key)
        if found is None:
            levels, impedance_ohm = self._joined(state)
            if self._limits:
                levels, impedance_ohm = self._limited(levels, impedance_ohm)
            elif self._diodes:
                levels, impedance_ohm = self._clamped(levels, impedance_ohm)
            found = (levels.tolist(), impedance_ohm)
            self._memo[key] = found
        return found

    def _joined(self, state: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
        """Join the islands by the bridges."""
        count, nets, ports = len(self.place), len(self.members), self._ports
        levels, impedance_ohm = np.zeros(count), np.zeros((count, count))
        for island, at in self._islands:
            volts, ohms = island.solved(tuple([state[net] for net in island.nets]))
            levels[at] = volts
            impedance_ohm[at[:, None], at] = ohms
        if not len(self._bridges_amps):
            return levels, impedance_ohm
        own = np.linalg.inv(impedance_ohm[ports[:, None], ports])
        siemens, amps = self._bridges_siemens.copy(), self._bridges_amps.copy()
        siemens[: len(ports), : len(ports)] += own
        amps[: len(ports)] += own @ levels[ports]
        joined_ohm = np.linalg.inv(siemens)
        joined = joined_ohm @ amps
        # what a volt at each port does to every node; buses and ports are ends themselves
        share = np.zeros((count, len(joined)))
        share[:nets, : len(ports)] = impedance_ohm[:nets, ports] @ own
        ends = np.concatenate((ports, np.arange(nets, count)))
        share[ends] = np.eye(len(joined))
        opened = impedance_ohm - share[:, : len(ports)] @ impedance_ohm[ports]
        opened[ends] = opened[:, ends] = 0.0
        levels = levels + share[:, : len(ports)] @ (joined[: len(ports)] - levels[ports])
        levels[ends] = joined
        return levels, opened + share @ joined_ohm @ share.T

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

    def _limited(
        self, levels: np.ndarray, impedance_ohm: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Let no limiter pass more than its current, and the diodes conduct."""
        full: dict[int, float] = {}
        for _ in range(_MOST_TRIALS):
            now = self._with_sources(levels, impedance_ohm, full)
            if self._diodes:
                now = self._clamped(*now)
            across_v = (self._over @ now[0] + self._beside) * self._rail_v
            # how far each is beyond the end of its line; one at a time changes over to the other
            beyond = [
                full[i] * volts / knee_v - 1 if i in full else abs(volts) / knee_v - 1
                for i, (volts, knee_v) in enumerate(zip(across_v, self._knee_v, strict=True))
            ]
            wrong = [-one if i in full else one for i, one in enumerate(beyond)]
            worst = int(np.argmax(wrong))
            if wrong[worst] <= 1e-9:
                return now
            if worst in full:
                del full[worst]
            else:
                full[worst] = float(np.sign(across_v[worst]))
        raise ArithmeticError(f"{len(self._limits)} limiters found no operating point")

    def _with_sources(
        self, levels: np.ndarray, impedance_ohm: np.ndarray, full: dict[int, float]
    ) -> tuple[np.ndarray, np.ndarray]:
        """Turn limiters at their limit from resistors into sources of current.

        A source beside the resistor brings its current to the limit; its impedance goes with it:
        without a resistor R, Z + t t' / (R - z), t being what an ampere through it does and z what
        is seen between its ends (Sherman and Morrison).
        """
        for i, sign in full.items():
            ohm, over = self._limits[i], self._over[i]
            towards = impedance_ohm @ over
            seen_ohm = over @ towards
            through = (over @ levels + self._beside[i]) / ohm
            wanted = sign * ohm.limit_a / self._rail_v
            levels = levels - towards * (wanted - through) / (1 - seen_ohm / ohm)
            impedance_ohm = impedance_ohm + np.outer(towards, towards) / (ohm - seen_ohm)
        return levels, impedance_ohm

    def transient(self, state: Sequence[int]) -> Transient:
        """Give how the reached nodes move while the drivers are in a state.

        Levels are fractions of the rail here too. Diodes count as their small-signal
        resistance at the state's d.c. point.
        """
        levels, impedance_ohm = self.solved(state)
        across, offset = self._between([(a, b) for a, b, _ in self._capacitors])
        farads = [farad for *_, farad in self._capacitors]
        return Transient(np.asarray(levels), impedance_ohm, across, farads, offset)
