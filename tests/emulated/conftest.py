"""Fixtures of the emulated bench: real firmware, real serial code, real sound path."""

from __future__ import annotations

import pytest
from emulator import Emulator, Port
from sound_server import SoundServer


@pytest.fixture(scope="session")
def sound_server():
    """Give a private sound server that all tests of the session share."""
    with SoundServer() as server:
        yield server


@pytest.fixture(scope="module")
def _controller():
    with Emulator() as emulator:
        port = Port(emulator)
        yield emulator, port


@pytest.fixture
def bench(_controller):
    """Give an emulated controller and its port, shared by a module, reset for each test."""
    emulator, port = _controller
    port.write("*RST;*CLS;*ESE 0;*SRE 0;:STATus:PRESet")
    assert port.errors() == []
    return emulator, port


@pytest.fixture
def fresh_bench():
    """Give an emulated controller that has just started, and its port."""
    with Emulator() as emulator:
        port = Port(emulator)
        assert port.errors() == [-500]
        yield emulator, port
