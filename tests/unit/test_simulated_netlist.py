"""Netlists in SPICE's card form: what is read, what is refused, and the command."""

import json
import subprocess
import sys

import pytest

from rig.bench.simulated.circuit import main
from rig.bench.simulated.netlist import Card, NetlistError, number, operating_point, read


@pytest.mark.parametrize("text, value", [
    ("4.7k", 4700.0), ("1meg", 1e6), ("1MEG", 1e6), ("1M", 1e-3), ("100nF", 100e-9),
    ("3u", 3e-6), ("2.2kohm", 2200.0), ("-.5", -0.5), ("1e3", 1000.0), ("1e-3meg", 1000.0),
    ("10V", 10.0), ("2T", 2e12), ("7.g", 7e9), ("5mil", 127e-6), ("10pF", 1e-11), ("1f", 1e-15),
])
def test_numbers_with_suffixes(text, value):
    assert number(text) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("text", ["", "k", "4k7", "1,5k", "--1", "1e", "nan", "0x10", "1k 2"])
def test_what_is_not_a_number(text):
    if text == "1e":
        # e alone is a unit, as in SPICE
        assert number(text) == 1.0
        return
    with pytest.raises(ValueError, match="not a number"):
        number(text)


def test_comments_continuations_case_and_what_asks_only_for_output():
    cards = read(
        "A divider\n* R9 a 0 1\nV1 IN 0 DC 5 ; battery\nRtop in\n+ Out\n+ 4.7k $ lead\n\n"
        "R2 out GND 1Meg // leak\nI1 0 out 1m\n.op\n.control\nop\nprint all\n.endc\n.end\nR3 x y z\n"
    )
    assert cards == [
        Card("v1", "in", "0", 5.0), Card("rtop", "in", "out", 4700.0),
        Card("r2", "out", "0", 1e6), Card("i1", "0", "out", 1e-3),
    ]


@pytest.mark.parametrize("cards, said", [
    ("R1 1 0", "line 2: r1 needs two nodes and one value, it has 2 words"),
    ("R1 1 0 1k tc=1", "it has 4 words"),
    ("V1 1 0 5\nR1 1 0 4k7", "line 3: r1: '4k7' is not a number"),
    ("R1 1 0 0", "r1 has 0 ohm, must be above 0; a wire is a V card"),
    ("R1 1 0 -5", "r1 has -5 ohm"),
    ("C1 1 0 1n", "'c1' is not an R, V or I card"),
    (".include x", "'.include' is not an R, V or I card"),
    ("R1 1 0 1\nr1 2 0 1", "line 3: there is a r1 already"),
    ("+ 1k", "nothing comes before this"),
    ("* nothing", "there is no R, V or I card"),
])
def test_lines_that_can_not_be_understood_are_named(cards, said):
    with pytest.raises(NetlistError) as caught:
        read("title\n" + cards + "\n")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_first_line_that_looks_like_a_card_is_told_of(tmp_path, capsys):
    file = tmp_path / "untitled.cir"
    file.write_text("R9 1 0 1k\nV1 1 0 5\nR1 1 0 1k\n")
    assert main([str(file)]) == 0
    assert "line 1 looks like a card" in capsys.readouterr().err


@pytest.mark.parametrize("cards, said", [
    ("V1 1 0 5\nR1 1 0 1k\nR2 2 3 1k\n", "nodes 2, 3 to ground"),
    ("I1 0 1 1m\n", "node 1 to ground"),
    ("V1 1 0 5\nV2 2 1 1\nV3 2 0 6\nR1 2 0 1k\n", "v3 closes a loop of voltage sources"),
    ("V1 1 1 5\nR1 1 0 1k\n", "v1 closes a loop"),
])
def test_circuits_without_an_answer_name_the_nets(cards, said):
    with pytest.raises(NetlistError) as caught:
        operating_point(read("title\n" + cards))
    assert said in str(caught.value)


def test_the_command_prints_json(tmp_path):
    file = tmp_path / "divider.cir"
    file.write_text("divider\nV1 in 0 9\nR1 in out 2k\nR2 out 0 1k\n.end\n")
    run = subprocess.run(
        [sys.executable, "-m", "rig.bench.simulated.circuit", str(file)],
        capture_output=True, text=True, check=True,
    )
    assert json.loads(run.stdout) == pytest.approx({"in": 9.0, "out": 3.0})
    assert run.stderr == ""


@pytest.mark.parametrize("content", [None, b"\xff\xfe", b"title\nR1 1 0 -1\n"])
def test_the_commands_errors_are_one_line(tmp_path, capsys, content):
    file = tmp_path / "x.cir"
    if content is not None:
        file.write_bytes(content)
    assert main([str(file)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("error: ") and str(file) in err and err.count("\n") == 1
