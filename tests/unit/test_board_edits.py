"""Whatever `new` takes for a board file can be swept, and the rest is refused in one line."""

import random

import pytest
from board_edits import BOARDS, edited, outcome

from rig.bench.simulated.boardfile import load_board
from rig.errors import ConfigError
from rig.project import load_project
from rig.project.yaml_strict import parse_yaml

TALKER, KEYBOARD, SAMPLER = (
    next(file for file in BOARDS if file.stem == kind) for kind in ("talker", "keyboard", "sampler")
)


@pytest.mark.parametrize("file", BOARDS, ids=lambda file: file.stem)
def test_without_any_of_its_parts_a_board_is_swept_or_refused(tmp_path, file):
    text = file.read_text("utf-8")
    parts = parse_yaml(text, file).data["parts"]
    refused = 0
    for name in parts:
        line = next(line for line in text.splitlines(True) if line.startswith(f"  {name}:"))
        (tmp_path / name).mkdir()
        refused += outcome(tmp_path / name, text.replace(line, ""), pairs=1) is not None
    assert refused > 2


@pytest.mark.parametrize("first", range(0, 40, 20))
def test_edits_of_any_kind_are_swept_or_refused(tmp_path, first):
    swept = 0
    for number in range(first, first + 20):
        chance = random.Random(number)
        text = edited(chance, chance.choice(BOARDS).read_text("utf-8"))
        (tmp_path / str(number)).mkdir()
        swept += outcome(tmp_path / str(number), text, pairs=2, seed=number) is None
    assert 3 < swept < 17, "too many edits of one kind"


@pytest.mark.parametrize(
    ("file", "old", "new", "line_has", "said"),
    [
        (TALKER, "  R2: {between: [dac, amp], ohm: 68000}\n", "", "parts:",
         "no resistors lead from `dac` to `amp` over the sound path (amp, dac, spk)"),
        (SAMPLER, "RB3: {between: [b3, l3]", "RB3: {between: [plus, l3]", "parts:",
         "no resistors lead from `b3` to `amp`"),
        (KEYBOARD, "R6: {between: [tone, amp]", "R6: {between: [tone, spare 9]", "parts:",
         "no resistors lead from `tone` to `amp`"),
        (KEYBOARD, "R5: {between: [env, minus]", "R5: {between: [env, plus]", "parts:",
         "the envelope needs a resistor from env to minus"),
        (KEYBOARD, "farad: 3.0e-6", "farad: 3.0e-3", "parts:", "s, at most 120 s are waited for: smaller parts from env to minus"),
        (TALKER, "osc], ohm: 47000", "osc], ohm: 47", "parts:",
         "Hz, a talker is made for 640,000 Hz: other parts at osc"),
        (TALKER, "parts:\n", "parts:\n  RM: {between: [mute, plus], ohm: 1000}\n", "keys:",
         "no key makes a sound"),
        (KEYBOARD, "habits: {", "habits: {hiss: 0.1, ", "keys:", "no key makes a sound"),
        (TALKER, "moon: {between: [row0", "moon: {between: [plus", "moon:",
         "and a sweep presses the first one: put one that sounds first, such as `boat`"),
        (KEYBOARD, "keys:\n", "keys:\n  power: {between: [row1, col4]}\n", "power:",
         "key `power` makes no sound"),
        (TALKER, "R1: {between: [plus, osc]", "R1: {between: [vcc, osc]", "R1:",
         "`vcc` is at the node `plus`: write plus"),
        (SAMPLER, "pins:\n", "pins:\n  b4: {node: N7}\n", "RB4:", "`b4` is at the node `N7`"),
        (SAMPLER, "volts: 3", "volts: 0.3", "volts", "volts must be at least 0.9"),
        (SAMPLER, "name: Tikko the Noisy Drawer", 'name: "Tik\\nko"', "name", "must be one line"),
    ],
)  # fmt: skip
def test_what_could_not_be_swept_is_refused_with_its_line(
    tmp_path, file, old, new, line_has, said
):
    text = file.read_text("utf-8")
    assert old in text
    changed = text.replace(old, new, 1)
    refusal = outcome(tmp_path, changed)
    assert said in refusal
    assert line_has in changed.splitlines()[int(refusal.split(":")[1]) - 1]


def test_capacitors_side_by_side_add_up(tmp_path):
    text = TALKER.read_text("utf-8")
    halves = text.replace("ohm: 47000}", "ohm: 47000}\n  C9: {between: [minus, osc], farad: 2.4e-11}")
    (tmp_path / "b.yaml").write_text(halves.replace("4.8e-11", "2.4e-11"))
    assert load_board(tmp_path / "b.yaml").clock == load_board(TALKER).clock


@pytest.mark.parametrize(
    ("name", "key"), [("Pim: the # Snail", "12"), ("'\"", "null"), ("true", "on "), ("é Ω", "1.5")]
)
def test_names_that_need_quotes_come_through(tmp_path, name, key):
    text = KEYBOARD.read_text("utf-8").replace("on: [on]", f'on: ["{key}"]')
    text = text.replace("  on: {", f'  "{key}": {{')
    text = text.replace("name: Pim the Musical Snail", f"name: {name!r}".replace("\\'", "''"))
    assert outcome(tmp_path, text, pairs=2) is None
    toy = load_project(tmp_path / "toy").toy
    assert (toy.name, toy.on) == (name, [key])


def test_a_board_file_that_is_not_there(tmp_path):
    with pytest.raises(ConfigError, match="there is no board file"):
        load_board(tmp_path / "none.yaml")
