"""README says what the program does: its commands, options and files exist."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.main import get_command

from rig.cli.main import app

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "firmware" / "README.md"]
COMMANDS = get_command(app).commands


def test_every_command_is_in_the_readme_and_every_one_there_exists():
    table = set(re.findall(r"^\| `padsweep (\w+)", README, re.MULTILINE))
    assert table == set(COMMANDS)
    for document in DOCUMENTS:
        named = set(re.findall(r"padsweep (\w+)[ `]", document.read_text("utf-8")))
        assert named <= set(COMMANDS) | {"and", "does", "waits", "runs"}, document


def test_every_option_in_the_documents_exists():
    known = {"--help", "--version"}
    for command in COMMANDS.values():
        known |= {option for p in command.params for option in p.opts}
    named = set()
    for line in README.splitlines():
        if "padsweep" in line:
            options = set(re.findall(r"--[a-z]+(?:-[a-z]+)*", line))
            assert options <= known, line
            named |= options
    assert {"--project", "--folder", "--by-hand"} <= named


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_a_help_with_an_example(name):
    done = subprocess.run(
        [sys.executable, "-c", "from rig.cli.main import run; run()", name, "--help"],
        check=True, capture_output=True, text=True,
    )
    assert f"Example: padsweep {name}" in done.stdout


def test_every_file_the_readme_names_is_there():
    for named in (r"`((?:tests|rig|configs|firmware)/[\w./-]+)`", r"python (tests/[\w./]+\.py)"):
        paths = re.findall(named, README)
        assert paths, named
        for path in paths:
            assert (ROOT / path).exists(), path
