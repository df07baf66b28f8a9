"""Invented toys of every kind on the command line, from a seed and from a board file."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rig.cli.main import app
from rig.errors import ConfigError
from rig.log import SweepLog
from rig.project import load_project

BOARDS = Path(__file__).parents[2] / "configs" / "boards"


def padsweep(*arguments: str):
    return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)


@pytest.mark.parametrize(("kind", "seed"), [("keyboard", 2), ("sampler", 3)])
def test_a_demo_of_every_kind_finds_bends_and_brings_back_what_froze(tmp_path, kind, seed):
    folder = tmp_path / "toy"
    done = padsweep("demo", "--kind", kind, "--seed", seed, "--pads", 8, "--folder", folder)
    assert done.exit_code == 0, done.output
    assert " pairs: " in done.output
    log = SweepLog.open(folder / "sweeps" / "main", read_only=True)
    records = log.records()
    log.close()
    back, froze = re.search(r"(\d+) of (\d+) freezes were recovered", done.output).groups()
    assert back == froze
    assert any(r.sound not in ("none", "lost") for r in records)
    assert load_project(folder).rig.simulated.kind == kind
    with pytest.raises(ConfigError, match=f"holds a demo with kind {kind}, not talker"):
        padsweep("demo", "--kind", "talker", "--folder", folder)


@pytest.mark.parametrize("file", sorted(BOARDS.glob("*.yaml")), ids=lambda file: file.stem)
def test_a_board_file_makes_a_project_that_stands_by_itself(tmp_path, file):
    written = tmp_path / "mine.yaml"
    written.write_text(file.read_text("utf-8"), "utf-8")
    folder = tmp_path / "toy"
    assert padsweep("new", folder, "--simulated", "--board", written).exit_code == 0
    written.unlink()
    checked = padsweep("check", "--project", folder)
    assert checked.exit_code == 0, checked.output
    assert f"simulated {file.stem}" in checked.output
    project = load_project(folder)
    assert project.rig.simulated.board == "circuit.yaml"
    notes = [pad.note for pad in project.toy.pads.values()]
    assert "battery spring, plus" in notes, "the person's own notes"
    assert [pad.kind for pad in project.toy.pads.values()].count("rail") == 3


def test_a_project_has_the_habits_that_were_asked_for(tmp_path):
    for number, habits in enumerate(("real", "late 300", "play/stop")):
        folder = tmp_path / str(number)
        made = padsweep("new", folder, "--simulated", "--pads", 8, "--habits", habits)
        assert made.exit_code == 0, made.output
        assert load_project(folder).rig.simulated.habits == habits
        assert f"8 pads, habits: {habits};" in padsweep("check", "--project", folder).output
    with pytest.raises(ConfigError, match="holds a demo with habits play/stop, not real"):
        padsweep("demo", "--habits", "real", "--folder", tmp_path / "2")
    with pytest.raises(ConfigError, match="give --simulated as well"):
        padsweep("new", tmp_path / "a", "--habits", "real")


def test_what_cannot_be_made_is_said(tmp_path):
    board = BOARDS / "talker.yaml"
    with pytest.raises(ConfigError, match="give --simulated as well"):
        padsweep("new", tmp_path / "a", "--board", board)
    with pytest.raises(ConfigError, match="the kinds are: talker, keyboard, sampler"):
        padsweep("new", tmp_path / "b", "--simulated", "--kind", "piano")
    assert not (tmp_path / "b").exists()
