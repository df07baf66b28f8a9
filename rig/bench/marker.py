"""Marker pulses: they tie the controller's timeline to the samples of the sound stream.

The controller raises its marker output for `MARKER_PULSE_MS` at the start and at the end
of a touch; it is recorded on a channel beside the sound. Two markers, because the
controller's resonator and the sound device's crystal run at slightly different speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.bench.base import MARKER_PULSE_MS, Timeline
from rig.errors import CaptureLost

MARKER_LEVEL = 0.1
"""A pulse is at least this high (full scale is 1.0); hum and noise must stay below."""

CLOCKS_APART = 0.01
"""Largest honest difference between the two clocks, as a fraction: a ceramic resonator
may be 0.5 % off, a sound device 0.1 %; more than 1 % means that samples are missing."""

UNEXPLAINED_MS = 3.0
"""Allowed on top: pulse edges are found to a sample, steps are stamped to well below 1 ms."""


@dataclass(frozen=True)
class TiedTimeline:
    """The steps of a touch as absolute samples of the bench's continuous stream.

    Parameters
    ----------
    start, end : int
        First sample of the two marker pulses.
    press, close, release, open : int or None
        Samples of the steps; None where the timeline has none.
    clock_ratio : float
        Sound device's seconds per controller's second, measured between the markers (1 +- 0.01).
    """

    start: int
    press: int | None
    close: int | None
    release: int | None
    open: int | None
    end: int
    clock_ratio: float = 1.0


class PulseFinder:
    """Finds marker pulses in a stream that comes in pieces.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the marker channel, Hz.
    """

    def __init__(self, rate_hz: int) -> None:
        # Half a pulse must stay up: a click or one noisy sample is no pulse.
        self._look = max(2, round(rate_hz * MARKER_PULSE_MS / 2000.0))
        self._skip = round(rate_hz * MARKER_PULSE_MS * 1.5 / 1000.0)
        self._kept = np.empty(0, dtype=np.float32)
        self._next_sample: int | None = None
        self._ignore_until = -(2**62)

    def feed(self, marker: np.ndarray, first_sample: int) -> list[int]:
        """Give the pulses that became certain with this piece.

        Parameters
        ----------
        marker : ndarray of float, shape (n,)
            Marker channel, full scale 1.0.
        first_sample : int
            Place of `marker[0]` in the stream. A gap before it starts the search afresh.

        Returns
        -------
        list of int
            Sample of each rising edge, in order.
        """
        if self._next_sample is not None and first_sample != self._next_sample:
            self._kept = np.empty(0, dtype=np.float32)
        self._next_sample = first_sample + len(marker)
        values = np.concatenate([self._kept, np.asarray(marker, dtype=np.float32)])
        origin = self._next_sample - len(values)
        high = values >= MARKER_LEVEL
        found: list[int] = []
        keep_from = max(0, len(values) - 1)
        for edge in np.flatnonzero(high[1:] & ~high[:-1]) + 1:
            if origin + int(edge) < self._ignore_until:
                continue
            window = high[edge : edge + self._look]
            if len(window) < self._look:
                keep_from = int(edge) - 1
                break
            if window.mean() >= 0.8:
                found.append(origin + int(edge))
                self._ignore_until = origin + int(edge) + self._skip
        self._kept = values[keep_from:]
        return found


def find_pulses(marker: np.ndarray, rate_hz: int, first_sample: int = 0) -> list[int]:
    """Find the rising edges of the marker pulses in one whole recording.

    A recording that begins in the middle of a pulse does not count that pulse, nor does one
    that ends less than half a pulse behind the edge.

    Parameters
    ----------
    marker : ndarray of float, shape (n,)
        Marker channel, full scale 1.0.
    rate_hz : int
        Sampling rate, Hz.
    first_sample : int
        Place of `marker[0]` in the bench's stream.

    Returns
    -------
    list of int
        Sample of each rising edge in the bench's stream, in order.
    """
    return PulseFinder(rate_hz).feed(marker, first_sample)


def tie(
    timeline: Timeline,
    start_sample: int,
    end_sample: int,
    rate_hz: int,
    known_ratio: float | None = None,
) -> TiedTimeline:
    """Place every step of a timeline in the sound stream, by its two marker pulses.

    Parameters
    ----------
    timeline : Timeline
        The touch as the controller stamped it, microseconds since the start marker.
    start_sample, end_sample : int
        Samples of the two pulses' rising edges.
    rate_hz : int
        Nominal rate of the sound stream, Hz.
    known_ratio : float, optional
        The `clock_ratio` of earlier touches. Given it, the two clocks must agree within
        `UNEXPLAINED_MS`; without it `CLOCKS_APART` of the touch's length is allowed too.

    Returns
    -------
    TiedTimeline

    Raises
    ------
    CaptureLost
        When the time between the markers differs from the controller's by more than two
        clocks can: samples are missing or a pulse was taken for another.
    """
    span = end_sample - start_sample
    nominal = timeline.end_us * rate_hz / 1e6
    if span <= 0 or nominal <= 0:
        raise CaptureLost(
            f"sound: end marker at sample {end_sample} is not behind the start marker at "
            f"{start_sample}; check the marker's wire and level"
        )
    allowed = UNEXPLAINED_MS * rate_hz / 1000.0
    expected = nominal * (1.0 if known_ratio is None else known_ratio)
    if known_ratio is None:
        allowed += nominal * CLOCKS_APART
    if abs(span - expected) > allowed:
        apart_ms = (span - expected) * 1000.0 / rate_hz
        raise CaptureLost(
            f"sound: the markers are {span * 1000.0 / rate_hz:.1f} ms apart, the controller says "
            f"{expected * 1000.0 / rate_hz:.1f} ms ({apart_ms:+.1f} ms): sound went missing; "
            "close other programs that use the sound device, or use another one"
        )
    per_us = span / timeline.end_us

    def place(step_us: int | None) -> int | None:
        return None if step_us is None else start_sample + round(step_us * per_us)

    return TiedTimeline(
        start=start_sample,
        press=place(timeline.press_us),
        close=place(timeline.close_us),
        release=place(timeline.release_us),
        open=place(timeline.open_us),
        end=end_sample,
        clock_ratio=span / nominal,
    )
