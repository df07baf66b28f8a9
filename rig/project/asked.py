"""What rig.yaml asks to be touched beside all pairs: groups of pads, several connections, chords."""

from __future__ import annotations

from collections.abc import Iterator

from rig.pads import Joint, in_order, joints_of
from rig.project import hints
from rig.project.closing import Closing, refusal
from rig.project.models import Project

Asking = tuple[tuple[Joint, ...], tuple[str, ...]]
"""Connections, and the keys that are pressed together meanwhile."""


def asked(project: Project) -> list[Asking]:
    """Give what is asked for; without keys of its own with each of the sweep's."""
    found: list[Asking] = []
    for one in project.rig.sweep.also:
        joints = in_order(joints_of(one.join))
        chords = [(key,) for key in project.sweep_keys] if one.keys is None else [tuple(one.keys)]
        found += [(joints, keys) for keys in chords]
    return found


def problems(project: Project) -> Iterator[tuple[tuple, str]]:
    """Give what is wrong in `sweep: also`: the place in rig.yaml, and what to do."""
    toy, rig = project.toy, project.rig
    for index, one in enumerate(rig.sweep.also):
        path = ("sweep", "also", index)
        for place, key in enumerate(one.keys or []):
            if key not in toy.keys:
                hint = hints.nearest(key, toy.keys)
                yield (*path, "keys", place), (
                    f"there is no key {hints.shown(key)} in toy.yaml: {hint}"
                )
            elif key in one.keys[:place]:
                yield (*path, "keys", place), f"key {hints.shown(key)} is there twice: take one out"
        if rig.bench == "by-hand" and one.keys is not None and len(one.keys) != 1:
            yield path, "by hand one key is pressed for each touch: take `keys` out"
        try:
            joints = joints_of(one.join)
        except ValueError:
            yield path, f"{one.join!r} joins no pads: write such as A+B-C, or A-B / C-D"
            continue
        if why := _refused(project, joints):
            yield path, f"{one.join} can't be touched over any path: {why}"


def _refused(project: Project, joints: tuple[Joint, ...]) -> str | None:
    """Say why connections can't be closed over any value of the bank; None where they can."""
    whys = [
        refusal(project, [Closing(one, other, series_ohm) for one, other in joints])
        for series_ohm in project.rig.swept_ohm
    ]
    return None if None in whys else whys[0]
