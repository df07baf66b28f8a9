"""The truth of a simulated board, and the limit it goes by."""

import json
import subprocess
import sys
from itertools import combinations

from rig.bench.simulated.board import make_board


def test_the_command_prints_bends_and_freezes():
    run = subprocess.run(
        [sys.executable, "-m", "rig.bench.simulated.truth", "--seed", "3", "--pads", "9"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    said = json.loads(run.stdout)
    board = make_board(3, 9)
    pairs = {tuple(pair) for pair in combinations(board.letters, 2)}
    for word in ("bends", "freezes"):
        assert said[word]
        assert {tuple(pair) for pair in said[word]} < pairs
    assert said["limit"]["limit_db"] == 3.0
    net_of = board.net_of
    assert all(net_of[one] != net_of[two] for one, two in said["bends"])
    # a clock joined to the rail over a few kilohms runs too fast for any of these chips
    clock = {p.letter for p in board.pads if p.net == board.roles["osc"]}
    plus = {p.letter for p in board.pads if p.net == board.roles["vcc"]}
    wanted = {tuple(sorted((one, two))) for one in clock for two in plus}
    assert wanted <= {tuple(pair) for pair in said["freezes"]}
