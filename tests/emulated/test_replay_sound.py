"""`padsweep replay` and `try` are heard: what they play is recorded from a private sound server."""

import os
import pty
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
from emulator import HANGS_S
from sound_server import SoundServer

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.bench.simulated.folder import new_simulated_project
from rig.listen.judgement import Judgement
from rig.log import SweepLog

RATE_HZ = 48_000
LINE = Timeline(press_us=60_000, close_us=300_000, release_us=180_000, open_us=1_500_000,
                end_us=2_000_000)
BASELINE_HZ, BEND_HZ = 500.0, 1_700.0
LOUD = 0.02
QUIET_S = 1.0


def tone(hz):
    t = np.arange(RATE_HZ) / RATE_HZ
    return (0.3 * np.sin(2 * np.pi * hz * t)).astype(np.float32)


@pytest.fixture
def project(tmp_path):
    """A project whose baseline and whose bend are two tones of one second."""
    folder = tmp_path / "toy"
    new_simulated_project(folder, 5, 8)
    touches = [("baseline", Touch((), Stimulus(("moo",))), "none", BASELINE_HZ)]
    bridge = Touch((Connection(("C",), ("F",), 9_000.0),), Stimulus(("moo",)))
    touches += [(kind, bridge, "pitch", BEND_HZ) for kind in ("sweep", "confirm")]
    with SweepLog.create(folder / "sweeps" / "main", {}, "h") as log:
        for number, (kind, touch, sound, hz) in enumerate(touches, 1):
            log.made(number, kind, kind, touch,
                     path_ohm=11_000.0 if touch.connections else None, started_at="now",
                     timeline=LINE, samples=tone(hz), rate_hz=RATE_HZ)
            log.judged(number, Judgement(sound, score=2.0, p_value=0.01, judge="test"))
            log.completed(number, "answers")
    return folder


def record(server, seconds, until):
    """Record the sink while `until(heard_so_far)` runs and a moment longer; mono float32."""
    recorder = subprocess.Popen(
        ["parec", "--raw", f"--rate={RATE_HZ}", "--channels=1", "--format=float32le",
         "--latency-msec=50", "--device=toy.monitor"],
        env=server.env, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    heard = bytearray()

    def so_far():
        return np.frombuffer(bytes(heard[: len(heard) // 4 * 4]), "<f4")

    reader = threading.Thread(
        target=lambda: [heard.extend(piece) for piece in iter(lambda: recorder.stdout.read(4096),
                                                              b"")])
    reader.start()
    try:
        done = until(so_far)
        threading.Event().wait(seconds)
    finally:
        recorder.terminate()
        recorder.wait(HANGS_S)
        reader.join(HANGS_S)
        recorder.stdout.close()
    return done, so_far()


def loud_tenths(sound):
    """Tell of each tenth of a second whether it is loud."""
    pieces = sound[: len(sound) // 4800 * 4800].reshape(-1, 4800)
    return np.sqrt(np.mean(pieces**2, axis=1)) > LOUD


def strongest_hz(piece):
    """The strongest frequency of a piece of sound, Hz; 0 in silence."""
    if np.sqrt(np.mean(piece**2)) < 0.05:
        return 0.0
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece))))
    return float(np.argmax(spectrum) * RATE_HZ / len(piece))


def test_the_baseline_is_heard_and_then_the_bend(project):
    words = [sys.executable, "-c", "from rig.cli.main import run; run()", "replay",
             "--project", project, "--play", "C-F"]
    with SoundServer() as server:
        done, heard = record(server, 0.5, lambda _: subprocess.run(
            words, env=server.env, capture_output=True, text=True, check=False, timeout=HANGS_S))
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert "C-F" in done.stdout
    pieces = heard[: len(heard) // 4800 * 4800].reshape(-1, 4800)
    tones = [round(strongest_hz(piece), -2) for piece in pieces]
    sounding = [hz for hz in tones if hz]
    baseline, bend = sounding.count(BASELINE_HZ), sounding.count(BEND_HZ)
    assert 9 <= baseline <= 11, tones
    assert 9 <= bend <= 11, tones
    assert sounding.index(BEND_HZ) >= baseline


def test_a_simulated_toy_that_is_tried_at_a_terminal_is_heard_as_it_goes(tmp_path):
    new_simulated_project(tmp_path / "toy", 8, 8)
    ours, theirs = pty.openpty()

    def wait_for(heard, is_so):
        until_s = time.monotonic() + HANGS_S
        while not is_so(loud_tenths(heard())):
            assert time.monotonic() < until_s, "not heard"
            threading.Event().wait(0.1)

    def press_three_times(heard):
        process = subprocess.Popen(
            [sys.executable, "-c", "from rig.cli.main import run; run()", "try", "A-D",
             "--project", tmp_path / "toy"],
            env=server.env | {"TERM": "xterm"}, stdin=theirs, stdout=theirs,
            stderr=subprocess.PIPE,
        )
        seen, pressed = b"", []
        while b"CLOSED" not in seen:
            seen += os.read(ours, 65536)
        for _ in range(3):
            pressed.append(len(loud_tenths(heard())))
            os.write(ours, b" ")
            # As long as it takes: a busy machine answers late.
            wait_for(heard, lambda loud: loud[pressed[-1] :].any())
            wait_for(heard, lambda loud: not loud[-round(10 * QUIET_S) :].any())
        os.write(ours, b"q")
        while b"toy is off" not in seen:
            seen += os.read(ours, 65536)
        return pressed, process.communicate(timeout=HANGS_S)[1], process.returncode

    with SoundServer() as server:
        (pressed, errors, code), heard = record(server, 0.5, press_three_times)
    os.close(ours)
    os.close(theirs)
    assert (errors, code) == (b"", 0)
    loud = loud_tenths(heard)
    assert not loud[: pressed[0]].any()
    lengths = [loud[a:b].sum() for a, b in zip(pressed, [*pressed[1:], len(loud)], strict=True)]
    assert min(lengths) >= 5, lengths  # a phrase of this toy lasts more than a second
