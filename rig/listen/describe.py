"""What a touch did to the sound, in one word with its amount.

Several words may fit; the first in the order cut, loop, drone, pitch, timbre, level, blip
is given, and every amount measured is kept beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import resample_poly

from rig.listen.baseline import LAG_FRAMES, Span
from rig.listen.features import HOP_S, Frames, log_spectrogram, pitch_track

SOUNDING_DB = 12.0
"""A frame sounds when it stands this far above the room's noise."""
CUT_DB = -20.0
"""At least this much quieter for the rest of the phrase is a cut."""
CHANGED_DB = 3.0
"""A frame has changed when its bands differ by this much on average."""
STEADY_DB = 2.5
"""Frames of a drone differ by less than this from one to the next and from their mean."""
PER_OCTAVE = 48


@dataclass(frozen=True)
class Description:
    """One word, its amount and unit, and everything measured on the way."""

    sound: str
    amount: float | None = None
    unit: str | None = None
    measures: dict = field(default_factory=dict)


@dataclass(frozen=True)
class _Pair:
    """The take and the clean take it began as, aligned, from the closing on."""

    mel: np.ndarray
    clean_mel: np.ndarray
    level: np.ndarray
    clean_level: np.ndarray
    sounding: np.ndarray
    clean_sounding: np.ndarray
    dwell: int
    floor: float


def describe(
    samples: np.ndarray, take: Frames, span: Span,
    clean_samples: np.ndarray, clean: Frames, clean_span: Span,
    noise_level_db: float, rate_hz: int,
) -> Description:
    """Describe how a take differs from the clean one that it began as.

    Parameters
    ----------
    samples, clean_samples : ndarray of float, shape (n,)
        Both takes, full scale 1.0.
    take, clean : Frames
        Their frames.
    span, clean_span : Span
        Where their steps lie.
    noise_level_db : float
        Level of the room with the toy silent, dB re full scale.
    rate_hz : int

    Returns
    -------
    Description
    """
    start = span.close
    lag = _best_lag(take, span, clean, clean_span)
    clean_start = clean_span.press + (span.close - span.press) + lag
    length = min(len(take) - start, len(clean) - clean_start)
    floor = noise_level_db + SOUNDING_DB
    level = take.level_db[start : start + length]
    clean_level = clean.level_db[clean_start : clean_start + length]
    pair = _Pair(
        take.mel_db[start : start + length], clean.mel_db[clean_start : clean_start + length],
        level, clean_level, level > floor, clean_level > floor,
        min(span.open - start, length), floor,
    )
    hop = round(HOP_S * rate_hz)
    mine = samples[start * hop :]
    theirs = clean_samples[clean_start * hop : (clean_start + length) * hop]
    measures: dict = {}
    for look in (_cut, _loop, _drone):
        told = look(pair, mine, rate_hz, measures)
        if told:
            return Description(told.sound, told.amount, told.unit, measures)
    told = _steady_change(pair, mine, theirs, rate_hz, measures)
    return Description(told.sound, told.amount, told.unit, measures)


def _best_lag(take: Frames, span: Span, clean: Frames, clean_span: Span) -> int:
    """Give the frames by which the clean take is shifted against this one, from the lead-in."""
    length = max(4, span.close - span.press)
    mine = take.mel_db[span.press : span.press + length]
    best, least = 0, np.inf
    for lag in range(-2 * LAG_FRAMES, 2 * LAG_FRAMES + 1):
        at = clean_span.press + lag
        if at < 0 or at + length > len(clean):
            continue
        error = np.abs(clean.mel_db[at : at + length] - mine).mean()
        if error < least:
            best, least = lag, float(error)
    return best


def _db(value: float) -> float:
    return round(float(value), 2)


def _cut(pair: _Pair, mine: np.ndarray, rate_hz: int, measures: dict) -> Description | None:
    """Silence or strong attenuation where the clean phrase goes on."""
    where = pair.clean_sounding.copy()
    where[:3] = False  # the phrase dies away and the analysis window reaches back
    if np.count_nonzero(where) < 5:
        return None
    power = np.mean(10 ** (pair.level[where] / 10))
    clean_power = np.mean(10 ** (pair.clean_level[where] / 10))
    measures["level_db"] = _db(10 * np.log10(power / clean_power))
    down = pair.level[where] - pair.clean_level[where] < CUT_DB
    down |= ~pair.sounding[where]
    measures["silenced"] = _db(down.mean())
    # The last of the sounding frames must be silent: a blip comes back.
    if down.mean() > 0.7 and down[-5:].mean() > 0.7:
        fall = (pair.level - pair.clean_level)[where][down]
        measures["cut_db"] = _db(np.median(fall))
        return Description("cut", measures["cut_db"], "dB")
    return None


def _recurrence(mel: np.ndarray) -> np.ndarray:
    """Give, for each lag in frames, how alike the spectra are that far apart (1: the same)."""
    centred = mel - mel.mean(axis=0)
    centred /= max(np.sqrt(np.mean(centred**2)), 1e-6)
    n, bands = centred.shape
    length = next_fast_len(2 * n, real=True)
    spectrum = rfft(centred, n=length, axis=0)
    products = irfft((spectrum.real**2 + spectrum.imag**2).sum(axis=1), n=length)[:n]
    energy = np.concatenate([[0.0], np.cumsum((centred**2).sum(axis=1))])
    lag = np.arange(n)
    power = 0.5 * (energy[n - lag] + energy[n] - energy[lag])
    likeness = products / np.maximum(power, 0.05 * bands * (n - lag))
    likeness[0] = 0.0
    return likeness


def _loop(pair: _Pair, mine: np.ndarray, rate_hz: int, measures: dict) -> Description | None:
    """A pattern that repeats at least three times, or twice where it is long."""
    floor = pair.floor - SOUNDING_DB + 6
    best = None
    for stop in (pair.dwell, len(pair.mel)):
        mel = np.maximum(pair.mel[3:stop], floor - 10)
        clean = np.maximum(pair.clean_mel[3:stop], floor - 10)
        if len(mel) < 40 or pair.sounding[3:stop].mean() < 0.3:
            continue
        if mel.std(axis=0).mean() < STEADY_DB:
            continue
        likeness, usual = _recurrence(mel), _recurrence(clean)
        longest = int(len(mel) * 0.55)
        for lag in range(6, longest):
            peak = likeness[lag]
            is_peak = peak >= likeness[lag - 1] and peak >= likeness[lag + 1]
            dip = likeness[2:lag].min()
            if not is_peak or peak < 0.75 or peak - dip < 0.35 or usual[lag] > peak - 0.2:
                continue
            if best is None or peak > best[1] + 0.08:
                left, right = likeness[lag - 1], likeness[lag + 1]
                curve = left - 2 * peak + right
                shift = 0.5 * (left - right) / curve if curve < -1e-9 else 0.0
                best = (lag + float(np.clip(shift, -0.5, 0.5)), peak)
        if best:
            break
    if not best:
        return None
    measures["loop_s"] = round(best[0] * HOP_S, 4)
    measures["loop_likeness"] = _db(best[1])
    return Description("loop", measures["loop_s"], "s")


def _drone(pair: _Pair, mine: np.ndarray, rate_hz: int, measures: dict) -> Description | None:
    """The longest steady stretch, where the clean phrase has none as long."""
    length = _steady_frames(pair.mel, pair.sounding)
    usual = _steady_frames(pair.clean_mel, pair.clean_sounding)
    measures["steady_s"] = round(length[1] * HOP_S, 3)
    if length[1] * HOP_S < 0.35 or length[1] < usual[1] + 15:
        return None
    hop = round(HOP_S * rate_hz)
    f0 = _f0(mine[length[0] * hop : (length[0] + length[1]) * hop], rate_hz)
    voiced = f0[np.isfinite(f0)]
    if len(voiced) > 0.5 * len(f0):
        measures["drone_hz"] = round(float(np.median(voiced)), 1)
        return Description("drone", measures["drone_hz"], "Hz")
    return Description("drone")


def _steady_frames(mel: np.ndarray, sounding: np.ndarray) -> tuple[int, int]:
    """Give first frame and length of the longest stretch that sounds and doesn't change."""
    best = (0, 0)
    step = np.abs(np.diff(mel, axis=0, prepend=mel[:1])).mean(axis=1)
    calm = sounding & (step < 2 * STEADY_DB)
    start, total = 0, np.zeros(mel.shape[1])
    for i in range(len(mel)):
        inside = calm[i] and i > start
        if inside and i - start > 1:
            inside = np.abs(mel[i] - total / (i - start)).mean() < STEADY_DB
        if not inside:
            start, total = i, np.zeros(mel.shape[1])
            if not sounding[i]:
                start = i + 1
                continue
        total += mel[i]
        if i + 1 - start > best[1]:
            best = (start, i + 1 - start)
    return best


def _steady_change(
    pair: _Pair, mine: np.ndarray, theirs: np.ndarray, rate_hz: int, measures: dict
) -> Description:
    """Pitch, level, timbre, or a blip where the change ends by itself."""
    both = pair.sounding | pair.clean_sounding
    floor = pair.floor - SOUNDING_DB
    error = np.abs(
        np.maximum(pair.mel, floor) - np.maximum(pair.clean_mel, floor)
    ).mean(axis=1)
    changed = (error > CHANGED_DB) & both
    where = np.flatnonzero(changed)
    if len(where):
        measures["first_change_s"] = round(float(where[0] * HOP_S), 3)
        measures["changed"] = _db(changed.sum() / max(1, both.sum()))
    blip = _is_blip(changed, both, pair.dwell)

    shift_cents, gain = _repitch(mine, theirs, rate_hz)
    measures["pitch_cents"] = round(shift_cents, 0)
    measures["pitch_fit"] = _db(gain)
    if abs(shift_cents) >= 40 and gain > 0.35 and not blip:
        return Description("pitch", measures["pitch_cents"], "cents")
    if not blip:
        voice = _voice_shift(mine, theirs, pair, rate_hz)
        if voice is not None:
            measures["voice_cents"] = round(voice, 0)
            if abs(voice) >= 80:
                return Description("pitch", measures["voice_cents"], "cents")
    if blip:
        measures["blip_db"] = _db(error[changed].mean())
        return Description("blip", measures["blip_db"], "dB")

    sounding = pair.sounding & pair.clean_sounding
    if sounding.sum() >= 5:
        bands = pair.clean_mel[sounding] > floor + 6
        difference = (pair.mel[sounding] - pair.clean_mel[sounding])[bands]
        level = float(np.median(difference))
        rest = float(np.median(np.abs(difference - level)))
        measures["level_db"] = _db(level)
        measures["timbre_db"] = _db(rest)
        if abs(level) > 2.0 and rest < 0.4 * abs(level):
            return Description("level", measures["level_db"], "dB")
    measures["timbre_db"] = _db(error[both].mean() if both.any() else error.mean())
    return Description("timbre", measures["timbre_db"], "dB")


def _is_blip(changed: np.ndarray, both: np.ndarray, dwell: int) -> bool:
    """Say whether the change is over well before the connection opens."""
    where = np.flatnonzero(changed)
    inside = np.flatnonzero(both[:dwell])
    if len(where) == 0 or len(inside) < 10:
        return False
    last = inside[-1]
    return where[-1] < last - 15 and len(where) < 0.5 * len(inside)


def _repitch(mine: np.ndarray, theirs: np.ndarray, rate_hz: int) -> tuple[float, float]:
    """Fit the clean sound played faster or slower to this one.

    Returns
    -------
    cents : float
        The best re-pitching, -2400 to +2400 (a clock that runs at another rate).
    gain : float
        Part of the difference that it explains, 0 to 1.
    """
    a, b = log_spectrogram(mine, rate_hz), log_spectrogram(theirs, rate_hz)
    a, b = np.maximum(a, a.max() - 45), np.maximum(b, b.max() - 45)
    n = min(len(a), len(b))
    if n < 10:
        return 0.0, 0.0
    zero = np.abs(a[:n] - b[:n]).mean()

    def misfit(points: int, step: int = 1) -> float:
        mine_at = np.arange(0, n, step)
        place = (mine_at * 2.0 ** (points / PER_OCTAVE)).round().astype(int)
        inside = place < len(b)
        if inside.sum() * step < 10:
            return np.inf
        low, high = max(points, 0), min(points, 0) or None
        mine_rows = a[mine_at[inside], low:high:step]
        their_rows = b[place[inside], max(-points, 0) : min(-points, 0) or None : step]
        return float(np.abs(mine_rows - their_rows).mean())

    span = 2 * PER_OCTAVE
    coarse = {p: misfit(p, step=4) for p in range(-span, span + 1, 2)}
    near = min(coarse, key=coarse.get)
    fine = {p: misfit(p) for p in range(near - 2, near + 3)}
    best = min(fine, key=fine.get)
    left, mid, right = misfit(best - 1), fine[best], misfit(best + 1)
    curve = left - 2 * mid + right
    shift = 0.5 * (left - right) / curve if np.isfinite(curve) and curve > 1e-9 else 0.0
    cents = (best + float(np.clip(shift, -0.5, 0.5))) * 1200.0 / PER_OCTAVE
    return cents, float(max(0.0, 1.0 - mid / max(zero, 1e-6)))


def _voice_shift(
    mine: np.ndarray, theirs: np.ndarray, pair: _Pair, rate_hz: int
) -> float | None:
    """Give the median change of the fundamental, cents, where it is one steady change."""
    f0, clean_f0 = _f0(mine, rate_hz), _f0(theirs, rate_hz)
    n = min(len(f0), len(clean_f0), len(pair.sounding), pair.dwell)
    with np.errstate(invalid="ignore"):
        cents = 1200.0 * np.log2(f0[:n] / clean_f0[:n])
    cents = cents[pair.sounding[:n] & pair.clean_sounding[:n] & np.isfinite(cents)]
    if len(cents) < 15:
        return None
    middle = float(np.median(cents))
    spread = float(np.median(np.abs(cents - middle)))
    return middle if spread < max(30.0, 0.3 * abs(middle)) else None


def _f0(sound: np.ndarray, rate_hz: int) -> np.ndarray:
    """Follow the fundamental, Hz, at a rate that is enough for a toy's voice."""
    slower = max(1, rate_hz // 16_000)
    return pitch_track(resample_poly(sound, 1, slower), rate_hz // slower)[0]
