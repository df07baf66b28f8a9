"""A controller at a pseudo-terminal, played by a script."""

from __future__ import annotations

import os
import pty
import select
import threading

IDENTITY = "padsweep,controller,0,0.5.0"
REPLY_S = 60.0
"""A peer that answers at all does so by then, however busy the machine is."""


class Peer:
    """A controller played by a script: replies by message, and faults where asked for."""

    def __init__(self) -> None:
        self.master, self.slave = pty.openpty()
        self.port = os.ttyname(self.slave)
        self.replies = {"*IDN?": IDENTITY, "SYSTem:BOOTs?": "7", "SYSTem:DMAN?": "3000"}
        self.raw: dict[str, bytes] = {}
        self.reports: dict[str, list[str]] = {}
        self.queue: list[str] = []
        self.heard: list[str] = []
        self.deaf_lines = 0
        self._stop_read, self._stop = os.pipe()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def say(self, data: bytes) -> None:
        os.write(self.master, data)

    def close(self) -> None:
        os.write(self._stop, b"x")
        self._thread.join()
        for descriptor in (self.master, self.slave, self._stop, self._stop_read):
            os.close(descriptor)

    def _run(self) -> None:
        buffer = b""
        while True:
            ready, _, _ = select.select([self.master, self._stop_read], [], [])
            if self._stop_read in ready:
                return
            buffer += os.read(self.master, 4096)
            *lines, buffer = buffer.split(b"\n")
            for line in lines:
                self._handle(line.decode())

    def _handle(self, line: str) -> None:
        self.heard.append(line)
        self.queue += self.reports.get(line, [])
        if self.deaf_lines > 0:
            self.deaf_lines -= 1
        elif line in self.raw:
            self.say(self.raw[line])
        elif line == "SYSTem:ERRor?":
            text = self.queue.pop(0) if self.queue else '0,"No error"'
            self.say(text.encode() + b"\n")
        elif line == "*CLS":
            self.queue.clear()
        elif line in self.replies:
            self.say(self.replies[line].encode() + b"\n")
