"""What a control should sound like, and what else it might: from the sweep's touches."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, log
from statistics import median
from typing import Any

import numpy as np

from rig.choose.families import FAMILY_DISTANCE, print_distances
from rig.choose.ranges import Spot, spots
from rig.listen import THRESHOLDS
from rig.listen.judging.fingerprint import SIZE
from rig.log import Record
from rig.log.between import parts
from rig.log.records import CONTROL
from rig.outcomes import is_crash, unit_of
from rig.verify.settings import Job, Setting
from rig.words import short_ohms

DWELL_SIZE = THRESHOLDS.judging.dwell_parts * THRESHOLDS.judging.band_groups
"""The first so many numbers of a fingerprint are of the time while the pads are closed."""
MOST_APART = 0.5
"""Beyond this no sound is like another, however much it varies."""
BESIDE = 1.16
"""A path this near a control's resistance, as a ratio, is what the control gives: E24's step and 5 %."""
TOLERANCE = 1.1
"""Beyond a control's own range, as a ratio, its parts may be off: 5 % twice."""
MEASURED = ("cents", "s", "Hz")
"""Amounts in these units are a sound's own; a level in dB many sounds have."""
LEAST_DECADE = 3.0
"""Another path of the same pair is told as such from here on, as a ratio."""


@dataclass(frozen=True)
class Hint:
    """What a control may have come to instead.

    Parameters
    ----------
    pair : str
        The pads that it may be on.
    path_ohm : float
        The resistance that it may have.
    spot : Spot
        What the sweep heard there.
    """

    pair: str
    path_ohm: float
    spot: Spot

    @property
    def label(self) -> str:
        """Name it: "C-F 3.6k"."""
        return f"{self.pair} {short_ohms(self.path_ohm)}"

    def may_be(self, word: str | None, amount: float | None, unit: str | None) -> bool:
        """Say whether a measured amount doesn't speak against it."""
        spot = self.spot
        if unit not in MEASURED or amount is None or spot.amount is None:
            return True
        is_other_word = (spot.word, spot.unit) != (word, unit)
        return is_other_word or abs(amount - spot.amount) <= unit_of(unit).alike


@dataclass(frozen=True)
class Expected:
    """What one setting of a control should sound like.

    Parameters
    ----------
    own : tuple of Spot
        The sweep's touches over the nearest paths; none where nothing is known.
    alike : tuple of Spot
        Over other paths or on other pads: what the sweep can't tell from it, by its fingerprint or a
        measured amount.
    others : tuple of Hint
        What else it might be: what can be told from it, and each sound of another control, whether or
        not it can.
    limit : float
        So far from the nearest of its own touches a press may be: a family's distance, or what these
        touches have among themselves.
    misses : tuple of int
        In how many of its own touches nothing was heard, and how many there are.
    amounts : mapping of (str, str) to (float, float)
        Of each word and unit that was heard, from where to where its amount may be.
    """

    own: tuple[Spot, ...]
    alike: tuple[Spot, ...]
    others: tuple[Hint, ...]
    limit: float
    misses: tuple[int, int]
    amounts: Mapping[tuple[str, str], tuple[float, float]]

    @property
    def prints(self) -> np.ndarray:
        """Give the fingerprints of its own touches, and of those alike, dB, shape (n, SIZE)."""
        return prints_of((*self.own, *self.alike))

    @property
    def own_prints(self) -> np.ndarray:
        """Give those of its own pair's touches alone."""
        pairs = {spot.touches[0].target.in_order().name for spot in self.own}
        mine = (one for one in self.alike if one.touches[0].target.in_order().name in pairs)
        return prints_of((*self.own, *mine))

    @property
    def crash_prints(self) -> np.ndarray:
        """Give the fingerprints of its own touches that stopped the toy and let it sound on."""
        return _prints(one for spot in self.own for one in spot.touches if is_crash(one.sound, one.after))

    @property
    def is_heard(self) -> bool:
        """Say whether anything should be heard."""
        return any(spot.heard for spot in self.own)

    @property
    def stops(self) -> bool:
        """Say whether it is to stop the toy: that is what was kept, or the person's own value."""
        return bool(self.own) and all(any(one.stops for one in spot.touches) for spot in self.own)


def expected_of(
    job: Job, setting: Setting, all_jobs: Sequence[Job], records: Iterable[Record]
) -> Expected:
    """Give what a setting should sound like, and what else it might.

    Parameters
    ----------
    job, setting
        The control and what it's set to.
    all_jobs : sequence of Job
        Of the whole sheet.
    records : iterable of Record
        Of the sweep.
    """
    by_pair = _by_pair(records, setting.pick.key)
    mine = spots(by_pair.get(job.pair, ()))
    own = _near(mine, setting.low_ohm, setting.high_ohm)
    limit = _limit(own)
    others = [
        Hint(job.pair, path_ohm, spot) for spot in mine
        if (path_ohm := spot.path_ohm) and _is_far(path_ohm, own)
    ]
    fitted = {one.pair for one in all_jobs}
    for pair, made in by_pair.items():
        # A wire may be on another control's pad, or one of them on a neighbour's.
        shares = len(set(job.pads) & set(made[0].target.pads)) == 1
        if pair != job.pair and (shares or pair in fitted):
            others += [
                Hint(pair, spot.path_ohm, spot)
                for spot in _near(spots(made), setting.low_ohm, setting.high_ohm) if spot.path_ohm
            ]
    others = [one for one in others if one.spot.heard]
    apart = {one.label: _apart(one.spot, own) for one in others}
    alike = [
        one.spot for one in others
        if apart[one.label] <= FAMILY_DISTANCE and one.spot.unit not in MEASURED
    ]
    touches = [one for spot in own for one in spot.touches]
    return Expected(
        tuple(own), tuple(alike),
        tuple(one for one in others if apart[one.label] > limit or one.pair in fitted - {job.pair}), limit,
        (sum(one not in spot.heard for spot in own for one in spot.touches), len(touches)),
        _amounts(mine, own, setting),
    )


def _by_pair(records: Iterable[Record], key: str | None) -> dict[str, list[Record]]:
    """Gather the touches of two pads that count, with one key or any: the sweep's, and those that
    measured what is kept."""
    records = list(records)
    measuring = parts(records).measuring
    found: dict[str, list[Record]] = {}
    for one in records:
        pressed = key in (None, one.key)
        shows = one.kind in ("sweep", "confirm") or (
            one.kind == CONTROL and (one.stops or one.number in measuring))
        if one.counts and pressed and shows and one.target.is_single_pair:
            found.setdefault(one.target.in_order().name, []).append(one)
    return found


def _apart(spot: Spot, own: Sequence[Spot]) -> float:
    """Give how far most touches of a spot are from the nearest of a kept sound's own, 0 (alike) to 1.

    What the sweep can't tell from the kept sound says nothing against it.
    """
    theirs, mine = prints_of([spot]), prints_of(own)
    return median(nearest(one, mine) for one in theirs) if len(theirs) else 1.0


def _near(found: Sequence[Spot], low_ohm: float, high_ohm: float) -> list[Spot]:
    """Give the spots whose paths a resistance stands for, or those on either side of it; of a whole range
    both, as far as they were heard, since its middle may be like either."""
    paths = {spot.path_ohm: spot for spot in found if spot.path_ohm is not None}
    within = [
        spot for path, spot in paths.items() if low_ohm / BESIDE <= path <= high_ohm * BESIDE
    ]
    if within and low_ohm == high_ohm:
        return within
    below = max((path for path in paths if path < low_ohm / BESIDE), default=None)
    above = min((path for path in paths if path > high_ohm * BESIDE), default=None)
    beside = [paths[path] for path in (below, above) if path is not None]
    return [*within, *(spot for spot in beside if spot.heard)] if within else beside


def _is_far(path_ohm: float, own: Sequence[Spot]) -> bool:
    return all(
        spot.path_ohm is None
        or max(path_ohm / spot.path_ohm, spot.path_ohm / path_ohm) >= LEAST_DECADE for spot in own
    )


def prints_of(found: Iterable[Spot]) -> np.ndarray:
    """Give the fingerprints of the touches in which spots were heard, as far as a pad was closed."""
    return _prints(one for spot in found for one in spot.heard)


def _prints(touches: Iterable[Record]) -> np.ndarray:
    told = [dwell_of(one.measures) for one in touches if "change_db" in one.measures]
    return np.array(told).reshape(-1, SIZE)


def dwell_of(measures: Mapping[str, Any]) -> list[float]:
    """Give a fingerprint without its tail: a hand opens when it likes."""
    change_db = list(measures["change_db"][:DWELL_SIZE])
    return change_db + [0.0] * (SIZE - DWELL_SIZE)


def nearest(mine: Sequence[float], theirs: np.ndarray) -> float:
    """Give how far a fingerprint is from the nearest of others, 0 (alike) to 1; 1 without any."""
    if not len(theirs):
        return 1.0
    return float(np.min(print_distances(np.vstack([mine, theirs]))[0, 1:]))


def _limit(own: Sequence[Spot]) -> float:
    """Give how far a kept sound's own touches are from the nearest other one, at least a family's."""
    limit = FAMILY_DISTANCE
    for spot in own:
        theirs = prints_of([spot])
        if len(theirs) > 2:
            apart = print_distances(theirs)
            np.fill_diagonal(apart, inf)
            limit = max(limit, float(np.max(apart.min(axis=1))))
    return min(limit, MOST_APART)


def _amounts(
    mine: Sequence[Spot], own: Sequence[Spot], setting: Setting
) -> dict[tuple[str, str], tuple[float, float]]:
    """Give the range of each word's amount: what was heard, what lies on the way, and what is alike."""
    found: dict[tuple[str, str], list[float]] = {}
    for one in itertools.chain.from_iterable(spot.heard for spot in own):
        if one.amount is not None and one.unit and one.sound:
            found.setdefault((one.sound, one.unit), []).append(one.amount)
    within = {}
    for (word, unit), told in found.items():
        along = sorted(
            (log(spot.path_ohm), spot.amount) for spot in mine
            if spot.path_ohm and spot.heard and (spot.word, spot.unit) == (word, unit) and spot.amount is not None
        )
        ends = log(setting.low_ohm / TOLERANCE), log(setting.high_ohm * TOLERANCE)
        if len(along) > 1:
            paths, amounts = ([float(one) for one in side] for side in zip(*along, strict=True))
            told = told + [float(one) for one in np.interp(ends, paths, amounts)]
        elif along and unit == "cents":
            # No resistor moves an RC clock's pitch by more than its own ratio.
            told = told + [along[0][1] + sign * 1200 * abs(end - along[0][0]) / log(2)
                           for end in ends for sign in (-1, 1)]  # fmt: skip
        alike = unit_of(unit).alike
        within[word, unit] = min(told) - alike, max(told) + alike
    return within
