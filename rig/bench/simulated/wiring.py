"""What every input of the board reads right now."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from rig.bench.simulated.circuit import HIGH, OPEN, Bridged, Link
from rig.bench.simulated.limiter import Limited
from rig.bench.simulated.parts import Board


@dataclass(frozen=True)
class _Group:
    """Resistors that reach nets in common: all of them, those closed from outside, the nets."""

    resistors: tuple[tuple[int, int, float], ...]
    closed: tuple[tuple[int, int, float], ...]
    members: frozenset[int]
    bridged: Bridged


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

    def signature(self, nets: frozenset[int]) -> tuple | None:
        """Tell apart all that is joined to any of these nets; None where nothing is."""
        found = [g.closed for g in self._groups if g.closed and not nets.isdisjoint(g.members)]
        return tuple(found) or None

    def _attach(self) -> None:
        """Sort all that is joined into groups that have no net in common."""
        circuit = self._board.circuit
        links = [*circuit.link_resistors(self.links, self._net_of), *self._board.fitted]
        keys = [self._board.contacts[key] for key in sorted(self.keys)]
        self.joined: frozenset[int] = frozenset()
        self._groups: list[_Group] = []
        for part, is_closed in ((links, True), (keys, True), (self._board.always, False)):
            if not part:
                continue
            resistors, closed = list(part), list(part) if is_closed else []
            members = frozenset(circuit.bridged(resistors).members)
            if is_closed:
                self.joined |= members
            for other in [g for g in self._groups if not g.members.isdisjoint(members)]:
                self._groups.remove(other)
                resistors += other.resistors
                closed += other.closed
                members |= other.members
            group = _Group(
                tuple(sorted(resistors)), tuple(sorted(closed)), members,
                circuit.bridged(resistors),
            )  # fmt: skip
            self._groups.append(group)
        self._at = {net: group.bridged for group in self._groups for net in group.members}
        self.touched = frozenset(self._at)

    def leads(self, net: int) -> bool:
        """Say whether a closed lead hangs on this net."""
        return any(
            self._net_of[pad] == net for link in self.links for pad in link.pads_1 + link.pads_2
        )

    def draw_siemens(self) -> float:
        """Give the current through the closures now, in amperes per volt of the rail."""
        circuit, nets, volts = self._board.circuit, len(self.state), self._board.volts
        links = circuit.link_resistors(self.links, self._net_of)
        levels = dict(circuit.fixed)
        for group in self._groups:
            if not set(links).isdisjoint(group.closed):
                found, _ = group.bridged.solved(self.state)
                levels |= {node: found[place] for node, place in group.bridged.place.items()}
        total = 0.0
        for a, b, ohm in links:
            if a == b or a >= nets:
                continue
            flow = (levels[a] - levels[b]) / ohm
            if isinstance(ohm, Limited):
                flow = ohm.passed_a(flow * ohm * volts) / volts
            # onto a bus: what comes in at one pad leaves at another
            total += abs(flow) if b < nets else max(0.0, flow)
        return total

    def level(self, net: int) -> float:
        """Give the level of a touched net, as a fraction of the rail."""
        bridged = self._at[net]
        levels, _ = bridged.solved(self.state)
        return levels[bridged.place[net]]

    def level_on(
        self, resistors: Sequence[tuple[int, int, float]], node: int, moved: Mapping[int, float]
    ) -> float:
        """Give the level of a node of its own that resistors lead to, in place of the closures.

        Parameters
        ----------
        resistors : sequence of (net or node, net or node, ohm)
        node : int
            A number from the board's nets on.
        moved : mapping of net to fraction of the rail
            By how much the bias of a net is moved just now.
        """
        board = self._board
        own = [*board.fitted, *board.always, *(board.contacts[key] for key in sorted(self.keys))]
        bridged = Bridged(board.circuit, (*own, *resistors))
        levels, impedance = bridged.solved(self.state)
        level, at = levels[bridged.place[node]], bridged.place
        for net, by in moved.items():
            if net in at:
                level += by * float(impedance[at[node], at[net]]) / board.nets[net].drive.bias_ohm
        return level

    def impedance_ohm(self, net: int, driven: int) -> float:
        """Give the volts at `net` per ampere put in at `driven`, both touched."""
        bridged = self._at[net]
        if bridged is not self._at[driven]:
            return 0.0
        _, impedance = bridged.solved(self.state)
        return float(impedance[bridged.place[net], bridged.place[driven]])

    def superposes(self, net: int) -> bool:
        """Say whether the levels of all that a touched net is joined to are sums of their causes."""
        return self._at[net].is_linear

    def high(self, net: int) -> bool:
        """Say what an input on this net reads."""
        bridged = self._at.get(net)
        if bridged is None:
            state = self.state[net]
            return self._rest_high[net] if state == OPEN else state == HIGH
        levels, _ = bridged.solved(self.state)
        return levels[bridged.place[net]] > self._thresholds[net]

    def reads(self) -> list[float]:
        """Solve the whole board and give every net's level, for measuring."""
        circuit = self._board.circuit
        resistors = [resistor for group in self._groups for resistor in group.resistors]
        whole = circuit.bridged(resistors, whole=True)
        levels, _ = whole.solved(self.state)
        return [
            circuit.fixed[net] if net in circuit.fixed else levels[whole.place[net]]
            for net in range(len(self.state))
        ]
