"""A project's sweeps: where their logs are, and opening one to go on with it."""

from __future__ import annotations

from pathlib import Path

from rig.errors import LogError
from rig.log.store import SweepLog
from rig.project import Project, setup_facts, setup_hash

DEFAULT_NAME = "main"


def sweep_folder(project: Project, name: str) -> Path:
    """Give the folder of a sweep.

    Raises
    ------
    LogError
        When the name isn't a plain folder name.
    """
    if not name or name.startswith(".") or "/" in name or "\\" in name:
        raise LogError(f"sweep name {name!r} is no folder name: use letters, digits, - and _")
    return project.folder / "sweeps" / name


def open_log(project: Project, name: str) -> SweepLog:
    """Open a sweep's log to continue it, or make a new one.

    Raises
    ------
    LogError
        When it was made with another set-up, or can't be read.
    """
    folder = sweep_folder(project, name)
    files = {f: (project.folder / f).read_text("utf-8") for f in ("toy.yaml", "rig.yaml")}
    make = SweepLog.open if (folder / "log.db").exists() else SweepLog.create
    return make(
        folder, setup=setup_facts(project), setup_hash=setup_hash(project), files=files
    )
