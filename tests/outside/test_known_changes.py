"""Known changes made to real recorded speech are told apart and measured right.

Source of the speech: the spoken channel names of Debian's alsa-utils. What is done to it is
known exactly, because it is done here. Every take has room noise of its own level and colour,
and begins whenever it begins. The ear was made with seeds 1 to 9. Of those asserted on, 11 and 12
were looked at before its last changes, 13 was not.
"""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import librosa
import numpy as np
import pytest
import soundfile
from scipy.signal import butter, lfilter, resample, sosfilt
from threadpoolctl import threadpool_limits

from rig.listen import Recordings

FOLDER = Path("/usr/share/sounds/alsa")
PHRASES = ["Front_Center", "Front_Left", "Front_Right", "Rear_Center", "Rear_Left", "Rear_Right",
           "Side_Left", "Side_Right"]
RATE_HZ = 48_000
KINDS = ["none", "loop", "pitch", "held", "bits", "level", "cut", "noise"]
VOICE_DBFS = -26.0
ROOM_DBFS = (-75.0, -60.0)
SEEDS = (11, 12, 13)
PER_KIND = 7
"""Cases of each kind and seed."""

WITHIN = {"loop": 0.005, "pitch": 30.0, "held": 0.02, "bits": 1.5, "level": 1.0, "cut": 0.05,
          "noise": 2.0}
"""What still counts as measured right: s, cents, part of the frequency, dB, dB, s, dB."""
TOLD = 0.95
MEASURED = 0.95


@dataclass(frozen=True)
class Case:
    """A changed phrase and what is to be said of it."""

    kind: str
    phrase: int
    samples: np.ndarray
    amount: float | None


def _db(power):
    return 10.0 * np.log10(np.maximum(power, 1e-30))


def spoken(name: str) -> np.ndarray:
    """Give a phrase from its first sound to its last, at `VOICE_DBFS`."""
    sound, rate_hz = soundfile.read(FOLDER / f"{name}.wav")
    assert rate_hz == RATE_HZ
    power = np.convolve(sound**2, np.ones(480) / 480, mode="same")
    heard = np.flatnonzero(power > power.max() * 1e-4)
    sound = sound[heard[0] : heard[-1]]
    return sound * 10 ** (VOICE_DBFS / 20) / np.sqrt(np.mean(sound**2))


def room(length: int, rng) -> np.ndarray:
    """Make room noise of some level and colour, with a little hum."""
    noise = lfilter([1.0], [1.0, -rng.uniform(0.0, 0.7)], rng.normal(size=length))
    hum = np.sin(2 * np.pi * 50.0 * np.arange(length) / RATE_HZ + rng.uniform(0, 6))
    level = 10 ** (rng.uniform(*ROOM_DBFS) / 20)
    return level * (noise / noise.std() + 0.5 * hum)


def take(sound: np.ndarray, rng, running: np.ndarray | None = None) -> np.ndarray:
    """Record a sound: it begins somewhere, in some room, and the recording goes on a while.

    `running` is what sounds besides, from the sound's beginning to the recording's end.
    """
    begins = round(rng.uniform(0.15, 0.9) * RATE_HZ)
    out = room(begins + len(sound) + round(rng.uniform(0.4, 0.8) * RATE_HZ), rng)
    out[begins : begins + len(sound)] += sound
    if running is not None:
        out[begins:] += running[: len(out) - begins]
    return out.astype(np.float32)


def sounding_places(sound: np.ndarray, length_s: float) -> np.ndarray:
    """Give the samples after which the phrase sounds for a while without a pause."""
    power = np.convolve(sound**2, np.ones(480) / 480, mode="same")
    quiet = np.cumsum(power < 10 ** ((VOICE_DBFS - 15) / 10))
    length = round(length_s * RATE_HZ)
    return np.flatnonzero(quiet[length:] - quiet[:-length] < 0.1 * length)


def change(kind: str, sound: np.ndarray, rng):
    """Change a phrase; gives the new one, what runs besides, and the amount."""
    if kind == "loop":
        period = round(rng.uniform(0.12, 0.7) * RATE_HZ)
        at = rng.choice(sounding_places(sound, 0.1)[: max(1, len(sound) - period)])
        at = min(int(at), len(sound) - period)
        passes = max(3.2, 0.7 * RATE_HZ / period) + rng.uniform(0, 2)
        looped = np.tile(sound[at : at + period], 9)[: round(passes * period)]
        return np.concatenate([sound[:at], looped]), None, period / RATE_HZ
    if kind == "pitch":
        cents = rng.choice([-1, 1]) * rng.uniform(60, 1200)
        at = 0 if rng.uniform() < 0.5 else round(rng.uniform(0.1, 0.4) * RATE_HZ)
        rest = sound[at:]
        length = round(len(rest) / 2 ** (cents / 1200))
        cents = 1200 * np.log2(len(rest) / length)
        return np.concatenate([sound[:at], resample(rest, length)]), None, cents
    if kind == "held":
        piece = np.zeros(1)
        while has_parts_alike(piece):
            period = round(rng.uniform(0.0025, 0.009) * RATE_HZ)
            at = int(rng.choice(sounding_places(sound, 0.06)))
            piece = sound[at : at + period]
        held = np.tile(piece, 900)[: round(rng.uniform(0.6, 1.5) * RATE_HZ)]
        return np.concatenate([sound[:at], held]), None, RATE_HZ / period
    if kind == "bits":
        step = np.abs(sound).max() * 2.0 ** -rng.integers(1, 4)
        coarse = step * np.round(sound / step)
        return coarse, None, timbre_db(coarse, sound)
    if kind == "level":
        gain_db = rng.uniform(-18, -5) if rng.uniform() < 0.5 else rng.uniform(5, 9)
        return sound * 10 ** (gain_db / 20), None, gain_db
    if kind == "cut":
        places = sounding_places(sound, 0.06) + round(0.06 * RATE_HZ)
        rest_sounds = sounding_places(sound, 0.2)
        places = places[(places > 0.15 * RATE_HZ) & (places < rest_sounds[-1])]
        at = int(rng.choice(places))
        return sound[:at], None, at / RATE_HZ
    if kind == "noise":
        band = butter(4, [90, 9000], "bandpass", fs=RATE_HZ, output="sos")
        noise = sosfilt(band, rng.normal(size=6 * RATE_HZ))
        level_db = rng.uniform(-20, -6)
        noise *= voice_rms(sosfilt(band, sound)) / noise.std() * 10 ** (level_db / 20)
        at = 0 if rng.uniform() < 0.5 else round(rng.uniform(0.1, 0.6) * RATE_HZ)
        noise[:at] = 0.0
        return sound, noise, level_db
    return sound, None, None


def has_parts_alike(piece: np.ndarray) -> bool:
    """Say whether a piece holds two, three or four periods that are nearly the same.

    Held, it would be heard at their pitch, not at its own.
    """
    power = np.sum(piece**2)
    parts = [np.sum(piece * np.roll(piece, len(piece) // n)) for n in (2, 3, 4)]
    return bool(max(parts) >= 0.9 * power)


def timbre_db(sound: np.ndarray, clean: np.ndarray) -> float:
    """Give the mean difference of mel bands, down to 40 dB below the loudest, by librosa."""
    bands = [
        librosa.feature.melspectrogram(
            y=one, sr=RATE_HZ, n_fft=1024, hop_length=480, n_mels=26, fmin=90, fmax=9000,
            htk=True, norm=None, center=False,
        ) for one in (sound, clean)
    ]  # fmt: skip
    scale = 4.0 / np.sum(np.hanning(1024)) ** 2
    floor = _db(scale * bands[1].max()) - 40.0
    mine, theirs = (np.maximum(_db(scale * one + 1e-12), floor) for one in bands)
    return float(np.abs(mine - theirs)[np.maximum(mine, theirs) > floor].mean())


def voice_rms(sound: np.ndarray) -> float:
    """Give the RMS of a voice where it is at most 20 dB below its loudest."""
    power = np.mean(sound[: len(sound) // 960 * 960].reshape(-1, 960) ** 2, axis=1)
    return float(np.sqrt(power[power > power.max() / 100].mean()))


def cases(seed: int) -> list[Case]:
    """Make the cases of one seed."""
    rng = np.random.default_rng(seed)
    phrases = [spoken(name) for name in PHRASES]
    out = []
    for kind in KINDS:
        for i in range(PER_KIND):
            which = i % len(phrases)
            sound, running, amount = change(kind, phrases[which], rng)
            out.append(Case(kind, which, take(sound, rng, running), amount))
    return out


def ears(seed: int) -> list[Recordings]:
    """Give an ear for each phrase: four takes of it and one of another."""
    rng = np.random.default_rng([seed, 1])
    phrases = [spoken(name) for name in PHRASES]
    out = []
    for i, phrase in enumerate(phrases):
        takes = [take(phrase, rng) for _ in range(4)] + [take(phrases[i - 1], rng)]
        out.append(Recordings([(one, RATE_HZ) for one in takes], 24_000))
    return out


def told(judgement) -> tuple[str, float | None]:
    """Give the kind that a judgement says, and its amount in the terms of the cases."""
    one = judgement
    if one.sound == "drone" and one.unit != "dB":
        return "held", one.amount
    if one.sound == "drone":
        return "noise", one.amount
    if one.sound == "cut":
        return "cut", one.amount if one.unit == "s" else None
    return {"timbre": "bits"}.get(one.sound, one.sound), one.amount


def right(case: Case, amount: float | None) -> bool:
    if case.amount is None:
        return amount is None
    if amount is None:
        return False
    within = WITHIN[case.kind] * (case.amount if case.kind == "held" else 1.0)
    return abs(amount - case.amount) <= within


def results(seed: int):
    """Give (case, kind told, amount told) of every case of a seed."""
    heard = ears(seed)
    return [(case, *told(heard[case.phrase].judge(case.samples, RATE_HZ).judgement))
            for case in cases(seed)]


def table(found) -> str:
    """Show what was told as what, and every amount that was wrong."""
    count = Counter((case.kind, kind) for case, kind, _ in found)
    kinds = sorted({kind for pair in count for kind in pair}, key=[*KINDS, "blip", "lost"].index)
    lines = ["made \\ told " + "".join(f"{kind:>7}" for kind in kinds)]
    for made in KINDS:
        lines.append(f"{made:12}" + "".join(f"{count[made, kind]:7}" for kind in kinds))
    for case, kind, amount in found:
        if kind != case.kind or not right(case, amount):
            made = f"{PHRASES[case.phrase]}: {case.kind} {case.amount}"
            lines.append(f"{made} told as {kind} {amount}")
    return "\n".join(lines)


@pytest.fixture(scope="module")
def found():
    with threadpool_limits(limits=1, user_api="blas"):
        return [one for seed in SEEDS for one in results(seed)]


def test_there_are_enough(found):
    assert len(found) >= 100


def test_changes_are_told_apart(found):
    share = np.mean([kind == case.kind for case, kind, _ in found])
    assert share >= TOLD, f"{share:.3f}\n{table(found)}"


def test_amounts_are_right(found):
    share = np.mean([kind == case.kind and right(case, amount) for case, kind, amount in found])
    assert share >= MEASURED, f"{share:.3f}\n{table(found)}"
