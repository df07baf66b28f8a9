"""What the sweep has seen on each pair: the evidence that a control is chosen by."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from rig.listen import STOPS
from rig.log import Record

PadPair = frozenset


@dataclass(frozen=True)
class Trial:
    """One complete touch of a pair: over which path, what was heard, how the toy was after."""

    path_ohm: float
    sound: str
    after: str
    amount: float | None = None
    unit: str | None = None


def trials_by_pair(records: Iterable[Record]) -> dict[PadPair, list[Trial]]:
    """Gather the touches of each pair of single pads that count.

    Parameters
    ----------
    records : iterable of Record

    Returns
    -------
    dict
        frozenset of two letters -> trials in the order they were made.
    """
    found: dict[PadPair, list[Trial]] = {}
    for record in records:
        connections = record.touch.connections
        if not record.counts or len(connections) != 1:
            continue
        pads = connections[0].pads_1 + connections[0].pads_2
        if len(pads) != 2 or record.path_ohm is None:
            continue
        found.setdefault(PadPair(pads), []).append(
            Trial(record.path_ohm, record.sound, record.after or "answers", record.amount,
                  record.unit)
        )  # fmt: skip
    return found


def amounts(trials: Sequence[Trial], sound: str, unit: str | None) -> list[tuple[float, float]]:
    """Give the middle amount of one sound over each path, from the lowest path up.

    Returns
    -------
    list of (path_ohm, amount)
    """
    by_path: dict[float, list[float]] = {}
    for trial in trials:
        if trial.sound == sound and trial.unit == unit and trial.amount is not None:
            by_path.setdefault(trial.path_ohm, []).append(trial.amount)
    return [(path, median(values)) for path, values in sorted(by_path.items())]


def stopped_ohm(trials: Sequence[Trial]) -> float | None:
    """Give the highest path over which the toy froze or the guard tripped, or None."""
    return max((t.path_ohm for t in trials if t.after in STOPS), default=None)
