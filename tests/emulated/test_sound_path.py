"""The real sound path: what is played into the sink comes out of `Capture`, every sample."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
from emulator import HANGS_S
from sound_server import PLAYER, SoundServer

from rig.bench.marker import find_pulses

RATE_HZ = 48_000
EDGES = (25_000, 100_000)

RECORD = """
import sys
import numpy as np
from rig.bench.capture import Capture
from rig.errors import RigError

try:
    capture = Capture.open(sys.argv[1])
    print("open", flush=True)
    pieces, lost, count = [], False, 0
    while count < int(sys.argv[2]):
        chunk = capture.read()
        assert chunk.first_sample == capture_next if pieces else True
        pieces.append(np.stack([chunk.sound, chunk.marker]))
        lost = lost or chunk.lost
        if count or chunk.sound.any():
            count += len(chunk.sound)
        capture_next = chunk.first_sample + len(chunk.sound)
    capture.close()
    np.save(sys.argv[3], np.concatenate(pieces, axis=1))
    print("lost" if lost else "whole")
except RigError as error:
    print(f"{type(error).__name__}: {error}")
"""


def record(server: SoundServer, device: str, samples: int, path: Path) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-c", RECORD, device, str(samples), str(path)],
        env=server.env,
        stdout=subprocess.PIPE,
        text=True,
    )


def test_noise_comes_through_to_the_sample(sound_server, tmp_path):
    # Noise, because a tone would hide the loss of whole periods.
    played = np.zeros((RATE_HZ * 5 // 2, 2))
    # The server may cut off the first block of a new stream: half a second of silence first.
    noise = np.random.default_rng(7).integers(-9000, 9000, RATE_HZ * 2) / 32768
    played[RATE_HZ // 2 :, 0] = noise
    for edge in EDGES:
        played[edge : edge + 240, 1] = 0.5
    recorder = record(sound_server, "toymic", RATE_HZ * 2, tmp_path / "take.npy")
    with recorder:
        assert recorder.stdout.readline() == "open\n"
        subprocess.run(
            PLAYER,
            env=sound_server.env,
            input=played.astype("<f4").tobytes(),
            check=True,
            timeout=HANGS_S,
        )
        assert recorder.stdout.readline() == "whole\n"
    sound, marker = np.load(tmp_path / "take.npy")
    edges = find_pulses(marker, RATE_HZ)
    assert len(edges) == 2
    assert edges[1] - edges[0] == EDGES[1] - EDGES[0]
    expected = played[RATE_HZ // 2 :, 0]
    begin = edges[0] - (EDGES[0] - RATE_HZ // 2)
    heard = sound[begin : begin + len(expected)]
    np.testing.assert_allclose(heard, expected[: len(heard)], atol=1 / 32768)
    assert len(heard) > RATE_HZ * 1.9


def test_a_device_that_is_not_there_is_one_line_with_what_there_is(sound_server, tmp_path):
    with record(sound_server, "nowhere", 1, tmp_path / "take.npy") as recorder:
        said = recorder.stdout.read()
    assert said.startswith("BenchError: sound device 'nowhere' isn't there")
    assert "toymic" in said and said.count("\n") == 1


def test_an_unplugged_device_is_one_line(tmp_path):
    with (
        SoundServer() as server,
        record(server, "toymic", RATE_HZ * 60, tmp_path / "take.npy") as recorder,
    ):
        assert recorder.stdout.readline() == "open\n"
        server.unplug()
        said = recorder.stdout.read()
    assert said.startswith("CaptureLost: sound device 'toymic' stopped giving sound")
    assert said.count("\n") == 1
