"""What every input of the board reads right now."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rig.bench.simulated.circuit import HIGH, OPEN, Link
from rig.bench.simulated.parts import Board


class Wiring:
    """Driver states of all nets, the closures upon them, and the levels that result.

    Parameters
    ----------
    board : Board

    Attributes
    ----------
    state : list of int
        Driver state of every net; the chips write here.
    joined : frozenset of int
        Nets that the closures and keys reach.
    touched : frozenset of int
        These and the nets that are always solved; every other net reads what its own driver
        says.
    """

    def __init__(self, board: Board):
        self._board = board
        self._net_of = board.net_of
        self.state = [net.idle for net in board.nets]
        self._thresholds = [net.threshold for net in board.nets]
        self.links: tuple[Link, ...] = ()
        self.keys: frozenset[str] = frozenset()
        self._attach()
        self._rest_high = [
            level > net.threshold for level, net in zip(self.reads(), board.nets, strict=True)
        ]

    def fork(self) -> Wiring:
        """Copy the wiring with all its state."""
        other = Wiring.__new__(Wiring)
        other.__dict__.update(self.__dict__)
        other.state = list(self.state)
        return other

    def connect(self, links: Sequence[Link]) -> None:
        """Replace all closures."""
        self.links = tuple(links)
        self._attach()

    def press(self, keys: Collection[str]) -> None:
        """Replace the set of keys held down."""
        self.keys = frozenset(keys)
        self._attach()

    def _bridges(self) -> list[tuple[int, int, float]]:
        return [*self._closed, *self._board.always]

    def signature(self, nets: frozenset[int]) -> tuple | None:
        """Tell apart all that is joined to any of these nets; None where nothing is."""
        reached = [
            (part, frozenset(self._board.circuit.bridged(part).members)) for part in self._parts
        ]
        # keys and closures that have nothing to do with each other are told apart
        if len(reached) == 2 and not reached[0][1].isdisjoint(reached[1][1]):
            return None if nets.isdisjoint(self.joined) else self._closed
        return tuple(part for part, members in reached if not nets.isdisjoint(members)) or None

    def _attach(self) -> None:
        circuit = self._board.circuit
        links = [*circuit.link_resistors(self.links, self._net_of), *self._board.fitted]
        keys = [self._board.contacts[key] for key in sorted(self.keys)]
        self._parts = tuple(tuple(sorted(part)) for part in (links, keys) if part)
        self._closed = tuple(sorted([*links, *keys]))
        self.joined = frozenset(circuit.bridged(self._closed).members)
        self.bridged = self._board.circuit.bridged(self._bridges())
        self._place = self.bridged.place
        self.touched = frozenset(self.bridged.members)

    def leads(self, net: int) -> bool:
        """Say whether a closed lead hangs on this net."""
        return any(
            self._net_of[pad] == net for link in self.links for pad in link.pads_1 + link.pads_2
        )

    def draw_siemens(self) -> float:
        """Give the current through the closures now, in amperes per volt of the rail."""
        circuit, nets = self._board.circuit, len(self.state)
        levels, _ = self.bridged.solved(self.state)

        def level(node: int) -> float:
            return circuit.fixed[node] if node in circuit.fixed else levels[self._place[node]]

        total = 0.0
        for a, b, ohm in circuit.link_resistors(self.links, self._net_of):
            if a == b or a >= nets:
                continue
            flow = (level(a) - level(b)) / ohm
            # onto a bus: what comes in at one pad leaves at another
            total += abs(flow) if b < nets else max(0.0, flow)
        return total

    def level(self, net: int) -> float:
        """Give the level of a touched net, as a fraction of the rail."""
        levels, _ = self.bridged.solved(self.state)
        return levels[self._place[net]]

    def impedance_ohm(self, net: int, driven: int) -> float:
        """Give the volts at `net` per ampere put in at `driven`, both touched."""
        _, impedance = self.bridged.solved(self.state)
        return float(impedance[self._place[net], self._place[driven]])

    def high(self, net: int) -> bool:
        """Say what an input on this net reads."""
        place = self._place.get(net)
        if place is None:
            state = self.state[net]
            return self._rest_high[net] if state == OPEN else state == HIGH
        levels, _ = self.bridged.solved(self.state)
        return levels[place] > self._thresholds[net]

    def reads(self) -> list[float]:
        """Solve the whole board and give every net's level, for measuring."""
        circuit = self._board.circuit
        whole = circuit.bridged(self._bridges(), whole=True)
        levels, _ = whole.solved(self.state)
        return [
            circuit.fixed[net] if net in circuit.fixed else levels[whole.place[net]]
            for net in range(len(self.state))
        ]
