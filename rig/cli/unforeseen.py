"""What is told and written down when something happens that nobody foresaw."""

from __future__ import annotations

import os
import platform
import shlex
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

from rig import __version__
from rig.cli.called import Call

EXIT_CODE = 70
"""An error of the program itself: EX_SOFTWARE of sysexits.h (from memory)."""

MOST_NAMES = 200
PACKAGES = ("numpy", "scipy", "pydantic", "typer", "rich", "sounddevice", "soundfile",
            "pillow", "starlette", "uvicorn", "jinja2")
HEADING = """\
padsweep met an error that nobody foresaw. What is known of it stands here and nowhere else:
read it, cut what you would rather keep to yourself, and send the rest to those who maintain
padsweep. Of the files in your project folder only the names are listed.
"""
AT_THE_TOY = "a rig has opened all pads and switched the toy off; by hand, take the bridge off; "


def unforeseen(error: BaseException, call: Call) -> str:
    """Write a report of an error and say in a line what happened and what to do.

    Parameters
    ----------
    error : BaseException
        With its traceback.
    call : Call
        What was being done.
    """
    what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
    frames = traceback.extract_tb(error.__traceback__)
    where = f", {Path(frames[-1].filename).name} line {frames[-1].lineno}" if frames else ""
    path = _write(_text(error, call), _folders(call))
    send = (
        f"please look through {path} and send it to those who maintain padsweep" if path else
        "no report could be written; please send this line to those who maintain padsweep"
    )  # fmt: skip
    return (
        f"{call.command or 'the start'} met an error that nobody foresaw ({what[:160]}{where}); "
        f"{AT_THE_TOY if call.command == 'sweep' and not call.alarm else ''}{send}"
    )


def _folders(call: Call) -> list[Path]:
    """Give where a report may be written, best first."""
    project = [Path(call.project)] if call.project else []
    return [one for one in (*project, Path("."), Path(tempfile.gettempdir())) if one.is_dir()]


def _write(text: str, folders: list[Path]) -> Path | None:
    """Write a report under a name that isn't taken, where that can be done."""
    name = f"padsweep-report-{time.strftime('%Y%m%d-%H%M%S')}"
    for folder in folders:
        for again in ("", *(f"-{number}" for number in range(2, 100))):
            path = folder / f"{name}{again}.txt"
            try:
                with path.open("x", encoding="utf-8", errors="backslashreplace") as file:
                    file.write(text)
                return path
            except FileExistsError:
                continue
            except OSError:
                break
    return None


def _text(error: BaseException, call: Call) -> str:
    rows = {
        "padsweep": __version__,
        "python": f"{platform.python_version()} ({sys.executable})",
        "system": platform.platform(),
        "packages": ", ".join(f"{one} {_version(one)}" for one in PACKAGES),
        "command": shlex.join([call.program, *sys.argv[1:]]),
        "when": time.strftime("%Y-%m-%d %H:%M:%S %z"),
    }
    facts = "\n".join(f"{name:<9} {value}" for name, value in rows.items())
    trace = "".join(traceback.format_exception(error))
    folder = Path(call.project or ".")
    return f"{HEADING}\n{facts}\n\n{trace}\n{folder} holds:\n" + "\n".join(_names(folder)) + "\n"


def _version(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return "missing"


def _names(folder: Path) -> Iterator[str]:
    """Give the names of a project's files, those of takes as their number alone."""
    if not (folder / "toy.yaml").exists() and not (folder / "rig.yaml").exists():
        yield "  no project"
        return
    count = 0
    for at, folders, files in os.walk(folder):
        folders.sort()
        below = Path(at).relative_to(folder)
        if below.name == "takes":
            yield f"  {below.as_posix()}/ ({len(files)} files)"
            continue
        for name in sorted(files):
            count += 1
            if count > MOST_NAMES:
                yield "  ..."
                return
            yield f"  {(below / name).as_posix()} ({_size(Path(at) / name)})"


def _size(path: Path) -> str:
    try:
        return f"{path.stat().st_size} bytes"
    except OSError as trouble:
        return trouble.strerror or "unreadable"
