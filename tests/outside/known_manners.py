"""Changes of known manner, made to real sounds by sox and ffmpeg, or by numpy where neither can.

Sources of the sounds: the spoken channel names of Debian's alsa-utils, and instruments, drums and
voices of Debian's sonic-pi-samples (mostly CC0). Of sounds and of values one half is for tuning, the
other for tests.
"""

import itertools
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import lfilter

SPEECH = Path("/usr/share/sounds/alsa")
SAMPLES = Path("/usr/share/sonic-pi/samples")
RATE_HZ = 48_000
SOUND_DBFS, PEAK_DBFS = -32.0, -15.0
MOST_S = 1.8
CALL = "misc_crow"
ROOM_DBFS = (-82.0, -70.0)

SOUNDS = {
    "tuning": ["Front_Center", "Front_Left", "Rear_Right", "Side_Left", "glitch_robot1", "loop_amen",
               "ambi_piano", "tabla_tas1", "mehackit_phone1", "guit_harmonics", "bass_drop_c",
               "loop_perc1", "glitch_robot2", "loop_breakbeat", "loop_mehackit1", "tabla_tas3",
               "mehackit_phone4", "guit_em9", "ambi_choir", "loop_perc2"],
    "test": ["Front_Right", "Rear_Center", "Rear_Left", "Side_Right", "mehackit_robot4", "loop_safari",
             "bass_hard_c", "elec_twang", "misc_burp", "perc_bell2", "loop_tabla", "loop_compus"],
}
"""The first four of each are speech."""
SPOKEN = 4
HELD = ("ambi_piano", "tabla_tas1", "guit_harmonics", "bass_drop_c", "tabla_tas3", "guit_em9",
        "ambi_choir", "bass_hard_c", "elec_twang", "perc_bell2")
"""Of one note: a piece of it that comes again and again isn't heard as such."""


@dataclass(frozen=True)
class Change:
    """How a change is made, with each half's values, and what is to be said of it.

    Parameters
    ----------
    made : str
        Name of the function that makes it.
    manner : str or None
        The right one.
    tuning, test : tuple
        Values that it is made with.
    within : float or None
        How far the amount may be off, as a part of it; None where it isn't looked at.
    of : str
        Which sounds: "all", "speech", or "moving", which are those that no single note holds.
    """

    made: str
    manner: str | None
    tuning: tuple
    test: tuple
    within: float | None = None
    of: str = "all"


CHANGES = [
    Change("as_it_is", None, (0.0, 0.0), (0.0, 0.0)),
    Change("level", None, (-9.0, 6.0), (-12.0, 8.0)),
    Change("noisier", None, (-36.0, -30.0), (-33.0, -30.0)),
    Change("later", None, (0.2, 0.4), (0.3, 0.5)),
    Change("pitch_alone", None, (-400, 350, 700), (-600, 250, 500)),
    Change("tempo_alone", None, (0.75, 1.3), (0.8, 1.4)),
    Change("speed", "slowed", (0.6, 0.78), (0.68, 0.87), 0.03),
    Change("speed", "sped", (1.15, 1.5), (1.3, 1.7), 0.03),
    Change("bend", None, (-700, 500), (-900, 400)),
    Change("vibrato", None, ((5, 0.9), (7, 0.7)), ((4, 0.9), (6, 0.8))),
    Change("gate", "chopped", (6.0, 11.0), (8.0, 14.0), 0.06),
    Change("tremolo", "motorboating", ((5, 85), (11, 80)), ((8, 85), (14, 90)), 0.06),
    Change("bits", "crushed", (2, 3), (2, 3)),
    Change("hold", "coarse", (8, 12), (10, 14), 0.06),
    Change("ring", "metallic", (180.0, 460.0), (250.0, 700.0), 0.06),
    Change("lowpass", "muffled", (500, 1000), (700, 1200)),
    Change("highpass", "thin", (1500, 2500), (1200, 2000)),
    Change("overdrive", "distorted", (25, 35), (30, 40)),
    Change("clipped", "distorted", (18, 26), (22, 30)),
    Change("scramble", "scrambled", (5, 7), (6, 8)),
    Change("stutter", "stutter", (0.08, 0.16), (0.11, 0.2), 0.06, "moving"),
    Change("other_phrase", "other words", (0, 1), (0, 1), None, "speech"),
    Change("trim", "stops early", (0.5, 0.65), (0.45, 0.6)),
    Change("fade", "dies sooner", (20, 35), (25, 40)),
    Change("swell", "sustains", (10, 15), (12, 18)),
    Change("noise", "static", (-14, -20), (-12, -17)),
    Change("impulses", "crackle", (15, 30), (20, 40), 0.35),
    Change("tone", "squeal", (3100, 4300), (3600, 5200), 0.02),
    Change("sawtooth", "buzz", (100, 150), (120, 180), 0.02),
    Change("whistle", "whine", (1700, 2600), (2100, 3300), 0.02),
    Change("run_on", "runs and evolves", (2.0, 3.0), (2.5, 3.5)),
]  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A changed sound and what is to be said of it."""

    change: Change
    value: object
    sound: str
    samples: np.ndarray


def plain(name: str) -> np.ndarray:
    """Give a sound from its beginning on, `MOST_S` at most, at `SOUND_DBFS` or softer: nothing may clip."""
    path = SPEECH / f"{name}.wav"
    if not path.exists():
        path = SAMPLES / f"{name}.flac"
    sound, rate_hz = soundfile.read(path, always_2d=True)
    sound = sound.mean(axis=1)
    if rate_hz != RATE_HZ:
        sound = _through(sound, rate_hz, lambda a, b: ["sox", "-R", a, "-r", str(RATE_HZ), b])
    power = np.convolve(sound**2, np.ones(480) / 480, mode="same")
    heard = np.flatnonzero(power > power.max() * 1e-4)
    sound = sound[heard[0] : heard[-1]][: round(MOST_S * RATE_HZ)]
    fade = round(0.03 * RATE_HZ)
    sound[-fade:] *= np.linspace(1, 0, fade)
    loud = 10 ** (SOUND_DBFS / 20) / np.sqrt(np.mean(sound**2))
    return sound * min(loud, 10 ** (PEAK_DBFS / 20) / np.abs(sound).max())


def _through(sound: np.ndarray, rate_hz: int, command, folder=Path("/dev/shm")) -> np.ndarray:
    """Give what a tool makes of a sound: 24 bits there and back."""
    import tempfile

    with tempfile.TemporaryDirectory(dir=folder if folder.exists() else None) as at:
        one, other = f"{at}/a.wav", f"{at}/b.wav"
        soundfile.write(one, sound, rate_hz, subtype="PCM_24")
        subprocess.run(command(one, other), check=True, capture_output=True)
        return soundfile.read(other, always_2d=True)[0].mean(axis=1)


def sox(sound: np.ndarray, *effects) -> np.ndarray:
    """Give what sox makes of a sound."""
    return _through(sound, RATE_HZ, lambda a, b: ["sox", "-R", a, b, *map(str, effects)])


def ffmpeg(sound: np.ndarray, filters: str) -> np.ndarray:
    """Give what ffmpeg makes of a sound."""
    return _through(sound, RATE_HZ, lambda a, b: [
        "ffmpeg", "-nostdin", "-v", "error", "-bitexact", "-i", a, "-af", filters,
        "-c:a", "pcm_s24le", "-ar", str(RATE_HZ), "-y", b])  # fmt: skip


def synth(seconds: float, *what) -> np.ndarray:
    """Give what sox synthesises, full scale."""
    return _through(np.zeros(round(seconds * RATE_HZ)), RATE_HZ, lambda a, b: [
        "sox", "-R", "-n", "-r", str(RATE_HZ), "-c", "1", "-b", "24", b, "synth", f"{seconds:.4f}",
        *map(str, what)])  # fmt: skip


def louder(sound, db):
    return sound * 10 ** (db / 20)


def rms(sound):
    """Give its RMS where it is at most 20 dB below its loudest 20 ms."""
    power = np.mean(sound[: len(sound) // 960 * 960].reshape(-1, 960) ** 2, axis=1)
    return float(np.sqrt(power[power > power.max() / 100].mean()))


def as_loud(sound, like):
    """Give a sound as loud as another: what is told must not hang on its level."""
    return sound * rms(like) / rms(sound)


# Each takes a sound, a value, a generator and all sounds of the half; gives the changed sound, and
# what runs besides it to the recording's end.

def as_it_is(sound, value, rng, others):
    return sound, None

def level(sound, db, rng, others):
    return sox(sound, "gain", db), None

def noisier(sound, db, rng, others):
    return sound, louder(rng.normal(size=6 * RATE_HZ) * rms(sound), db)

def later(sound, seconds, rng, others):
    return np.concatenate([np.zeros(round(seconds * RATE_HZ)), sound]), None

def pitch_alone(sound, cents, rng, others):
    return sox(sound, "pitch", cents), None

def tempo_alone(sound, factor, rng, others):
    return sox(sound, "tempo", factor), None

def speed(sound, factor, rng, others):
    return sox(sound, "speed", factor), None

def bend(sound, cents, rng, others):
    seconds = len(sound) / RATE_HZ
    late = 2048  # samples by which sox gives it late
    padded = np.concatenate([sound, np.zeros(late)])
    return sox(padded, "bend", f"0.1,{cents},{0.75 * seconds:.3f}")[late:], None

def vibrato(sound, value, rng, others):
    rate_hz, depth = value
    # One alone is hardly heard. Each begins with a click now and then, which is cut off.
    ahead = np.zeros(round(0.04 * RATE_HZ))
    made = ffmpeg(np.concatenate([ahead, sound]), ",".join([f"vibrato=f={rate_hz}:d={depth}"] * 3))
    return made[len(ahead) :], None

def gate(sound, rate_hz, rng, others):
    return ffmpeg(sound, "asetnsamples=n=48:p=0,"
                  f"volume='if(lt(mod(t*{rate_hz},1),0.5),1,0)':eval=frame"), None

def tremolo(sound, value, rng, others):
    rate_hz, depth = value
    return sox(sound, "tremolo", rate_hz, depth), None

def bits(sound, number, rng, others):
    gain = 0.9 / np.abs(sound).max()
    made = ffmpeg(sound * gain, f"acrusher=bits={number}:mode=lin:aa=0:samples=1:mix=0:level_in=1:level_out=1")
    return as_loud(made, sound), None

def hold(sound, samples, rng, others):
    gain = 0.9 / np.abs(sound).max()
    made = ffmpeg(sound * gain, f"acrusher=bits=16:mode=lin:aa=0:samples={samples}:mix=1:level_in=1:level_out=1")
    return as_loud(made, sound), None

def ring(sound, carrier_hz, rng, others):
    carrier = synth(len(sound) / RATE_HZ, "sine", carrier_hz)
    n = min(len(sound), len(carrier))
    return as_loud(ffmpeg_multiplied(sound[:n], carrier[:n]), sound), None

def ffmpeg_multiplied(one, other):
    import tempfile
    with tempfile.TemporaryDirectory() as at:
        soundfile.write(f"{at}/a.wav", one, RATE_HZ, subtype="PCM_24")
        soundfile.write(f"{at}/b.wav", other, RATE_HZ, subtype="PCM_24")
        subprocess.run(["sox", "-R", "-T", f"{at}/a.wav", f"{at}/b.wav", f"{at}/c.wav"], check=True)
        return soundfile.read(f"{at}/c.wav")[0]

def lowpass(sound, hz, rng, others):
    return sox(sound, "lowpass", hz, "lowpass", hz), None

def highpass(sound, hz, rng, others):
    return sox(sound, "highpass", hz, "highpass", hz), None

def overdrive(sound, gain_db, rng, others):
    gain = 0.5 / np.abs(sound).max()
    return as_loud(sox(sound * gain, "overdrive", gain_db, 0), sound), None

def clipped(sound, gain_db, rng, others):
    gain = 0.9 / np.abs(sound).max()
    return as_loud(ffmpeg(sound * gain, f"volume={gain_db}dB:precision=double,asoftclip=type=hard"), sound), None

def scramble(sound, pieces, rng, others):
    pieces = max(3, min(pieces, int(len(sound) / (0.18 * RATE_HZ))))  # shorter ones are a stutter's
    parts = np.array_split(sound, pieces)
    order = [0]
    while any(b - a == 1 for a, b in itertools.pairwise(order)) or len(order) < pieces:
        order = [0, *(1 + rng.permutation(pieces - 1))]
    return np.concatenate([parts[i] for i in order]), None

def stutter(sound, period_s, rng, others):
    period = round(period_s * RATE_HZ)
    power = np.convolve(sound**2, np.ones(2400) / 2400, mode="same")
    loud = np.flatnonzero(power[: -period - 1] > power.max() / 10)
    at = int(loud[len(loud) // 3])
    times = max(5, round(0.7 / period_s))
    return np.concatenate([sound[:at], np.tile(sound[at : at + period], times), sound[at:]]), None

def other_phrase(sound, which, rng, others):
    """Goes on as another phrase after its first word."""
    at = round(0.55 * RATE_HZ)
    return np.concatenate([sox(sound, "trim", 0, 0.55), others[which][at:]]), None

def trim(sound, part, rng, others):
    return sox(sound, "trim", 0, f"{part * len(sound) / RATE_HZ:.3f}"), None

def fade(sound, db, rng, others):
    return ffmpeg(sound, f"asetnsamples=n=48:p=0,volume='pow(10,-{db}*t/20)':eval=frame"), None

def swell(sound, db, rng, others):
    made = ffmpeg(sound, f"asetnsamples=n=48:p=0,volume='pow(10,{db}*t/20)':eval=frame")
    return as_loud(made, sound), None

def noise(sound, db, rng, others):
    made = synth(5.0, "pinknoise")
    return sound, louder(made * rms(sound) / made.std(), db)

def impulses(sound, per_s, rng, others):
    source = f"aevalsrc='if(lt(random(0),{per_s / RATE_HZ}),1,0)':s={RATE_HZ}:d=5"
    made = _through(sound, RATE_HZ, lambda a, b: [
        "ffmpeg", "-nostdin", "-v", "error", "-bitexact", "-f", "lavfi", "-i", source,
        "-af", "highpass=f=300,lowpass=f=8000", "-c:a", "pcm_s24le", "-y", b])  # fmt: skip
    return sound, made * 12 * rms(sound)

def tone(sound, hz, rng, others):
    """A high tone as loud as the sound."""
    made = synth(5.0, "sine", hz)
    return sound, louder(made * rms(sound) / made.std(), 0)

def sawtooth(sound, hz, rng, others):
    made = synth(5.0, "sawtooth", hz)
    return sound, louder(made * rms(sound) / made.std(), -6)

def whistle(sound, hz, rng, others):
    made = synth(5.0, "sine", hz)
    return sound, louder(made * rms(sound) / made.std(), -12)

def run_on(sound, seconds, rng, others):
    tail = np.concatenate([others[i] for i in (-1, 4, 5)])[: round(seconds * RATE_HZ)]
    return np.concatenate([sound, as_loud(tail, sound)]), None


def room(length: int, rng) -> np.ndarray:
    """Make room noise of some level and colour, with a little hum."""
    noise_ = lfilter([1.0], [1.0, -rng.uniform(0.0, 0.7)], rng.normal(size=length))
    hum = np.sin(2 * np.pi * 50.0 * np.arange(length) / RATE_HZ + rng.uniform(0, 6))
    return 10 ** (rng.uniform(*ROOM_DBFS) / 20) * (noise_ / noise_.std() + 0.5 * hum)


def take(sound: np.ndarray, rng, running: np.ndarray | None = None) -> np.ndarray:
    """Record a sound: it begins somewhere, in some room, and the recording goes on a while."""
    begins = round(rng.uniform(0.3, 0.7) * RATE_HZ)
    out = room(begins + len(sound) + round(rng.uniform(0.5, 0.8) * RATE_HZ), rng)
    out[begins : begins + len(sound)] += sound
    if running is not None:
        out[begins:] += running[: len(out) - begins]
    assert np.abs(out).max() < 0.99, np.abs(out).max()
    return out.astype(np.float32)


MADE = {one.__name__: one for one in (
    as_it_is, level, noisier, later, pitch_alone, tempo_alone, speed, bend, vibrato, gate, tremolo,
    bits, hold, ring, lowpass, highpass, overdrive, clipped, scramble, stutter, other_phrase, trim,
    fade, swell, noise, impulses, tone, sawtooth, whistle, run_on)}  # fmt: skip


def phrase(name: str) -> np.ndarray:
    """Give what the toy says: a call, and then the sound; as on a rig the change comes after a lead-in."""
    return np.concatenate([plain(CALL), plain(name)])


def cases(half: str, seed: int) -> list[Case]:
    """Make all cases of a half: the call stays, the sound behind it is changed."""
    rng = np.random.default_rng(seed)
    names = SOUNDS[half]
    call, sounds = plain(CALL), [plain(name) for name in names]
    made = []
    for change in CHANGES:
        for at, name in enumerate(names):
            if (change.of == "speech" and at >= SPOKEN) or (change.of == "moving" and name in HELD):
                continue
            for n, value in enumerate(getattr(change, half)):
                if change.of != "speech" and (at + n) % 2:
                    continue
                of = slice(SPOKEN) if change.of == "speech" else slice(None)
                others = [one for i, one in enumerate(sounds[of]) if i != at]
                sound, running = MADE[change.made](sounds[at], value, rng, others)
                if change.made == "later":
                    sound = np.concatenate([sound[: -len(sounds[at])], call, sounds[at]])
                else:
                    sound = np.concatenate([call, sound])
                if running is not None:
                    running = np.concatenate([np.zeros(len(call)), running])
                made.append(Case(change, value, name, take(sound, rng, running)))
    return made


def amount_of(case: Case) -> float:
    """Give the amount that is to be told, in the unit of its manner."""
    value = case.value[0] if isinstance(case.value, tuple) else case.value
    return {
        "speed": lambda: 100.0 * value, "stutter": lambda: 1.0 / value,
        "hold": lambda: RATE_HZ / value,
    }.get(case.change.made, lambda: float(value))()
