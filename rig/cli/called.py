"""How this run was called, so that each command it prints can be pasted as it stands."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

PROGRAM = "padsweep"
NEVER_WITH = ("--help", "--before", "--after")
"""A command with one of these isn't about a project."""

_COMMAND = re.compile(
    rf"(?<![\w./\\-]){PROGRAM} (?P<command>--help|COMMAND|[a-z]+)(?![\w-])"
    rf"(?P<rest>(?:(?!  |[`\n]|{PROGRAM} ).)*)"
)
"""A command in a text: up to a line's end, a backquote, two spaces or the next command."""


@dataclass
class Call:
    """One run of the program.

    Parameters
    ----------
    program : str
        What must be typed to call it again.
    options : mapping
        The options of each command, such as `--project`, by the command's name.
    command : str
        The command that is run; "" before it is known.
    project, name : str or None
        The project folder and the sweep's name that were given, where any were.
    alarm : str
        What the person must be told last, whatever else there is to say; "" for nothing.
    is_output_given_up : bool
        A thread waits in vain for standard output to take something: nothing may wait for it.
    """

    program: str = PROGRAM
    options: Mapping[str, frozenset[str]] = field(default_factory=dict)
    command: str = ""
    project: str | None = None
    name: str | None = None
    alarm: str = ""
    is_output_given_up: bool = False

    def written(self, text: str) -> str:
        """Give a text in which each `padsweep COMMAND` can be pasted: see `as_called`."""
        return _COMMAND.sub(self._pasted, text)

    def _pasted(self, found: re.Match[str]) -> str:
        command, rest = found["command"], found["rest"]
        if command not in self.options and command not in ("--help", "COMMAND"):
            return found[0]
        if self.project is not None and quoted(self.project) != self.project:
            rest = rest.replace(f" {self.project}", f" {quoted(self.project)}")
        added = ""
        if not any(word in rest for word in NEVER_WITH):
            for option, value in (("--project", self.project), ("--name", self.name)):
                takes = option in self.options.get(command, ())
                if takes and value is not None and not re.search(rf"{option}\b", rest):
                    added += f" {option} {quoted(value)}"
        return f"{self.program} {command}{added}{rest}"


_call: Call | None = None


@contextmanager
def during(call: Call) -> Iterator[None]:
    """Let `as_called` know of this run while it lasts."""
    global _call
    _call = call
    try:
        yield
    finally:
        _call = None


def raise_alarm(text: str | None) -> None:
    """Keep what the person must be told last; None for nothing. Outside a run it is told at once."""
    if text and _call is None:
        print(f"{PROGRAM}: {text}", file=sys.stderr)
    elif text:
        _call.alarm = text


def alarm() -> str:
    """Give what the person must be told last; "" for nothing."""
    return "" if _call is None else _call.alarm


def running() -> str:
    """Say what runs, in a few words that hold no command to paste: "the command sweep"."""
    return f"the command {_call.command}" if _call is not None and _call.command else "another program"


def give_output_up() -> None:
    """Have this run end without another word to standard output, which takes none."""
    if _call is not None:
        _call.is_output_given_up = True


def as_called(text: str) -> str:
    """Give a text with each `padsweep COMMAND` in it as this run was called.

    The program is named as it was, and a command that takes a project and names none gets the one
    that was given, so that messages from within need not know of it. Outside a run the text stays.
    """
    return text if _call is None else _call.written(text)


def names_command(text: str) -> bool:
    """Say if there is a command to paste in a text."""
    return _call is not None and any(
        found["command"] in _call.options for found in _COMMAND.finditer(text)
    )


def quoted(word: str) -> str:
    """Give a word as the system's shell takes it for one."""
    return subprocess.list2cmdline([word]) if os.name == "nt" else shlex.quote(word)


def typed() -> str:
    """Give what calls this program again: its plain name where that finds the same one."""
    script = Path(sys.argv[0])
    if script.name == "__main__.py":
        return f"{_python()} -m rig.cli"
    if script.name.removesuffix(".exe").removesuffix("-script.py") != PROGRAM:
        return PROGRAM  # called from within another program
    found = shutil.which(PROGRAM)
    with suppress(OSError):
        if found and (os.path.samefile(found, script)
                      or os.path.samefile(found, script.with_suffix(".exe"))):
            return PROGRAM
    return quoted(str(sys.argv[0]))


def _python() -> str:
    """Give what calls this Python; two that share a file may have other packages."""
    for name in ("python", "python3"):
        found = shutil.which(name)
        if found and os.path.abspath(found) == os.path.abspath(sys.executable):
            return name
    word = sys.orig_argv[0]
    return quoted(word if os.path.dirname(word) else sys.executable)
