"""Takes are ordinary FLAC files: other programs give back every sample and find no fault.

Outside truth: libsndfile (through the soundfile package), the reference `flac` tool and
`sox`, each decoding what was written, compared bit for bit. FLAC is specified in RFC 9639.
"""

import shutil
import subprocess

import numpy as np
import pytest
import soundfile

from rig.log import takes
from rig.pcm import from_pcm, to_pcm

RATES = (48_000, 44_100)


def noisy(rng, count):
    """Full-scale noise with both extremes in it: what no predictor can shorten."""
    pcm = rng.integers(-32768, 32768, count).astype(np.int16)
    pcm[:2] = (-32768, 32767)
    return pcm


def toy_like(rng, count):
    """Tones, silence and clipping: what a take looks like."""
    t = np.arange(count) / 48_000
    sound = np.sin(2 * np.pi * 311.0 * t) * (t % 0.3 < 0.2) * np.linspace(0, 2, count)
    return to_pcm(sound + 1e-3 * rng.standard_normal(count))


KINDS = {
    "noise": noisy,
    "toy": toy_like,
    "silence": lambda rng, count: np.zeros(count, np.int16),
    "one sample": lambda rng, count: np.array([-7], np.int16),
}


@pytest.fixture(params=[(kind, rate) for kind in KINDS for rate in RATES],
                ids=lambda given: f"{given[0]} at {given[1]} Hz")
def take(request, tmp_path):
    """A take on the disk: its path, the samples that went in, its rate."""
    kind, rate_hz = request.param
    pcm = KINDS[kind](np.random.default_rng(5), 48_123)
    (tmp_path / takes.TAKES).mkdir()
    stored = takes.write_take(tmp_path, 1, from_pcm(pcm), rate_hz)
    return tmp_path / stored.path, pcm, rate_hz


def tool(name):
    """Give a tool's path."""
    found = shutil.which(name)
    assert found, f"{name} is not installed: apt-get install {name}"
    return found


def test_libsndfile_gives_back_every_sample(take):
    path, pcm, rate_hz = take
    read, rate = soundfile.read(path, dtype="int16")
    info = soundfile.info(path)
    assert (info.format, info.subtype, info.channels, rate) == ("FLAC", "PCM_16", 1, rate_hz)
    assert np.array_equal(read, pcm)


def test_the_flac_tool_finds_no_fault_and_gives_back_every_sample(take):
    path, pcm, _ = take
    flac = tool("flac")
    # -t also compares the MD5 of the samples that the file itself carries.
    tested = subprocess.run([flac, "-t", "-w", path], capture_output=True, text=True,
                            check=False, timeout=60)
    assert tested.returncode == 0, tested.stderr
    raw = subprocess.run(
        [flac, "-d", "-s", "-c", "--force-raw-format", "--endian=little", "--sign=signed", path],
        capture_output=True, check=True, timeout=60).stdout
    assert np.array_equal(np.frombuffer(raw, "<i2"), pcm)


def test_sox_gives_back_every_sample(take):
    path, pcm, _ = take
    raw = subprocess.run(
        [tool("sox"), "-D", path, "-t", "raw", "-e", "signed", "-b", "16", "-L", "-"],
        capture_output=True, check=True, timeout=60).stdout
    assert np.array_equal(np.frombuffer(raw, "<i2"), pcm)


def test_the_flac_tool_sees_a_damaged_take(take):
    """The checks above can fail: one changed byte in the last frame is found."""
    path, _, _ = take
    content = bytearray(path.read_bytes())
    content[-1] ^= 0x10
    path.write_bytes(content)
    tested = subprocess.run([tool("flac"), "-t", path], capture_output=True, check=False,
                            timeout=60)
    assert tested.returncode != 0


def test_what_the_flac_tool_wrote_is_read_as_a_take(tmp_path):
    pcm = toy_like(np.random.default_rng(6), 30_000)
    path = tmp_path / "other.flac"
    subprocess.run(
        [tool("flac"), "-s", "-8", "-o", path, "--force-raw-format", "--endian=little",
         "--sign=signed", "--channels=1", "--bps=16", "--sample-rate=48000", "-"],
        input=pcm.astype("<i2").tobytes(), check=True, timeout=60)
    samples, rate_hz = takes.read_take(path)
    assert rate_hz == 48_000
    assert np.array_equal(to_pcm(samples), pcm)
