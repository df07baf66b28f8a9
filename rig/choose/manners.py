"""The manner of a find: what half of its touches agree on, or that no two of them are alike."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from rig.choose.families import print_distances, print_of
from rig.listen import MANNER, MANNER_AMOUNT, MANNER_UNIT
from rig.log import Record

MANNER_SHARE = 1 / 2
"""So many of a find's touches must have a manner."""
REPEATS = 3
"""Touches over one path, with one key, that can be different each time."""
UNLIKE = 0.4
"""Each of them must be so far from the one most like it, 0 to 1, in the middle (our choice; sounds of
one family are within 0.25)."""
CLEAN_TIMES = 3.0
"""And so many times as far, in dB, as clean presses are from the clean take most like them."""


@dataclass(frozen=True)
class Told:
    """A manner with its amount, or none."""

    manner: str | None = None
    manner_amount: float | None = None
    manner_unit: str | None = None


def manner_of(touches: Sequence[Record], shown: Record) -> Told:
    """Give the manner that at least half of some touches have; its amount is that of the one shown.

    Where that one has another manner, or none, it is the middle of the others' amounts.

    Parameters
    ----------
    touches : sequence of Record
        Those that show a sound.
    shown : Record
        The one to listen to.
    """
    often = Counter(one.measures.get(MANNER) for one in touches)
    often.pop(None, None)
    if not often:
        return Told()
    name, count = often.most_common(1)[0]
    if count < MANNER_SHARE * len(touches):
        return Told()
    have = [one for one in touches if one.measures.get(MANNER) == name]
    if shown.measures.get(MANNER) == name:
        have = [shown]
    amounts = [one.measures[MANNER_AMOUNT] for one in have if MANNER_AMOUNT in one.measures]
    if not amounts:
        return Told(name)
    return Told(name, median(amounts), have[0].measures[MANNER_UNIT])


def clean_apart_db(records: Iterable[Record]) -> float | None:
    """Give how far clean presses are from the clean take most like them, dB, in the middle."""
    told = [one.measures["mean_db"] for one in records
            if one.target.is_clean and "mean_db" in one.measures]  # fmt: skip
    return median(told) if told else None


def is_unpredictable(touches: Iterable[Record], clean_db: float | None) -> bool:
    """Say whether a sound is another one each time: no touch is like another over the same path.

    A toy with two phrases bends each of them in its own way, but then two of three touches are alike.

    Parameters
    ----------
    touches : iterable of Record
        Those that show the sound.
    clean_db : float or None
        Of `clean_apart_db`; where nothing is known of the clean presses nothing is said.
    """
    if clean_db is None:
        return False
    by_spot: dict[tuple, list[Record]] = defaultdict(list)
    for one in touches:
        by_spot[one.target.in_order(), one.path_ohm, one.key].append(one)
    apart, apart_db = [], []
    for here in by_spot.values():
        prints = np.array([print_of(one) for one in here])
        prints = prints[~np.isnan(prints).any(axis=1)]
        if len(prints) < REPEATS:
            continue
        itself = np.diag(np.full(len(prints), np.inf))
        apart.extend((print_distances(prints) + itself).min(axis=1))
        by_db = np.abs(prints[:, None, :] - prints[None, :, :]).mean(axis=2)
        apart_db.extend((by_db + itself).min(axis=1))
    if not apart:
        return False
    return bool(median(apart) >= UNLIKE and median(apart_db) >= CLEAN_TIMES * clean_db)
