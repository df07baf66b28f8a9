"""Recordings that no rig made: each begins whenever it was started, in a room of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import resample_poly
from scipy.sparse.csgraph import connected_components

from rig.listen.align import ALIGN_RATE_HZ, shifted
from rig.listen.baseline import FLOOR_OVER_NOISE_DB, LEAST_TAKES, SAME_PHRASE_DB
from rig.listen.beginning import ROOM_FRAMES, SKIRT_FRAMES, first_frame, sounding
from rig.listen.clipping import is_clipped
from rig.listen.decide import AUDIBLE_DB, JUDGE, PITCH_AUDIBLE_DB, is_audible, too_loud
from rig.listen.describe import describe_excerpts
from rig.listen.distance import LAG_FRAMES, LOCAL_FRAMES, Distance, compare
from rig.listen.excerpts import Description, Excerpt
from rig.listen.features import HOP_S, Frames, frames
from rig.listen.judgement import Judgement
from rig.listen.tail import Tail

LEAST_RATE_HZ = 8_000
MOST_RATE_HZ = 24_000
"""The bands end at 9 kHz; a higher rate would tell nothing more."""
AHEAD_FRAMES = 36
"""Each recording is kept from so many frames before its beginning on."""
MOST_SHIFT_S = 0.3
"""Where a room is loud, a soft beginning is heard up to this much later."""
PIECE_S = 0.25
PIECES = 5
SAME_PIECE = 0.5
"""Normalised correlation from which on a piece is the same in two recordings."""
QUIET_END_FRAMES = 10
"""A recording that ends with so many quiet frames would have stayed quiet."""
LOUDER_ROOM_DB = 15.0
"""No room is this much louder than those of all clean recordings, if nothing of it was heard
before the sound begins: it's the sound itself, which never pauses."""
OTHER_PHRASE_FIT = 0.5
MOST_ALIKE_DB = 4.5
"""Clean recordings farther apart than this (worst 0.15 s) aren't one phrase, however unsteady."""
TRIED = 6
"""Clean recordings that an altogether different one is described against, at most."""


def common_rate_hz(rates_hz: Sequence[int]) -> int:
    """Give the rate at which recordings can be compared: no higher than any of them.

    Parameters
    ----------
    rates_hz : sequence of int
        At least one, each `LEAST_RATE_HZ` or more.

    Returns
    -------
    int
        A multiple of 100, so that a hop is a whole number of samples.

    Raises
    ------
    ValueError
        When one is lower.
    """
    if min(rates_hz) < LEAST_RATE_HZ:
        raise ValueError(f"a rate of {min(rates_hz)} Hz is too low; {LEAST_RATE_HZ} are needed")
    return min(MOST_RATE_HZ, min(rates_hz) // 100 * 100)


def resampled(samples: np.ndarray, rate_hz: int, wanted_hz: int) -> np.ndarray:
    """Give a sound at another rate, as float32, without its direct voltage."""
    samples = samples - samples.mean(dtype=np.float64)
    if rate_hz != wanted_hz:
        common = int(np.gcd(rate_hz, wanted_hz))
        samples = resample_poly(samples, wanted_hz // common, rate_hz // common)
    return np.asarray(samples, dtype=np.float32)


@dataclass(frozen=True)
class Recording:
    """A recording, cut so that its sound begins at frame `AHEAD_FRAMES`.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    begins_s : float
        Where the sound begins in the recording itself, s.
    room_db : ndarray, shape (BANDS,)
        The room's noise, dB re full scale.
    sounds : bool
        Whether anything but the room is heard.
    ends_quiet : bool
    level_db : float
        Mean level of what sounds (of everything, where nothing does), dB re full scale.
    """

    samples: np.ndarray
    begins_s: float
    room_db: np.ndarray
    sounds: bool
    ends_quiet: bool
    level_db: float

    @property
    def room_level_db(self) -> float:
        return float(10 * np.log10(np.sum(10 ** (self.room_db / 10))))

    @property
    def over_room_db(self) -> float:
        """How far what sounds stands above the room."""
        return self.level_db - self.room_level_db


def prepared(
    samples: np.ndarray, rate_hz: int, clean: Sequence[Recording] = ()
) -> Recording:
    """Find where a recording's sound begins, and cut it there.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
    rate_hz : int
    clean : sequence of Recording
        The clean ones, where it isn't one: a sound that never pauses shows only against
        their rooms.
    """
    whole = frames(samples, rate_hz)
    at, room = first_frame(whole)
    if clean:
        loudest = np.max([one.room_db for one in clean], axis=0)
        margin = 10 * np.log10(np.sum(10 ** (room / 10)) / np.sum(10 ** (loudest / 10)))
        unheard = at is None or at < ROOM_FRAMES + SKIRT_FRAMES
        if unheard and margin > LOUDER_ROOM_DB:
            room, at = loudest, 0
    sounds = sounding(whole, room)
    hop = round(HOP_S * rate_hz)
    first = (at or 0) * hop - AHEAD_FRAMES * hop
    power = 10.0 ** (whole.level_db[sounds if sounds.any() else slice(None)] / 10.0)
    return Recording(
        shifted(np.asarray(samples, np.float32), first), (at or 0) * HOP_S, room, at is not None,
        not sounds[-QUIET_END_FRAMES:].any(), float(10 * np.log10(power.mean())),
    )


@dataclass(frozen=True)
class Laid:
    """A clean recording laid under another."""

    samples: np.ndarray
    frames: Frames
    distance: Distance
    alike: bool

    @property
    def same_for_s(self) -> float:
        """How long the two are the same from the beginning on, in steps of 0.1 s."""
        trace_db = self.distance.trace_db
        window = min(LOCAL_FRAMES, len(trace_db))
        local_db = np.convolve(trace_db, np.ones(window) / window, mode="valid")
        differs = np.flatnonzero(local_db > SAME_PHRASE_DB)
        frame = int(differs[0]) if len(differs) else len(trace_db)
        return frame // 10 / 10


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
                distance = self._lay(one, self.clean[j]).distance
                apart_db[i, j] = apart_db[j, i] = distance.both_db
                worst_db[i, j] = worst_db[j, i] = distance.local_db
        usual_db = 3.0 * float(np.median(worst_db.min(axis=1)))
        limit_db = np.clip(usual_db, SAME_PHRASE_DB, MOST_ALIKE_DB)
        _, label = connected_components(worst_db <= limit_db)
        groups = [np.flatnonzero(label == one).tolist() for one in np.unique(label)]
        groups.sort(key=lambda which: (-len(which), which))
        again = sorted(i for which in groups if len(which) > 1 for i in which)
        tail = Tail(apart_db.min(axis=1)[again]) if len(again) >= LEAST_TAKES else None
        return groups, tail

    def unlike(self) -> list[Unlike]:
        """Give what is like none of the others; of several such groups all but the largest."""
        found = []
        for which in self.alike[1:]:
            mine = self.clean[which[0]]
            laid = {i: self._lay(mine, one) for i, one in enumerate(self.clean) if i not in which}
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
        laid = dict(enumerate(self._lay(mine, one) for one in self.clean))
        nearest = _nearest_first(laid)[0]
        distance = laid[nearest].distance
        note, p_value = None, None
        if self.tail is None:
            few = f"fewer than {LEAST_TAKES} recordings from before"
            note = f"{few}{' are alike' if len(self.clean) >= LEAST_TAKES else ''}: no p value"
        else:
            p_value = self.tail.p_value(distance.both_db)
        measures = {
            "local_db": round(distance.local_db, 2),
            "mean_db": round(distance.mean_db, 2),
            "begins_s": round(mine.begins_s, 3),
            "room_db": round(mine.room_level_db, 1),
        }
        score = distance.local_db / AUDIBLE_DB
        nothing = Judged(
            Judgement("none", None, None, score, p_value, JUDGE, measures), nearest, note
        )
        usual = self.tail is not None and p_value > self.tail.least_rank_p
        if usual or distance.local_db < PITCH_AUDIBLE_DB:
            return nothing
        nearest, told = self._told(mine, laid)
        if not is_audible(distance.local_db, told):
            return nothing
        judgement = Judgement(
            told.sound, told.amount, told.unit, score, p_value, JUDGE, measures | told.measures
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
            tries = {i: self._described(mine, laid[i], self.clean[i]) for i in order[:TRIED]}
            best = max(tries, key=lambda i: _fit(tries[i]))
            if _fit(tries[best]) > (OTHER_PHRASE_FIT if alike else 0.0):
                nearest, told = best, tries[best]
        return nearest, told

    def _lay(self, mine: Recording, clean: Recording) -> Laid:
        """Lay a clean recording under another, and measure how far they are apart."""
        shift, alike = _shift(mine.samples, clean.samples, self.rate_hz)
        theirs = shifted(clean.samples, shift)
        a, b = frames(mine.samples, self.rate_hz), frames(theirs, self.rate_hz)
        floor = np.maximum(mine.room_db, clean.room_db) + FLOOR_OVER_NOISE_DB
        floor = floor.astype(np.float32)
        start = AHEAD_FRAMES - round(0.05 / HOP_S)
        length = _compared(mine, len(a), clean, len(b)) - start
        lag_frames = 1 if alike else LAG_FRAMES
        worst, mean, lag, trace = compare(
            _floored(b, floor, start - LAG_FRAMES, length + 2 * LAG_FRAMES)[None],
            _floored(a, floor, start, length), lag_frames,
        )
        distance = Distance(float(worst[0]), float(mean[0]), 0, int(lag[0]), trace[0])
        return Laid(theirs, b, distance, alike)

    def _described(self, mine: Recording, laid: Laid, clean: Recording) -> Description:
        start = AHEAD_FRAMES - 1
        sound = frames(mine.samples, self.rate_hz)
        length = _compared(mine, len(sound), clean, len(laid.frames))
        room_db = np.maximum(mine.room_db, clean.room_db)
        level_db = float(10 * np.log10(np.sum(10 ** (room_db / 10))))
        pads = [self._padded(one, length) for one in (mine.samples, laid.samples)]
        bent, plain = (Excerpt(one, frames(one, self.rate_hz), start) for one in pads)
        return describe_excerpts(bent, plain, length - start, level_db, self.rate_hz)

    def _padded(self, samples: np.ndarray, length: int) -> np.ndarray:
        """Give so many frames of a sound, silence after its end."""
        hop = round(HOP_S * self.rate_hz)
        lacking = (length + 3) * hop - len(samples)
        return np.pad(samples, (0, max(0, lacking)))[: (length + 3) * hop]


def _compared(mine: Recording, my_length: int, clean: Recording, clean_length: int) -> int:
    """Give how many frames can be compared: what ended quietly would have stayed quiet."""
    ends = [
        length for one, length in ((mine, my_length), (clean, clean_length)) if not one.ends_quiet
    ]
    return max(AHEAD_FRAMES + 1, min(ends, default=max(my_length, clean_length)))


def _floored(sound: Frames, floor: np.ndarray, start: int, length: int) -> np.ndarray:
    """Give frames from a start on, not below the floor, with silence after the end."""
    out = np.tile(floor, (length, 1))
    body = sound.mel_db[start : start + length]
    out[: len(body)] = np.maximum(body, floor)
    return out


def _nearest_first(laid: dict[int, Laid]) -> list[int]:
    return sorted(laid, key=lambda i: laid[i].distance.both_db)


def _fit(told: Description) -> float:
    """Give how well a re-pitching explains a change, 0 where it was none."""
    return told.measures["pitch_fit"] if told.sound == "pitch" else 0.0


def _silent(mine: Recording, clean: Recording) -> Description:
    fall_db = round(min(mine.room_level_db - clean.level_db, 0.0), 2)
    return Description("cut", 0.0, "s", {"cut_db": fall_db, "cut_s": 0.0})


def _shift(mine: np.ndarray, theirs: np.ndarray, rate_hz: int) -> tuple[int, bool]:
    """Give by how many samples the other sound is later, and if it has the same waveform.

    Pieces of this sound, from its beginning on, are looked for in the other; the first one that
    is there decides, since of a loop's later passes each is found somewhere else. 0 where none is.
    """
    down = max(1, rate_hz // ALIGN_RATE_HZ)
    a, b = (_slower(one, down) for one in (mine, theirs))
    rate = rate_hz / down
    piece, most = round(PIECE_S * rate), round(MOST_SHIFT_S * rate)
    begins = round(AHEAD_FRAMES * HOP_S * rate)
    for i in range(PIECES):
        at = begins + i * piece * 4 // 5
        part = a[at : at + piece]
        if len(part) < piece or not np.any(part):
            break
        around = np.zeros(piece + 2 * most)
        low = max(0, at - most)
        there = b[low : at + piece + most]
        around[low - (at - most) :][: len(there)] = there
        likeness = _correlation(part, around)
        best = int(np.argmax(likeness))
        if likeness[best] >= SAME_PIECE:
            return (best - most) * down, True
    return 0, False


def _slower(samples: np.ndarray, down: int) -> np.ndarray:
    """Give a sound at a lower rate, its hum weakened."""
    part = samples[: len(samples) // down * down].reshape(-1, down).mean(axis=1)
    return np.diff(part.astype(np.float64), prepend=0.0)


def _correlation(part: np.ndarray, around: np.ndarray) -> np.ndarray:
    """Give the normalised correlation of a piece with each place of a longer one."""
    size = next_fast_len(len(around), real=True)
    products = irfft(rfft(around, size) * np.conj(rfft(part, size)), size)
    products = products[: len(around) - len(part) + 1]
    upto = np.concatenate([[0.0], np.cumsum(around**2)])
    energy = upto[len(part) :] - upto[: -len(part)]
    norm = np.sqrt(np.maximum(energy, 1e-3 * energy.max()) * np.sum(part**2))
    return products / np.maximum(norm, 1e-12)
