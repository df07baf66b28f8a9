"""What is asked once more wherever a touch begins: may these pads be closed?"""

from __future__ import annotations

from rig.bench.base import Touch
from rig.project import Project, touchable


def refusal(project: Project, touch: Touch) -> str | None:
    """Say why a touch may not be made, or None where it may.

    Each connection has buses of its own, so each is judged by itself; no pad may be in two.

    Parameters
    ----------
    project : Project
    touch : Touch

    Returns
    -------
    str or None
        The reason in a few words.
    """
    taken: set[str] = set()
    for connection in touch.connections:
        pads_1, pads_2 = connection.pads_1, connection.pads_2
        reason = touchable(project, pads_1, pads_2, connection.series_ohm)
        if reason is None and not taken.isdisjoint(pads_1 + pads_2):
            reason = "a pad can't be closed twice"
        if reason is not None:
            return reason
        taken.update(pads_1 + pads_2)
    return None
