"""Without PortAudio a line says what to install, also where nothing is to be played yet."""

import ctypes.util
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from running import run_main, swept_project

from rig.cli import demo, player
from rig.cli.player import CUSHION_S, LIVE_BEHIND_S, LivePlayer, cannot_play
from rig.errors import BenchError

TOLD = "PortAudio is missing, nothing can be played: sudo apt-get install libportaudio2"


def test_the_demo_ends_with_what_to_install(tmp_path, monkeypatch):
    folder = swept_project(tmp_path / "demo")
    monkeypatch.setattr(demo, "run_sweep", lambda *_: (None, "touches"))
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(ctypes.util, "find_library", lambda name: None)
    assert cannot_play() == TOLD
    assert run_main("demo", "--folder", folder).out.splitlines()[-1] == TOLD


def test_with_it_nothing_is_said():
    assert cannot_play() is None


# Sound that goes on

RATE_HZ, BLOCK = 48_000, 480


class Output:
    """A sound output that asks for a block when the test says so."""

    class PortAudioError(Exception):
        pass

    def __init__(self, fails=False):
        self.fails = fails
        self.is_open = False

    def OutputStream(self, *, samplerate, channels, dtype, latency, callback):
        if self.fails:
            raise self.PortAudioError("no device")
        assert (samplerate, channels, dtype) == (RATE_HZ, 1, "float32")
        self.callback = callback
        return SimpleNamespace(start=self.start, abort=self.stop, close=self.stop)

    def start(self):
        self.is_open = True

    def stop(self):
        self.is_open = False

    def block(self):
        out = np.full((BLOCK, 1), np.nan, np.float32)
        self.callback(out, BLOCK, None, None)
        return out[:, 0]


@pytest.fixture
def output(monkeypatch):
    made = Output()
    monkeypatch.setattr(player, "_portaudio", lambda: made)
    return made


def test_sound_that_goes_on_is_played_in_order_and_silence_where_none_waits(output):
    live = LivePlayer(RATE_HZ)
    ramp = np.arange(1, RATE_HZ * 3 // 10 + 1, dtype=np.float32)
    assert not output.block().any()
    live.take(ramp[:BLOCK])
    assert not output.block().any(), "it waits for its cushion"
    live.take(ramp[BLOCK : round(CUSHION_S * RATE_HZ)])
    played = [output.block() for _ in range(5)]
    live.take(ramp[round(CUSHION_S * RATE_HZ) :])
    played += [output.block() for _ in range(25)]
    assert np.array_equal(np.concatenate(played), ramp)
    assert not output.block().any()
    live.take(ramp[:BLOCK])
    assert not output.block().any(), "having run dry it waits for its cushion again"
    live.close()
    assert not output.is_open


def test_what_waits_too_long_is_left_out_the_oldest_first(output):
    live = LivePlayer(RATE_HZ)
    ramp = np.arange(RATE_HZ, dtype=np.float32)
    live.take(ramp)
    assert output.block()[0] == RATE_HZ * (1 - LIVE_BEHIND_S)


def test_without_an_output_it_says_so(monkeypatch):
    monkeypatch.setattr(player, "_portaudio", lambda: Output(fails=True))
    with pytest.raises(BenchError, match="no sound output was found"):
        LivePlayer(RATE_HZ)
