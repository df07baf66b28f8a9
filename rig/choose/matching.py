"""Which find an entry of picks.yaml stands for, and which one a person names."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rig.choose.find import NO_KEY, Find, Heard, over
from rig.choose.picks import Pick, tidy_pair
from rig.choose.rank import finds
from rig.errors import ConfigError
from rig.log import Record
from rig.pads import letters_of
from rig.project.hints import nearest, quantity
from rig.words import ohms

SAME_OHM = 1.05
"""Paths whose ratio is no more than this are one: ordinary resistors are 5 % parts."""
NEAR_OHM = 1.3
"""So far from a range, as a ratio, a resistance is still taken for one of its sound."""

_SIDE = r"[A-Za-z]{1,3}(?:\s*\+\s*[A-Za-z]{1,3})*"
_PAIR = re.compile(rf"\s*({_SIDE}\s*-\s*{_SIDE}(?:\s*/\s*{_SIDE}\s*-\s*{_SIDE})*)(?:\s+(\S.*))?")
_LONE = re.compile(r"\s*([A-Za-z]{1,3})(?:\s+(\S.*))?")
_OHMS = re.compile(r"(\d+[kKMRr]\d+|\d+(?:[.,]\d+)?\s*[kKM]?\s*(?:Ω|[Oo]hms?|R)?)(?:\s+(\S.*))?")


@dataclass(frozen=True)
class Named:
    """What a person typed to name a sound: its pair, and where they gave them resistance and key.

    Of one pad's lead alone the pair is its letter.
    """

    pair: str
    at_ohm: float | None = None
    key: str | None = None


def named(text: str) -> Named:
    """Read how a person names a sound: "S-W", "s-w 3k6", "S-W 3.6 kΩ blue".

    Raises
    ------
    ConfigError
        It doesn't begin with a pair.
    """
    text = unicodedata.normalize("NFKC", text).strip()
    found = _PAIR.fullmatch(text)
    if not found:
        return Named(tidy_pair(text))  # which says what is wrong with it
    return Named(tidy_pair(found[1]), *_spot(found[2] or ""))


def _spot(text: str) -> tuple[float | None, str | None]:
    """Read a resistance and a key behind it, either of which may be missing."""
    found = _OHMS.fullmatch(text)
    if not found:
        return None, text or None
    size = re.sub(r"^(\d+)([kKMRr])(\d+)$", _with_point, found[1])
    return quantity(size, "at_ohm"), found[2]


def _with_point(found: re.Match[str]) -> str:
    """Write 3k6 as 3.6k, and 4R7 as 4.7."""
    return f"{found[1]}.{found[3]}{found[2].upper().replace('R', '').replace('K', 'k')}"


def find_named(found: Sequence[Find], text: str) -> Find:
    """Give the find that a person named, as it was heard over the resistance that they gave.

    Without a resistance it's the best one of the pair; one pad's lead alone is named by its letter.

    Raises
    ------
    ConfigError
        It isn't a pair, or nothing was heard there; says where something was.
    """
    lone = _LONE.fullmatch(text)
    if lone and any(one.pair == lone[1].upper() for one in found if one.is_lone):
        wanted = Named(lone[1].upper(), key=lone[2])
    else:
        wanted = named(text)
    mine = [one for one in found if one.pair == wanted.pair]
    if not mine:
        near = dict.fromkeys(one.pair for one in found if set(one.pads) & set(letters_of(wanted.pair)))
        listed = f": found with these pads: {', '.join([*near][:6])}" if near else ""
        raise ConfigError(
            f"nothing was found on {wanted.pair}{listed}; see `padsweep replay --list`")
    if wanted.key is not None:
        keys = dict.fromkeys(one.key or NO_KEY for one in mine)
        mine = [one for one in mine if (one.key or NO_KEY) == wanted.key]
        if not mine:
            raise ConfigError(f"{wanted.pair}: nothing was heard with key {wanted.key}: "
                              f"{nearest(wanted.key, keys)}")
    if wanted.at_ohm is None:
        return mine[0]
    there = heard_at(mine, wanted.at_ohm)
    if there is None:
        raise ConfigError(f"{wanted.pair}: nothing was heard over {ohms(wanted.at_ohm)}: "
                          f"{_where(mine)}")
    return over(*there)


def _where(mine: Sequence[Find]) -> str:
    """Say over which resistances something was heard."""
    once = {one.path_ohm: one.once for find in mine for one in find.along}
    once |= {ohm: False for find in mine for ohm in find.heard_ohm}
    told = [ohms(ohm) + (" (seen once)" if seldom else "")
            for ohm, seldom in sorted(once.items(), key=lambda one: one[0] or 0.0) if ohm is not None]
    return f"there is only: {', '.join(told)}" if told else "it does nothing but stop the toy"


def heard_at(mine: Iterable[Find], at_ohm: float) -> tuple[Find, Heard] | None:
    """Give which of some finds was heard over a resistance, to 5 %, and what; the nearest."""
    there = [
        (ratio, one.once, find, one) for find in mine for one in find.along
        if one.path_ohm is not None and (ratio := _beside(at_ohm, one.path_ohm)) <= SAME_OHM
    ]
    if not there:
        return None
    _, _, find, one = min(there, key=lambda told: told[:2])
    return find, one


def is_same(one_ohm: float, other_ohm: float) -> bool:
    """Say whether two resistances are one, to 5 %."""
    return _beside(one_ohm, other_ohm) <= SAME_OHM


def _beside(at_ohm: float, low: float, high: float | None = None) -> float:
    """Give how far a resistance lies beside a range, as a ratio; 1 within it."""
    at_ohm, high = max(at_ohm, 1.0), low if high is None else high
    return max(1.0, low / at_ohm, at_ohm / max(high, 1.0))


def find_of(pick: Pick, found: Sequence[Find]) -> Find | None:
    """Give the find that a pick stands for, as it was heard over the pick's resistance.

    That is the one of its pair and key whose range holds its resistance, or is near it; without a
    resistance, or where nothing is near, the best one. A stop counts with any key.
    """
    mine = _of(pick, found)
    if not mine:
        return None
    return _near(pick, mine) or mine[0]


def _of(pick: Pick, found: Sequence[Find]) -> list[Find]:
    of_pair = [one for one in found if one.pair == pick.pair]
    mine = [one for one in of_pair if pick.key in (None, one.key)]
    return mine or [one for one in of_pair if one.stops_only]


def _near(pick: Pick, mine: Sequence[Find]) -> Find | None:
    if pick.at_ohm is None:
        return None
    if there := heard_at(mine, pick.at_ohm):
        return over(*there)
    beside = [
        (_beside(pick.at_ohm, one.path_min_ohm, one.path_max_ohm), one) for one in mine
        if one.path_min_ohm is not None and one.path_max_ohm is not None and not one.stops_only
    ]
    if not beside:
        return None
    ratio, one = min(beside, key=lambda told: told[0])
    return one if ratio <= NEAR_OHM else None


def of_pairs(found: Iterable[Find]) -> dict[str, list[Find]]:
    """Gather finds by their pair: what is decided about one hangs on those of its pair alone."""
    pairs: dict[str, list[Find]] = defaultdict(list)
    for one in found:
        pairs[one.pair].append(one)
    return pairs


def finds_of(
    chosen: Sequence[Pick], records: Sequence[Record], false_discovery: float,
    found: Sequence[Find] | None = None,
) -> list[Find | None]:
    """Give the find of each pick; see `find_of`. `found`: all of these records, where they are known."""
    found = finds(records, false_discovery) if found is None else found
    return [find_of(pick, found) for pick in chosen]


def entry_of(
    entries: Iterable[Pick], found: Sequence[Find], find: Find, exact: bool = False
) -> Pick | None:
    """Give the entry of picks.yaml that is about a find, if there is one.

    Parameters
    ----------
    entries : iterable of Pick
        Those that were set aside, too.
    found : sequence of Find
        All of the sweep.
    find : Find
        One of them, over whichever of its paths.
    exact : bool
        Only one for the very resistance that is shown will do, not one for the same sound.

    Returns
    -------
    Pick or None
        An entry with the resistance comes before one for the whole pair. That one is about all of
        the pair's sounds where it was set aside, else about the best one.
    """
    mine = [one for one in entries if one.pair == find.pair]
    shown = find.best_path_ohm
    for one in mine:
        same = one.at_ohm is not None and shown is not None and _beside(one.at_ohm, shown) <= SAME_OHM
        if same and one.key in (None, find.key):
            return one
    for one in mine:
        near = _near(one, _of(one, found))
        if near and near.place == find.place and not (exact and near.best_path_ohm != shown):
            return one
    for one in _of_pair(mine, found):
        best = find_of(one, found)
        is_it = best is not None and best.place == find.place
        aside = one.set_aside and not (exact and one.at_ohm is not None)
        if aside or (is_it and not (exact and best and best.best_path_ohm != shown)):
            return one
    return None


def decision(
    entries: Sequence[Pick], found: Sequence[Find], find: Find
) -> tuple[Pick, bool] | None:
    """Give the entry that decides about a find, and whether it's about this very sound.

    One without a resistance decides about its pair, though another sound of it may be built.
    """
    entry = entry_of(entries, found, find)
    if entry is not None:
        return entry, True
    mine = [one for one in entries if one.pair == find.pair]
    return next(((one, False) for one in _of_pair(mine, found)), None)


def _of_pair(mine: Iterable[Pick], found: Sequence[Find]) -> list[Pick]:
    """Give the entries that are about a whole pair: they have no resistance, or their own."""
    return [one for one in mine if _near(one, _of(one, found)) is None]
