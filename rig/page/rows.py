"""Finds as the page shows them: what is said of each, and its resistances as steps."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from rig.choose import Find
from rig.choose.find import Heard, over
from rig.choose.ranges import Spot
from rig.choose.replay import spot_of
from rig.choose.telling import afterwards, path_words, what
from rig.outcomes import is_stop
from rig.pads import is_pair
from rig.page.night import Seen
from rig.project import Toy
from rig.words import ohms, short_ohms

BEST = 8
MARKS = {
    "pitch": "pitch", "timbre": "timbre", "loop": "loop", "drone": "drone", "level": "level",
    "blip": "level", "cut": "cut", "none": "drone",
}  # fmt: skip
"""The mark and colour of each word for a sound; "none" is that of a toy that only sounds on."""
STOP = "stop"
ALIKE = 4
"""Labels of finds that are alike that are told with each; a family may be most of a list."""
Row = dict[str, Any]


@dataclass(frozen=True)
class Others:
    """The other finds beside each one, looked up once for all."""

    found: Sequence[Find]

    @cached_property
    def of_family(self) -> Mapping[str, Sequence[Find]]:
        """Give what is heard of each family, in the order of rank."""
        families: dict[str, list[Find]] = defaultdict(list)
        for one in self.found:
            if one.sound != "none":
                families[one.family].append(one)
        return families

    @cached_property
    def of_pair(self) -> Mapping[tuple[str, str], Sequence[Find]]:
        """Give the finds of each pair with each key, in the order of rank."""
        pairs: dict[tuple[str, str], list[Find]] = defaultdict(list)
        for one in self.found:
            pairs[one.pair, one.key].append(one)
        return pairs

    def alike(self, find: Find) -> list[Find]:
        """Give the others of its family."""
        return [one for one in self.of_family.get(find.family, ()) if one is not find]

    def beside(self, find: Find) -> list[Find]:
        """Give the others of its pair with its key."""
        return [one for one in self.of_pair[find.pair, find.key] if one is not find]


def rows(seen: Seen, toy: Toy) -> Row:
    """Give all that is shown of the finds.

    Parameters
    ----------
    seen : Seen
    toy : Toy
        Its pads' notes are shown.

    Returns
    -------
    dict
        `finds` (in the order of rank), `stops` (labels of what sounded before it stopped the toy),
        `matrix` and `pads`.
    """
    others = Others(seen.found)
    made = [row(one, seen, toy, others) for one in seen.found]
    return {
        "version": seen.version, "finds": made,
        "stops": [one.label for one in seen.found if one.stops_only and one.sound != "none"],
        "matrix": matrix(seen), "pads": [{"pad": pad, "note": facts.note, "unused": facts.forbidden}
                                         for pad, facts in toy.pads.items()],
    }  # fmt: skip


def best(found: Sequence[Find], most: int = BEST) -> list[str]:
    """Label the best finds that differ: one of each family, in the order in which they come."""
    families: dict[str, str] = {}
    for one in found:
        if one.is_bend and not one.is_lone and not one.stops_only and not one.like_key:
            families.setdefault(one.family, one.label)
    return list(families.values())[:most]


def row(find: Find, seen: Seen, toy: Toy, others: Others) -> Row:
    """Give what is shown of one find."""
    there, alike = steps(find, seen, others), others.alike(find)
    at = next((n for n, one in enumerate(there) if one["touch"] == find.best_touch), None)
    return {
        "label": find.label, "pair": find.pair, "key": find.key, "sound": find.sound,
        "pads": [{"pad": pad, "note": toy.pads[pad].note if pad in toy.pads else ""}
                 for pad in find.pads],
        "mark": mark(find), "says": what(find), "after": afterwards(find),
        "range": path_words(find), "family": find.family, "lone": find.is_lone,
        "stops": find.stops_only, "runs_on": find.after == "runs on",
        "falls": find.amount is not None and find.amount < 0,
        "alike": [one.label for one in alike[:ALIKE]], "alikes": len(alike),
        "at": at, "steps": there, "often": there[at]["often"] if at is not None else "",
        "score": round(find.score, 2), "p_value": find.p_value, "q_value": find.q_value,
    }  # fmt: skip


def mark(find: Find) -> str:
    """Name the mark of a find."""
    return STOP if find.stops_only else MARKS[find.sound]


def steps(find: Find, seen: Seen, others: Others) -> list[Row]:
    """Give what a find's pair did over each path with its key, from the lowest up.

    Returns
    -------
    list of dict
        `state`: "heard" (again), "once" (too seldom to count), "other" (another of the pair's finds,
        whose label `other` is), "stop" or "nothing"; `touch` and `plain` are the takes to listen to.
    """
    heard = {one.path_ohm: one for one in find.along}
    there = {one.path_ohm: other for other in others.beside(find)
             for one in other.along if not one.once}  # fmt: skip
    made = []
    for spot in seen.spots.get((find.pair, find.key), ()):
        one = heard.get(spot.path_ohm)
        if one is not None:
            made.append(_heard(find, one, spot))
        elif any(touch.stops for touch in spot.touches):
            made.append(_stop(find, spot))
        else:
            other = there.get(spot.path_ohm)
            made.append(_step(spot, "other" if other else "nothing", find.key)
                        | {"other": other.label if other else None})  # fmt: skip
    if find.stops_only and not any(one["touch"] == find.best_touch for one in made):
        made += [_stop_alone(find)]  # with another key, as stops count with any
    return made


def _step(spot: Spot, state: str, key: str) -> Row:
    path_ohm = spot.path_ohm
    return {
        "ohm": path_ohm, "text": "lead alone" if path_ohm is None else ohms(path_ohm),
        "short": "" if path_ohm is None else short_ohms(path_ohm), "state": state, "says": "",
        "after": "", "often": f"{len(spot.heard)} of {len(spot.touches)} times", "touch": None,
        "plain": None, "score": 0.0, "amount": None, "unit": None, "closed": None, "other": None, "at_ohm": None, "key": key,
        "touches": [one.number for one in spot.touches],
    }  # fmt: skip


def _closed(spot: Spot, number: int) -> list[int] | None:
    """Give between which samples of a take its pads were closed, where that was noted."""
    offsets = next((one.offsets for one in spot.touches if one.number == number), {})
    return [offsets["close"], offsets["open"]] if {"close", "open"} <= set(offsets) else None


def _heard(find: Find, one: Heard, spot: Spot) -> Row:
    shown = over(find, one)
    at_ohm, key = spot_of(shown)
    return _step(spot, "once" if one.once else "heard", find.key) | {
        "says": what(shown), "after": afterwards(shown), "touch": one.touch,
        "plain": one.baseline_touch, "score": round(one.score, 2), "at_ohm": at_ohm, "key": key,
        "amount": one.amount, "unit": one.unit, "closed": _closed(spot, one.touch),
    }  # fmt: skip


def _stop(find: Find, spot: Spot) -> Row:
    stopped = [one for one in spot.touches if one.stops]
    is_shown = any(one.number == find.best_touch for one in spot.touches)
    told = _step(spot, STOP, find.key)
    told["often"] = f"{len(stopped)} of {len(spot.touches)} times"
    told["after"] = "trips the guard" if all(one.after == "guarded" for one in stopped) else "freezes"
    if is_shown:
        told |= {"says": what(find), "touch": find.best_touch, "plain": find.baseline_touch,
                 "score": round(find.score, 2), "key": None, "amount": find.amount,
                 "unit": find.unit, "closed": _closed(spot, find.best_touch)}  # fmt: skip
    return told


def _stop_alone(find: Find) -> Row:
    text = "" if find.best_path_ohm is None else short_ohms(find.best_path_ohm)
    return {
        "ohm": find.best_path_ohm, "text": path_words(find), "short": text, "state": STOP,
        "says": what(find), "after": afterwards(find), "often": "", "touch": find.best_touch,
        "plain": find.baseline_touch, "score": round(find.score, 2), "amount": find.amount,
        "unit": find.unit, "closed": None, "other": None, "at_ohm": None, "key": None, "touches": list(find.touches),
    }  # fmt: skip


def matrix(seen: Seen) -> Mapping[str, Row]:
    """Give for each pair that was touched its mark and the label of its best find, if it has any.

    Pairs of single pads alone; `more` is how many finds there are beside the best.
    """
    of: dict[str, list[Find]] = defaultdict(list)
    for one in seen.found:
        of[one.pair].append(one)
    return {
        pair: {"mark": mark(of[pair][0]), "find": of[pair][0].label, "more": len(of[pair]) - 1,
               "stop": is_stop(of[pair][0].after_at_worst)}
        if pair in of else {"mark": "", "find": None, "more": 0, "stop": False}
        for pair in seen.touched if is_pair(pair)
    }  # fmt: skip
