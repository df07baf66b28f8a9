"""What a sweep came to, in numbers that are counted one way wherever they are said."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rig.choose.rank import Find, touched
from rig.log import Record
from rig.pads import is_lone, is_pair


@dataclass(frozen=True)
class Tally:
    """Each pair with a find is counted once, in `bends`, `silences` or `stops`; leads alone apart.

    Parameters
    ----------
    touches : int
        Complete ones: the toy answered, the take is whole, and how it was afterwards is known.
    pairs, groups : int
        Pairs that were touched, and groups of more pads.
    bends : int
        Pairs that change the sound.
    silences : int
        Pairs that only silence it.
    stop_below : int
        Those of the two that stop the toy over a lower resistance.
    stops : int
        Pairs that do nothing but stop the toy.
    lone : int
        Pads whose lead alone does any of these.
    freezes, recovered : int
        Touches that froze the toy, and those after which it came back.
    """

    touches: int
    pairs: int
    groups: int
    bends: int
    silences: int
    stop_below: int
    stops: int
    lone: int
    freezes: int
    recovered: int


def tally(records: Sequence[Record], found: Iterable[Find], recovered: set[int]) -> Tally:
    """Count what a sweep came to.

    Parameters
    ----------
    records : sequence of Record
    found : iterable of Find
        Of these records.
    recovered : set of int
        Numbers of the touches after which the toy was brought back.
    """
    found = list(found)
    lone = sum(one.is_lone for one in found)
    found = [one for one in found if not one.is_lone]
    bends = [one for one in found if one.is_bend]
    silences = [one for one in found if not one.is_bend and not one.stops_only]
    names = [name for name in touched(records) if not is_lone(name)]
    groups = sum(not is_pair(name) for name in names)
    froze = {one.number for one in records if one.after == "freeze"}
    return Tally(
        touches=sum(one.complete and not one.fault for one in records),
        pairs=len(names) - groups,
        groups=groups,
        bends=len(bends),
        silences=len(silences),
        stop_below=sum(bool(one.stop) and not one.stops_only for one in bends + silences),
        stops=len(found) - len(bends) - len(silences),
        lone=lone,
        freezes=len(froze),
        recovered=len(froze & recovered),
    )
