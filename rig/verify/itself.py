"""Is it still the toy, with all controls open? Its presses beside those of the sweep."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from rig.listen import (
    LEAST_TAKES,
    Ear,
    Judgement,
    Span,
    first_begins,
    frames,
    loud_level_db,
)
from rig.log import Record, SweepLog
from rig.log.takes import as_stored
from rig.outcomes import is_change, sound_words
from rig.sweep.hearing import Heard
from rig.verify.expected import dwell_of, nearest, prints_of
from rig.verify.settings import Job

MOST_TAKES = 32
"""So many of the sweep's clean takes are listened to, spread over it."""
COLOURS = ("timbre", "level")
"""What another microphone, another place of it or a closed shell does to all that is heard."""
SUSPECT = 0.35
"""A toy with all controls open is like a control's own sound up to this distance."""


@dataclass(frozen=True)
class Toy:
    """How the toy with all controls open compares with that of the sweep.

    Parameters
    ----------
    changed : int
        Presses that differ from it.
    presses : int
        Of so many.
    louder_db : float
        How much louder it is now than in the sweep; that alone is no difference.
    words : str
        What is different.
    is_colour : bool
        It is what another microphone, place or shell does.
    suspect : Job or None
        The control whose sound it is.
    """

    changed: int
    presses: int
    louder_db: float = 0.0
    words: str = ""
    is_colour: bool = False
    suspect: Job | None = None

    @property
    def is_itself(self) -> bool:
        """Say whether most of its presses sound as in the sweep."""
        return self.changed <= self.presses / 2


class Before:
    """The toy's own sound with one key as the sweep recorded it.

    Parameters
    ----------
    log : SweepLog
    records : sequence of Record
        Of the whole sweep.
    key : str
    rate_hz : int
        Of what is held against it; takes of another rate aren't used.
    """

    def __init__(self, log: SweepLog, records: Sequence[Record], key: str, rate_hz: int):
        self.key, self.rate_hz = key, rate_hz
        self.ear = Ear(rate_hz)
        self._levels_db: list[float] = []
        self._late_frames: list[int] = []
        clean = [one for one in records if _is_clean(one, key, rate_hz)]
        step = max(1, len(clean) // MOST_TAKES)
        for one in clean[::step][:MOST_TAKES]:
            samples, _ = log.read_take(one.number)
            span = Span.from_samples(one.offsets, len(samples), rate_hz)
            self.ear.learn(key, samples, span)
            self._levels_db.append(_level_db(samples, span, rate_hz))
            begins = first_begins(samples, span.press, rate_hz)
            if begins is not None:
                self._late_frames.append(begins - span.press)

    @property
    def is_known(self) -> bool:
        """Say whether there are takes enough to compare with."""
        return self.ear.takes_learnt(self.key) >= LEAST_TAKES and bool(self._late_frames)

    def beside_clean(self, record: Record, log: SweepLog) -> Record | None:
        """Judge a touch that was told beside the toy with a lead on beside the toy alone.

        A finished build has no leads. None where its take can't be judged so.
        """
        if not self.is_known or record.take is None or record.rate_hz != self.rate_hz:
            return None
        samples, _ = log.read_take(record.number)
        span = Span.from_samples(record.offsets, len(samples), self.rate_hz)
        return replace(record, **vars(self.ear.judge(self.key, samples, span)))

    def compare(self, heard: Sequence[Heard], jobs: Sequence[tuple[Job, np.ndarray]]) -> Toy:
        """Hold presses with all controls open against the sweep's, level apart.

        Parameters
        ----------
        heard : sequence of Heard
        jobs : sequence of (Job, ndarray)
            Each control with the fingerprints of its own sound.
        """
        spans = [Span.from_samples(one.offsets, len(one.samples), self.rate_hz) for one in heard]
        louder_db = median(
            _level_db(one.samples, span, self.rate_hz) for one, span in zip(heard, spans, strict=True)
        ) - median(self._levels_db)
        gain = 10 ** (-louder_db / 20)
        told = [
            self.ear.judge(self.key, as_stored(one.samples * gain), self._as_then(one.samples, span))
            for one, span in zip(heard, spans, strict=True)
        ]
        changed = [one for one in told if is_change(one.sound)]
        if not changed:
            return Toy(0, len(told), louder_db)
        words = _usual(changed)
        return Toy(
            len(changed), len(told), louder_db, sound_words(words.sound, words.amount, words.unit),
            all(one.sound in COLOURS for one in changed), _suspect(changed, jobs),
        )

    def _as_then(self, samples: np.ndarray, span: Span) -> Span:
        """Give where a press's steps lie if the toy answers as late as it did in the sweep."""
        begins = first_begins(samples, max(1, span.press), self.rate_hz)
        late = 0 if begins is None else begins - span.press - round(median(self._late_frames))
        press = max(0, span.press + late)
        return Span(press, max(press, span.close + late), span.open, span.end)


def _is_clean(one: Record, key: str, rate_hz: int) -> bool:
    good = one.complete and one.fault is None and one.sound == "none" and one.take is not None
    return bool(good and one.target.is_clean and one.key == key and one.rate_hz == rate_hz)


def _level_db(samples: np.ndarray, span: Span, rate_hz: int) -> float:
    return loud_level_db(frames(samples, rate_hz).level_db[span.press :])


def _usual(changed: Sequence[Judgement]) -> Judgement:
    """Give the one whose word was heard most often, of these the surest."""
    words = [one.sound for one in changed]
    return max(changed, key=lambda one: (words.count(one.sound), one.score))


def _suspect(changed: Iterable[Judgement], jobs: Sequence[tuple[Job, np.ndarray]]) -> Job | None:
    """Give the control whose own sound is heard though it is open."""
    mine = [dwell_of(one.measures) for one in changed if "change_db" in one.measures]
    apart = [
        (median(nearest(one, prints) for one in mine), n) for n, (_, prints) in enumerate(jobs)
        if mine and len(prints)
    ]
    return jobs[min(apart)[1]][0] if apart and min(apart)[0] <= SUSPECT else None


def prints_by_job(jobs: Sequence[Job], expected: dict) -> list[tuple[Job, np.ndarray]]:
    """Give each control with the fingerprints of what it should sound like at its least resistance."""
    return [(one, prints_of(expected[one.number, one.settings[0].name].own)) for one in jobs]


