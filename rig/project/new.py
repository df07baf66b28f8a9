"""Making project folders: commented templates for a bench of hardware or of two hands."""

from __future__ import annotations

from pathlib import Path

from rig.errors import ConfigError
from rig.project.load import load_project
from rig.project.models import MAX_PADS, PADS_A_BOARD, Project, letters
from rig.project.templates import (
    BY_HAND_KEYS,
    BY_HAND_LEADS,
    BY_HAND_RIG,
    HARDWARE_KEYS,
    HARDWARE_LEADS,
    HARDWARE_RIG,
    NEW_TOY,
)


def new_project(folder: str | Path, pads: int = 12, by_hand: bool = False) -> Project:
    """Write a commented toy.yaml and rig.yaml for a bench of hardware, or for work by hand.

    Parameters
    ----------
    folder : path
        Made if missing; may not hold a project yet.
    pads : int
        Number of leads, 2 to 64.
    by_hand : bool
        A person bridges the pads; there is no controller.

    Raises
    ------
    ConfigError
        The folder holds a project already, can't be written, or the number is out of range.
    """
    if not 2 <= pads <= MAX_PADS:
        raise ConfigError(
            f"--pads must be 2 to {MAX_PADS} (the controller's channels), is {pads}"
        )
    lines = "".join(f'  {letter}: {{note: ""}}\n' for letter in letters(pads))
    lines = lines.replace('A: {note: ""}', 'A: {note: "battery minus", kind: rail}', 1)
    if by_hand:
        toy = NEW_TOY.format(pads=lines, leads=BY_HAND_LEADS, keys=BY_HAND_KEYS)
        rig = BY_HAND_RIG
    else:
        toy = NEW_TOY.format(pads=lines, leads=HARDWARE_LEADS, keys=HARDWARE_KEYS)
        rig = HARDWARE_RIG.format(channels=max(24, -(-pads // PADS_A_BOARD) * PADS_A_BOARD))
    write_new(Path(folder), {"toy.yaml": toy, "rig.yaml": rig})
    return load_project(folder)


def write_new(folder: Path, files: dict[str, str]) -> None:
    """Write a new project's files; none of them may be there yet.

    Raises
    ------
    ConfigError
        One is there already, or the folder can't be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in files:
            if (folder / name).exists():
                raise ConfigError(f"{folder / name} is there already: choose another folder")
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise ConfigError(f"{folder} can't be written: {error.strerror}") from None
