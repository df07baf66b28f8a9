"""A whole emulated rig: firmware in the emulator, toy process, sound server, project folder.

The host program is run beside it as a person would run it, so that it can be killed.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

from emulator import Emulator, hurry
from sound_server import SoundServer

from rig.bench.simulated.board import make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.project.models import letters

TIMINGS = """\
timings:
  before_ms: 60
  lead_in_ms: 400
  dwell_ms: {dwell_ms}
  tail_ms: 300
  rail_off_wait_s: 0.2
"""

RIG = """\
bench: {bench}
lead_ohm: {lead_ohm}
switch: reed
switch_ohm: {switch_ohm}
series_ohm: [{series}]
current_limit_ma: 2.0
{more}
{timings}
sweep:
  baseline_takes: {baseline_takes}
"""

SIMULATED = """\
simulated:
  seed: {seed}
  pads: {pads}
  room_db: {room_db}
{habits}"""

HARDWARE = """\
controller:
  port: {port}
  pads: 32
sound:
  device: toymic
"""

# Where the tests run in the background of a shell, Ctrl-C is ignored from the start.
PADSWEEP = [sys.executable, "-c",
            ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
             "from rig.cli.main import run; run()")]


@dataclass(frozen=True)
class Board:
    """Which toy is on the rig, and how it is swept."""

    seed: int
    pads: int = 8
    leads: tuple[str, ...] = ("A", "B", "C", "D", "E", "F")
    series_ohm: tuple[int, ...] = (0,)
    lead_ohm: int = 1_800
    switch_ohm: float = 0.2
    dwell_ms: int = 900
    baseline_takes: int = 8
    room_db: float = 40.0
    known_bend: tuple[str, str] = ("B", "C")
    habits: str = ""

    @property
    def volts(self) -> float:
        """The toy's supply."""
        return make_board(self.seed, self.pads).volts

    def write_project(self, folder: Path, port: str | None) -> Path:
        """Write a project folder, simulated without a port, hardware with one."""
        new_simulated_project(folder, self.seed, self.pads)
        # Fewer leads than the board has points: the toy is the same, the sweep is shorter.
        lines = (folder / "toy.yaml").read_text().split("\n")
        gone = [f"  {letter}:" for letter in letters(self.pads) if letter not in self.leads]
        kept = [line for line in lines if not line.startswith(tuple(gone))]
        (folder / "toy.yaml").write_text("\n".join(kept))
        if port is None:
            habits = f"  habits: {self.habits}\n" if self.habits else ""
            more = SIMULATED.format(
                seed=self.seed, pads=self.pads, room_db=self.room_db, habits=habits
            )
        else:
            more = HARDWARE.format(port=port)
        (folder / "rig.yaml").write_text(
            RIG.format(
                bench="simulated" if port is None else "hardware",
                lead_ohm=self.lead_ohm,
                switch_ohm=self.switch_ohm,
                series=", ".join(map(str, self.series_ohm)),
                more=more,
                timings=TIMINGS.format(dwell_ms=self.dwell_ms),
                baseline_takes=self.baseline_takes,
            )
        )
        return folder


BOARD = Board(seed=9)
"""The toy that the tests of this folder sweep."""
HELD_BOARD = replace(BOARD, series_ohm=(800, 1200))
"""The same, on which pads are held for a person."""
PAIR = "-".join(BOARD.known_bend)
"""What bends it."""
CLOSED = frozenset((bus, BOARD.leads.index(pad) + 1) for bus, pad in enumerate(BOARD.known_bend, 1))
"""The closures that hold that pair."""
DEAD_MAN_MS = 3000


def padsweep(
    *words: str, env: dict | None = None, seconds: float = 600
) -> subprocess.CompletedProcess:
    """Run the program to its end."""
    return subprocess.run(
        [*PADSWEEP, *words], check=False, capture_output=True, text=True, env=env, timeout=seconds
    )


class EmulatedRig:
    """The rig in a `with` statement: emulator and toy process run, nothing is swept yet.

    Parameters
    ----------
    folder : Path
        For the project and the witness' record.
    server : SoundServer
    board : Board
    cut : tuple of str
        Pads whose lead is cut.
    """

    def __init__(
        self, folder: Path, server: SoundServer, board: Board, cut: tuple[str, ...] = ()
    ) -> None:
        self.folder = folder / "project"
        self.record = folder / "pins.jsonl"
        self.server = server
        self.board = board
        self._cut = cut

    def __enter__(self) -> Self:
        self.emulator = Emulator(paced=True)
        self.emulator.__enter__()
        board = self.board
        self._toy = subprocess.Popen(
            [
                sys.executable,
                str(Path(__file__).with_name("toy_process.py")),
                f"--socket={self.emulator.socket_path}",
                f"--seed={board.seed}",
                f"--habits={board.habits}",
                f"--pads={board.pads}",
                f"--series={','.join(map(str, board.series_ohm))}",
                f"--lead={board.lead_ohm}",
                f"--switch={board.switch_ohm}",
                f"--record={self.record}",
                f"--cut={','.join(self._cut)}",
                f"--room-db={board.room_db}",
            ],
            # One thread: the toy's small sums only get slower with more.
            env=self.server.env | {"OPENBLAS_NUM_THREADS": "1"},
            stdout=subprocess.PIPE,
            text=True,
        )
        hurry(self._toy.pid)
        if not self._toy.stdout.readline().startswith("ready"):
            self.__exit__()
            raise RuntimeError("the toy process did not start")
        board.write_project(self.folder, self.emulator.pty)
        return self

    def __exit__(self, *_: object) -> None:
        self.emulator.stop()
        try:
            self._toy.wait(10)
        except subprocess.TimeoutExpired:
            self._toy.kill()
            self._toy.wait()
        self._toy.stdout.close()

    def sweep(self, *words: str, seconds: float = 600) -> subprocess.CompletedProcess:
        """Sweep to the end as a person would."""
        return padsweep(
            "sweep", "--no-survey", "--project", str(self.folder), *words, env=self.server.env, seconds=seconds
        )

    def start_sweep(self, *words: str) -> subprocess.Popen:
        """Start a sweep and come back at once: it is to be killed, or to meet a fault."""
        return subprocess.Popen(
            [*PADSWEEP, "sweep", "--no-survey", "--project", str(self.folder), *words],
            env=self.server.env,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )

    def wait_for_record(self, wanted: Callable[[dict], bool], seconds: float = 5.0) -> None:
        """Wait until the witness' last line is as wanted."""
        deadline = time.monotonic() + seconds
        while not (self.record.exists() and (pins := self.pins()) and wanted(pins[-1])):
            assert time.monotonic() < deadline, f"the pins' record ends with {self.pins()[-1:]}"
            time.sleep(0.05)

    def pins(self) -> list[dict]:
        """Give the witness' record: what the outputs did, cycle by cycle."""
        lines = self.record.read_text().split("\n")[:-1]
        return [json.loads(line) for line in lines]


def export(folder: Path, *words: str) -> list[dict]:
    """Give the rows of `padsweep export --format json`."""
    done = padsweep("export", "--project", str(folder), "--format", "json", *words)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)
