"""Swept boards for the benchmarks that look at what a sweep says of its finds."""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from finding import padsweep
from seeds import add_seeds, taking_turns

from rig.bench.simulated.folder import new_simulated_project


@dataclass(frozen=True)
class Asked:
    """A board to be swept: its kind, seed and pads, and the room's noise, dB below the toy."""

    kind: str
    seed: int
    pads: int
    room_db: int

    def __str__(self) -> str:
        return f"{self.kind}-{self.seed}"


def add_options(parser, seeds: str, pads: int) -> None:
    """Add the options that say which boards."""
    add_seeds(parser, seeds)
    parser.add_argument("--kinds", default="talker,keyboard,sampler")
    parser.add_argument("--pads", type=int, default=pads)
    parser.add_argument("--room", type=int, default=25, help="noise, dB below the toy")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="folder for the swept boards, to use again")


def asked(given) -> list[Asked]:
    """Give the boards that the options ask for; seed by seed the kinds take turns."""
    return [
        Asked(kind, seed, given.pads, given.room)
        for kind, seed in taking_turns(given.seeds, given.kinds.split(","))
    ]


@contextlib.contextmanager
def swept(
    board: Asked, keep: Path | None, prepare: Callable[[Path], object] = lambda toy: None
) -> Iterator[Path]:
    """Give the project folder of a board after its sweep; one that is kept is swept once.

    `prepare` may change a new folder before that.

    Raises
    ------
    RuntimeError
        The sweep was refused; says why.
    """
    with tempfile.TemporaryDirectory() as passing:
        toy = (keep or Path(passing)) / f"{board}-{board.pads}-{board.room_db}"
        if not toy.exists():
            new_simulated_project(toy, board.seed, board.pads, board.kind)
            rig = toy / "rig.yaml"
            rig.write_text(
                rig.read_text("utf-8").replace("room_db: 40", f"room_db: {board.room_db}"), "utf-8"
            )
            prepare(toy)
        padsweep("sweep", "--project", str(toy))
        yield toy
