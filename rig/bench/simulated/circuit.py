"""Nodal analysis of the toy's board, and what bridges do to the nets they touch.

Voltages are fractions of the rail: every source on the board is a driver or a pull to
one of the rails or to a bias between them, so the solution scales with the rail and one
memo serves fresh and flat cells alike. Only diodes have volts of their own; they are
solved at the rail's nominal voltage.

    python -m rig.bench.simulated.circuit FILE.cir

solves the d.c. point of a netlist that any SPICE reads too.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.bench.simulated import netlist
from rig.bench.simulated.bridged import Bridged
from rig.bench.simulated.diodes import Diode
from rig.bench.simulated.limiter import Limited
from rig.bench.simulated.nodal import BIAS, HIGH, LOW, OPEN, Drive, Island
from rig.errors import ConfigError

__all__ = ["BIAS", "HIGH", "LOW", "OPEN", "Bridged", "Circuit", "Drive", "Link"]


@dataclass(frozen=True)
class Link:
    """Pads closed onto the two buses, with the series value between the buses.

    Parameters
    ----------
    pads_1, pads_2 : tuple of str
    lead_ohm, series_ohm, switch_ohm : float
        Each pad reaches its bus through its lead and one switch contact.
    limit_a : float or None
        What the path between the buses passes at most, amperes; needs a circuit with `rail_v`.
    """

    pads_1: tuple[str, ...]
    pads_2: tuple[str, ...]
    lead_ohm: float
    series_ohm: float
    switch_ohm: float
    limit_a: float | None = None


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
        `rail_v`, as limited bridges do.
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
        self._check()
        self.islands = self._make_islands()
        links = [(a, b) for a, b, _ in self.resistors + self.capacitors]
        links += [(d.anode, d.cathode) for d in self.diodes]
        self._tied = _neighbours(links, self.fixed)
        self._bridged: dict[tuple, Bridged] = {}

    def _check(self) -> None:
        count = len(self.drives)
        parts = [("resistor", "ohm", *part) for part in self.resistors]
        parts += [("capacitor", "farad", *part) for part in self.capacitors]
        parts += [("diode", "A", d.anode, d.cathode, d.saturation_a) for d in self.diodes]
        for what, unit, a, b, value in parts:
            if not (0 <= a < count and 0 <= b < count):
                raise ValueError(f"{what} between nets {a} and {b}: there are {count} nets")
            between = f"{what} between {self.names[a]} and {self.names[b]}"
            if what == "diode" and a == b:
                raise ValueError(f"{between} has both ends on one net")
            if not value > 0:
                raise ValueError(f"{between} has {value} {unit}, must be above 0")
        for net in self.fixed:
            if self.drives[net] != Drive():
                raise ValueError(f"{self.names[net]} is held by the supply and driven as well")

    def _make_islands(self) -> list[Island]:
        """Find which nets fixed resistors join; fixed nets join nothing."""
        neighbours = _neighbours([(a, b) for a, b, _ in self.resistors], self.fixed)
        found, seen = [], set(self.fixed)
        for net in range(len(self.drives)):
            if net not in seen:
                nets = _grown([net], neighbours)
                seen |= nets
                parts = [r for r in self.resistors if r[0] in nets or r[1] in nets]
                found.append(Island(sorted(nets), parts, self.fixed, self.drives))
        return found

    def reached(self, nets: Sequence[int]) -> list[Island]:
        """Give the islands of these nets, and those that diodes or capacitors tie to them."""
        grown = _grown(nets, self._tied)
        return [island for island in self.islands if island.nets[0] in grown]

    def floating(self, state: Sequence[int]) -> tuple[str, ...]:
        """Name the nets that nothing holds while the drivers are in a state."""
        links = [(a, b) for a, b, _ in self.resistors]
        links += [(d.anode, d.cathode) for d in self.diodes]
        held = [net for net, drive in enumerate(self.drives) if drive.sources(state[net])]
        reached = _grown([*held, *self.fixed], _neighbours(links, ()))
        return tuple(self.names[net] for net in range(len(self.drives)) if net not in reached)

    def bridged(
        self, bridges: Sequence[tuple[int, int, float]], whole: bool = False
    ) -> Bridged:
        """Add resistors between nets (numbers from `len(drives)` up are extra nodes).

        Only the nets that they reach are solved, or with `whole` every one.

        Raises
        ------
        ValueError
            A resistance is not above zero, or one is limited and there is no `rail_v`.
        """
        for a, b, ohm in bridges:
            if not ohm > 0:
                raise ValueError(f"bridge between nodes {a} and {b} is {ohm} ohm, must be above 0")
            if isinstance(ohm, Limited) and self.rail_v is None:
                raise ValueError("a limited bridge needs the rail's voltage; give rail_v")
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
        reaches the bus's node through its own lead and contact. A lead that is closed alone carries
        both buses' nodes along.
        """
        found = []
        extra = len(self.drives)
        for link in links:
            reach_ohm = link.lead_ohm + link.switch_ohm
            if len(link.pads_1) == 1 and len(link.pads_2) == 1:
                path_ohm = _path(max(2 * reach_ohm + link.series_ohm, 0.01), link)
                found.append((net_of[link.pads_1[0]], net_of[link.pads_2[0]], path_ohm))
                continue
            bus_1, bus_2 = extra, extra + (1 if link.series_ohm > 0 else 0)
            extra = bus_2 + 1
            for pads, bus in ((link.pads_1, bus_1), (link.pads_2, bus_2)):
                found += [(net_of[pad], bus, max(reach_ohm, 0.01)) for pad in pads]
            if bus_1 != bus_2:
                found.append((bus_1, bus_2, _path(link.series_ohm, link)))
        return found


def _path(ohm: float, link: Link) -> float:
    return ohm if link.limit_a is None else Limited(ohm, link.limit_a)


def _neighbours(
    links: Iterable[tuple[int, int]], without: Collection[int]
) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for a, b in links:
        if a not in without and b not in without:
            found.setdefault(a, []).append(b)
            found.setdefault(b, []).append(a)
    return found


def _grown(nets: Iterable[int], neighbours: dict[int, list[int]]) -> set[int]:
    """Give these nets and all that neighbours lead to."""
    found, todo = set(), list(nets)
    while todo:
        net = todo.pop()
        if net not in found:
            found.add(net)
            todo += neighbours.get(net, ())
    return found


def main(arguments: list[str] | None = None) -> int:
    """Print the d.c. point of a netlist as JSON."""
    parser = argparse.ArgumentParser(
        prog="python -m rig.bench.simulated.circuit",
        description="Solve the d.c. point of a netlist of R, V and I cards (SPICE's form).",
    )
    parser.add_argument("file", type=Path, metavar="FILE.cir")
    file = parser.parse_args(arguments).file
    try:
        text = file.read_text("utf-8")
        volts = netlist.operating_point(netlist.read(text))
    except (OSError, UnicodeDecodeError) as error:
        print(f"error: {file} can't be read: {error}", file=sys.stderr)
        return ConfigError.exit_code
    except ConfigError as error:
        print(f"error: {file}: {error}", file=sys.stderr)
        return error.exit_code
    if netlist.title_is_card(text):
        print(f"note: {file}: line 1 looks like a card, but is the title", file=sys.stderr)
    print(json.dumps(volts, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
