"""The clean takes of a key as they come, laid over each other, and how far apart they are.

They are so many at most, whatever a sweep lasts, and one more costs as much as there are. The
first ones stay, the latest ones follow a drift, and what is kept between them is spread over the
time, so that a stored take of any hour has some beside it. Of a phrase that is seldom heard none
goes while others have more.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import scipy

from rig.listen.judging.align import Aligner, shifted
from rig.listen.judging.anchor import Anchor, Unlaid, choose
from rig.listen.judging.distance import compare, mean_apart_db
from rig.listen.measures.features import BANDS, HOP_S, Frames, frames
from rig.listen.measures.levels import mean_db
from rig.listen.measures.span import LAG_FRAMES, Span
from rig.listen.thresholds import THRESHOLDS
from rig.pcm import packed

T = THRESHOLDS.judging


@dataclass(frozen=True, kw_only=True)
class CleanTake:
    """One of them.

    Parameters
    ----------
    unlaid : Unlaid
        As it was recorded.
    frames : Frames
        Of the take shifted so that its sound starts where its phrase's others do.
    span : Span
        With its `press` where comparing begins.
    quiet_db : ndarray, shape (BANDS,)
        What was there before its press.
    head : int
        The aligner's number of how it begins.
    """

    unlaid: Unlaid
    frames: Frames
    span: Span
    quiet_db: np.ndarray
    head: int

    @property
    def samples(self) -> np.ndarray:
        """Give it as it was recorded: float32, shape (n,), full scale 1.0."""
        return self.unlaid.samples

    @property
    def compared(self) -> int:
        """Frames of it that are compared."""
        return len(self.frames) - self.span.press - T.skip_frames


class Kept:
    """Clean takes, each measured once, and so many at most.

    Attributes
    ----------
    takes : list of CleanTake
    learnt : int
        How many have come, with those that are no longer kept.
    anchor : Anchor
        From where on they are compared; chosen by the first ones.
    aligner : Aligner
    noise_db, floor_db : ndarray, shape (BANDS,)
        The room's, and below what nothing is compared.
    length : int
        Frames of the longest take that are compared.
    stack : ndarray of float32, shape (takes, length + 2 * LAG_FRAMES, BANDS)
        The takes' bands, not below the floor, from `LAG_FRAMES` ahead of where comparing begins.
    local_db, mean_db, lead_in_db : ndarray, shape (takes, takes)
        How far each is from each: worst 0.15 s, mean, and mean over the lead-in. To itself: 0.

    Parameters
    ----------
    rate_hz : int
    """

    def __init__(self, rate_hz: int):
        self.rate_hz = rate_hz
        self.takes: list[CleanTake] = []
        self.anchor = Anchor()
        self.aligner = self._new_aligner()
        self.length = 1
        self.learnt = 0
        self.noise_db = self.floor_db = np.zeros(BANDS, np.float32)
        self.stack: np.ndarray
        self.local_db: np.ndarray
        self.mean_db: np.ndarray
        self.lead_in_db: np.ndarray
        self._forget()

    @classmethod
    def of(cls, takes: Iterable[tuple[np.ndarray, Span]], rate_hz: int) -> Kept:
        """Build from sounds and where their steps lie."""
        kept = cls(rate_hz)
        for samples, span in takes:
            kept.add(samples, span)
        return kept

    def add(self, samples: np.ndarray, span: Span) -> None:
        """Take one more in."""
        samples = np.asarray(samples, dtype=np.float32)
        one = Unlaid(
            held=packed(samples), span=span, number=self.learnt,
            level_db=frames(samples, self.rate_hz).level_db,
        )
        self._see(one)
        held = len(self.takes) >= T.first_takes
        if held:
            self.compare_all()
        self.takes.append(self._laid(one))
        self.learnt += 1
        self.length = max(self.length, self.takes[-1].compared)
        # The middle one: into some takes the toy still sounds from before their press.
        noise_db = np.median([one.quiet_db for one in self.takes], axis=0)
        if not held or np.abs(noise_db - self.noise_db).max() > T.noise_moved_db:
            self.noise_db = noise_db
            self.floor_db = (noise_db + T.floor_over_noise_db).astype(np.float32)
            self._forget()
        if held:
            self.compare_all()
        if len(self.takes) > T.kept_takes:
            self._drop(self._dispensable())

    def _see(self, one: Unlaid) -> None:
        """Lay all takes anew where one more shows that they must be compared from elsewhere on."""
        if len(self.takes) >= T.first_takes:
            return
        earlier = [take.unlaid for take in self.takes]
        before, self.anchor = self.anchor, choose([*earlier, one], self.rate_hz)
        if self.anchor != before:
            self.aligner = self._new_aligner()
            self.takes = [self._laid(take) for take in earlier]
            self.length = max([1, *(take.compared for take in self.takes)])
            self._forget()

    def compare_all(self) -> None:
        """Measure how far the takes are from each other, where that isn't known."""
        known, count = len(self.stack), len(self.takes)
        if known == count:
            return
        if known == 0:
            self.stack = np.stack([self._whole(one) for one in self.takes])
        else:
            stack = np.tile(self.floor_db, (count, self.length + 2 * LAG_FRAMES, 1))
            stack[:known, : self.stack.shape[1]] = self.stack
            stack[known:] = [self._whole(one) for one in self.takes[known:]]
            self.stack = stack
        self.local_db, self.mean_db, self.lead_in_db = (
            _grown(table, count) for table in (self.local_db, self.mean_db, self.lead_in_db)
        )
        lag = T.aligned_lag_frames
        lead_in = self.stack[:, LAG_FRAMES : LAG_FRAMES + T.answer_frames]
        for i in range(count):
            # Of those that are known the new ones alone are looked at.
            others = slice(known if i < known else 0, count)
            self.local_db[i, others], self.mean_db[i, others] = compare(
                self.stack[others], self._mine(i), lag
            )[:2]
            self.lead_in_db[i, others] = mean_apart_db(self.stack[others], lead_in[i], lag)

    def phrases(self) -> np.ndarray:
        """Number the phrases, from 1: takes joined by short steps are one; shape (takes,)."""
        apart_db = np.minimum(self.local_db, self.local_db.T)
        nearest = self.local_db + np.diag(np.full(len(apart_db), np.inf))
        usual_db = float(np.median(nearest.min(axis=1)))
        limit_db = max(T.same_phrase_db, T.same_phrase_times * usual_db)
        square = np.minimum(apart_db, 1e3)
        np.fill_diagonal(square, 0.0)
        condensed = scipy.spatial.distance.squareform(square, checks=False)
        joined = scipy.cluster.hierarchy.linkage(condensed, "single")
        return scipy.cluster.hierarchy.fcluster(joined, limit_db, "distance")

    def _dispensable(self) -> int:
        """Give the take that is missed the least.

        It is neither one of the first nor of the latest; of the phrase of which most others are
        kept it's the one whose neighbours in time are the closest.
        """
        phrases = self.phrases()
        between = np.arange(T.first_takes, len(self.takes) - T.latest_takes)
        often = np.bincount(phrases[between])
        alike = np.flatnonzero(phrases == phrases[between[np.argmax(often[phrases[between]])]])
        number = np.array([self.takes[i].unlaid.number for i in alike])
        gap = np.full(len(alike), np.inf)
        gap[1:-1] = number[2:] - number[:-2]
        gap[~np.isin(alike, between)] = np.inf
        if np.isinf(gap).all():
            return int(alike[np.isin(alike, between)][0])
        return int(alike[np.argmin(gap)])

    def _drop(self, i: int) -> None:
        gone = self.takes.pop(i)
        self.stack = np.delete(self.stack, i, axis=0)
        self.local_db, self.mean_db, self.lead_in_db = (
            np.delete(np.delete(table, i, axis=0), i, axis=1)
            for table in (self.local_db, self.mean_db, self.lead_in_db)
        )
        if all(one.head != gone.head for one in self.takes):
            self.aligner.forget(gone.head)

    def _forget(self) -> None:
        """Forget how far the takes are from each other."""
        self.stack = np.zeros((0, 0, BANDS), np.float32)
        self.local_db = self.mean_db = self.lead_in_db = np.zeros((0, 0))

    def _whole(self, take: CleanTake) -> np.ndarray:
        length = self.length + 2 * LAG_FRAMES
        return from_press(take.frames, take.span, length, self.floor_db, LAG_FRAMES)

    def _mine(self, i: int) -> np.ndarray:
        return self.stack[i, LAG_FRAMES : LAG_FRAMES + self.takes[i].compared]

    def sample(self, frame: int) -> int:
        """Give the sample with which a frame begins."""
        return round(frame * HOP_S * self.rate_hz)

    def _new_aligner(self) -> Aligner:
        return Aligner(self.rate_hz, (T.answer_frames + T.skip_frames) * HOP_S)

    def _laid(self, one: Unlaid) -> CleanTake:
        span = replace(one.span, press=self.anchor.frame(one.level_db, one.span))
        samples = one.samples
        shift, head = self.aligner.learn(samples, self.sample(span.press))
        heard = frames(shifted(samples, shift), self.rate_hz)
        quiet_db = mean_db(heard.mel_db[: max(1, one.span.press - T.skip_frames)])
        return CleanTake(unlaid=one, frames=heard, span=span, quiet_db=quiet_db, head=head)


def from_press(
    take: Frames, span: Span, length: int, floor_db: np.ndarray, ahead: int = 0
) -> np.ndarray:
    """Give a take's floored bands from just after the press, padded with silence.

    Parameters
    ----------
    take : Frames
    span : Span
    length : int
        Frames that are wanted.
    floor_db : ndarray, shape (BANDS,)
    ahead : int
        Frames by which they begin sooner.
    """
    start = span.press + T.skip_frames - ahead
    body = take.mel_db[max(start, 0) : max(start, 0) + length]
    out = np.tile(floor_db, (length, 1))
    first = max(-start, 0)
    body = body[: length - first]
    out[first : first + len(body)] = np.maximum(body, floor_db)
    return out


def _grown(table: np.ndarray, count: int) -> np.ndarray:
    """Give a square table with room for more rows and columns."""
    out = np.zeros((count, count))
    out[: len(table), : len(table)] = table
    return out
