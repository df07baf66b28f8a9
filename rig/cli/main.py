"""The command `padsweep`: gathers the commands and turns errors into one line."""

from __future__ import annotations

import _thread
import errno
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import cast

import typer
from typer.core import TyperGroup

from rig import __version__
from rig.cli import (
    build,
    choose,
    controls,
    demo,
    export,
    judge,
    page,
    pausing,
    places,
    project,
    survey,
    sweep,
    trying,
    verify,
)
from rig.cli.called import PROGRAM, Call, during, typed
from rig.cli.readable import make_readable, one_line
from rig.cli.unforeseen import EXIT_CODE, unforeseen
from rig.cli.usage import ERRORS, App, Group, usage_words
from rig.errors import BenchError, RigError

STOPPED = 130
OUTPUT_GONE = 141
"""As a shell tells that a program wrote to a pipe whose other end was closed."""

app = App(
    name=PROGRAM,
    cls=Group,
    help="Find, choose and plan the bends of a battery sound toy.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback(invoke_without_command=True)
def _top(
    version: bool = typer.Option(False, "--version", help="Print the version and leave."),
) -> None:
    if version:
        typer.echo(f"padsweep {__version__}")
        raise typer.Exit


GROUPS = (
    demo, project, places, survey, sweep, pausing, choose, page, trying, controls, build, verify, judge,
    export,
)  # fmt: skip
for group in GROUPS:
    group.register(app)


def run() -> None:
    """Run the command line.

    Leaves with 0; a RigError's exit code; 1 where a file or the output can't be used; 2 after
    words that no command has; 70 after an error that nobody foresaw, with a report written;
    130 after Ctrl-C; 141 where nobody reads the output any more. Where all went well but the toy
    may still be supplied, the code is that of a bench that failed.
    """
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _stop)
    _open_streams()
    command = cast(TyperGroup, typer.main.get_command(app))
    options = {
        name: frozenset(option for param in one.params for option in param.opts)
        for name, one in command.commands.items()
    }
    call = Call(typed(), options)
    with during(call), _threads_watched() as failed:
        code = _leave_with(command, sys.argv[1:], call, failed)
        if call.is_output_given_up:
            os._exit(code)  # Python itself would wait for the thread that holds the output
    sys.exit(code)


def _leave_with(
    command: TyperGroup, words: Sequence[str], call: Call, failed: list[BaseException]
) -> int:
    """Run a command, tell in one line what ended it, and give the exit code."""
    code, told = 0, ""
    try:
        code, told = _ended(command, words, call)
    except BrokenPipeError:
        code = OUTPUT_GONE
    except OSError as error:
        code, told = 1, _unusable(error)
        if not told:
            failed.append(error)
    except Exception as error:
        failed.append(error)
    if failed:
        code, told = EXIT_CODE, unforeseen(failed[0], call)
    if not call.is_output_given_up:
        code = _flushed(code)
    errors = sys.__stderr__ if call.is_output_given_up else sys.stderr
    for line in (told, call.alarm):
        if line and errors:
            with suppress(OSError):
                print(f"{PROGRAM}: {one_line(call.written(line))}", file=errors, flush=True)
    return code or (BenchError.exit_code if call.alarm else 0)


def _ended(command: TyperGroup, words: Sequence[str], call: Call) -> tuple[int, str]:
    """Run a command to an end that was foreseen: its exit code, and what to tell of it."""
    try:
        with command.make_context(call.program, list(words) or ["--help"], obj=call) as context:
            command.invoke(context)
    except typer.Exit as leave:
        return leave.exit_code, ""
    except ERRORS.UsageError as error:
        return error.exit_code, usage_words(error)
    except RigError as error:
        return error.exit_code, str(error)
    except KeyboardInterrupt:
        return STOPPED, "stopped"
    sys.stdout.flush()
    return 0, ""


FILE_TROUBLE = {
    getattr(errno, name) for name in (
        "EACCES", "EPERM", "ENOENT", "EISDIR", "ENOTDIR", "EEXIST", "ENAMETOOLONG", "ELOOP",
        "EROFS", "ENOSPC", "EDQUOT", "EIO", "EBUSY", "ETXTBSY", "EFBIG", "ENXIO",
    ) if hasattr(errno, name)
}  # fmt: skip
OUTPUT_TROUBLE = {errno.ENOSPC, errno.EIO, getattr(errno, "EDQUOT", errno.ENOSPC)}


def _unusable(error: OSError) -> str:
    """Say what the system refuses about a file or the output; "" for anything else."""
    if error.filename is not None and error.errno in FILE_TROUBLE:
        name = os.fsdecode(error.filename) if isinstance(error.filename, bytes) else error.filename
        return f"{name}: {error.strerror}: look at this file or folder, and who may use it"
    if error.errno in OUTPUT_TROUBLE:
        return f"the output can't be written: {error.strerror}"
    return ""


@contextmanager
def _threads_watched() -> Iterator[list[BaseException]]:
    """Gather what ends a thread unforeseen, and stop the command then, as Ctrl-C does."""
    failed: list[BaseException] = []

    def note(end: threading.ExceptHookArgs) -> None:
        if end.exc_value is not None and not isinstance(end.exc_value, SystemExit):
            failed.append(end.exc_value)
            _thread.interrupt_main()

    before, threading.excepthook = threading.excepthook, note
    try:
        yield failed
    finally:
        threading.excepthook = before


def _open_streams() -> None:
    """Let each stream replace what it can't hold; one that was closed leads nowhere."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
    make_readable(sys.stdout)
    make_readable(sys.stderr)
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")


def _flushed(code: int) -> int:
    """Write out what is left; where that can't be done, keep Python from trying once more."""
    try:
        sys.stdout.flush()
    except OSError as error:
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return code or (OUTPUT_GONE if isinstance(error, BrokenPipeError) else 1)
    return code


def _stop(signum, frame) -> None:
    raise KeyboardInterrupt
