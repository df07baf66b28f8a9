"""The simulated room and sound card: what they add to the toy's sound, and only that."""

import numpy as np
import pytest
from simulated_benches import heard, make, pulses, ready

from rig.bench import Connection, Stimulus, Touch
from rig.bench.simulated.room import TYPICAL_RMS, Room, SoundCard
from rig.bench.simulated.sound import RATE_HZ
from rig.project.models import Room as Options

QUIET_DB = 120.0


def room(room_db: float = QUIET_DB, seed: int = 1, **options) -> Room:
    chance = np.random.Generator(np.random.PCG64(seed))
    return Room(Options(**options), room_db, seed, chance)


def recorded(place: Room, sound: np.ndarray, piece: int = RATE_HZ // 10) -> np.ndarray:
    return np.concatenate([
        place.heard(sound[at : at + piece].copy(), at) for at in range(0, len(sound), piece)
    ])


def silence(seconds: float = 1.0) -> np.ndarray:
    return np.zeros(round(seconds * RATE_HZ), np.float32)


def rms_db(sound: np.ndarray) -> float:
    """Level below the speaking toy."""
    return float(-20 * np.log10(np.sqrt(np.mean(sound.astype(float) ** 2)) / TYPICAL_RMS))


def tone(hz: float, seconds: float = 1.0) -> np.ndarray:
    return (0.1 * np.sin(2 * np.pi * hz * np.arange(seconds * RATE_HZ) / RATE_HZ)).astype("f4")


def test_a_line_adds_nothing_but_its_noise():
    sound = tone(700.0)
    assert recorded(room(), sound) == pytest.approx(sound, abs=1e-6)


@pytest.mark.parametrize("path", ["line", "microphone"])
def test_noise_is_as_far_below_the_toy_as_asked(path):
    assert rms_db(recorded(room(35.0, path=path), silence(4))) == pytest.approx(35.0, abs=0.4)


def test_a_microphones_noise_falls_with_frequency_and_has_no_seams():
    noise = recorded(room(20.0, path="microphone"), silence(25)).astype(float)
    power = np.abs(np.fft.rfft(noise * np.hanning(len(noise)))) ** 2
    hz = np.fft.rfftfreq(len(noise), 1 / RATE_HZ)

    def octave_db(centre):
        return 10 * np.log10(np.mean(power[(hz > centre / 1.41) & (hz < centre * 1.41)]))

    # a pole at 400 Hz: 6 dB an octave far above
    assert octave_db(2000) - octave_db(4000) == pytest.approx(6.0, abs=0.5)
    assert octave_db(16000) - octave_db(2000) == pytest.approx(-18.0, abs=1.0)
    steps = np.abs(np.diff(noise))
    assert steps.max() < 6.5 * np.std(np.diff(noise))


@pytest.mark.parametrize("hz", [50, 60])
def test_hum_has_its_level_and_only_multiples_of_the_mains(hz):
    hum = recorded(room(hum_db=20.0, hum_hz=hz), silence(2))
    assert rms_db(hum) == pytest.approx(20.0, abs=0.1)
    spectrum = np.abs(np.fft.rfft(hum * np.hanning(len(hum))))
    loud = np.flatnonzero(spectrum > spectrum.max() / 30) / 2
    assert {round(f / hz) for f in loud} <= {1, 2, 3, 4, 5}
    assert np.abs(loud - hz * np.round(loud / hz)).max() <= 1.0
    assert np.argmax(spectrum) / 2 == hz


def test_gain_is_after_the_noise_and_what_is_too_loud_is_clipped():
    quiet = recorded(room(40.0), tone(500.0))
    louder = recorded(room(40.0, gain_db=12.0), tone(500.0))
    assert rms_db(quiet) - rms_db(louder) == pytest.approx(12.0, abs=0.05)
    assert np.abs(louder).max() < 1.0
    clipped = recorded(room(40.0, gain_db=30.0), tone(500.0))
    assert np.abs(clipped).max() == 1.0
    assert np.mean(np.abs(clipped) == 1.0) > 0.5


def test_a_microphone_hears_echoes_within_12_ms_and_nothing_before_the_sound():
    knock = silence(0.2)
    knock[4700] = 0.5
    found = recorded(room(path="microphone", seed=3), knock)
    assert np.abs(found[:4700]).max() < 1e-4
    echoes = np.flatnonzero(np.abs(found) > 0.01) - 4700
    assert echoes[0] == 0
    assert 3 <= len(echoes) <= 7
    assert 0.4e-3 * RATE_HZ - 1 <= echoes[1] <= echoes[-1] <= 12e-3 * RATE_HZ + 1
    assert found[4700] == pytest.approx(0.5, abs=1e-4)
    whole = recorded(room(path="microphone", seed=3), knock, len(knock))
    assert whole == pytest.approx(found, abs=1e-6)


def test_relays_click_where_they_move_and_only_then():
    bench = ready(room_db=QUIET_DB, click_db=20.0)
    plain = ready(room_db=QUIET_DB)
    inert = [p.letter for p in bench.board.pads if bench.board.nets[p.net].role.startswith("nc")]
    touch = Touch((Connection((inert[0],), (inert[1],), 0.0),), Stimulus(()))
    sound, marker, _, timeline = heard(bench, touch)
    start = pulses(marker)[0][0]
    assert np.abs(sound).max() == pytest.approx(TYPICAL_RMS / 10, rel=0.02)
    loud = np.flatnonzero(np.abs(sound) > 1e-3)
    # the controller's clock is up to 0.1 % off, 1.6 ms at the opening
    moves = [start + us * 1e-6 * RATE_HZ for us in (timeline.close_us, timeline.open_us)]
    assert all(min(abs(at - m) for m in moves) < 10e-3 * RATE_HZ for at in loud)
    for move in moves:
        assert min(abs(loud - move)) < 2e-3 * RATE_HZ
    assert np.abs(heard(plain, touch)[0]).max() < 1e-4
    nothing = Touch(stimulus=Stimulus(()))
    assert np.abs(heard(bench, nothing)[0]).max() < 1e-4, "a baseline closes no pads"


@pytest.mark.parametrize("drift_ppm", [-300.0, 80.0, 1000.0])
def test_a_card_that_is_off_takes_so_many_more_samples_of_the_same_sound(drift_ppm):
    card = SoundCard(drift_ppm)
    toy_sound = tone(997.0, 3.0)
    had, parts = 0, []
    for samples in [1, 2, 500, 4800] * 20:
        wanted = card.wants(samples)
        parts.append(card.take(toy_sound[had : had + wanted], samples))
        assert len(parts[-1]) == samples
        had += wanted
    taken = np.concatenate(parts)
    assert len(taken) / had == pytest.approx(1 + drift_ppm * 1e-6, abs=4 / had)
    at = np.arange(len(taken)) / (1 + drift_ppm * 1e-6)
    exact = 0.1 * np.sin(2 * np.pi * 997.0 * at / RATE_HZ)
    assert taken[5:] == pytest.approx(exact[5:], abs=2e-5)


def test_the_controllers_time_and_the_benchs_do_not_follow_the_sound_card():
    plain, off = ready(), ready(drift_ppm=1000.0)
    touch = Touch(stimulus=Stimulus((plain.board.keys[0],)))
    apart = []
    for bench in (plain, off):
        _, marker, _, timeline = heard(bench, touch)
        (one, _), (two, _) = pulses(marker)
        apart.append(two - one)
        assert timeline.end_us == pytest.approx(2_060_000, abs=30)
        begun = bench.now_s()
        bench.wait(2.5)
        assert bench.now_s() - begun == pytest.approx(2.5, abs=1e-4)
    assert apart[1] / apart[0] == pytest.approx(1.001, abs=2e-5)


def test_the_room_hangs_on_its_seed_alone():
    options = {"path": "microphone", "hum_db": 30.0, "click_db": 10.0, "drift_ppm": 40.0}
    touch = Touch((Connection(("A",), ("C",), 0.0),), Stimulus(()))
    one, two = (heard(ready(**options), touch)[0] for _ in range(2))
    assert np.array_equal(one, two)
    assert make(1)._room.noise_rms == make(2)._room.noise_rms
    assert not np.array_equal(one[:1000], heard(ready(2, **options), touch)[0][:1000])
