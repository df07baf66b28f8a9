"""kill -9 while picks.yaml is changed: the old file or the new one is there, whole."""

import os
import signal
from itertools import combinations
from pathlib import Path
from string import ascii_uppercase

from killing import run_and_kill, tell_line

from rig import files
from rig.choose import keep, load_picks
from rig.choose.keeping import PICKS

KILLS = 25
STEPS = 3
"""Of a change on its way to the disk: the new file is written, it is flushed, its folder is."""
MINE = "# mine, and not to be lost\n- pair: A-Z   # the best\n"
PAIRS = [f"{one}-{other}" for one, other in combinations(ascii_uppercase, 2)][:-1]
PAIRS.remove("A-Z")


class Dying:
    """The system's calls, of which the n-th that brings something to the disk is never finished."""

    def __init__(self, last: int) -> None:
        self.left = last

    def __getattr__(self, name: str):
        return getattr(os, name)

    def _step(self) -> bool:
        self.left -= 1
        return self.left == 0

    def write(self, handle: int, data) -> int:
        if self._step():
            os.write(handle, data[: len(data) // 2])
            os.kill(os.getpid(), signal.SIGKILL)
        return os.write(handle, data)

    def fsync(self, handle: int) -> None:
        if self._step():
            os.kill(os.getpid(), signal.SIGKILL)
        os.fsync(handle)


def keep_all(folder: Path, witness: Path, last: int) -> None:
    """Keep what isn't kept yet, one pair after the other, and tell each that is."""
    kept = len(load_picks(folder)) - 1
    files.os = Dying(last)
    for pair in PAIRS[kept:]:
        keep(folder, pair, "a note that takes some room " * 20)
        tell_line(witness, pair)


def test_picks_killed_while_they_are_written(tmp_path):
    path, witness = tmp_path / PICKS, tmp_path / "witness"
    path.write_text(MINE)
    new = tmp_path / f"{PICKS}.new"
    kept_before = 0
    for last in range(1, KILLS + 1):
        new.unlink(missing_ok=True)
        assert run_and_kill(keep_all, tmp_path, witness, last, when=None) is None
        text = path.read_text()
        kept = [one.pair for one in load_picks(tmp_path)]
        told = witness.read_text().split() if witness.exists() else []
        assert text.startswith(MINE)
        assert text.endswith("\n")
        assert kept == ["A-Z", *PAIRS[: len(kept) - 1]]
        assert set(told) <= set(kept)
        # What was never put in place is left half done; what was flushed in place is kept.
        whole, step = divmod(last - 1, STEPS)
        assert new.exists() == (step < STEPS - 1)
        assert len(kept) - 1 - kept_before == whole + (step == STEPS - 1)
        kept_before = len(kept) - 1
