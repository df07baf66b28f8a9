"""Pads as people write them: "C-F", "A+B-C" for pads that share a bus, "A-B / C-D"; "C" alone."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import product

Joint = tuple[tuple[str, ...], tuple[str, ...]]
"""Pads on one side of a connection, and pads on the other: none where a lead is closed alone."""

_JOINT = re.compile(r"([A-Z]{1,3}(?:\+[A-Z]{1,3})*)-([A-Z]{1,3}(?:\+[A-Z]{1,3})*)")


def letter_order(pad: str) -> tuple[int, str]:
    """Give the key that sorts pads as they are lettered: A … Z, AA …"""
    return len(pad), pad


def side_text(joints: Iterable[Joint], side: int) -> str:
    """Name the pads of one side, 0 or 1: "C", "C+D", "C / G" for two connections."""
    return " / ".join("+".join(joint[side]) for joint in joints)


def name_of(joints: Iterable[Joint]) -> str:
    """Name connections as people write them: "A+B-C / D-E", "A" for a lead alone; "" for none."""
    return " / ".join("-".join("+".join(side) for side in joint if side) for joint in joints)


def name_of_sides(one: str, other: str) -> str:
    """Name connections by the texts of their two sides; see `side_text`."""
    sides = zip(one.split(" / "), other.split(" / "), strict=True)
    return " / ".join("-".join(filter(None, joint)) for joint in sides)


def letters_of(name: str) -> tuple[str, ...]:
    """Give the letters in a name, in its order."""
    return tuple(re.findall("[A-Z]+", name))


def is_pair(name: str) -> bool:
    """Say whether a name is of one pad joined to one pad."""
    return len(letters_of(name)) == 2


def is_lone(name: str) -> bool:
    """Say whether a name is of one pad whose lead is closed alone."""
    return len(letters_of(name)) == 1


def joints_of(name: str) -> tuple[Joint, ...]:
    """Give what a name stands for, as it is written: "f+a-c" is ((("F", "A"), ("C",)),).

    Raises
    ------
    ValueError
        It names no pads that are joined, or a pad twice.
    """
    joints: list[Joint] = []
    for part in name.upper().split("/"):
        found = _JOINT.fullmatch(re.sub(r"\s*([+-])\s*", r"\1", part.strip()))
        if not found:
            raise ValueError(f"{name!r} names no pads that are joined")
        joints.append((tuple(found[1].split("+")), tuple(found[2].split("+"))))
    letters = [pad for joint in joints for side in joint for pad in side]
    if len(set(letters)) < len(letters):
        raise ValueError(f"{name!r} names a pad twice")
    return tuple(joints)


def lines_of(name: str) -> list[tuple[str, str]]:
    """Give each pad with each pad that it is joined to across a connection: "A+B-C" has A-C, B-C."""
    return [pair for one, other in joints_of(name) for pair in product(one, other)]


def in_order(joints: Sequence[Joint]) -> tuple[Joint, ...]:
    """Give the same connections in the letters' order: leads, sides and buses may be swapped."""
    def first(side: tuple[str, ...]) -> tuple[bool, int, str]:
        return not side, *(letter_order(side[0]) if side else (0, ""))

    sorted_joints = []
    for joint in joints:
        sides = [tuple(sorted(side, key=letter_order)) for side in joint]
        one, other = sorted(sides, key=first)
        sorted_joints.append((one, other))
    return tuple(sorted(sorted_joints, key=lambda joint: first(joint[0])))
