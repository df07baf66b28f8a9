"""Where the steps of a take lie."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rig.listen.measures.features import HOP_S
from rig.listen.thresholds import THRESHOLDS

LAG_FRAMES = THRESHOLDS.measuring.lag_frames


@dataclass(frozen=True)
class Span:
    """Where a take's steps lie, in frames from the take's start."""

    press: int
    close: int
    open: int
    end: int

    @classmethod
    def from_seconds(cls, press_s: float, close_s: float, open_s: float, end_s: float) -> Span:
        """Build from times in seconds since the start of the take."""
        return cls(*(round(t / HOP_S) for t in (press_s, close_s, open_s, end_s)))

    @classmethod
    def from_samples(cls, offsets: Mapping[str, int], length: int, rate_hz: int) -> Span:
        """Build from the samples of a take at which "press", "close" and "open" happened.

        Where nothing was pressed all of it counts, from the take's own "start" on.

        Parameters
        ----------
        offsets : mapping of str to int
        length : int
            Samples of the whole take.
        rate_hz : int
        """
        press = offsets["press"] if "press" in offsets else offsets["start"]
        steps = (press, offsets["close"], offsets["open"], length)
        return cls.from_seconds(*(at / rate_hz for at in steps))
