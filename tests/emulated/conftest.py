"""Fixtures of the emulated bench: real firmware, real serial code, real sound path."""

from __future__ import annotations

import pytest
from sound_server import SoundServer


@pytest.fixture(scope="session")
def sound_server():
    """Give a private sound server that all tests of the session share."""
    with SoundServer() as server:
        yield server
