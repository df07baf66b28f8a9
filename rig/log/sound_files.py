"""Recordings of the person's own: sound files that no rig made, read with all that may be wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from rig.errors import RigError

LEAST_S = 0.2
MOST_S = 60.0
SILENT_PEAK = 10 ** (-80 / 20)


def read_recording(path: Path, least_rate_hz: int) -> tuple[np.ndarray, int]:
    """Read a recording as one channel: the one with most sound in it.

    A mean would lose what the two wires of a bridge amplifier carry against each other.

    Parameters
    ----------
    path : Path
        WAV, FLAC or whatever else libsndfile reads.
    least_rate_hz : int
        Lower rates are refused.

    Returns
    -------
    samples : ndarray of float32, shape (n,)
        As they stand in the file, full scale 1.0.
    rate_hz : int

    Raises
    ------
    RigError
        The file isn't there, isn't sound, or holds too little or nothing to be heard.
    """
    if not path.exists():
        raise RigError(f"{path}: there is no such file")
    if path.is_dir():
        raise RigError(f"{path}: is a folder; name the sound files in it")
    try:
        with soundfile.SoundFile(path) as file:
            rate_hz, length = file.samplerate, file.frames
            if length > MOST_S * rate_hz:
                raise RigError(f"{path}: is longer than {MOST_S:.0f} s; cut out one press of the "
                               "key with what follows it")
            every = file.read(dtype="float32", always_2d=True)
    except (OSError, RuntimeError) as trouble:
        raise RigError(f"{path}: can't be read as sound; give WAV or FLAC files") from trouble
    if rate_hz < least_rate_hz:
        raise RigError(f"{path}: its sample rate is {rate_hz} Hz; record at {least_rate_hz} Hz "
                       "or more")
    if not len(every):
        raise RigError(f"{path}: is empty; record it again")
    if not np.isfinite(every).all():
        raise RigError(f"{path}: holds values that are no numbers; write it again as 16-bit WAV")
    if len(every) < LEAST_S * rate_hz:
        raise RigError(f"{path}: is only {len(every) / rate_hz:.2f} s long; at least {LEAST_S} s "
                       "are needed")
    centred = every - every.mean(axis=0)
    loudest = int(np.argmax(np.sum(centred**2, axis=0)))
    if np.abs(centred[:, loudest]).max() < SILENT_PEAK:
        raise RigError(f"{path}: is silent; check the recording level and the lead")
    return np.ascontiguousarray(every[:, loudest]), rate_hz
