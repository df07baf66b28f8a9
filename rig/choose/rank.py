"""From touches to finds: what each pair does, and which of them a person should hear first."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf

from rig.choose.discovery import FALSE_DISCOVERY, pair_p_value, q_values
from rig.choose.families import families
from rig.listen import BESIDE_LEAD, LIKE_KEY
from rig.log import Record
from rig.log.between import Parts, parts
from rig.outcomes import AFTERS, SOUNDS, is_heard, is_stop
from rig.pads import is_lone, letter_order, letters_of, name_of_sides
from rig.touches import Target

FIND_COLUMNS = ("pads_1", "pads_2", "key", "sound", "after", "amount", "unit", "path_min_ohm",
                "path_max_ohm", "best_path_ohm", "stops_at_ohm", "score", "p_value", "q_value",
                "family", "changed_presses", "like_key")
"""What of a find is exported, one row per pair, or per lead that was heard alone."""

SAME_SOUND = 0.82
"""What a find is worth less for each one before it with the same word."""
LIKE_KEY_SHARE = 1 / 3
"""Of its touches so many must be like that key, two at least: it may have several phrases itself."""
LONE_WORTH = 0.5
"""What one of a lead alone is worth of a pair's: nothing can be fitted that does the same."""


@dataclass(frozen=True, kw_only=True)
class Find:
    """What one pair does, or one pad's lead alone: a change that was heard again, or a stop.

    Parameters
    ----------
    pads_1, pads_2 : str
        The pair, in the order of the letters: the two leads may be swapped. Several pads that
        share a bus are joined by "+", several connections by " / ". Of a lead alone `pads_2` is "".
    sound, after : str
        Words of the tables, of the best touch: "freeze" only if there was no gentler one.
    amount : float or None
        In `unit`, of the best touch.
    unit : str or None
        cents, dB, s or Hz.
    path_min_ohm, path_max_ohm : float or None
        The range of path in which it was seen to change the sound (to stop the toy, if it
        does nothing else), ohms; None for a lead alone.
    score : float
        Of the best touch; 1 is just a hit.
    touches : tuple of int
        Numbers of the touches that show it.
    best_touch : int
        The one to listen to.
    baseline_touch : int or None
        The take nearest to it of what it is told beside: the toy with nothing bridged, or with one
        lead on, and the same key.
    stop : str or None
        "freeze" or "guarded" when the pair stopped the toy over any path. Once is enough:
        that the recovery ladder was needed, or the guard tripped, is direct evidence.
    stops_at_ohm : float or None
        The highest path over which it did; None for a lead alone.
    p_value : float or None
        Chance that an unbridged toy gives what the confirming touches did; None where the
        find rests on a stop alone.
    q_value : float or None
        The lowest rate of false discoveries at which the pair is still a find.
    family : str
        Those that change the sound alike, by the pair of the best among them, itself included.
        What isn't heard is told by what comes after it.
    key : str
        The key that was pressed in the best touch.
    best_path_ohm : float or None
        The path of the best touch, ohms.
    changed_presses : int
        In so many clean presses in a row behind a touch of it the toy wasn't itself.
    like_key : str or None
        The key whose own sound it is.
    """

    pads_1: str
    pads_2: str
    sound: str
    after: str
    amount: float | None
    unit: str | None
    path_min_ohm: float | None
    path_max_ohm: float | None
    score: float
    touches: tuple[int, ...]
    best_touch: int
    baseline_touch: int | None
    stop: str | None = None
    stops_at_ohm: float | None = None
    p_value: float | None = None
    q_value: float | None = None
    family: str = ""
    key: str = ""
    best_path_ohm: float | None = None
    changed_presses: int = 0
    like_key: str | None = None

    @property
    def after_at_worst(self) -> str:
        """How the toy was after the harshest touch of the pair."""
        return self.stop or self.after

    @property
    def pads(self) -> tuple[str, ...]:
        """All pads' letters."""
        return letters_of(self.pair)

    @property
    def pair(self) -> str:
        """Name the pair as people write it: "C-F"; see `rig.pads`."""
        return name_of_sides(self.pads_1, self.pads_2)

    @property
    def is_lone(self) -> bool:
        """Say whether it is of one pad's lead alone."""
        return is_lone(self.pair)

    @property
    def stops_only(self) -> bool:
        """Say whether the toy was stopped over every path over which the pair did anything."""
        return is_stop(self.after)

    @property
    def is_bend(self) -> bool:
        """Say whether it changes the sound: neither only silences it nor only stops the toy."""
        return AFTERS[self.after].is_heard or SOUNDS[self.sound].is_bend


def finds(
    records: Iterable[Record], false_discovery: float = FALSE_DISCOVERY, key: str | None = None
) -> list[Find]:
    """Give one find per pair that changed the sound again when touched again, or stopped the toy.

    Parameters
    ----------
    records : iterable of Record
    false_discovery : float
        Rate of false ones among the changes of sound that is held, 0 to 1. Stops are seen
        directly and don't depend on it.
    key : str, optional
        Show what was heard with this key alone; how sure a pair is hangs on all of its touches.

    Returns
    -------
    list of Find
        The best of each family first, then the second of each, and so on; among these a find
        is worth its kind times how sure it is, less for each one before it with the same
        word. What another key does anyway comes behind these; pairs that only freeze come last. Touches with a fault, lost takes and touches
        that aren't complete never count, but that a lost take's touch stopped the toy does.
    """
    records = list(records)
    told = parts(records)
    usable = _usable(records, told)
    baselines = [one for one in usable if one.kind == "baseline" and one.take]
    pairs = _by_pair(usable)
    p_values = _p_values(pairs, told)
    adjusted = q_values(p_values)
    changed = _changed_presses(records, told)
    found = []
    for pair, made_of_it in pairs.items():
        q_value = adjusted.get(pair)
        surely = q_value is not None and q_value <= false_discovery
        touches = [one for one in made_of_it if key in (None, one.key)]
        one = _find(touches, baselines, surely)
        if one and one.sound != "none":
            one = replace(one, p_value=p_values[pair], q_value=q_value)
        if one:
            found.append(replace(one, changed_presses=changed[pair]))
    made = {one.number: one for one in usable}
    return _ranked(_named(found, made))


def pair_p_values(records: Iterable[Record]) -> dict[str, float]:
    """Give the p value of every pair, or group of pads, that went to confirming, by its name."""
    records = list(records)
    told = parts(records)
    return _p_values(_by_pair(_usable(records, told)), told)


def touched(records: Iterable[Record]) -> list[str]:
    """Name every pair, group of pads, and lead alone that was touched."""
    return list(_by_pair([one for one in records if one.counts]))


def _usable(records: Iterable[Record], told: Parts) -> list[Record]:
    """Leave out what shows nothing, or may not have been the pair's doing."""
    return [one for one in records if one.counts and (one.stops or one.number not in told.void)]


def _by_pair(usable: Iterable[Record]) -> dict[str, list[Record]]:
    pairs: dict[str, list[Record]] = defaultdict(list)
    for one in usable:
        if one.kind in ("sweep", "confirm") and not one.target.is_clean:
            pairs[one.target.in_order().name].append(one)
    return pairs


def _p_values(pairs: dict[str, list[Record]], told: Parts) -> dict[str, float]:
    p_values = {
        pair: pair_p_value([one for one in touches if one.kind == "confirm"], told.counting)
        for pair, touches in pairs.items()
    }
    return {pair: p for pair, p in p_values.items() if p is not None}


def _changed_presses(records: Iterable[Record], told: Parts) -> Counter[str]:
    """Give for how many presses each pair left the toy changed, at most."""
    presses: Counter[str] = Counter()
    for one in records:
        if one.number in told.left:
            pair = one.target.in_order().name
            presses[pair] = max(presses[pair], told.left[one.number])
    return presses


def find_rows(found: Iterable[Find]) -> list[dict]:
    """Give finds as rows of `FIND_COLUMNS`; `after` is the pair's worst, over any path."""
    return [
        {name: getattr(one, name) for name in FIND_COLUMNS} | {"after": one.after_at_worst}
        for one in found
    ]


def _heard(record: Record) -> bool:
    return is_heard(record.sound, record.after)


def _find(
    touches: Sequence[Record], baselines: Sequence[Record], surely: bool
) -> Find | None:
    """Give what a pair does, or None: only what was seen again over the same path counts.

    Changes of the sound count only where the pair as a whole is sure.
    """
    spots: dict[Target, list[Record]] = defaultdict(list)
    for one in touches:
        spots[one.target.in_order()].append(one)
    bends, stops, sure = [], [], False
    for made in spots.values():
        stops += [one for one in made if one.stops]
        if surely and _heard_again(made):
            sure = True
            bends += [one for one in made if _heard(one) and not one.stops]
    stop = max(
        (one.after for one in stops if one.after), key=lambda after: AFTERS[after].stop, default=None
    )
    stopped_at = max(map(_path_ohm, stops), default=0.0)
    # Where the toy was stopped once it may be again: what is offered lies above.
    shown = [one for one in bends if _path_ohm(one) > stopped_at] or stops
    if not shown:
        return None
    best = _best([one for one in shown if _heard(one)] or shown)
    # A silent stop says nothing of what the pair was heard to do over the same path.
    told = best if _heard(best) or not bends else _best(bends)
    assert told.sound is not None and best.after is not None  # as of all touches that count
    sound, amount, unit = (told.sound, told.amount, told.unit) if sure else ("none", None, None)
    paths = [one.path_ohm for one in shown if one.path_ohm is not None]
    return Find(
        pads_1=best.target.in_order().side(1), pads_2=best.target.in_order().side(2),
        sound=sound, after=best.after, amount=amount, unit=unit, score=best.score or 0.0,
        path_min_ohm=min(paths, default=None), path_max_ohm=max(paths, default=None),
        touches=tuple(one.number for one in shown), best_touch=best.number,
        baseline_touch=_nearest_baseline(best, baselines), key=best.key,
        best_path_ohm=best.path_ohm, stop=stop,
        stops_at_ohm=stopped_at if paths and stopped_at else None,
        like_key=_like_key([one for one in shown if _heard(one)]) if sure else None,
    )  # fmt: skip


def _like_key(heard: Sequence[Record]) -> str | None:
    """Name the key whose sound some touches are, where they are that often enough."""
    told = Counter(one.measures[LIKE_KEY] for one in heard if LIKE_KEY in one.measures)
    key, count = told.most_common(1)[0] if told else (None, 0)
    return key if count >= max(2, LIKE_KEY_SHARE * len(heard)) else None


def _path_ohm(one: Record) -> float:
    """Give the path of a touch; a lead alone lies beyond all."""
    return inf if one.path_ohm is None else one.path_ohm


def _heard_again(made: Sequence[Record]) -> bool:
    """Say if a change came back, over one path: in a confirming touch, and before it."""
    heard = [one for one in made if _heard(one)]
    if not any(one.kind == "confirm" for one in heard):
        return False
    # A first touch that stopped the toy, and a second that let the change be heard, will do.
    return len(heard) >= 2 or any(one.stops for one in made if one not in heard)


def _best(shown: Sequence[Record]) -> Record:
    """Give the touch to show: the sound seen most often, then the surest with a take."""
    often = Counter(one.sound for one in shown)
    return max(shown, key=lambda one: (one.take is not None, often[one.sound],
                                       one.score or 0.0, -one.number))


def _nearest_baseline(best: Record, baselines: Sequence[Record]) -> int | None:
    lead = best.measures.get(BESIDE_LEAD)
    same = [
        one.number for one in baselines
        if one.key == best.key and one.target.pads == (() if lead is None else (lead,))
    ]
    return min(same, key=lambda number: abs(number - best.number), default=None)


def _worth(find: Find) -> float:
    wanted = max(SOUNDS[find.sound].worth, AFTERS[find.after].worth)
    sure = 1.0 - 0.5 ** max(find.score, 0.0)
    often = len(find.touches) / (len(find.touches) + 0.5)
    return wanted * sure * often * (LONE_WORTH if find.is_lone else 1.0)


def _named(found: list[Find], made: dict[int, Record]) -> list[Find]:
    """Give the finds with their families, each named by its best; the best ones first."""
    best_first = sorted(
        sorted(found, key=lambda one: (letter_order(one.pads_1), letter_order(one.pads_2))),
        key=lambda one: (is_stop(one.after), -_worth(one)),
    )
    heard = [one for one in best_first if one.sound != "none"]
    numbers = families([[made[number] for number in one.touches] for one in heard])
    best: dict[int, str] = {}
    family = {
        one.pair: best.setdefault(number, one.pair)
        for one, number in zip(heard, numbers, strict=True)
    }
    return [replace(one, family=family.get(one.pair, one.after)) for one in best_first]


def _ranked(best_first: list[Find]) -> list[Find]:
    """Put different sounds first: the best of each family, then the second of each.

    What another key does anyway comes behind all that is heard else.
    """
    rounds: dict[tuple[bool, bool, int], list[Find]] = defaultdict(list)
    family: Counter = Counter()
    for one in best_first:
        rounds[is_stop(one.after), one.like_key is not None, family[one.family]].append(one)
        family[one.family] += 1
    ranked: list[Find] = []
    sounds: Counter = Counter()
    for _, left in sorted(rounds.items()):
        while left:
            best = max(left, key=lambda one: _worth(one) * SAME_SOUND ** sounds[one.sound])
            left.remove(best)
            ranked.append(best)
            sounds[best.sound] += 1
    return ranked
