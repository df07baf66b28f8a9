"""A sound beside the clean one that it began as: what descriptions are made from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from rig.listen.measures.features import HOP_S, Frames
from rig.listen.measures.span import Span
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.describing


@dataclass(frozen=True)
class Description:
    """One word, its amount and unit, and everything measured on the way."""

    sound: str
    amount: float | None = None
    unit: str | None = None
    measures: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Take:
    """A whole take of a touch.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        Full scale 1.0.
    frames : Frames
        Its frames.
    span : Span
        Where its steps lie.
    """

    samples: np.ndarray
    frames: Frames
    span: Span


@dataclass(frozen=True)
class Excerpt:
    """A sound from a certain frame on.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        The whole sound, full scale 1.0.
    frames : Frames
        Its frames.
    start : int
        The frame it is looked at from.
    """

    samples: np.ndarray
    frames: Frames
    start: int


@dataclass(frozen=True, kw_only=True)
class Compared:
    """A sound and the clean one that it began as, aligned, from the same moment on.

    Parameters
    ----------
    mel, clean_mel : ndarray, shape (frames, bands) each
        dB re full scale, as are levels.
    level, clean_level : ndarray, shape (frames,) each
    mine, theirs : ndarray of float, shape (n,) each
        The sounds themselves.
    dwell : int
        Frames for which whatever changes the sound is there.
    room : float
        Level of the room with the toy silent, dB re full scale.
    rate_hz : int
    others : tuple of ndarray, shape (frames, bands) each
        The toy's other phrases, dB re full scale, one take of each.
    """

    mel: np.ndarray
    clean_mel: np.ndarray
    level: np.ndarray
    clean_level: np.ndarray
    mine: np.ndarray
    theirs: np.ndarray
    dwell: int
    room: float
    rate_hz: int
    others: tuple[np.ndarray, ...] = ()

    @property
    def hop(self) -> int:
        """Samples from one frame to the next."""
        return round(HOP_S * self.rate_hz)

    @property
    def sounding(self) -> np.ndarray:
        """Say of each frame if the sound stands above the room."""
        return self.level > self.room + T.sounding_db

    @property
    def clean_sounding(self) -> np.ndarray:
        """Say the same of the clean one."""
        return self.clean_level > self.room + T.sounding_db

    @property
    def either(self) -> np.ndarray:
        """Say of each frame if one of the two sounds."""
        return self.sounding | self.clean_sounding

    def error(self) -> np.ndarray:
        """Give by how much the bands differ, frame by frame, dB: those that one is heard in."""
        mine, theirs = np.maximum(self.mel, self.room), np.maximum(self.clean_mel, self.room)
        heard = np.maximum(mine, theirs) > self.room
        return np.abs(mine - theirs).sum(axis=1) / np.maximum(heard.sum(axis=1), 5)

    def since(self, frame: int) -> Compared:
        """Give what comes from a frame on."""
        at = frame * self.hop
        return replace(
            self, mel=self.mel[frame:], clean_mel=self.clean_mel[frame:],
            level=self.level[frame:], clean_level=self.clean_level[frame:],
            mine=self.mine[at:], theirs=self.theirs[at:], dwell=max(0, self.dwell - frame),
        )


def rounded(value: float) -> float:
    """Give a measured amount as it is stored, to two decimals."""
    return round(float(value), 2)
