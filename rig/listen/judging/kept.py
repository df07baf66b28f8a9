"""The clean takes of a key as they come, laid over each other, and how far apart they are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from rig.listen.judging.align import Aligner, shifted
from rig.listen.judging.distance import compare, mean_apart_db
from rig.listen.measures.features import BANDS, HOP_S, Frames, frames
from rig.listen.measures.levels import mean_db
from rig.listen.measures.span import LAG_FRAMES, Span
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


@dataclass(frozen=True)
class CleanTake:
    """One of them.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        As it was recorded.
    frames : Frames
        Of the take shifted so that its sound starts where its phrase's others do.
    span : Span
    quiet_db : ndarray, shape (BANDS,)
        What was there before its press.
    """

    samples: np.ndarray
    frames: Frames
    span: Span
    quiet_db: np.ndarray

    @property
    def compared(self) -> int:
        """Frames of it that are compared."""
        return len(self.frames) - self.span.press - T.skip_frames


class Kept:
    """Clean takes, each measured once.

    Attributes
    ----------
    takes : list of CleanTake
    lead_in_frames : int
        Frames after the press by which it is told whether the toy answers.
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
        self.lead_in_frames = T.answer_frames
        self.aligner = self._new_aligner()
        self.length = 1
        self.noise_db = self.floor_db = np.zeros(BANDS, np.float32)
        self.stack = np.zeros((0, 0, BANDS), np.float32)
        self.local_db = self.mean_db = self.lead_in_db = np.zeros((0, 0))

    @classmethod
    def of(cls, takes: Iterable[tuple[np.ndarray, Span]], rate_hz: int) -> Kept:
        """Build from sounds and where their steps lie."""
        kept = cls(rate_hz)
        for samples, span in takes:
            kept.add(samples, span)
        return kept

    def add(self, samples: np.ndarray, span: Span) -> None:
        """Take one more in."""
        room = span.close - span.press - T.lead_in_margin_frames - T.skip_frames
        if max(1, room) < self.lead_in_frames:
            # Less of each take may be listened to: all are laid over each other anew.
            self.lead_in_frames = max(1, room)
            self.aligner = self._new_aligner()
            self.takes = [self._laid(one.samples, one.span) for one in self.takes]
        self.takes.append(self._laid(np.asarray(samples, dtype=np.float32), span))
        self.length = max(self.length, self.takes[-1].compared)
        # The middle one: into some takes the toy still sounds from before their press.
        self.noise_db = np.median([one.quiet_db for one in self.takes], axis=0)
        self.floor_db = (self.noise_db + T.floor_over_noise_db).astype(np.float32)
        self.stack = np.zeros((0, 0, BANDS), np.float32)

    def compare_all(self) -> None:
        """Measure how far the takes are from each other, where that isn't known."""
        if len(self.stack) == len(self.takes):
            return
        self.stack = np.stack([
            self.from_press(one.frames, one.span, self.length + 2 * LAG_FRAMES, LAG_FRAMES)
            for one in self.takes
        ])
        lag = T.aligned_lag_frames
        rows = [compare(self.stack, self._mine(i), lag)[:2] for i in range(len(self.takes))]
        self.local_db, self.mean_db = (
            np.array([one[which] for one in rows], dtype=float) for which in (0, 1)
        )
        lead_in = self.stack[:, LAG_FRAMES : LAG_FRAMES + self.lead_in_frames]
        self.lead_in_db = np.array([mean_apart_db(self.stack, mine, lag) for mine in lead_in])

    def _mine(self, i: int) -> np.ndarray:
        return self.stack[i, LAG_FRAMES : LAG_FRAMES + self.takes[i].compared]

    def from_press(self, take: Frames, span: Span, length: int, ahead: int = 0) -> np.ndarray:
        """Give a take's floored bands from just after the press, padded with silence."""
        start = span.press + T.skip_frames - ahead
        body = take.mel_db[max(start, 0) : max(start, 0) + length]
        out = np.tile(self.floor_db, (length, 1))
        first = max(-start, 0)
        body = body[: length - first]
        out[first : first + len(body)] = np.maximum(body, self.floor_db)
        return out

    def sample(self, frame: int) -> int:
        """Give the sample with which a frame begins."""
        return round(frame * HOP_S * self.rate_hz)

    def _new_aligner(self) -> Aligner:
        return Aligner(self.rate_hz, (self.lead_in_frames + T.skip_frames) * HOP_S)

    def _laid(self, samples: np.ndarray, span: Span) -> CleanTake:
        shift = self.aligner.learn(samples, self.sample(span.press))
        heard = frames(shifted(samples, shift), self.rate_hz)
        quiet_db = mean_db(heard.mel_db[: max(1, span.press - T.skip_frames)])
        return CleanTake(samples, heard, span, quiet_db)
