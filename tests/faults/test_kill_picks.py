"""kill -9 while picks.yaml is changed: the old file or the new one is there, whole."""

import random
import time
from itertools import combinations
from pathlib import Path
from string import ascii_uppercase

from killing import run_and_kill, tell_line

from rig.choose import keep, load_picks
from rig.choose.keeping import PICKS

KILLS = 25
MINE = "# mine, and not to be lost\n- pair: A-Z   # the best\n"
PAIRS = [f"{one}-{other}" for one, other in combinations(ascii_uppercase, 2)][:-1]
PAIRS.remove("A-Z")


def keep_all(folder: Path, witness: Path) -> None:
    """Keep what isn't kept yet, one pair after the other, and tell each that is."""
    kept = len(load_picks(folder)) - 1
    for pair in PAIRS[kept:]:
        keep(folder, pair, "a note that takes some room " * 20)
        tell_line(witness, pair)


def _is_half_written(new: Path, then_s: float):
    since_s = None

    def when() -> bool:
        nonlocal since_s
        if since_s is None and new.exists():
            since_s = time.monotonic()
        return since_s is not None and time.monotonic() - since_s >= then_s

    return when


def test_picks_killed_while_they_are_written(tmp_path):
    chance = random.Random(31)
    path, witness = tmp_path / PICKS, tmp_path / "witness"
    path.write_text(MINE)
    new = tmp_path / f"{PICKS}.new"
    left_behind = 0
    for _ in range(KILLS):
        new.unlink(missing_ok=True)
        moment = _is_half_written(new, chance.uniform(0.0, 0.01))
        assert run_and_kill(keep_all, tmp_path, witness, when=moment) is None
        left_behind += new.exists()
        text = path.read_text()
        kept = [one.pair for one in load_picks(tmp_path)]
        told = witness.read_text().split() if witness.exists() else []
        assert text.startswith(MINE)
        assert text.endswith("\n")
        assert kept == ["A-Z", *PAIRS[: len(kept) - 1]]
        assert set(told) <= set(kept)
    assert left_behind > 0, "no kill left anything half done: the test shows nothing"
