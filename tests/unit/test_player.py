"""Without PortAudio a line says what to install, also where nothing is to be played yet."""

import ctypes.util
import sys

from running import run_main, swept_project

from rig.cli import demo
from rig.cli.player import cannot_play

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
