"""What a simulated toy's board is made of, whatever kind of toy it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rig.bench.simulated import names
from rig.bench.simulated.circuit import OPEN, Circuit, Drive
from rig.bench.simulated.clock import RcClock
from rig.bench.simulated.habits import Habits
from rig.bench.simulated.supply import Power

MIN_PADS, MAX_PADS = 8, 64
KEY_CONTACT_OHM = 800.0
"""A rubber key's carbon dot on its tracks."""


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
class Board:
    """A toy's board: what the person can know of it, and its inside.

    Parameters
    ----------
    kind : str
        Of `rig.bench.simulated.board.KINDS`.
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
    contacts : mapping of str to (net, net, ohm)
        What each key joins while it is down.
    inside : Any
        What only the chips of this kind know of, such as the contents of their memory.
    press_ms : int
        How long a person holds a key of such a toy.
    always : tuple of (net, net, ohm)
        Resistors of the sound path: its levels are solved though nothing is bridged.
    fitted : tuple of (net, net, ohm)
        Resistors between lines, which act as a bridge would.
    chip_rail : float
        The chips' supply as a share of the battery's; below 1 behind a regulator.
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
    contacts: Mapping[str, tuple[int, int, float]] = field(repr=False)
    inside: Any = field(repr=False)
    clock: RcClock
    habits: Habits
    amplifier_gain: float
    power: Power = field(default_factory=Power)
    press_ms: int = 120
    always: tuple[tuple[int, int, float], ...] = field(default=(), repr=False)
    fitted: tuple[tuple[int, int, float], ...] = field(default=(), repr=False)
    chip_rail: float = 1.0

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


def matrix(
    keys: tuple[str, ...], roles: Mapping[str, int], columns: int
) -> dict[str, tuple[int, int, float]]:
    """Give the contacts of keys that stand in the rows and columns of a matrix, in order."""
    return {
        key: (roles[f"row{i // columns}"], roles[f"col{i % columns}"], KEY_CONTACT_OHM)
        for i, key in enumerate(keys)
    }


def key_places(board: Board, rows: int, columns: int) -> list[str | None]:
    """Give the key at each place of the matrix, row by row; None where there is none."""
    at = {frozenset(joined[:2]): key for key, joined in board.contacts.items()}
    roles = board.roles
    return [
        at.get(frozenset((roles[f"row{r}"], roles[f"col{c}"])))
        for r in range(rows)
        for c in range(columns)
    ]


def place_pads(
    rng: np.random.Generator, count: int, wanted: Sequence[int], nets: Sequence[Net]
) -> tuple[Pad, ...]:
    """Put leads on every wanted net once, and on some of them again, in a person's order."""
    roles = {net.role: number for number, net in enumerate(nets)}
    idle = {number for role, number in roles.items() if role.startswith("nc")}
    doubled = [roles[str(rng.choice(("gnd", "vcc")))]]
    # long tracks with many joints on them are mostly those that do nothing
    others = [n for n in wanted if n not in (roles["gnd"], roles["vcc"])]
    others += [n for n in others if n in idle]
    while len(wanted) + len(doubled) < count:
        doubled.append(int(rng.choice(others)))
    placed = list(wanted) + doubled[: count - len(wanted)]
    placed = [placed[i] for i in rng.permutation(len(placed))]
    notes = names.pad_notes(rng, count)
    known = {placed.index(roles["vcc"]): "battery spring, plus",
             placed.index(roles["gnd"]): "battery spring, minus"}
    return tuple(
        Pad(letter, known.get(i, notes[i]), placed[i], i in known)
        for i, letter in enumerate(names.letters(count))
    )


def chosen_roles(
    rng: np.random.Generator, pads: int, families: dict[str, list[str]]
) -> list[str]:
    """Choose the nets that get leads: the rails, the clock, live lines, and inert tracks.

    Parameters
    ----------
    families : dict of str to list of str
        Roles that belong together, each list in the order of choice. A person puts leads on
        something of everything before the second of a kind.

    Returns
    -------
    list of str
        Roles; those of inert tracks are nc0, nc1 and on.
    """
    count = max(7, round(pads * rng.uniform(0.64, 0.72)))
    lively = max(3, round(0.5 * count - 3.0))
    left = {family: list(roles) for family, roles in families.items()}
    found = ["vcc", "gnd", "osc"]
    while lively > 0 and any(left.values()):
        for family in [str(f) for f in rng.permutation(sorted(left))]:
            if lively > 0 and left[family]:
                found.append(left[family].pop(0))
                lively -= 1
    return found + [f"nc{i}" for i in range(count - len(found))]
