"""Watching a stream that nothing marks: when the toy begins to sound, and taps on the microphone.

A stretch of sound is a run of frames above a level. What lasts is the toy; what is over at
once is a click: a probe's tip, a key's own noise, or a fingertip on the microphone. The level
comes from the toy's own, since hands rustle: `onset` finds the beginning in a whole recording,
over its room alone.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from rig.listen.measures.features import HOP_S, WINDOW_S, frames
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.watching


@dataclass(frozen=True)
class Stretch:
    """Frames `first` to before `end` in which it sounds; both ends are certain."""

    first: int
    end: int

    @property
    def length(self) -> int:
        """Frames that it lasts."""
        return self.end - self.first


def trigger_level_db(room_db: float, toy_db: float | None = None) -> float:
    """Give the level from which a sound counts as the toy's, dB re full scale.

    Parameters
    ----------
    room_db : float
        `loud_level_db` of the silent room.
    toy_db : float, optional
        `loud_level_db` of the toy's own phrase; without it only the room is known.
    """
    least = room_db + T.over_room_db
    return least if toy_db is None else max(least, toy_db - T.below_toy_db)


def stretches(level_db: np.ndarray, trigger_db: float) -> list[Stretch]:
    """Give the stretches above a level, joined over gaps of up to `bridged_frames`.

    Parameters
    ----------
    level_db : ndarray, shape (frames,)
    trigger_db : float
        See `trigger_level_db`.
    """
    above = np.flatnonzero(np.asarray(level_db) > trigger_db)
    if not len(above):
        return []
    breaks = np.flatnonzero(np.diff(above) > T.bridged_frames + 1)
    firsts = above[np.concatenate(([0], breaks + 1))]
    lasts = above[np.concatenate((breaks, [len(above) - 1]))]
    return [Stretch(int(a), int(b) + 1) for a, b in zip(firsts, lasts, strict=True)]


def onset_sample(first_frame: int, rate_hz: int) -> int:
    """Give the sample at which the sound of a stretch begins: the middle of its first window."""
    return round((first_frame * HOP_S + WINDOW_S / 2) * rate_hz)


class Watch:
    """Listens to a stream until the toy sounds or somebody taps on the microphone.

    Parameters
    ----------
    rate_hz : int
    trigger_db : float
        See `trigger_level_db`.
    room_mel_db : ndarray, shape (bands,)
        The room's level in each band; a tap stands above it in most.
    clear_s : float
        Sounds that begin sooner after the watch's start than this, taps apart, aren't looked
        for: the program's own tone. One that goes on for longer than a tone, or that another follows
        at once, is `too_soon`.

    Attributes
    ----------
    onset : int or None
        Sample, since the watch began, at which the toy's sound begins.
    taps : int
        2 or 3 once a pattern of so many taps is over, else 0.
    too_soon : bool
        A lasting sound began within `clear_s`.
    """

    def __init__(
        self, rate_hz: int, trigger_db: float, room_mel_db: np.ndarray, clear_s: float = 0.0
    ) -> None:
        self.onset: int | None = None
        self.taps = 0
        self.too_soon = False
        self._rate_hz = rate_hz
        self._trigger_db = trigger_db
        self._room_mel_db = np.asarray(room_mel_db)
        self._clear = round(clear_s / HOP_S)
        self._hop = round(HOP_S * rate_hz)
        self._window = 2 * self._hop + round(WINDOW_S * rate_hz)
        self._rest = np.zeros(0, np.float32)
        self._level_db = np.zeros(0, np.float32)
        self._full = np.zeros(0, bool)
        self._recent: deque[float] = deque(maxlen=T.quiet_frames)

    def feed(self, samples: np.ndarray) -> None:
        """Take in the next piece of the stream (float, full scale 1.0)."""
        sound = np.concatenate((self._rest, np.asarray(samples, np.float32)))
        if len(sound) < self._window:
            self._rest = sound
            return
        heard = frames(sound, self._rate_hz)
        self._rest = sound[len(heard) * self._hop :]
        self._level_db = np.concatenate((self._level_db, heard.level_db))
        over = heard.mel_db > self._room_mel_db + T.tap_band_db
        self._full = np.concatenate((self._full, over.mean(axis=1) >= T.tap_bands))
        self._recent.extend(map(float, heard.level_db))
        self._look()

    def quiet(self, under_db: float = 3.0) -> bool:
        """Say whether the last 0.5 s held next to nothing that comes near the trigger level."""
        if len(self._recent) < T.quiet_frames:
            return False
        return float(np.percentile(self._recent, T.quiet_percentile)) < self._trigger_db - under_db

    def _look(self) -> None:
        now = len(self._level_db)
        found = stretches(self._level_db, self._trigger_db)
        lasting = [one for one in found if one.length >= T.lasting_frames]
        early = [one for one in lasting if one.first < self._clear]
        self.too_soon = any(one.length > T.tone_frames for one in early)
        later = [one for one in found if one.first >= self._clear]
        first = next((one.first for one in later if one.length >= T.lasting_frames), None)
        ticking = _in_a_row([one for one in later if one.length <= T.click_frames])
        if len(ticking) > T.taps_most and (first is None or ticking[0].first < first):
            first = ticking[0].first
        if first is not None and early and first - early[-1].end < T.apart_frames:
            self.too_soon = True
        if first is not None and self.onset is None and not self.too_soon:
            self.onset = onset_sample(first, self._rate_hz)
        # From the start on: the program's own tone fills few bands, and so is none.
        taps = _in_a_row([one for one in found if self._is_tap(one)])
        over = bool(taps) and now - taps[-1].end > T.tap_apart_frames[1]
        self.taps = len(taps) if over and 2 <= len(taps) <= T.taps_most else 0

    def _is_tap(self, one: Stretch) -> bool:
        if one.length > T.click_frames:
            return False
        at = one.first + int(np.argmax(self._level_db[one.first : one.end]))
        # One window shows it up to 2.5 dB too soft, by where it falls; all of them together don't.
        beside = round(WINDOW_S / HOP_S) - 1
        around = self._level_db[max(0, one.first - beside) : one.end + beside]
        level_db = 10 * np.log10(np.sum(10 ** (around / 10)))
        return bool(level_db > self._trigger_db + T.tap_over_db and self._full[at])


def _in_a_row(short: list[Stretch]) -> list[Stretch]:
    """Give the last ones that follow each other as taps do."""
    row: list[Stretch] = []
    for one in short:
        if row:
            apart = one.first - row[-1].first
            if not T.tap_apart_frames[0] <= apart <= T.tap_apart_frames[1]:
                row = []
        row.append(one)
    return row
