"""The talker's phrases are speech to a reference tool: voicing and pitch by librosa's pYIN.

Source: librosa's `pyin` (Mauch and Dixon, "pYIN: a fundamental frequency estimator using
probabilistic threshold distributions", ICASSP 2014), against the pitch codes that the
synthesiser was given.
"""

import librosa
import numpy as np
import pytest

from rig.bench.simulated.board import make_board
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.talker.voice import CHIP_RATE_HZ, FRAME_SAMPLES, pitch_period
from rig.bench.simulated.toy import SimulatedToy, switch_on

HOP = 480
FRAME = 4096


def spoken(seed: int, key_number: int) -> tuple[np.ndarray, np.ndarray]:
    """Say a phrase; gives the sound and, for each hop, the pitch asked for (NaN: unvoiced)."""
    toy = SimulatedToy(make_board(seed, 24), seed)
    switch_on(toy)
    told: list[tuple[bool, float]] = []
    plain = toy._chips._voice.frame

    def frame(data, transpose=0):
        voiced = data is not None and bool(data[0] & 4) and bool(data[0] >> 3 & 15)
        code = 0 if data is None else min(63, max(0, (data[1] & 63) + transpose))
        told.append((voiced, CHIP_RATE_HZ / pitch_period(code)))
        return plain(data, transpose)

    toy._chips._voice.frame = frame
    speed = toy.board.clock.nominal_hz() / (80 * CHIP_RATE_HZ)
    frame_samples = FRAME_SAMPLES / CHIP_RATE_HZ / speed * RATE_HZ
    wait = round(frame_samples - toy._chips._phase / (1 << 32) * frame_samples / FRAME_SAMPLES)
    toy.keys({toy.board.keys[key_number]})
    sound = toy.run(RATE_HZ // 8)
    toy.keys(set())
    sound = np.concatenate([sound, toy.run(2 * RATE_HZ)])
    wanted = np.full(len(sound) // HOP, np.nan)
    for i in range(len(wanted)):
        # a frame counts where the whole of it is voiced, and so are its neighbours
        at = int((i * HOP - wait) // frame_samples)
        if 1 <= at < len(told) - 1 and all(told[j][0] for j in (at - 1, at, at + 1)):
            wanted[i] = told[at][1] * speed
    return sound, wanted


@pytest.mark.parametrize("seed", [0, 3, 8, 11])
def test_pyin_hears_voice_where_voice_was_asked_for_at_its_pitch(seed):
    cents, agree, voiced_frames = [], [], 0
    for key_number in range(2):
        sound, wanted = spoken(seed, key_number)
        f0, voiced, _ = librosa.pyin(
            sound.astype(float), fmin=50, fmax=450, sr=RATE_HZ, frame_length=FRAME, hop_length=HOP,
        )  # fmt: skip
        f0, voiced = f0[: len(wanted)], voiced[: len(wanted)]
        asked = ~np.isnan(wanted)
        agree.append(voiced[asked])
        both = asked & voiced
        cents.append(1200 * np.log2(f0[both] / wanted[both]))
        voiced_frames += int(asked.sum())
        silent = np.array([
            np.abs(sound[max(0, i * HOP - FRAME // 2) : i * HOP + FRAME // 2]).max() < 1e-3
            for i in range(len(wanted))
        ])
        assert not voiced[silent].any()
    assert voiced_frames > 60
    assert np.mean(np.concatenate(agree)) > 0.8
    error = np.concatenate(cents)
    assert np.median(np.abs(error)) <= 50.0
    # a track that only guessed its octave right would be spread far wider than this
    assert np.mean(np.abs(error) <= 100.0) > 0.75
