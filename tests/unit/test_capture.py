"""Capture with a stand-in stream: flags, gaps, stalls, and devices that aren't there."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from rig.bench.capture import Capture, LossCounter
from rig.errors import BenchError, CaptureLost, MissingLibrary

RATE_HZ = 48_000
BLOCK = 960


class StandIn:
    """Takes the place of the sound library: gives the blocks that a test asks for.

    Real overflow flags can't be had from a sound server at will, so here they are made.
    """

    class PortAudioError(Exception):
        pass

    def __init__(self, devices=(("toy line", 2),), fails=False, silent=False, default=None):
        self.devices = devices
        self.default = default
        self.fails = fails
        self.silent = silent
        self.now_s = 0.0
        self.sent = 0
        self.stream = None

    def query_devices(self, kind=None):
        if kind == "input":
            if self.default is None:
                raise self.PortAudioError("no default input device")
            return {"name": self.default}
        return [{"name": name, "max_input_channels": inputs} for name, inputs in self.devices]

    def InputStream(self, **options):
        if self.fails:
            raise self.PortAudioError("Invalid sample rate\n[PaErrorCode -9997]")
        self.options = options
        self.stream = self
        self.closed = False
        return self

    def start(self):
        if not self.silent:
            self.give()

    def abort(self):
        pass

    def close(self):
        self.closed = True

    def clock(self):
        return self.now_s

    def give(self, flags=0, skip_s=0.0):
        """One block of 20 ms; `skip_s` of sound before it went missing."""
        self.now_s += BLOCK / RATE_HZ + skip_s
        data = np.empty((BLOCK, 2), dtype=np.float32)
        data[:, 0] = (np.arange(self.sent, self.sent + BLOCK) % 1000) / 1000
        data[:, 1] = -data[:, 0]
        self.sent += BLOCK
        self.options["callback"](data, BLOCK, None, flags)
        data[:] = 99.0  # PortAudio uses the buffer again


def open_capture(library, device="toy line", **options):
    return Capture.open(
        device,
        RATE_HZ,
        1,
        2,
        library=library,
        clock=library.clock,
        stall_s=0.05,
        settle_s=0.0,
        **options,
    )


def test_sound_and_marker_come_in_order_without_gaps():
    library = StandIn()
    capture = open_capture(library)
    for _ in range(3):
        library.give()
    chunk = capture.read()
    assert (chunk.first_sample, len(chunk.sound), chunk.lost) == (BLOCK, 3 * BLOCK, False)
    expected = (np.arange(BLOCK, 4 * BLOCK) % 1000) / 1000
    np.testing.assert_allclose(chunk.sound, expected, atol=1e-6)
    np.testing.assert_allclose(chunk.marker, -expected, atol=1e-6)
    library.give()
    assert capture.read().first_sample == 4 * BLOCK


def test_every_overflow_flag_is_kept():
    library = StandIn()
    capture = open_capture(library)
    library.give()
    library.give(flags=2)
    library.give()
    assert capture.read().lost
    assert capture.overflows == 1
    library.give()
    assert not capture.read().lost


def test_blocks_dropped_by_a_slow_reader_show_as_lost_and_keep_their_place():
    library = StandIn()
    capture = open_capture(library)
    for _ in range(2_000):  # 40 s; the queue holds 30 s
        library.give()
    chunk = capture.read()
    assert chunk.lost
    assert (chunk.first_sample, len(chunk.sound)) == (BLOCK, 2_000 * BLOCK)
    assert chunk.sound[-1] == pytest.approx(((2_001 * BLOCK - 1) % 1000) / 1000)
    assert not chunk.sound[: 400 * BLOCK].any()


def test_skipping_forgets_what_is_queued_and_is_no_loss():
    library = StandIn()
    capture = open_capture(library)
    for _ in range(2_000):
        library.give()
    capture.skip()
    library.give()
    chunk = capture.read()
    assert (chunk.first_sample, len(chunk.sound), chunk.lost) == (2_001 * BLOCK, BLOCK, False)


def test_a_stopped_stream_is_said_in_one_line():
    library = StandIn()
    capture = open_capture(library)
    with pytest.raises(CaptureLost) as caught:
        capture.read()
    assert "stopped giving sound" in str(caught.value) and "\n" not in str(caught.value)


def test_a_device_that_opens_but_stays_silent_is_given_back():
    library = StandIn(silent=True)
    with pytest.raises(CaptureLost):
        open_capture(library)
    assert library.closed


def test_missing_sound_without_a_flag_is_counted_against_the_clock():
    library = StandIn()
    capture = open_capture(library)
    for _ in range(100):
        library.give()
    assert not capture.read().lost
    library.give(skip_s=0.15)
    for _ in range(40):
        library.give()
    assert capture.read().lost
    for _ in range(100):
        library.give()
    assert not capture.read().lost


def test_late_blocks_that_catch_up_are_no_loss():
    counter = LossCounter(RATE_HZ)
    now_s = 0.0
    lost = []
    for block in range(400):
        now_s += 0.02
        # A busy computer: the blocks of 0.4 s arrive together, several times.
        arrives_s = now_s if block % 100 < 80 else (block // 100 * 100 + 100) * 0.02
        lost.append(counter.feed(arrives_s, BLOCK))
    assert not any(lost)


def test_a_device_clock_that_is_off_by_0_1_percent_is_no_loss_in_an_hour():
    counter = LossCounter(RATE_HZ)
    assert not any(counter.feed(block * 0.02 * 1.001, BLOCK) for block in range(180_000))


@pytest.mark.parametrize(
    ("wanted", "devices", "says"),
    [
        ("nowhere", (("toy line", 2), ("room", 1)), "isn't there (inputs there are: 'toy line',"),
        ("nowhere", (), "isn't there (inputs there are: none)"),
        ("line", (("line one", 2), ("line two", 2)), "fits more than one"),
        ("toy line", (("toy line", 1),), "has 1 input channel(s), channel 2 is asked for"),
    ],
)
def test_a_device_that_can_not_be_used(wanted, devices, says):
    with pytest.raises(BenchError) as caught:
        open_capture(StandIn(devices), wanted)
    assert says in str(caught.value) and "\n" not in str(caught.value)


def test_the_whole_name_wins_over_a_part():
    capture = open_capture(StandIn((("toy line 2", 2), ("toy line", 2))), "toy line")
    assert capture.device == "toy line"


def test_default_is_the_system_s_own_choice_where_none_is_called_so():
    devices = (("built-in microphone", 1), ("toy line", 2))
    assert open_capture(StandIn(devices, default="toy line"), "default").device == "toy line"
    assert open_capture(StandIn((*devices, ("default", 2)), default="toy line"),
                        "default").device == "default"
    with pytest.raises(BenchError, match="'default' isn't there"):
        open_capture(StandIn(devices), "default")


def test_a_refused_format_is_one_line():
    with pytest.raises(BenchError) as caught:
        open_capture(StandIn(fails=True))
    assert "-9997" in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("error", "says"),
    [("OSError('PortAudio library not found')", "libportaudio2"), ("ImportError()", "pip install")],
)
def test_without_portaudio_there_is_one_clear_line(error, says):
    code = (
        "import sys, importlib.abc\n"
        "class Missing(importlib.abc.MetaPathFinder):\n"
        "    def find_spec(self, name, path, target=None):\n"
        f"        if name == 'sounddevice': raise {error}\n"
        "sys.meta_path.insert(0, Missing())\n"
        "from rig.bench.capture import Capture\n"
        "from rig.errors import MissingLibrary\n"
        "try:\n    Capture.open('toy line')\n"
        "except MissingLibrary as error:\n    print(error)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=120
    )
    assert says in run.stdout and run.stdout.count("\n") == 1, run.stderr
    assert issubclass(MissingLibrary, BenchError)
