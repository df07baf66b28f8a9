"""Starts work in a process of its own and kills it with SIGKILL at a chosen moment."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import random
import sys
import time
from collections.abc import Callable
from pathlib import Path

_SERVER = multiprocessing.get_context("forkserver")
_SERVER.set_forkserver_preload(["rig.cli.main", "rig.log"])


LOOK_S = 0.001
HANGS_S = 600.0
"""Only a process that hangs takes so long; nothing is measured by it."""


def run_and_kill(work: Callable, *args: object, when: Callable[[], bool] | None) -> int | None:
    """Run `work(*args)`; kill -9 it as soon as `when()` is so (None: let it end).

    Returns
    -------
    int or None
        Its exit code, or None if it was killed.
    """
    begun, tell = _SERVER.Pipe(duplex=False)
    process = _SERVER.Process(target=_child, args=(tell, work, args))
    process.start()
    tell.close()
    with begun:
        assert begun.poll(HANGS_S), "the process never began"
        begun.recv()
        # The pipe ends with the process: a wait that its end cuts short.
        ended = _wait(begun, when)
    if not ended:
        assert when is not None, "it did not end by itself"
        process.kill()
    process.join(HANGS_S)
    code = process.exitcode
    process.close()
    return None if code == -9 else code


def _wait(begun, when: Callable[[], bool] | None) -> bool:
    """Wait until `when()` is so, or the process has ended; says whether it has."""
    if when is None:
        return begun.poll(HANGS_S)
    until_s = time.monotonic() + HANGS_S
    while not (ended := begun.poll(LOOK_S)) and not when():
        assert time.monotonic() < until_s, "it neither ends nor gets to where it is to be killed"
    return ended


def random_moment(chance: random.Random, made: Callable[[], int], most: int,
                  start_s: float, touch_s: float) -> Callable[[], bool]:
    """Give a random moment by what the work has done, not by the clock, which tells little of
    that on a busy machine: one in four within `start_s` of now, the others within `touch_s`
    of one of the next `most` touches' being made.
    """
    at_start = chance.random() < 0.25
    wanted = made() + (0 if at_start else chance.randint(1, most))
    then_s = chance.uniform(0.0, start_s if at_start else touch_s)
    since_s = None

    def when() -> bool:
        nonlocal since_s
        if since_s is None and made() >= wanted:
            since_s = time.monotonic()
        return since_s is not None and time.monotonic() - since_s >= then_s

    return when


def _child(tell, work: Callable, args: tuple) -> None:
    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 1)
    tell.send("begun")
    work(*args)


def padsweep(*words: str) -> None:
    """Run the command line as `padsweep` would; what it says on stderr stays visible."""
    from rig.cli import main

    sys.argv = ["padsweep", *words]
    with contextlib.suppress(BrokenPipeError):
        main.run()


def tell_line(path: Path, text: str) -> None:
    """Append a line to a witness file: one write, which outlives the process."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(handle, f"{text}\n".encode())
    os.close(handle)
