"""New project folders, the drawn board, and what `new` prints."""

import xml.etree.ElementTree as ET
from itertools import combinations
from math import dist
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from rig.bench.simulated.board import make_board
from rig.bench.simulated.folder import (
    DEMO_PADS,
    DEMO_SEED,
    lead_for,
    new_simulated_project,
    simulated_files,
    simulated_setup,
)
from rig.cli import project as commands
from rig.errors import ConfigError
from rig.project import new_project
from rig.project.models import letters
from rig.project.picture import HEIGHT, WIDTH, draw_board
from rig.project.places import load_places

CONFIGS = Path(__file__).parents[2] / "configs"


def run(*arguments):
    app = typer.Typer(pretty_exceptions_enable=False)
    commands.register(app)
    result = CliRunner().invoke(app, [str(a) for a in arguments])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "toy.yaml").write_text("mine\n")
    for make in (new_project, new_simulated_project):
        with pytest.raises(ConfigError, match="is there already"):
            make(tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["toy.yaml"]
    assert (tmp_path / "toy.yaml").read_text() == "mine\n"


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(ConfigError, match="can't be written"):
        new_project(tmp_path / "file" / "toy")


@pytest.mark.parametrize("pads", [1, 65])
def test_the_template_has_as_many_pads_as_channels(tmp_path, pads):
    with pytest.raises(ConfigError, match="2 to 64"):
        new_project(tmp_path / "toy", pads=pads)


@pytest.mark.parametrize(("seed", "pads"), [(1, 7), (1, 65), (-1, 24), (2**31, 24)])
def test_seeds_and_pads_out_of_range(tmp_path, seed, pads):
    with pytest.raises(ConfigError, match="--(seed|pads) must be"):
        new_simulated_project(tmp_path / "toy", seed, pads)
    assert not (tmp_path / "toy").exists()


def test_the_same_seed_gives_the_same_files_and_is_taken_as_it_is(tmp_path):
    first = new_simulated_project(tmp_path / "one", 11, 12)
    second = new_simulated_project(tmp_path / "two", 11, 12)
    assert (first.toy, first.rig) == (second.toy, second.rig)
    for file in ("toy.yaml", "rig.yaml", "board.yaml", "board.svg"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()
    assert new_simulated_project(tmp_path / "one", 11, 12).toy == first.toy
    with pytest.raises(ConfigError, match="another toy's"):
        new_simulated_project(tmp_path / "one", 12, 12)
    assert simulated_setup(11, 12) == (first.toy, first.rig)


@pytest.mark.parametrize(("seed", "pads"), [(1, 8), (2, 16), (100, 24), (103, 24), (5, 64)])
def test_a_simulated_project_is_its_board(tmp_path, seed, pads):
    board = make_board(seed, pads)
    project = new_simulated_project(tmp_path / "toy", seed, pads)
    assert list(project.toy.pads) == [pad.letter for pad in board.pads]
    assert project.toy.supply.volts == board.volts
    assert list(project.toy.keys) == list(board.keys)
    assert project.toy.on == list(board.on)
    assert project.toy.longest_phrase_s == board.longest_phrase_s
    rails = [letter for letter, pad in project.toy.pads.items() if pad.kind == "rail"]
    assert rails == sorted(board.rails, key=list(project.toy.pads).index)
    for pad in board.pads:
        if pad.rail:
            assert project.toy.pads[pad.letter].note.split()[-1] == pad.note.split()[-1]
    assert project.rig.simulated.seed == seed
    places = load_places(tmp_path / "toy")
    assert list(places.pads) == list(project.toy.pads)


@pytest.mark.parametrize("volts", [1.5, 3, 4.5, 6, 9, 12])
def test_the_leads_of_simulated_toys_keep_the_limit(volts):
    assert volts * 1.6 / 1.5 / (2 * lead_for(volts)) <= 0.0018


def test_the_demo_example_is_what_the_program_writes():
    assert {p.name for p in (CONFIGS / "demo").iterdir() if p.is_file()} == {
        "toy.yaml", "rig.yaml", "board.yaml", "board.svg"
    }  # fmt: skip
    for name, text in simulated_files(DEMO_SEED, DEMO_PADS).items():
        assert (CONFIGS / "demo" / name).read_text("utf-8") == text, name


@pytest.mark.parametrize("bench", ["hardware", "by-hand"])
def test_the_examples_are_what_the_program_writes(tmp_path, bench):
    new_project(tmp_path / "toy", by_hand=bench == "by-hand")
    for name in ("toy.yaml", "rig.yaml"):
        example = (CONFIGS / bench / name).read_text("utf-8")
        assert example == (tmp_path / "toy" / name).read_text("utf-8")


@pytest.mark.parametrize("count", [2, 24, 64])
def test_the_drawing_has_every_letter_once_at_its_place(count):
    names = letters(count)
    svg, places, notes = draw_board(names, seed=9, title="A <B> & C", keys=["red"], rails=["B"])
    root = ET.fromstring(svg)
    texts = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")
             if e.get("font-weight") == "bold"]  # fmt: skip
    assert texts == names
    assert list(places.pads) == list(notes) == names
    assert notes["B"] == "battery plus"
    points = [(p.x, p.y) for p in places.pads.values()]
    assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y in points)
    assert min(dist(a, b) for a, b in combinations(points, 2)) > 15
    assert len(set(notes.values())) == count


def test_the_drawing_points_nowhere_outside():
    svg, _, _ = draw_board(letters(8), seed=1, title="t")
    assert "href" not in svg
    assert svg.count("http") == 1  # the name space


BAD_PLACES = [
    ("A: {x: 1, y: 2}", "A: {x: 1, y: 99}", 5, "lies outside the picture"),
    ("width: 10", "width: -1", 2, "must be above 0"),
    ("picture: b.svg", "picture: b.tiff", 1, "is no picture read here"),
    ("picture: b.svg", "picture: none.svg", 1, "there is no"),
    ("picture: b.svg", "picture: ../b.svg", 1, "must lie in the project folder"),
    ("A: {x: 1, y: 2}", "A: {x: 1, z: 2}", 5, "unknown `z`"),
]


@pytest.mark.parametrize(("old", "new", "line", "words"), BAD_PLACES)
def test_wrong_places(tmp_path, old, new, line, words):
    text = "picture: b.svg\nwidth: 10\nheight: 10\npads:\n  A: {x: 1, y: 2}\n"
    (tmp_path / "b.svg").write_text("<svg/>")
    (tmp_path / "board.yaml").write_text(text)
    assert load_places(tmp_path).pads["A"].y == 2
    (tmp_path / "board.yaml").write_text(text.replace(old, new))
    with pytest.raises(ConfigError, match=rf"board\.yaml:{line}: .*{words}") as caught:
        load_places(tmp_path)
    assert "\n" not in str(caught.value)


def test_without_board_yaml_there_are_no_places(tmp_path):
    assert load_places(tmp_path) is None


def test_by_hand_and_simulated_are_two_benches(tmp_path):
    with pytest.raises(ConfigError, match="two benches"):
        run("new", tmp_path / "toy", "--by-hand", "--simulated")
    assert not (tmp_path / "toy").exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--kind", "sampler"], "--kind is about an invented toy: give --simulated as well"),
        (["--seed", "7"], "--seed is about an invented toy: give --simulated as well"),
        (["--by-hand", "--seed", "8"], "--seed is about an invented toy"),
        (["--simulated", "--board", "b.yaml", "--kind", "talker"], "leave --kind out"),
        (["--simulated", "--board", "b.yaml", "--seed", "8", "--pads", "24"],
         "--board says all about the toy: leave --seed and --pads out"),
    ],
)
def test_options_that_say_nothing_or_two_things_are_told(tmp_path, options, said):
    with pytest.raises(ConfigError, match=said):
        run("new", tmp_path / "toy", *options)
    assert not (tmp_path / "toy").exists()










