"""The course of a kept sound along the resistance: where it begins and ends, how it moves, how well it
repeats, whether it remembers from which side it was come to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import log
from statistics import median

import numpy as np

from rig.build.evidence import Trial, stopped_ohm
from rig.choose.families import FAMILY_DISTANCE, print_distances
from rig.choose.matching import is_same
from rig.outcomes import SOUNDS, Unit, is_change, sound_words, unit_of
from rig.words import ohms

BACK = 0.2
"""So much of its whole movement may an amount go back and still be called one way."""
JUMP, NEAR = 0.6, 1.6
"""Where so much of the movement lies between two paths whose ratio is no more, it switches there."""
ALL_IN_ONE = 0.9
"""And between two paths however far apart."""
FEWEST = 3
"""Paths over which it must be known to be called smooth."""
APART = Unit(FAMILY_DISTANCE, FAMILY_DISTANCE)
"""How far fingerprints are from the first one's moves by so much where words say no more."""


@dataclass(frozen=True)
class Point:
    """What a pair did over one path with one key.

    Parameters
    ----------
    path_ohm : float
    trials : tuple of Trial
        At least one.
    """

    path_ohm: float
    trials: tuple[Trial, ...]

    @cached_property
    def heard(self) -> tuple[Trial, ...]:
        """Give the touches in which something was heard."""
        return tuple(one for one in self.trials if one.heard)

    @property
    def counts(self) -> bool:
        """Say whether it was heard twice, and in half of its touches."""
        return len(self.heard) >= 2 and 2 * len(self.heard) >= len(self.trials)

    @cached_property
    def word(self) -> tuple[str, str | None]:
        """Give the word that was heard most often, with the unit of its amount."""
        return Counter((one.sound, one.unit) for one in self.heard).most_common(1)[0][0]

    @property
    def told(self) -> tuple[Trial, ...]:
        """Give the touches with that word."""
        return tuple(one for one in self.heard if (one.sound, one.unit) == self.word)

    @property
    def amount(self) -> float | None:
        """Give the middle of this word's amounts."""
        return _middle([one.amount for one in self.told])

    @cached_property
    def change_db(self) -> np.ndarray | None:
        """Give the middle of the fingerprints; None where none is stored."""
        prints = [one.change_db for one in self.heard if one.change_db]
        return np.median(np.array(prints), axis=0) if prints else None

    @property
    def words(self) -> str:
        """Say what was heard."""
        return sound_words(self.word[0], self.amount, self.word[1])


@dataclass(frozen=True)
class Course:
    """A kept sound along the resistance.

    Parameters
    ----------
    run : tuple of Point
        The paths over which it is the kept sound, from the lowest up; at least one.
    others : tuple of Point
        All other paths above what stopped the toy, from the lowest up.
    stopped_ohm : float or None
        The highest path over which the toy was stopped, with any key, ohms.
    is_measured : bool
        It was touched down and up again, beyond what finding it took.
    """

    run: tuple[Point, ...]
    others: tuple[Point, ...]
    stopped_ohm: float | None
    is_measured: bool

    @cached_property
    def track(self) -> list[tuple[float, float]]:
        """Give how far it has moved over each path, in `unit`: its amount, else how far its shape is
        from that over the highest path, 0 to 1."""
        if self._by_amount:
            return [(one.path_ohm, one.amount) for one in self.run if one.amount is not None]
        last = self.run[-1].change_db
        if last is None or any(one.change_db is None for one in self.run):
            return []
        prints = np.array([last, *(one.change_db for one in self.run)])
        apart = print_distances(prints)[0, 1:]
        return [(one.path_ohm, float(value)) for one, value in zip(self.run, apart, strict=True)]

    @property
    def _by_amount(self) -> bool:
        one_word = len({one.word for one in self.run}) == 1
        return one_word and all(one.amount is not None for one in self.run)

    @property
    def unit(self) -> Unit:
        """Give what is known of the unit that it moves in."""
        return unit_of(self.run[0].word[1]) if self._by_amount else APART

    @property
    def moved(self) -> float:
        """Give how far it moves in all."""
        values = [value for _, value in self.track]
        return max(values) - min(values) if values else 0.0

    @cached_property
    def spread(self) -> float:
        """Give how far touches over one path lie apart, in the same unit: the middle of all paths."""
        spreads = []
        for one in self.run:
            if self._by_amount:
                values = [trial.amount for trial in one.told if trial.amount is not None]
                spreads.append(max(values) - min(values))
            elif one.change_db is not None:
                prints = np.array([one.change_db, *(t.change_db for t in one.heard if t.change_db)])
                spreads.append(2 * float(np.median(print_distances(prints)[0, 1:])))
        return median(spreads) if spreads else 0.0

    @property
    def moves(self) -> bool:
        """Say whether it moves by more than it wavers."""
        return self.moved > max(self.unit.moves, 2 * self.spread)

    @property
    def is_smooth(self) -> bool:
        """Say whether it moves one way over three paths or more, and nowhere at once."""
        if len(self.track) < FEWEST or not self.moves:
            return False
        values = [value for _, value in self.track]
        steps = [b - a for a, b in pairwise(values)]
        back = sum(abs(s) for s in steps if s * (values[-1] - values[0]) < 0)
        return back <= BACK * self.moved and self.jump_ohm is None

    @property
    def jump_ohm(self) -> tuple[float, float] | None:
        """Give the two paths between which it moves nearly all of its way at once."""
        if not self.moves or len(self.track) < FEWEST:
            return None  # of two paths it isn't known what is between
        for (low, one), (high, other) in pairwise(self.track):
            share = abs(other - one) / self.moved
            if share > ALL_IN_ONE or (share > JUMP and high / low <= NEAR):
                return low, high
        return None

    @property
    def remembers_ohm(self) -> tuple[float, ...]:
        """Give the paths over which it is another from above than from below."""
        return tuple(one.path_ohm for one in (*self.others, *self.run) if self._remembers(one))

    def _remembers(self, one: Point) -> bool:
        ways = [[t for t in one.trials if t.way == way] for way in ("down", "up")]
        if not all(len(way) >= 2 for way in ways):
            return False
        shares = [sum(t.heard for t in way) / len(way) for way in ways]
        if set(shares) == {0.0, 1.0}:
            return True
        if not self._by_amount or one not in self.run:
            return False
        down, up = ([t.amount for t in way if (t.sound, t.unit) == one.word and t.amount is not None]
                    for way in ways)  # fmt: skip
        if len(down) < 2 or len(up) < 2:
            return False
        within = max(max(down) - min(down), max(up) - min(up))
        return abs(median(down) - median(up)) > max(self.unit.alike, 3 * within)

    def plateaus(self, kept_ohm: float) -> list[Point]:
        """Give a path for each sound that differs from the one before, from the lowest up.

        That of the kept sound is the kept path; else it is the one with the most touches heard, of
        several the middle one.
        """
        points = sorted((*self.run, *(one for one in self.others if one.counts and _is_change(one))),
                        key=lambda one: one.path_ohm)  # fmt: skip
        groups: list[list[Point]] = []
        for one in points:
            if groups and _alike(groups[-1][0], one):
                groups[-1].append(one)
            else:
                groups.append([one])
        return [_representative(group, kept_ohm) for group in groups]

    @property
    def told(self) -> str:
        """Say it in a sentence or two."""
        if not self.is_measured:
            return "Whether it moves smoothly, repeats and remembers wasn't measured."
        low, high = self.run[0], self.run[-1]
        said = f"Measured: heard from {ohms(high.path_ohm)}"
        said += f" down to {ohms(low.path_ohm)}" if low is not high else ""
        if self._by_amount and self.moves:
            said += f", from {high.words} to {low.words}"
        if self.is_smooth:
            said += ", smoothly"
        elif self.moves and self.jump_ohm:
            said += f", most of it at once between {ohms(self.jump_ohm[1])} and {ohms(self.jump_ohm[0])}"
        elif not self.moves and low is not high:
            said += ", all alike"
        if self.stopped_ohm is not None:
            said += f"; it stops the toy at {ohms(self.stopped_ohm)}"
        said += "."
        if remembered := self.remembers_ohm:
            told = " and ".join(ohms(one) for one in remembered[:2])
            said += f" It remembers: over {told} it is another from above than from below."
        return said


def course(
    trials: Sequence[Trial], key: str, kept_ohm: float, heard_ohm: Sequence[float]
) -> Course | None:
    """Give the course of a sound that was kept; None where the touches with its key don't show it.

    Parameters
    ----------
    trials : sequence of Trial
        Of the pair, with all keys: a stop is a stop.
    key : str
        The key whose sound counts.
    kept_ohm : float
        The path that was kept.
    heard_ohm : sequence of float
        The find's range; the course where nothing was measured.
    """
    stopped = stopped_ohm(trials)
    by_path: dict[float, list[Trial]] = {}
    for one in trials:
        if one.key == key and one.path_ohm > (stopped or 0.0):
            by_path.setdefault(one.path_ohm, []).append(one)
    points = [Point(path, tuple(by_path[path])) for path in sorted(by_path)]
    at = next((n for n, one in enumerate(points) if is_same(one.path_ohm, kept_ohm)), None)
    if at is None or not points[at].counts:
        return None
    is_measured = any(one.way for one in points[at].trials)
    if is_measured:
        run = _run(points, at)
    else:
        run = [one for one in points if one.path_ohm in heard_ohm and one.counts] or [points[at]]
    others = tuple(one for one in points if one not in run)
    return Course(tuple(run), others, stopped, is_measured)


def _run(points: Sequence[Point], at: int) -> list[Point]:
    """Give the neighbours of a path over which it is the same sound."""
    run = [points[at]]
    for one in reversed(points[:at]):
        if not _goes_on(run, run[0], one):
            break
        run.insert(0, one)
    for one in points[at + 1 :]:
        if not _goes_on(run, run[-1], one):
            break
        run.append(one)
    return run


def _goes_on(run: Sequence[Point], edge: Point, one: Point) -> bool:
    """Say whether a path beside a run is the same sound: alike, or its amount goes on one way."""
    if not one.counts:
        return False
    if _alike(edge, one):
        return True
    amounts = [p.amount for p in sorted((*run, one), key=lambda p: p.path_ohm) if p.amount is not None]
    if len({p.word for p in (*run, one)}) > 1 or len(amounts) <= len(run):
        return False
    steps = [b - a for a, b in pairwise(amounts)]
    return all(s >= 0 for s in steps) or all(s <= 0 for s in steps)


def _alike(one: Point, other: Point) -> bool:
    if one.change_db is not None and other.change_db is not None:
        return bool(print_distances(np.array([one.change_db, other.change_db]))[0, 1] <= FAMILY_DISTANCE)
    if one.word != other.word or one.amount is None or other.amount is None:
        return one.word == other.word
    return abs(one.amount - other.amount) <= unit_of(one.word[1]).alike


def _is_change(one: Point) -> bool:
    return is_change(one.word[0]) and SOUNDS[one.word[0]].is_bend


def _representative(group: Sequence[Point], kept_ohm: float) -> Point:
    kept = next((one for one in group if is_same(one.path_ohm, kept_ohm)), None)
    if kept is not None:
        return kept
    middle = log(group[0].path_ohm * group[-1].path_ohm) / 2
    return max(group, key=lambda one: (len(one.heard), -abs(log(one.path_ohm) - middle)))


def _middle(values: Sequence[float | None]) -> float | None:
    told = [one for one in values if one is not None]
    return median(told) if told else None
