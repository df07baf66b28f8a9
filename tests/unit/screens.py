"""The program at a person's terminal: what stands on a screen of so many columns."""

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios

import pyte

ROWS = 400
PROGRAM = "from rig.cli.main import run; run()"


def screen(words, columns, cwd, typed=b""):
    """Run the program on a terminal of its own; gives the lines that stand there at its end.

    `typed` is typed as soon as the screen says how to quit.
    """
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, columns, 0, 0))
    env = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")}
    process = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *map(str, words)], stdin=theirs, stdout=theirs,
        stderr=theirs, cwd=cwd, env=env | {"TERM": "xterm"},
    )
    os.close(theirs)
    shown = pyte.Screen(columns, ROWS)
    stream = pyte.ByteStream(shown)
    while True:
        try:
            sent = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not sent:
            break
        stream.feed(sent)
        if typed and any("quit" in line for line in shown.display):
            os.write(ours, typed)
            typed = b""
    os.close(ours)
    assert process.wait(60) == 0, "\n".join(shown.display)
    return "\n".join(line.rstrip() for line in shown.display).rstrip().splitlines()
