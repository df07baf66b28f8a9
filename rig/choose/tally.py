"""What a sweep came to, in numbers that are counted one way wherever they are said."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rig.choose.find import Find
from rig.choose.rank import touched
from rig.log import Record
from rig.pads import is_lone, is_pair


@dataclass(frozen=True)
class Tally:
    """Each pair with a find is counted once, in `bends`, `silences` or `stops`; leads alone apart.

    However many sounds a pair has: it bends if any of them does.

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
    by_pair: dict[str, list[Find]] = defaultdict(list)
    for one in found:
        by_pair[one.pair].append(one)
    pairs = [mine for pair, mine in by_pair.items() if not is_lone(pair)]
    bends = [mine for mine in pairs if any(one.is_bend for one in mine)]
    silences = [mine for mine in pairs if not any(one.is_bend or one.stops_only for one in mine)]
    names = [name for name in touched(records) if not is_lone(name)]
    groups = sum(not is_pair(name) for name in names)
    froze = {one.number for one in records if one.after == "freeze"}
    return Tally(
        touches=sum(one.complete and not one.fault for one in records),
        pairs=len(names) - groups,
        groups=groups,
        bends=len(bends),
        silences=len(silences),
        stop_below=sum(bool(mine[0].stop) and not mine[0].stops_only for mine in bends + silences),
        stops=len(pairs) - len(bends) - len(silences),
        lone=len(by_pair) - len(pairs),
        freezes=len(froze),
        recovered=len(froze & recovered),
    )
