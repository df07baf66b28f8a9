"""A stepped switch: a few good resistances of a sound that changes from one to the next."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rig.build.course import Course, Point
from rig.build.drawer import Drawer
from rig.build.fitting import Control, Known, Position
from rig.choose.matching import is_same
from rig.words import ohms

FEWEST, MOST = 3, 5
"""Sounds that are worth a switch with steps, and the most positions beside off."""


def good_points(course: Course, kept_ohm: float) -> list[Point]:
    """Give the paths for the positions, from the lowest up; the kept one is always among them."""
    points = course.plateaus(kept_ohm)
    at = next(n for n, one in enumerate(points) if is_same(one.path_ohm, kept_ohm))
    first = min(max(0, at - MOST // 2), max(0, len(points) - MOST))
    return points[first : first + MOST]


def positions(
    course: Course, kept_ohm: float, drawer: Drawer, floor: Callable[[float], float]
) -> tuple[Position, ...]:
    """Give the positions, from the least resistance up.

    Each resistor is the one nearest to its path of which no part lies below the next lower path that
    was touched and did the same, or else below its `floor`.
    """
    points = good_points(course, kept_ohm)
    found = []
    for one in points:
        below = [p.path_ohm for p in course.run if p.path_ohm < one.path_ohm and one in course.run]
        ohm = drawer.near(one.path_ohm, max(below, default=floor(one.path_ohm)))
        found.append(Position(ohm, f"{one.words} over {ohms(one.path_ohm)}"))
    return tuple({one.fixed_ohm: one for one in found}.values())


def stepped(why: str, seen: Known) -> Control:
    """Fit a switch with a resistor at each position."""
    if seen.course is None:
        found: Sequence[Position] = (Position(seen.steady, f"over {ohms(seen.kept)}"),)
    else:
        found = positions(seen.course, seen.kept, seen.drawer, seen.floor_of)
    return Control(
        "stepped switch", f"rotary switch, 1 pole, {len(found) + 1} positions", why,
        min(one.fixed_ohm for one in found), seen.keep,
        hints=(
            ("One pad goes to the common lug. Each position's lug has its own resistor; the resistors' "
             "other legs go together to the other pad. One lug is left free as off."),
            ("Take a non-shorting one: a shorting one joins two positions as it turns, which is less "
             "than either."),
        ),
        positions=tuple(found),
    )
