"""The program run within the test's own process, and a small swept project for it."""

from __future__ import annotations

import io
import re
import shutil
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest import mock

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.cli.main import run
from rig.log.opening import open_log
from rig.project import load_project
from rig.sweep import Sweep


@dataclass(frozen=True)
class Done:
    """How a run ended, and what it wrote."""

    code: int
    out: str
    err: str


def run_main(*words: object, encoding: str = "utf-8", program: str = "padsweep") -> Done:
    """Run the command line with these words, standard input at its end."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding, write_through=True) for _ in range(2))
    nothing = io.TextIOWrapper(io.BytesIO(), encoding)
    with (
        mock.patch.multiple(sys, argv=[program, *map(str, words)], stdin=nothing, stdout=out,
                            stderr=err),
        _signals_kept(),
    ):
        try:
            run()
        except SystemExit as end:
            code = end.code
    written = [stream.buffer.getvalue().decode(encoding, "surrogateescape") for stream in (out, err)]
    return Done(code, *written)


@contextmanager
def _signals_kept() -> Iterator[None]:
    kept = {one: signal.getsignal(one) for one in (signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for one, handler in kept.items():
            signal.signal(one, handler)


def small_project(folder: Path) -> Path:
    """Make a project of four pads and two paths, which is swept in some seconds."""
    new_simulated_project(folder, seed=5, pads=8)
    toy, rig = folder / "toy.yaml", folder / "rig.yaml"
    toy.write_text(re.sub(r"  [E-H]: .*\n", "", toy.read_text("utf-8")), "utf-8")
    rig.write_text(
        re.sub(r"series_ohm: .*", "series_ohm: [0, 33000]", rig.read_text("utf-8"))
        + "\nsweep:\n  baseline_takes: 8\n", "utf-8",
    )
    return folder


def swept_project(folder: Path) -> Path:
    """Give a copy of the small project after its sweep, which each test process makes once."""
    return Path(shutil.copytree(_swept().name, folder))


@cache
def _swept() -> TemporaryDirectory:
    made = TemporaryDirectory()
    project = load_project(small_project(Path(made.name)))
    with open_log(project, "main") as log:
        Sweep(project, SimulatedBench(project), log).run()
    return made
