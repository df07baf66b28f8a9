"""A find: one sound of a pair over a range of resistance, with its key."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from rig.outcomes import AFTERS, SOUNDS, is_stop, told_words
from rig.pads import is_lone, letters_of, name_of_sides
from rig.words import short_ohms

FIND_COLUMNS = ("pads_1", "pads_2", "key", "sound", "after", "amount", "unit", "path_min_ohm",
                "path_max_ohm", "best_path_ohm", "stops_at_ohm", "score", "p_value", "q_value",
                "family", "changed_presses", "like_key", "manner", "manner_amount", "manner_unit")
"""What of a find is exported, one row per sound of a pair, or of a lead that was heard alone."""

NO_KEY = "none"
"""Stands for the key where none is pressed."""


@dataclass(frozen=True, kw_only=True)
class Heard:
    """What one sound of a pair is over one path.

    Parameters
    ----------
    path_ohm : float or None
        Ohms; None for a lead alone.
    sound, after, amount, unit, score
        Of the touch to listen to.
    touch : int
        Its number.
    baseline_touch : int or None
        As of a find.
    once : bool
        It was heard too seldom over this path to count.
    manner, manner_amount, manner_unit
        As of a find.
    """

    path_ohm: float | None
    sound: str
    after: str
    amount: float | None
    unit: str | None
    score: float
    touch: int
    baseline_touch: int | None
    once: bool = False
    manner: str | None = None
    manner_amount: float | None = None
    manner_unit: str | None = None


@dataclass(frozen=True, kw_only=True)
class Find:
    """One sound of a pair, or of one pad's lead alone, that was heard again; or that it stops the toy.

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
        The range of path in which it was seen to sound so (to stop the toy, if it does nothing
        else), ohms; None for a lead alone.
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
        Those that change the sound alike, by the label of the best among them, itself included.
        What isn't heard is told by what comes after it.
    key : str
        The key that was pressed, in all touches but those that stopped the toy.
    best_path_ohm : float or None
        The path of the best touch, ohms.
    changed_presses : int
        In so many clean presses in a row behind a touch of it the toy wasn't itself.
    like_key : str or None
        The key whose own sound it is.
    along : tuple of Heard
        What it is over each path, from the lowest up; also over those near it over which something
        was heard too seldom to count. Empty where the pair only stops the toy.
    apart : str
        What tells it from the other sounds of its pair: "3.6k", "3.6k blue"; "" where it is the
        only one.
    manner : str or None
        The second word, a row of `rig.outcomes.MANNERS`, that half of its touches have at least.
    manner_amount : float or None
        In `manner_unit`, of the best touch or in the middle.
    manner_unit : str or None
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
    along: tuple[Heard, ...] = ()
    apart: str = ""
    manner: str | None = None
    manner_amount: float | None = None
    manner_unit: str | None = None

    @property
    def words(self) -> str:
        """Say what it does to the sound, by its manner where it has one."""
        return told_words(
            self.sound, self.amount, self.unit, manner=self.manner,
            manner_amount=self.manner_amount, manner_unit=self.manner_unit,
        )

    @property
    def word(self) -> str:
        """Give the one word that it goes by: its manner, or what it does to the sound."""
        return self.manner or self.sound

    @property
    def label(self) -> str:
        """Name it among all finds: "S-W", or "S-W 3.6k" where its pair has several sounds."""
        return f"{self.pair} {self.apart}".rstrip()

    @property
    def place(self) -> tuple[str, tuple[int, ...]]:
        """Give what it is known by, over whichever of its paths it is shown."""
        return self.pair, self.touches

    @property
    def heard_ohm(self) -> tuple[float, ...]:
        """The paths over which it was heard again, from the lowest up, ohms."""
        return tuple(one.path_ohm for one in self.along if one.path_ohm is not None and not one.once)

    @property
    def seen_once_ohm(self) -> tuple[float, ...]:
        """The paths near it over which something was heard too seldom to count, ohms."""
        return tuple(one.path_ohm for one in self.along if one.path_ohm is not None and one.once)

    @property
    def after_at_worst(self) -> str:
        """How the toy was after the harshest touch of the pair."""
        return self.stop or self.after

    @property
    def pads(self) -> tuple[str, ...]:
        """All pads' letters."""
        return letters_of(self.pair)

    @cached_property
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


def find_rows(found: Iterable[Find]) -> list[dict]:
    """Give finds as rows of `FIND_COLUMNS`; `after` is the pair's worst, over any path."""
    return [
        {name: getattr(one, name) for name in FIND_COLUMNS} | {"after": one.after_at_worst}
        for one in found
    ]


def told_apart(found: list[Find]) -> list[Find]:
    """Name several sounds of one pair by their resistance, and by the key where that's the same."""
    if len(found) < 2:
        return found
    ohm = [_short_path(one) for one in found]
    return [
        replace(one, apart=_apart(one, by_key=ohm.count(mine) > 1))
        for one, mine in zip(found, ohm, strict=True)
    ]


def _short_path(one: Find) -> str:
    return "" if one.best_path_ohm is None else short_ohms(one.best_path_ohm)


def _apart(one: Find, by_key: bool) -> str:
    return " ".join(filter(None, (_short_path(one), (one.key or NO_KEY) if by_key else "")))


def over(find: Find, one: Heard) -> Find:
    """Give the same sound of a pair as it was heard over one of its paths.

    Parameters
    ----------
    find : Find
    one : Heard
        One of `find.along`.
    """
    if one.path_ohm == find.best_path_ohm:
        return find
    moved = replace(
        find, sound=one.sound, after=one.after, amount=one.amount, unit=one.unit, score=one.score,
        best_touch=one.touch, baseline_touch=one.baseline_touch, best_path_ohm=one.path_ohm,
        manner=one.manner, manner_amount=one.manner_amount, manner_unit=one.manner_unit,
    )
    return replace(moved, apart=_apart(moved, by_key=find.apart.endswith(f" {find.key or NO_KEY}")))
