"""From where on the takes of a key are compared: the press, or where the toy begins to sound.

Most toys begin a fixed time after their press. Others boot a voice chip, debounce or fade in, and
take another time at each press: there the beginning of the sound is what takes have in common.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rig.listen.judging.align import Aligner
from rig.listen.measures.features import HOP_S, frames
from rig.listen.measures.levels import loud_level_db
from rig.listen.measures.span import Span
from rig.listen.thresholds import THRESHOLDS
from rig.listen.watch import stretches, trigger_level_db
from rig.pcm import unpacked

T = THRESHOLDS.judging


@dataclass(frozen=True, kw_only=True)
class Unlaid:
    """A clean take as it came.

    Parameters
    ----------
    held : ndarray of int16 or float32, shape (n,)
        As it was recorded; see `rig.pcm.packed`.
    span : Span
        Where its steps lie, with the press itself.
    level_db : ndarray of float32, shape (frames,)
        Power over all bands, dB re full scale.
    number : int
        How many had come before it.
    """

    held: np.ndarray
    span: Span
    level_db: np.ndarray
    number: int

    @property
    def samples(self) -> np.ndarray:
        """Give it as it was recorded: float32, shape (n,), full scale 1.0."""
        return unpacked(self.held)


@dataclass(frozen=True)
class Anchor:
    """From where on a key's takes are compared, and how soon its toy sounds.

    Parameters
    ----------
    after_press : int or None
        Frames from the press to there; None where each take has its own.
    earliest, latest : int
        Frames after the press between which the toy began to sound. (What is compared, and how,
        doesn't hang on them.)
    trigger_db : float
        From this level on it sounds, dB re full scale, where takes have their own.
    """

    after_press: int | None = 0
    earliest: int = field(default=0, compare=False)
    latest: int = field(default=0, compare=False)
    trigger_db: float = 0.0

    @property
    def cap_frames(self) -> int:
        """Frames after the press beyond which the toy isn't waited for."""
        if self.after_press is not None:
            return self.after_press
        spread = self.latest - self.earliest
        return round(self.latest + T.later_part * spread) + T.later_frames

    def frame(self, level_db: np.ndarray, span: Span) -> int:
        """Give the frame of a take from which on it is compared.

        Parameters
        ----------
        level_db : ndarray, shape (frames,)
        span : Span
            The sound up to its closing is looked at, where there is some.
        """
        if self.after_press is not None:
            return span.press + self.after_press
        begins = began(level_db[span.press : _until(span)], self.trigger_db)
        return span.press + max(0, (self.earliest if begins is None else begins) - T.skip_frames)

    def of_samples(self, level_db: np.ndarray, press: int) -> list[int]:
        """Give the frames from which on a sound that is still coming may be compared."""
        if self.after_press is not None:
            return [press + self.after_press]
        found = stretches(level_db[press : press + self.cap_frames + T.starts_frames], self.trigger_db)
        return [
            press + max(0, one.first - T.skip_frames)
            for one in found if one.length >= T.starts_frames
        ]


def began(level_db: np.ndarray, trigger_db: float) -> int | None:
    """Give the frame in which a toy begins to sound: what lasts, or else what is there at all.

    Parameters
    ----------
    level_db : ndarray, shape (frames,)
        From the press on.
    trigger_db : float
    """
    found = [one for one in stretches(level_db, trigger_db) if one.length >= T.starts_frames]
    lasting = [one for one in found if one.length > THRESHOLDS.watching.click_frames]
    first = next(iter(lasting or found), None)
    return None if first is None else first.first


def first_begins(samples: np.ndarray, press: int, rate_hz: int) -> int | None:
    """Give the frame from which on a toy of which nothing is known has begun to sound.

    What is over as soon as a click counts once it has been quiet for a while after it.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        As much as was heard.
    press : int
        Frame of the press.
    rate_hz : int

    Returns
    -------
    int or None
        The press, where it sounded with it; None while it is silent.
    """
    level_db = frames(samples, rate_hz).level_db
    if len(level_db) <= press + T.skip_frames:
        return None
    trigger_db = trigger_level_db(_loud_db(level_db[: max(1, press - 1)]))
    since = level_db[press:]
    for one in stretches(since, trigger_db):
        over = len(since) - one.end > T.over_frames
        if one.length > THRESHOLDS.watching.click_frames or (one.length >= T.starts_frames and over):
            return press + max(0, one.first - T.skip_frames)
    return None


def choose(takes: Sequence[Unlaid], rate_hz: int) -> Anchor:
    """Choose what takes are laid on each other by.

    The press, unless the toy's sound begins at times that differ and takes of one phrase are told to
    be alike more often where each begins at its own.

    Parameters
    ----------
    takes : sequence of Unlaid
        At least one.
    rate_hz : int
    """
    if not any(one.span.press for one in takes):
        return Anchor()  # nothing is pressed: all of a take counts
    room_db = np.median([_loud_db(one.level_db[: max(1, one.span.press - 1)]) for one in takes])
    toy_db = np.median([_loud_db(one.level_db[one.span.press :]) for one in takes])
    trigger_db = trigger_level_db(float(room_db), float(toy_db))
    begins = [_began(one, trigger_db) for one in takes]
    heard = [one for one in begins if one is not None]
    if not heard:
        return Anchor()
    earliest, latest = min(heard), max(heard)
    late = (earliest - T.skip_frames) // T.late_step_frames * T.late_step_frames
    steady = Anchor(max(0, late) if earliest > T.prompt_frames else 0, earliest, latest)
    if latest - earliest <= T.steady_frames:
        return steady
    # What it is compared with moves little: only a step of the trigger lays takes anew.
    step_db = T.noise_moved_db
    own = Anchor(None, earliest, latest, round(trigger_db / step_db) * step_db)
    by_press, by_own = (_beginnings(takes, one, rate_hz) for one in (steady, own))
    tells_nothing = by_press > T.nothing_alike * len(takes)
    if by_own < by_press or (tells_nothing and latest - earliest > T.unsteady_frames):
        return own
    return steady


def _began(one: Unlaid, trigger_db: float) -> int | None:
    """Give how many frames after its press a take begins; None where it sounded before."""
    press = one.span.press
    if _loud_db(one.level_db[: max(1, press - 1)]) > trigger_db:
        return None
    return began(one.level_db[press : _until(one.span)], trigger_db)


def _until(span: Span) -> int:
    return span.close if span.close > span.press else span.end


def _loud_db(level_db: np.ndarray) -> float:
    return loud_level_db(level_db) if len(level_db) else 0.0


def _beginnings(takes: Sequence[Unlaid], anchor: Anchor, rate_hz: int) -> int:
    """Count how many beginnings unlike each other takes have, laid by an anchor."""
    aligner = Aligner(rate_hz, (T.answer_frames + T.skip_frames) * HOP_S)
    for one in takes:
        frame = anchor.frame(one.level_db, one.span)
        aligner.learn(one.samples, round(frame * HOP_S * rate_hz))
    return len(aligner)
