"""Commands that are printed can be pasted: as the program was called, on the same project."""

import io
import re
import shlex
import stat
import subprocess
import sys

import pytest
from running import run_main, swept_project

from rig.cli.called import Call, as_called, during, names_command, typed
from rig.cli.console import console, print_commands

BOTH = frozenset({"--project", "--name"})
OPTIONS = {"sweep": BOTH, "replay": BOTH, "check": frozenset({"--project"}), "judge": BOTH,
           "new": frozenset(), "export": BOTH}


def written(text, **call):
    return Call("bin/padsweep", OPTIONS, **call).written(text)


@pytest.mark.parametrize(("text", "as_pasted"), [
    ("run `padsweep sweep` to continue", "run `bin/padsweep sweep --project toy` to continue"),
    ("see padsweep replay --list", "see bin/padsweep replay --project toy --list"),
    ("`padsweep sweep --project toy` continues", "`bin/padsweep sweep --project toy` continues"),
    ("`padsweep sweep --project=toy`", "`bin/padsweep sweep --project=toy`"),
    ("padsweep check and padsweep sweep",
     "bin/padsweep check --project toy and bin/padsweep sweep --project toy"),
    ("next: padsweep replay --project toy      listen\n      padsweep export      rows",
     ("next: bin/padsweep replay --project toy      listen\n"
      "      bin/padsweep export --project toy      rows")),
    ("`padsweep new FOLDER`", "`bin/padsweep new FOLDER`"),
    ("padsweep judge --before a.wav", "bin/padsweep judge --before a.wav"),
    ("see `padsweep sweep --help`", "see `bin/padsweep sweep --help`"),
    ("see `padsweep --help`", "see `bin/padsweep --help`"),
    ("this padsweep reads version 3", "this padsweep reads version 3"),
    ("padsweep: the sweep stopped", "padsweep: the sweep stopped"),
    ("in padsweep-demo/", "in padsweep-demo/"),
    ("x/padsweep sweep", "x/padsweep sweep"),
])
def test_a_command_is_written_as_it_was_called(text, as_pasted):
    assert written(text, project="toy") == as_pasted
    assert written(as_pasted, project="toy") == as_pasted  # told twice, it's the same
    assert names_command(text) is False  # outside a run there is nothing to paste


def test_without_a_project_none_is_added():
    assert written("run `padsweep sweep`") == "run `bin/padsweep sweep`"


def test_the_name_of_the_sweep_goes_along_where_a_command_takes_it():
    assert written("`padsweep sweep`", project="toy", name="two") == (
        "`bin/padsweep sweep --project toy --name two`")
    assert written("`padsweep sweep --name`", name="two") == "`bin/padsweep sweep --name`"
    assert written("`padsweep check`", name="two") == "`bin/padsweep check`"


def test_a_folder_is_quoted_for_the_shell():
    said = written("padsweep sweep; padsweep check --project my toy\nmake `padsweep new my toy`",
                   project="my toy")
    assert said == ("bin/padsweep sweep --project 'my toy'; bin/padsweep check --project 'my toy'\n"
                    "make `bin/padsweep new 'my toy'`")


def narrow_terminal(monkeypatch):
    """Let standard output be a terminal of 60 columns."""
    class Narrow(io.StringIO):
        def isatty(self):
            return True

    monkeypatch.setattr(sys, "stdout", out := Narrow())
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("TERM", "xterm")
    return out


def test_the_console_keeps_a_command_in_one_line(monkeypatch):
    narrow = narrow_terminal(monkeypatch)
    with during(Call("/a/long/way/to/padsweep", OPTIONS, project="a/folder/of/mine")):
        console().print("next: padsweep sweep")
        console().print("a line that says something that needs more than sixty columns")
    lines = narrow.getvalue().splitlines()
    assert lines[0] == "next: /a/long/way/to/padsweep sweep --project a/folder/of/mine"
    assert len(lines) == 3
    assert as_called("padsweep sweep") == "padsweep sweep"  # the run is over


@pytest.mark.parametrize(("program", "lines"), [
    ("padsweep", ["  padsweep sweep --project toy   touch every pair",
                  "  padsweep replay --project toy  listen"]),
    ("a/long/way/to/padsweep", ["  touch every pair:",
                                "    a/long/way/to/padsweep sweep --project toy", "  listen:",
                                "    a/long/way/to/padsweep replay --project toy"]),
])
def test_what_commands_do_stands_beside_them_where_that_fits(monkeypatch, program, lines):
    narrow = narrow_terminal(monkeypatch)
    with during(Call(program, OPTIONS, project="toy")):
        print_commands(console(), {"padsweep sweep": "touch every pair", "padsweep replay": "listen"})
    assert narrow.getvalue().splitlines() == lines


def test_what_calls_it_again(tmp_path, monkeypatch):
    scripts = [tmp_path / name / "padsweep" for name in ("a bin", "other")]
    for script in scripts:
        script.parent.mkdir()
        script.write_text("#!/bin/sh\n")
        script.chmod(script.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setattr(sys, "argv", [str(scripts[0])])
    monkeypatch.setenv("PATH", str(scripts[0].parent))
    assert typed() == "padsweep"
    monkeypatch.setenv("PATH", str(scripts[1].parent))  # another one of that name is found
    assert typed() == shlex.quote(str(scripts[0]))
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(sys, "argv", ["/somewhere/rig/cli/__main__.py"])
    monkeypatch.setattr(sys, "orig_argv", [".venv/bin/python"])
    assert typed() == ".venv/bin/python -m rig.cli"
    monkeypatch.setattr(sys, "argv", ["-c"])
    assert typed() == "padsweep"


@pytest.mark.parametrize("asked", [("check",), ("sweep",), ("replay",), ("replay", "--keep", "A-B")])
def test_every_command_in_what_is_printed_can_be_pasted(asked, swept):
    done = run_main(*asked, "--project", swept, program="/x y/padsweep")
    said = (done.out + done.err).replace("`", "\n")
    printed = re.findall(r"'/x y/padsweep' .*?(?=  |\n)", said)
    assert len(printed) == 1
    assert "padsweep " not in said  # none is left as it was written
    for command in printed:
        words = shlex.split(command)
        assert words[0] == "/x y/padsweep"
        assert words[words.index("--project") + 1] == str(swept)


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    return swept_project(tmp_path_factory.mktemp("called") / "my toy")


def test_a_command_that_was_printed_runs(tmp_path):
    """As `python -m rig.cli`, on a narrow output; what stands behind `next:` goes into a shell."""
    def run(words, encoding):
        return subprocess.run(
            words, shell=True, capture_output=True, check=True, cwd=tmp_path, encoding=encoding,
            env={"PYTHONPATH": ":".join(sys.path), "PATH": "", "PYTHONIOENCODING": encoding},
        ).stdout

    made = run(f"{sys.executable} -m rig.cli new 'my toy' --simulated --pads 8", "ascii")
    command = made.split("next: ")[1].strip()
    assert command == f"{sys.executable} -m rig.cli check --project 'my toy'"
    assert "ready: " in run(command, "cp1252")
