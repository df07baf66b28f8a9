"""Recordings of what a toy does by itself, and others judged against them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from rig.listen.describing.describe import describe_excerpts
from rig.listen.describing.excerpts import Description, Excerpt
from rig.listen.judgement import Judgement
from rig.listen.judging.decide import JUDGE, is_audible, too_loud
from rig.listen.judging.tail import Tail
from rig.listen.measures.clipping import is_clipped
from rig.listen.measures.features import HOP_S, frames
from rig.listen.recordings.laying import Laid, compared, lay
from rig.listen.recordings.recording import Recording, prepared, resampled
from rig.listen.thresholds import THRESHOLDS

JUDGING = THRESHOLDS.judging
RECORDINGS = THRESHOLDS.recordings


@dataclass(frozen=True)
class Judged:
    """What is said of one recording.

    Parameters
    ----------
    judgement : Judgement
    nearest : int or None
        Index of the clean recording that it was compared with.
    note : str or None
        Why something about it can't be said.
    """

    judgement: Judgement
    nearest: int | None
    note: str | None


@dataclass(frozen=True)
class Unlike:
    """Clean recordings that are like each other, if there are several, but like no others.

    Parameters
    ----------
    which : tuple of int
        Their indices.
    apart_db : float
        How far the first of them is from the nearest other one, in the worst 0.15 s.
    beside : int
        The other one that it seems to have been.
    told : Description
        What it does beside that one.
    """

    which: tuple[int, ...]
    apart_db: float
    beside: int
    told: Description


class Recordings:
    """Recordings of what the toy does by itself; others are judged against them.

    Attributes
    ----------
    alike : list of list of int
        The clean ones, by their indices: those that are like each other stand together, most first.
    tail : Tail or None
        How far clean ones lie from each other; None where too few are like another.

    Parameters
    ----------
    clean : sequence of (ndarray of float, shape (n,), int)
        Sound, full scale 1.0, and sample rate of each; of any lengths, not aligned.
    rate_hz : int
        What all are brought to: `common_rate_hz` of them and of those to be judged.

    Raises
    ------
    ValueError
        There is none, or nothing is heard in one; `args[1]` is its index then.
    """

    def __init__(self, clean: Sequence[tuple[np.ndarray, int]], rate_hz: int):
        if not clean:
            raise ValueError("there is no clean recording")
        self.rate_hz = rate_hz
        self.clean = [prepared(resampled(*one, rate_hz), rate_hz) for one in clean]
        for i, one in enumerate(self.clean):
            if not one.sounds:
                raise ValueError("nothing but the room is heard", i)
        self.alike, self.tail = self._calibrated()

    def _calibrated(self) -> tuple[list[list[int]], Tail | None]:
        """Learn how far clean recordings are from each other, each left out in turn.

        Left out altogether is what was heard only once: it says how far one phrase is from
        another, not how far a phrase is from itself.
        """
        count = len(self.clean)
        apart_db = np.full((count, count), np.inf)
        worst_db = apart_db.copy()
        for i, one in enumerate(self.clean):
            for j in range(i):
                distance = lay(one, self.clean[j], self.rate_hz).distance
                apart_db[i, j] = apart_db[j, i] = distance.both_db
                worst_db[i, j] = worst_db[j, i] = distance.local_db
        usual_db = RECORDINGS.usual_times * float(np.median(worst_db.min(axis=1)))
        limit_db = np.clip(usual_db, JUDGING.same_phrase_db, RECORDINGS.most_alike_db)
        _, label = scipy.sparse.csgraph.connected_components(worst_db <= limit_db)
        groups = [np.flatnonzero(label == one).tolist() for one in np.unique(label)]
        groups.sort(key=lambda which: (-len(which), which))
        again = sorted(i for which in groups if len(which) > 1 for i in which)
        tail = Tail(apart_db.min(axis=1)[again]) if len(again) >= JUDGING.least_takes else None
        return groups, tail

    def unlike(self) -> list[Unlike]:
        """Give what is like none of the others; of several such groups all but the largest."""
        found = []
        for which in self.alike[1:]:
            mine = self.clean[which[0]]
            laid = {
                i: lay(mine, one, self.rate_hz)
                for i, one in enumerate(self.clean) if i not in which
            }
            beside, told = self._told(mine, laid)
            apart_db = min(one.distance.local_db for one in laid.values())
            found.append(Unlike(tuple(which), apart_db, beside, told))
        return found

    def judge(self, samples: np.ndarray, rate_hz: int) -> Judged:
        """Judge one recording.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
            Full scale 1.0.
        rate_hz : int
            Its own sample rate.
        """
        if is_clipped(samples):
            return Judged(too_loud(samples), None, None)
        mine = prepared(resampled(samples, rate_hz, self.rate_hz), self.rate_hz, self.clean)
        laid = dict(enumerate(lay(mine, one, self.rate_hz) for one in self.clean))
        nearest = _nearest_first(laid)[0]
        distance = laid[nearest].distance
        note, p_value = None, None
        if self.tail is None:
            few = f"fewer than {JUDGING.least_takes} recordings from before"
            unlike = " are alike" if len(self.clean) >= JUDGING.least_takes else ""
            note = f"{few}{unlike}: no p value"
        else:
            p_value = self.tail.p_value(distance.both_db)
        measures = {
            "local_db": round(distance.local_db, 2),
            "mean_db": round(distance.mean_db, 2),
            "begins_s": round(mine.begins_s, 3),
            "room_db": round(mine.room_level_db, 1),
        }
        score = distance.local_db / JUDGING.audible_db
        none = Judgement("none", score=score, p_value=p_value, judge=JUDGE, measures=measures)
        nothing = Judged(none, nearest, note)
        usual = self.tail is not None and p_value > self.tail.least_rank_p
        if usual or distance.local_db < JUDGING.pitch_audible_db:
            return nothing
        nearest, told = self._told(mine, laid)
        if not is_audible(distance.local_db, told):
            return nothing
        judgement = Judgement(
            told.sound, amount=told.amount, unit=told.unit,
            score=score, p_value=p_value, judge=JUDGE, measures=measures | told.measures,
        )
        return Judged(judgement, nearest, note)

    def _told(self, mine: Recording, laid: dict[int, Laid]) -> tuple[int, Description]:
        """Say which of some clean recordings another one was, and what has become of it."""
        order = _nearest_first(laid)
        alike = [i for i in order if laid[i].alike]
        # Phrases may begin with the same word: it was the one that it stays like the longest.
        nearest = max(alike, key=lambda i: laid[i].same_for_s, default=order[0])
        if not mine.sounds:
            return nearest, _silent(mine, self.clean[nearest])
        told = self._described(mine, laid[nearest], self.clean[nearest])
        if not alike or told.sound == "timbre":
            # It may be another phrase, played faster or slower: which one shows by its fit.
            tries = {
                i: self._described(mine, laid[i], self.clean[i]) for i in order[: RECORDINGS.tried]
            }
            best = max(tries, key=lambda i: _fit(tries[i]))
            if _fit(tries[best]) > (RECORDINGS.other_phrase_fit if alike else 0.0):
                nearest, told = best, tries[best]
        return nearest, told

    def _described(self, mine: Recording, laid: Laid, clean: Recording) -> Description:
        start = RECORDINGS.ahead_frames - 1
        sound = frames(mine.samples, self.rate_hz)
        length = compared(mine, len(sound), clean, len(laid.frames))
        room_db = np.maximum(mine.room_db, clean.room_db)
        level_db = float(10 * np.log10(np.sum(10 ** (room_db / 10))))
        pads = [self._padded(one, length) for one in (mine.samples, laid.samples)]
        bent, plain = (Excerpt(one, frames(one, self.rate_hz), start) for one in pads)
        others = tuple(
            frames(self.clean[which[0]].samples, self.rate_hz).mel_db
            for which in self.alike if all(self.clean[i] is not clean for i in which)
        )
        return describe_excerpts(bent, plain, length - start, level_db, self.rate_hz, others)

    def _padded(self, samples: np.ndarray, length: int) -> np.ndarray:
        """Give so many frames of a sound, silence after its end."""
        hop = round(HOP_S * self.rate_hz)
        lacking = (length + 3) * hop - len(samples)
        return np.pad(samples, (0, max(0, lacking)))[: (length + 3) * hop]


def _nearest_first(laid: dict[int, Laid]) -> list[int]:
    return sorted(laid, key=lambda i: laid[i].distance.both_db)


def _fit(told: Description) -> float:
    """Give how well a re-pitching explains a change, 0 where it was none."""
    return told.measures["pitch_fit"] if told.sound == "pitch" else 0.0


def _silent(mine: Recording, clean: Recording) -> Description:
    fall_db = round(min(mine.room_level_db - clean.level_db, 0.0), 2)
    return Description("cut", 0.0, "s", {"cut_db": fall_db, "cut_s": 0.0})
