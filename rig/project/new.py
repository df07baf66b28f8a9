"""Making project folders: a commented template for hardware, or an invented simulated toy."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import ConfigError
from rig.project.electrical import FRESH_CELL
from rig.project.load import load_project
from rig.project.models import Project, Rig, Toy, letters
from rig.project.picture import draw_board
from rig.project.places import places_text
from rig.project.templates import (
    HARDWARE_RIG,
    HARDWARE_TOY,
    SIMULATED_RIG,
    SIMULATED_TOY,
)

if TYPE_CHECKING:
    from rig.bench.simulated.board import Board, Pad

DEMO_SEED, DEMO_PADS = 7, 24
"""The board of `padsweep demo`."""

SIMULATED_SERIES_OHM = (0, 6_800, 33_000, 150_000)
"""With the leads: about a path each half decade from 3 kohm to beyond what fingertips need."""

_LEADS_OHM = (1500, 1800, 2200, 2700, 3300, 3900)


def new_project(folder: str | Path, pads: int = 12) -> Project:
    """Write a commented toy.yaml and rig.yaml for a bench of hardware.

    Parameters
    ----------
    folder : path
        Made if missing; may not hold a project yet.
    pads : int
        Number of leads, 2 to 32.

    Raises
    ------
    ConfigError
        The folder holds a project already, can't be written, or the number is out of range.
    """
    if not 2 <= pads <= 32:
        raise ConfigError(f"--pads must be 2 to 32 (the controller's channels), is {pads}")
    lines = "".join(f"  {letter}: {{note: }}\n" for letter in letters(pads))
    lines = lines.replace("A: {note: }", "A: {note: battery minus, kind: rail}", 1)
    lines = lines.replace("{note: }", '{note: ""}')
    _write(Path(folder), {"toy.yaml": HARDWARE_TOY.format(pads=lines), "rig.yaml": HARDWARE_RIG})
    return load_project(folder)


def new_simulated_project(
    folder: str | Path, seed: int = DEMO_SEED, pads: int = DEMO_PADS
) -> Project:
    """Write the project folder of an invented toy: toy.yaml, rig.yaml, board.yaml, board.svg.

    The same seed and pads give the same files byte for byte. A folder that holds exactly
    these files already is taken as it is.

    Raises
    ------
    ConfigError
        The folder holds another project, can't be written, or a number is out of range.
    """
    files = simulated_files(seed, pads)
    for name, text in files.items():
        file = Path(folder) / name
        if name in ("toy.yaml", "rig.yaml") and file.exists() and file.read_text("utf-8") != text:
            raise ConfigError(
                f"{file} is there already and is another toy's: choose another folder"
            )
    if not (Path(folder) / "toy.yaml").exists():
        _write(Path(folder), files)
    return load_project(folder)


def simulated_setup(seed: int, pads: int) -> tuple[Toy, Rig]:
    """Give the toy and rig of a simulated project without writing a folder."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(Path(folder) / "toy", seed, pads)
    return project.toy, project.rig


def simulated_files(seed: int, pads: int) -> dict[str, str]:
    """Give the texts of a simulated project's files, by name.

    Raises
    ------
    ConfigError
        Seed or pads out of range.
    """
    # Loaded only here: a project of real hardware never needs the simulated bench.
    from rig.bench.simulated.board import MAX_PADS, MIN_PADS, make_board

    if not MIN_PADS <= pads <= MAX_PADS:
        raise ConfigError(
            f"--pads must be {MIN_PADS} to {MAX_PADS} on the simulated bench, is {pads}"
        )
    if not 0 <= seed < 2**31:
        raise ConfigError(f"--seed must be 0 to {2**31 - 1}, is {seed}")
    board = make_board(seed, pads)
    names = [pad.letter for pad in board.pads]
    # The picture's contacts are plus, then minus.
    rails = sorted(board.rails, key=lambda rail: "minus" in _pad(board, rail).note)
    svg, places, notes = draw_board(
        names, seed=seed, title=board.name, keys=list(board.keys), rails=rails,
        nets=_nets(board),
    )  # fmt: skip
    pad_lines = [
        f'  {n}: {{note: "{notes[n]}"{", kind: rail" if n in rails else ""}}}' for n in names
    ]
    toy = SIMULATED_TOY.format(
        name=board.name, seed=seed, volts=f"{board.volts:g}", pads="\n".join(pad_lines),
        keys="\n".join(f"  {key}:" for key in board.keys),
        on="[" + ", ".join(board.on) + "]",
        longest=f"{board.longest_phrase_s:.1f}", boot=board.boot_ms,
    )  # fmt: skip
    rig = SIMULATED_RIG.format(
        lead=lead_for(board.volts), seed=seed, pads=pads,
        series=", ".join(map(str, SIMULATED_SERIES_OHM)),
    )  # fmt: skip
    heading = f"Places of the pads on the drawn board of {board.name}, written by padsweep."
    return {
        "toy.yaml": toy, "rig.yaml": rig, "board.yaml": places_text(places, heading),
        "board.svg": svg,
    }  # fmt: skip


def lead_for(volts: float) -> int:
    """Give the lead resistor that keeps fresh cells of `volts` below 1.8 mA, ohms."""
    return next(r for r in _LEADS_OHM if volts * FRESH_CELL / (2 * r) <= 0.0018)


def _pad(board: Board, letter: str) -> Pad:
    return next(pad for pad in board.pads if pad.letter == letter)


def _nets(board: Board) -> list[list[str]]:
    """Give the groups of pads that are one conductor."""
    groups: dict[int, list[str]] = {}
    for pad in board.pads:
        groups.setdefault(pad.net, []).append(pad.letter)
    return [group for group in groups.values() if len(group) > 1]


def _write(folder: Path, files: dict[str, str]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in files:
            if (folder / name).exists():
                raise ConfigError(f"{folder / name} is there already: choose another folder")
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise ConfigError(f"{folder} can't be written: {error.strerror}") from None
