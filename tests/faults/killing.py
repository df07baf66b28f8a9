"""Starts work in a process of its own and kills it with SIGKILL at a chosen moment."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
from collections.abc import Callable
from pathlib import Path

_SERVER = multiprocessing.get_context("forkserver")
_SERVER.set_forkserver_preload(["rig.cli.main", "rig.log"])


def run_and_kill(work: Callable, *args: object, after_s: float | None) -> int | None:
    """Run `work(*args)`; kill -9 it `after_s` from its beginning (None: let it end).

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
        assert begun.poll(60), "the process never began"
        begun.recv()
        # The pipe ends with the process: a wait that its end cuts short.
        if begun.poll(after_s if after_s is not None else 300):
            process.join(30)
    alive = process.is_alive()
    if alive:
        process.kill()
    process.join(30)
    code = process.exitcode
    process.close()
    assert not (alive and after_s is None), "it did not end by itself"
    return None if code == -9 else code


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
