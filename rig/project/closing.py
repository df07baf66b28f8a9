"""What is asked wherever a touch is planned or begun: may these pads be closed?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from rig.project.electrical import touchable
from rig.project.models import Project


class Connects(Protocol):
    """Pads joined to pads, with a resistance between the buses; see `rig.bench.Connection`."""

    @property
    def pads_1(self) -> tuple[str, ...]:
        """Pads on bus 1."""

    @property
    def pads_2(self) -> tuple[str, ...]:
        """Pads on bus 2."""

    @property
    def series_ohm(self) -> float:
        """What is between the buses, ohms."""


class Closing(NamedTuple):
    """A connection that nobody has made yet."""

    pads_1: tuple[str, ...]
    pads_2: tuple[str, ...]
    series_ohm: float


def refusal(
    project: Project, connections: Sequence[Connects], closed_ms: float | None = None
) -> str | None:
    """Say why connections may not be closed at once, or None where they may.

    Each connection has buses of its own, so each is judged by itself; no pad may be in two.

    Parameters
    ----------
    project : Project
    connections : sequence of Connects
    closed_ms : float, optional
        For how long, ms; without it no low pad may.

    Returns
    -------
    str or None
        The reason in a few words.
    """
    bench, count = project.rig.bench, len(connections)
    taken: set[str] = set()
    for connection in connections:
        pads_1, pads_2 = tuple(connection.pads_1), tuple(connection.pads_2)
        reason = touchable(project, pads_1, pads_2, connection.series_ohm, closed_ms)
        if reason is None and not taken.isdisjoint(pads_1 + pads_2):
            reason = "a pad can't be closed twice"
        if reason is not None:
            return reason
        taken.update(pads_1 + pads_2)
    if bench == "by-hand" and len(taken) > 2:
        return "two tips bridge two pads"
    if bench == "hardware" and count > 1:
        return f"{count} connections need {count} pairs of buses, this bench has one"
    return None
