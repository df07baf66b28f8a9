"""What one pair of nets really did, over one path and over all of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Shown:
    """What one pair of nets did over one series value, or one pad's lead alone.

    Parameters
    ----------
    series_ohm : float
    path_ohm : float or None
        None for a lead alone.
    differs, freezes, runs_on, guarded, browns_out : float
        Share of the states, 0 to 1.
    worst_db : tuple of float
        For each state, the difference that two windows in a row reach; of the toy alone and of that
        with a lead on the nearer one's.
    change : str
        What was done to the sound of most states that differ; "" where none does.
    """

    series_ohm: float
    path_ohm: float | None
    differs: float
    freezes: float
    runs_on: float
    guarded: float
    browns_out: float
    worst_db: tuple[float, ...]
    change: str


def facts(shown: list[Shown]) -> dict | None:
    """Sum up what a pair does over all its paths; None where it shows nothing.

    Returns
    -------
    dict or None
        `least_path_ohm`, `most_path_ohm`: over which the sound differs; None where it only
        freezes, and for a lead alone. `worst_db`, `change`: by how much and in what way, over the
        path where it differs most. `bends`, `freezes`, `runs_on`, `guarded`, `browns_out`: largest
        share of the states.
    """
    if not any(s.differs or s.freezes or s.guarded for s in shown):
        return None
    differing = [s for s in shown if s.differs]
    paths = [s.path_ohm for s in differing if s.path_ohm is not None]
    most = max(differing, key=lambda s: max(s.worst_db), default=None)
    return {
        "least_path_ohm": min(paths, default=None), "most_path_ohm": max(paths, default=None),
        "worst_db": round(max(most.worst_db), 2) if most else 0.0,
        "change": most.change if most else "",
        "bends": max(s.differs for s in shown), "freezes": max(s.freezes for s in shown),
        "runs_on": max(s.runs_on for s in shown), "guarded": max(s.guarded for s in shown),
        "browns_out": max(s.browns_out for s in shown),
    }  # fmt: skip
