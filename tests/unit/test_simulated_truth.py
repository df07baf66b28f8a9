"""The truth of a simulated board, and the limit it goes by."""

import json
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import pytest

from rig.bench.simulated.board import KINDS, load_board, make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.truth import Truth, facts, main


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


@pytest.mark.parametrize("kind", KINDS)
def test_bare_tracks_do_nothing_and_need_no_trial(kind, tmp_path, monkeypatch):
    project = new_simulated_project(tmp_path / "toy", 4, 9, kind)
    spared = Truth(project, states=1).pairs()
    bare = [pair for pair, shown in spared.items() if not shown]
    assert len(bare) >= 6
    monkeypatch.setattr(Truth, "_leads_nowhere", lambda self, net: False)
    tried = Truth(project, states=1)
    net_of = tried.board.net_of
    for one, two in bare:
        if net_of[one] != net_of[two]:
            assert facts(list(tried.shown(one, two))) is None, (one, two)


def test_the_command_takes_a_board_file_and_says_what_is_wrong_with_it(tmp_path, capsys):
    file = Path(__file__).parents[2] / "configs" / "boards" / "sampler.yaml"
    main(["--board", str(file)])
    said = json.loads(capsys.readouterr().out)
    board = load_board(file)
    assert said["bends"]
    assert {pad for pair in said["bends"] for pad in pair} <= set(board.letters)
    for pair in said["pairs"]:
        assert pair["least_path_ohm"] is None or pair["least_path_ohm"] <= pair["most_path_ohm"]
        assert 0 <= pair["bends"] <= 1
        assert bool(pair["change"]) == (pair["worst_db"] > 3.0)
    bad = tmp_path / "board.yaml"
    bad.write_text(file.read_text("utf-8").replace("kind: sampler", "kind: toaster"), "utf-8")
    with pytest.raises(SystemExit):
        main(["--board", str(bad)])
    assert f"{bad}:" in capsys.readouterr().err
