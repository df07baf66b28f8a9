"""A private sound server with a null sink: what is played into it, PortAudio can record.

The sink is called `toy`; programs that run with `SoundServer.env` find its monitor as the
input device `toymic`. Nothing of the user's own sound set-up is touched.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Self

from emulator import HANGS_S, hurry

ASOUNDRC = """\
pcm.toymic {
  type pulse
  device toy.monitor
  hint { show on description "toy line" }
}
"""

PLAYER = [
    "pacat",
    "--playback",
    "--raw",
    "--rate=48000",
    "--channels=2",
    "--format=float32le",
    "--latency-msec=150",
    "--process-time-msec=10",
    "--device=toy",
]
"""Plays raw sound from its standard input into the sink: two channels, sound and marker."""


class Player:
    """Plays raw sound into the sink in real time."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(PLAYER, stdin=subprocess.PIPE)

    def play(self, data: bytes) -> None:
        """Queue sound."""
        if data:
            self._process.stdin.write(data)
            self._process.stdin.flush()

    def close(self) -> None:
        """Stop at once."""
        self._process.terminate()
        with contextlib.suppress(BrokenPipeError):
            self._process.stdin.close()
        self._process.wait()


class SoundServer:
    """A running server; use it in a `with` statement.

    Attributes
    ----------
    env : dict of str
        Environment for programs that play into or record from the server.
    """

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="padsweep-sound-"))
        socket = self.folder / "pulse.sock"
        (self.folder / ".asoundrc").write_text(ASOUNDRC)
        self.env = dict(
            os.environ,
            HOME=str(self.folder),
            XDG_RUNTIME_DIR=str(self.folder),
            PULSE_SERVER=f"unix:{socket}",
        )
        command = [
            "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no",
            "--disallow-exit", "--log-target=stderr", "--log-level=error",
            f"--load=module-native-protocol-unix socket={socket} auth-anonymous=1",
            "--load=module-null-sink sink_name=toy rate=48000 channels=2",
        ]  # fmt: skip
        self._log = (self.folder / "server.log").open("wb")
        self._process = subprocess.Popen(
            command, env=self.env, stdout=self._log, stderr=self._log, stdin=subprocess.DEVNULL
        )
        hurry(self._process.pid)
        deadline = time.monotonic() + HANGS_S
        while self._control("info").returncode != 0:
            if self._process.poll() is not None or time.monotonic() > deadline:
                text = (self.folder / "server.log").read_text()
                self.close()
                raise RuntimeError(f"the sound server does not start: {text}")
            time.sleep(0.1)

    def mute(self, muted: bool) -> None:
        """Mute the sink: it goes on running, in silence."""
        done = self._control("set-sink-mute", "toy", "1" if muted else "0")
        assert done.returncode == 0, done.stderr

    def unplug(self) -> None:
        """Take the sound device away while it is in use."""
        done = self._control("unload-module", "module-null-sink")
        assert done.returncode == 0, done.stderr

    def close(self) -> None:
        """End the server and remove its folder."""
        self._process.terminate()
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._log.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _control(self, *words: str) -> subprocess.CompletedProcess:
        return subprocess.run(
            ["pactl", *words], env=self.env, check=False, capture_output=True, text=True, timeout=HANGS_S
        )
