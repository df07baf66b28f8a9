"""Where one sound of a pair ends and another begins: ranges of resistance, from its touches."""

from __future__ import annotations

import itertools
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, log
from statistics import median

import numpy as np

from rig.choose.families import FAMILY_DISTANCE, print_distances, print_of, rough
from rig.log import Record
from rig.outcomes import is_heard
from rig.touches import Target

HEARD_AGAIN = 2
"""A path counts once a change was heard over it so often."""
HEARD_SHARE = 1 / 2
"""In so many of a path's touches it must be heard, at least."""


@dataclass(frozen=True)
class Spot:
    """What one pair did over one path with one key.

    Parameters
    ----------
    touches : tuple of Record
        All that can be used, by their numbers; at least one.
    """

    touches: tuple[Record, ...]

    @property
    def key(self) -> str:
        """Name the keys that were pressed."""
        return self.touches[0].key

    @property
    def path_ohm(self) -> float | None:
        """Give the path, ohms; None for a lead alone."""
        return self.touches[0].path_ohm

    @cached_property
    def heard(self) -> tuple[Record, ...]:
        """Give the touches that let it be heard and left the toy alive."""
        return tuple(one for one in self.touches if heard(one) and not one.stops)

    @cached_property
    def counts(self) -> bool:
        """Say whether the path counts: it was heard again, and in half of its touches."""
        often = len(self.heard) >= HEARD_SHARE * len(self.touches)
        return often and bool(self.heard) and heard_again(self.touches)

    @cached_property
    def best(self) -> Record:
        """Give the touch to listen to, of those that were heard."""
        return best(self.heard)

    @cached_property
    def word(self) -> str | None:
        """Give the word that was heard most often, of several the surest."""
        often = Counter(one.sound for one in self.heard)
        return max(self.heard, key=lambda one: (often[one.sound], *_sure(one))).sound

    @cached_property
    def unit(self) -> str | None:
        """Give the unit of this word's amount."""
        return max((one for one in self.heard if one.sound == self.word), key=_sure).unit

    @cached_property
    def amount(self) -> float | None:
        """Give the middle of this word's amounts, None where there are none."""
        told = [one.amount for one in self.heard
                if one.sound == self.word and one.unit == self.unit and one.amount is not None]  # fmt: skip
        return median(told) if told else None


@dataclass(frozen=True)
class Range:
    """One sound of a pair: neighbouring paths over which it is heard with one key.

    Parameters
    ----------
    spots : tuple of Spot
        Those that count, from the highest path down; at least one.
    once : tuple of Spot
        Those over which something was heard, not often enough to count, and to which this is the
        nearest range.
    """

    spots: tuple[Spot, ...]
    once: tuple[Spot, ...] = ()

    @property
    def key(self) -> str:
        """Name the keys that were pressed."""
        return self.spots[0].key

    @property
    def touches(self) -> list[Record]:
        """Give the touches that show it."""
        return [one for spot in self.spots for one in spot.heard]

    @property
    def path_min_ohm(self) -> float | None:
        """Give its lowest path, ohms; None for a lead alone."""
        return self.spots[-1].path_ohm

    @property
    def path_max_ohm(self) -> float | None:
        """Give its highest path, ohms; None for a lead alone."""
        return self.spots[0].path_ohm


def ranges(touches: Iterable[Record]) -> list[Range]:
    """Split what a pair was heard to do into its sounds.

    Neighbouring paths that count are one sound where the lower one's fingerprint is near the
    middle of those above it, or where the word stays and its amount goes one way. A path between
    over which nothing was heard ends a sound; one that was heard too seldom to count doesn't.

    Parameters
    ----------
    touches : iterable of Record
        Of one pair, those that can be used, in any order.

    Returns
    -------
    list of Range
        By their key, then from the highest path down. Paths at and below one that stopped the toy,
        with whatever key, are in none of them.
    """
    touches = list(touches)
    stopped_at = max((path_ohm(one) for one in touches if one.stops), default=-inf)
    by_key: dict[str, list[Spot]] = defaultdict(list)
    for spot in spots(touches):
        if path_ohm(spot) > stopped_at:
            by_key[spot.key].append(spot)
    return [one for key in sorted(by_key) for one in _split(by_key[key])]


def spots(touches: Iterable[Record]) -> list[Spot]:
    """Gather touches of one pair by path and key, from the highest path down."""
    found: dict[tuple[Target, float], list[Record]] = defaultdict(list)
    for one in touches:
        found[one.target.in_order(), path_ohm(one)].append(one)
    made = [
        (target, Spot(tuple(sorted(mine, key=lambda one: one.number))))
        for (target, _), mine in found.items()
    ]
    # Connections of a group have values of their own, so one path may be there twice.
    made.sort(key=lambda one: (-path_ohm(one[1]), *(c.series_ohm for c in one[0].connections)))
    return [spot for _, spot in made]


def path_ohm(one: Record | Spot) -> float:
    """Give the path of a touch or spot, ohms; a lead alone lies beyond all."""
    return inf if one.path_ohm is None else one.path_ohm


def heard(one: Record) -> bool:
    """Say whether a touch gave something that is heard, in it or after it."""
    return is_heard(one.sound, one.after)


def heard_again(made: Sequence[Record]) -> bool:
    """Say if a change came back, over one path: in a confirming touch, and before it."""
    changed = [one for one in made if heard(one)]
    if not any(one.kind == "confirm" for one in changed):
        return False
    # A first touch that stopped the toy, and a second that let the change be heard, will do.
    return len(changed) >= HEARD_AGAIN or any(one.stops for one in made if one not in changed)


def best(shown: Sequence[Record]) -> Record:
    """Give the touch to show: the sound seen most often, then the surest with a take."""
    often = Counter(one.sound for one in shown)
    return max(shown, key=lambda one: (one.take is not None, often[one.sound], *_sure(one)))


def _sure(one: Record) -> tuple[float, int]:
    return one.score or 0.0, -one.number


def _split(downwards: Sequence[Spot]) -> list[Range]:
    """Split the spots of one key, from the highest path down."""
    runs: list[list[Spot]] = []
    seldom: list[Spot] = []
    is_open = False
    for spot in downwards:
        if spot.counts:
            if is_open and _goes_on(runs[-1], spot):
                runs[-1].append(spot)
            else:
                runs.append([spot])
            is_open = True
        elif spot.heard:
            seldom.append(spot)
        else:
            is_open = False
    beside: dict[int, list[Spot]] = defaultdict(list)
    for spot in seldom if runs else ():
        beside[min(range(len(runs)), key=lambda at: _log_distance(runs[at], spot))].append(spot)
    return [Range(tuple(run), tuple(beside[at])) for at, run in enumerate(runs)]


def _goes_on(run: Sequence[Spot], spot: Spot) -> bool:
    """Say whether a spot below a run is the same sound."""
    apart = print_distances(np.array([
        _middle([one for above in run for one in above.heard]), _middle(spot.heard),
    ]))[0, 1]  # fmt: skip
    if np.isnan(apart):
        return _rough(run) == _rough([spot]) or _is_one_way([*run, spot])
    return bool(apart <= FAMILY_DISTANCE) or _is_one_way([*run, spot])


def _middle(touches: Sequence[Record]) -> np.ndarray:
    """Give the middle of their fingerprints, band by band; nan where none is stored."""
    prints = np.array([print_of(one) for one in touches])
    told = prints[~np.isnan(prints).any(axis=1)]
    return np.median(told if len(told) else prints, axis=0)


def _rough(run: Sequence[Spot]) -> tuple:
    """Give what words and amounts say of a run's sound, see `families.rough`."""
    often = Counter((one.word, one.unit, one.best.after) for one in run)
    word, unit, after = often.most_common(1)[0][0]
    told = [one.amount for one in run
            if (one.word, one.unit) == (word, unit) and one.amount is not None]  # fmt: skip
    return rough(word, after, median(told) if told else None, unit)


def _is_one_way(run: Sequence[Spot]) -> bool:
    """Say whether all have one word, and its amount only rises or only falls along them."""
    amounts = [one.amount for one in run if one.amount is not None]
    if len(amounts) < len(run) or len({(one.word, one.unit) for one in run}) > 1:
        return False
    steps = [b - a for a, b in itertools.pairwise(amounts)]
    return all(step >= 0 for step in steps) or all(step <= 0 for step in steps)


def _log_distance(run: Sequence[Spot], spot: Spot) -> float:
    """Give how far a spot lies beside a run, as the logarithm of their ratio; 0 within it."""
    if spot.path_ohm is None or run[0].path_ohm is None or run[-1].path_ohm is None:
        return 0.0
    at, high, low = (log(max(one, 1.0)) for one in (spot.path_ohm, run[0].path_ohm, run[-1].path_ohm))
    return max(0.0, low - at, at - high)
