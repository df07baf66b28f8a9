"""Mistakes on the command line are one line of ours; examples in a help are whole."""

import shlex

import pytest
from running import run_main
from typer.main import get_command

from rig.cli.main import app

COMMANDS = get_command(app).commands


@pytest.mark.parametrize(("words", "told"), [
    ("sweep --nam x", "sweep has no option --nam: did you mean --name? see `padsweep sweep --help`"),
    ("sweep --qqq x", "sweep has no option --qqq; see `padsweep sweep --help`"),
    ("sweep -x", "sweep has no option -x; see `padsweep sweep --help`"),
    ("sweep -name x", "sweep has no option -name: did you mean --name? see `padsweep sweep --help`"),
    ("sweep --name", "--name needs a value; see `padsweep sweep --help`"),
    ("sweep --explore=3", "--explore takes no value; see `padsweep sweep --help`"),
    ("sweep main", "sweep takes no further word main; see `padsweep sweep --help`"),
    ("demo --seed x", "--seed must be a whole number, is x; see `padsweep demo --help`"),
    ("demo --seed 1.5", "--seed must be a whole number, is 1.5; see `padsweep demo --help`"),
    ("demo --seed -1", "--seed must be at least 0, is -1; see `padsweep demo --help`"),
    ("demo --pads 3", "--pads must be from 8 to 64, is 3; see `padsweep demo --help`"),
    ("export --format js", "--format can't be js: did you mean json? see `padsweep export --help`"),
    ("judge --format x", "--format can't be x: there is only: text, json; see `padsweep judge --help`"),
    ("judge --before", "--before needs a value; see `padsweep judge --help`"),
    ("new", "new needs FOLDER; see `padsweep new --help`"),
    ("swep", "there is no command swep: did you mean sweep? see `padsweep --help`"),
    ("--version=3", "--version takes no value; see `padsweep --help`"),
    ("--hlp", "there is no option --hlp: did you mean --help? see `padsweep --help`"),
    ("--project toy sweep", ("--project belongs behind a command: write "
                             "`padsweep COMMAND --project ...`; see `padsweep --help`")),
])
def test_a_mistake_is_one_line_that_says_what_to_do(words, told):
    done = run_main(*words.split())
    assert (done.code, done.out, done.err) == (2, "", f"padsweep: {told}\n")


def test_text_that_came_as_bytes_of_utf_8_is_read_and_any_other_refused():
    garbled = "für".encode().decode("ascii", "surrogateescape")
    done = run_main("new", "unmade", "--simulated", "--kind", garbled)
    assert done.code == 2
    assert "für" in done.err
    done = run_main("replay", "--keep", "A-B", "--note", "f\udcfcr")
    assert done.code == 2
    assert "--note holds bytes that are no UTF-8 text" in done.err


def test_without_a_word_it_shows_what_there_is():
    done = run_main()
    assert (done.code, done.err) == (0, "")
    assert all(f"\n  {name}" in done.out for name in COMMANDS)


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_examples_stand_alone_and_are_what_the_command_takes(name, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    done = run_main(name, "--help")
    assert (done.code, done.err) == (0, "")
    lines = done.out.splitlines()
    assert max(map(len, lines)) <= 80
    examples = [line.strip() for line in lines if "Example" in line]
    assert examples
    for example in examples:
        assert example.count("Example: ") == 1
        program, command, *words = shlex.split(example.removeprefix("Example: "))
        assert (program, command) == ("padsweep", name)
        COMMANDS[name].make_context(name, words)  # raises where a word doesn't fit
    # a line that was folded would lose its end
    whole = (line.strip() for line in COMMANDS[name].help.splitlines())
    assert [line for line in whole if line.startswith("Example: ")] == examples


def test_the_help_names_the_program_as_it_was_called():
    done = run_main("check", "--help", program="bin/padsweep")
    assert done.out.startswith("Usage: bin/padsweep check [OPTIONS]\n")
    assert "\n  Example: bin/padsweep check --project my-toy\n" in done.out
