"""From touches to finds: what each pair does, and which of them a person should hear first."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace

from rig.choose.discovery import FALSE_DISCOVERY, pair_p_value, q_values
from rig.choose.families import families
from rig.choose.find import Find, Heard, told_apart
from rig.choose.manners import Told, clean_apart_db, is_unpredictable, manner_of
from rig.choose.ranges import Range, Spot, best, heard, heard_again, path_ohm, ranges, spots
from rig.listen import BESIDE_LEAD, LIKE_KEY
from rig.log import Record
from rig.log.between import Parts, parts
from rig.outcomes import AFTERS, MANNERS, SOUNDS, is_stop
from rig.pads import letter_order

SAME_SOUND = 0.82
"""What a find is worth less for each one before it with the same word."""
MANNER_COUNTS = 0.5
"""From this worth on a manner makes a find worth showing whose sound alone nobody looks for."""
SET_PATHS = 3
"""Over so many paths an amount must go one way for the resistance to set it."""
LIKE_KEY_SHARE = 1 / 3
"""Of its touches so many must be like that key, two at least: it may have several phrases itself."""
LONE_WORTH = 0.5
"""What one of a lead alone is worth of a pair's: nothing can be fitted that does the same."""


def finds(
    records: Iterable[Record], false_discovery: float = FALSE_DISCOVERY, key: str | None = None
) -> list[Find]:
    """Give the sounds of each pair that came back when it was touched again, and what stops the toy.

    A find is a sound over a range of resistance, with its key; a pair that does nothing but stop
    the toy is one find.

    Parameters
    ----------
    records : iterable of Record
    false_discovery : float
        Rate of false ones among the changes of sound that is held, 0 to 1. Stops are seen
        directly and don't depend on it.
    key : str, optional
        Show what was heard with this key alone; how sure a pair is, and over what it stops the toy,
        hangs on all of its touches.

    Returns
    -------
    list of Find
        The best of each family first, then the second of each, and so on; among these a find
        is worth its kind times how sure it is, less for each one before it with the same
        word. Two sounds of one pair are of two families. What nobody looks for comes behind these,
        what another key does anyway behind that; pairs that only freeze in silence come last. Touches with a fault, lost takes and touches that
        aren't complete never count, but that a lost take's touch stopped the toy does.
    """
    records = list(records)
    told = parts(records)
    usable = _usable(records, told)
    clean_db = clean_apart_db(usable)
    baselines = [one for one in usable if one.kind == "baseline" and one.take]
    pairs = _by_pair(usable)
    p_values = _p_values(pairs, told)
    adjusted = q_values(p_values)
    changed = _changed_presses(records, told)
    found = []
    for pair, touches in pairs.items():
        q_value = adjusted.get(pair)
        surely = q_value is not None and q_value <= false_discovery
        for one in _finds_of(touches, baselines, surely, clean_db):
            if one.sound != "none":
                one = replace(one, p_value=p_values[pair], q_value=q_value)
            found.append(replace(one, changed_presses=changed[pair]))
    made = {one.number: one for one in usable}
    return ranked(_named([one for one in found if key in (None, one.key)], made))


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


def _finds_of(
    touches: Sequence[Record], baselines: Sequence[Record], surely: bool, clean_db: float | None
) -> list[Find]:
    """Give the sounds of a pair that were seen again over the same path; or that it stops the toy.

    Changes of the sound count only where the pair as a whole is sure.
    """
    stops = [one for one in touches if one.stops]
    stop = max(
        (one.after for one in stops if one.after), key=lambda after: AFTERS[after].stop, default=None
    )
    stopped_at = max((one.path_ohm for one in stops if one.path_ohm is not None), default=None)
    # Where the toy was stopped once it may be again: what is offered lies above.
    found = [_find(one, baselines, clean_db) for one in ranges(touches)] if surely else []
    if not found and stops:
        found = [_stop(touches, stops, baselines, surely)]
    return told_apart([replace(one, stop=stop, stops_at_ohm=stopped_at) for one in found])


def _find(one: Range, baselines: Sequence[Record], clean_db: float | None) -> Find:
    """Give one sound of a pair."""
    touches = one.touches
    shown = best(touches)
    assert shown.sound is not None and shown.after is not None  # as of all touches that count
    along = sorted((*one.spots, *one.once), key=path_ohm)
    told = manner_of(touches, shown)
    if told.manner is None and is_unpredictable(touches, clean_db):
        told = Told("unpredictable")
    return Find(
        pads_1=shown.target.in_order().side(1), pads_2=shown.target.in_order().side(2),
        sound=shown.sound, after=shown.after, amount=shown.amount, unit=shown.unit,
        score=shown.score or 0.0, path_min_ohm=one.path_min_ohm, path_max_ohm=one.path_max_ohm,
        touches=tuple(touch.number for touch in touches), best_touch=shown.number,
        baseline_touch=_nearest_baseline(shown, baselines), key=one.key,
        best_path_ohm=shown.path_ohm, like_key=_like_key(touches),
        along=tuple(_heard_over(spot, baselines, spot in one.once, told) for spot in along),
        **asdict(told),
    )  # fmt: skip


def _heard_over(
    spot: Spot, baselines: Sequence[Record], once: bool, of_find: Told
) -> Heard:
    shown = spot.best
    assert shown.sound is not None and shown.after is not None
    return Heard(
        path_ohm=spot.path_ohm, sound=shown.sound, after=shown.after, amount=shown.amount,
        unit=shown.unit, score=shown.score or 0.0, touch=shown.number,
        baseline_touch=_nearest_baseline(shown, baselines), once=once,
        **asdict(of_find if of_find.manner == "unpredictable" else manner_of(spot.heard, shown)),
    )


def _stop(
    touches: Sequence[Record], stops: Sequence[Record], baselines: Sequence[Record], surely: bool
) -> Find:
    """Give a pair that only stops the toy, over every path over which it does anything."""
    again = [one for spot in spots(touches) if surely and heard_again(spot.touches)
             for one in spot.touches if heard(one)]  # fmt: skip
    shown = best([one for one in stops if heard(one)] or stops)
    # A silent stop says nothing of what the pair was heard to do over the same path.
    alive = [one for one in again if not one.stops]
    told = shown if heard(shown) or not alive else best(alive)
    assert told.sound is not None and shown.after is not None
    sound, amount, unit = (told.sound, told.amount, told.unit) if again else ("none", None, None)
    paths = [one.path_ohm for one in stops if one.path_ohm is not None]
    return Find(
        pads_1=shown.target.in_order().side(1), pads_2=shown.target.in_order().side(2),
        sound=sound, after=shown.after, amount=amount, unit=unit, score=shown.score or 0.0,
        path_min_ohm=min(paths, default=None), path_max_ohm=max(paths, default=None),
        touches=tuple(one.number for one in stops), best_touch=shown.number,
        baseline_touch=_nearest_baseline(shown, baselines), key=shown.key,
        best_path_ohm=shown.path_ohm,
        like_key=_like_key([one for one in stops if heard(one)]) if again else None,
        **asdict(manner_of(again, told) if again else Told()),
    )


def _like_key(shown: Sequence[Record]) -> str | None:
    """Name the key whose sound some touches are, where they are that often enough."""
    told = Counter(one.measures[LIKE_KEY] for one in shown if LIKE_KEY in one.measures)
    key, count = told.most_common(1)[0] if told else (None, 0)
    return key if count >= max(2, LIKE_KEY_SHARE * len(shown)) else None


def _nearest_baseline(shown: Record, baselines: Sequence[Record]) -> int | None:
    lead = shown.measures.get(BESIDE_LEAD)
    same = [
        one.number for one in baselines
        if one.key == shown.key and one.target.pads == (() if lead is None else (lead,))
    ]
    return min(same, key=lambda number: abs(number - shown.number), default=None)


def kind_worth(find: Find) -> float:
    """Give what a kind of sound is worth to a bender, 0 to 1, by its words and how it travels."""
    sound = SOUNDS[find.sound]
    worth = MANNERS[find.manner].worth if find.manner else sound.worth
    if sound.set_worth and _is_set(find, sound.set_least):
        worth = max(worth, sound.set_worth)
    crash = sound.crash_worth if is_stop(find.after) else 0.0
    return max(worth, AFTERS[find.after].worth, crash)


def _is_set(find: Find, least: float) -> bool:
    """Say whether the resistance sets its amount: over several paths, one way, by so much."""
    amounts = [one.amount for one in find.along
               if not one.once and (one.sound, one.unit) == (find.sound, find.unit)]  # fmt: skip
    told = [amount for amount in amounts if amount is not None]
    if len(told) < SET_PATHS or len(told) < len(amounts):
        return False
    steps = [b - a for a, b in itertools.pairwise(told)]
    one_way = all(step >= 0 for step in steps) or all(step <= 0 for step in steps)
    return one_way and abs(told[-1] - told[0]) >= least


def tier(find: Find) -> int:
    """Say among which a find is shown: 0 what is heard, then what nobody looks for, keys, stops.

    A crash that drones or loops is heard; one in silence comes behind all.
    """
    if is_stop(find.after) and not SOUNDS[find.sound].crash_worth:
        return 3
    if find.like_key is not None:
        return 2
    has_more = find.manner is not None and MANNERS[find.manner].worth >= MANNER_COUNTS
    if has_more or AFTERS[find.after].is_heard or is_stop(find.after):
        return 0
    return int(SOUNDS[find.sound].is_last(find.amount))


def _worth(find: Find) -> float:
    sure = 1.0 - 0.5 ** max(find.score, 0.0)
    often = len(find.touches) / (len(find.touches) + 0.5)
    return kind_worth(find) * sure * often * (LONE_WORTH if find.is_lone else 1.0)


def _named(found: list[Find], made: dict[int, Record]) -> list[Find]:
    """Give the finds with their families, each named by its best; the best ones first."""
    best_first = sorted(
        sorted(found, key=lambda one: (letter_order(one.pads_1), letter_order(one.pads_2))),
        key=lambda one: (tier(one), -_worth(one)),
    )
    sounding = [one for one in best_first if one.sound != "none"]
    numbers = families(
        [[made[number] for number in one.touches] for one in sounding],
        [one.pair for one in sounding],
    )
    names: dict[int, str] = {}
    family = {
        one.place: names.setdefault(number, one.label)
        for one, number in zip(sounding, numbers, strict=True)
    }
    return [replace(one, family=family.get(one.place, one.after)) for one in best_first]


def ranked(found: Sequence[Find], liked: Mapping[str, float] | None = None) -> list[Find]:
    """Put different sounds first: the best of each family, then the second of each.

    Parameters
    ----------
    found : sequence of Find
        With their families.
    liked : mapping of str to float, optional
        What the worth of a find is multiplied by, by its manner or else its sound; 1 where it isn't
        named. It moves finds within their tier and round alone.
    """
    factors = liked or {}
    worths = {one.place: _worth(one) for one in found}
    best_first = sorted(found, key=lambda one: (tier(one), -worths[one.place]))
    rounds: dict[tuple[int, int], list[Find]] = defaultdict(list)
    family: Counter = Counter()
    for one in best_first:
        rounds[tier(one), family[one.family]].append(one)
        family[one.family] += 1
    in_order: list[Find] = []
    words: Counter = Counter()
    for _, mine in sorted(rounds.items()):
        # Of one word the best comes first anyway, so it's enough to choose among the words.
        left: dict[str, deque[tuple[int, Find]]] = defaultdict(deque)
        for at, one in enumerate(mine):
            left[one.word].append((at, one))
        while left:
            word = max(left, key=lambda word: (
                worths[left[word][0][1].place] * factors.get(word, 1.0) * SAME_SOUND ** words[word],
                -left[word][0][0],
            ))  # fmt: skip
            in_order.append(left[word].popleft()[1])
            words[word] += 1
            if not left[word]:
                del left[word]
    return in_order
