"""The project folder of an invented toy: an ordinary one, which every command works on."""

from __future__ import annotations

import tempfile
from pathlib import Path

from rig.bench.simulated.board import MAX_PADS, MIN_PADS, Board, load_board, make_board
from rig.bench.simulated.drivers import REAL as REAL_DRIVERS
from rig.bench.simulated.drivers import with_drivers
from rig.bench.simulated.habit_sets import HABITS, REAL, with_habits
from rig.errors import ConfigError
from rig.project import Project, Rig, Toy, load_project
from rig.project.electrical import FRESH_CELL
from rig.project.hints import nearest
from rig.project.models import Key, Simulated
from rig.project.new import write_new
from rig.project.picture import draw_board
from rig.project.places import places_text
from rig.project.slips import quoted, written
from rig.project.yaml_strict import read_yaml

DEMO_SEED, DEMO_PADS, DEMO_KIND = 8, 24, "talker"
"""The board of `padsweep demo`."""

SIMULATED_SERIES_OHM = (0, 6_800, 33_000, 150_000)
"""With the leads: about a path each half decade from 3 kohm to beyond what fingertips need."""

_LEADS_OHM = (1500, 1800, 2200, 2700, 3300, 3900)

SIMULATED_TOY = """\
# {title}: an invented toy on the simulated bench ({source}).
name: {name}

supply:
  volts: {volts}
  source: cells

# Leads in the order of their channels. What is on the board is for the sweep to find out.
pads:
{pads}

keys:
{keys}

on: {on}
longest_phrase_s: {longest}
boot_ms: {boot}
"""

SIMULATED_RIG = """\
# The simulated bench: a circuit is solved in place of the toy, on a virtual clock.
bench: simulated

lead_ohm: {lead}
switch: reed
switch_ohm: 0.2
series_ohm: [{series}]
current_limit_ma: 2.0

simulated:
  kind: {kind}
{board}  seed: {seed}
  pads: {pads}
  room_db: 40
{habits}{drivers}"""


BOARD_FILE = "circuit.yaml"
"""A board file's name in the project folder."""


def new_simulated_project(
    folder: str | Path,
    seed: int = DEMO_SEED,
    pads: int = DEMO_PADS,
    kind: str = DEMO_KIND,
    board: Path | None = None,
    habits: str | None = None,
    *,
    drivers: str | None = None,
) -> Project:
    """Write the project folder of an invented toy: toy.yaml, rig.yaml, board.yaml, board.svg.

    The same seed, pads and kind give the same files byte for byte. A folder that holds exactly
    these files already is taken as it is. With `board`, a board file is copied into the
    folder and says what the toy is. With `habits` it has those of this name as well, with `drivers`
    the lines of a seed's board are driven so; a board file says so itself.

    Raises
    ------
    ConfigError
        The folder holds another project, can't be written, or a number is out of range.
    """
    if habits is not None:
        _check_habits(habits, "--habits")
    if board is not None and drivers is not None:
        raise ConfigError(f"--drivers: a board file says so itself: put `drivers: {drivers}` into {board}")
    if drivers not in (None, REAL_DRIVERS):
        raise ConfigError(f"--drivers: no drivers {drivers!r}: {nearest(drivers, [REAL_DRIVERS])}")
    if board is None:
        files = simulated_files(seed, pads, kind, habits, drivers)
    else:
        files = board_files(board, habits)
    for name, text in files.items():
        file = Path(folder) / name
        ours = name in ("toy.yaml", "rig.yaml", BOARD_FILE)
        if ours and file.exists() and file.read_text("utf-8", "replace") != text:
            raise ConfigError(
                f"{file} is there already and is another toy's: choose another folder"
            )
    if not (Path(folder) / "toy.yaml").exists():
        write_new(Path(folder), files)
    return load_project(folder)


def simulated_setup(seed: int, pads: int, kind: str = DEMO_KIND) -> tuple[Toy, Rig]:
    """Give the toy and rig of a simulated project without writing a folder."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(Path(folder) / "toy", seed, pads, kind)
    return project.toy, project.rig


def simulated_files(
    seed: int, pads: int, kind: str = DEMO_KIND, habits: str | None = None,
    drivers: str | None = None,
) -> dict[str, str]:
    """Give the texts of a simulated project's files, by name.

    Raises
    ------
    ConfigError
        Seed or pads out of range, or no such kind.
    """
    if not MIN_PADS <= pads <= MAX_PADS:
        raise ConfigError(
            f"--pads must be {MIN_PADS} to {MAX_PADS} on the simulated bench, is {pads}"
        )
    if not 0 <= seed < 2**31:
        raise ConfigError(f"--seed must be 0 to {2**31 - 1}, is {seed}")
    return _files(make_board(seed, pads, kind), f"seed {seed}", "", habits, drivers)


def board_files(file: Path, habits: str | None = None) -> dict[str, str]:
    """Give the texts of the project files of a board file, by name.

    Raises
    ------
    ConfigError
        The board file can't be used.
    """
    files = _files(load_board(file), "from a board file", f"  board: {BOARD_FILE}\n", habits)
    return {**files, BOARD_FILE: Path(file).read_text("utf-8")}


def _files(
    board: Board, source: str, extra: str, habits: str | None, drivers: str | None = None
) -> dict[str, str]:
    names = [pad.letter for pad in board.pads]
    # The picture's contacts are plus, then minus.
    ground = board.roles["gnd"]
    rails = sorted(board.rails, key=lambda rail: board.net_of[rail] == ground)
    terminals = [rail for i, rail in enumerate(rails) if board.net_of[rail] not in
                 {board.net_of[other] for other in rails[:i]}]
    svg, places, notes = draw_board(
        names, seed=board.seed, title=board.name, keys=list(board.keys), rails=terminals,
        nets=_nets(board),
    )  # fmt: skip
    if extra:
        notes = {pad.letter: pad.note or notes[pad.letter] for pad in board.pads}
    pad_lines = [
        f"  {n}: {{note: {quoted(notes[n])}"
        f"{', kind: rail' if n in rails else ''}}}"
        for n in names
    ]
    toy = SIMULATED_TOY.format(
        title=board.name, name=written(board.name), source=source, volts=f"{board.volts:g}", pads="\n".join(pad_lines),
        keys="\n".join(_key(board, key) for key in board.keys),
        on="[" + ", ".join(map(written, board.on)) + "]",
        longest=f"{board.longest_phrase_s:.1f}", boot=board.boot_ms,
    )  # fmt: skip
    rig = SIMULATED_RIG.format(
        lead=lead_for(board.volts), kind=board.kind, seed=board.seed, pads=len(board.pads),
        board=extra,
        series=", ".join(map(str, SIMULATED_SERIES_OHM)),
        habits="" if habits is None else f"  habits: {written(habits)}\n",
        drivers="" if drivers is None else f"  drivers: {drivers}\n",
    )  # fmt: skip
    heading = f"Places of the pads on the drawn board of {board.name}, written by padsweep."
    return {
        "toy.yaml": toy, "rig.yaml": rig, "board.yaml": places_text(places, heading),
        "board.svg": svg,
    }  # fmt: skip


def simulated_part(project: Project) -> Simulated:
    """Give what rig.yaml says of the simulated bench; a project is not loaded without it."""
    assert project.rig.simulated is not None
    return project.rig.simulated


def project_board(project: Project) -> Board:
    """Give the board of a simulated project.

    Raises
    ------
    ConfigError
        Its board file can't be used or is given drivers beside it, or there are no habits of that
        name.
    """
    simulated = simulated_part(project)
    if simulated.board is not None:
        board = load_board(project.folder / simulated.board)
    else:
        board = make_board(simulated.seed, simulated.pads, simulated.kind)
    if simulated.drivers is not None:
        if simulated.board is not None:
            where = read_yaml(project.folder / "rig.yaml").where(("simulated", "drivers"))
            raise ConfigError(f"{where}: a board file says by itself how its lines are driven: put "
                              f"`drivers: {simulated.drivers}` into {simulated.board}")
        board = with_drivers(board, simulated.drivers)
    if simulated.habits is None:
        return board
    if simulated.habits not in (REAL, *HABITS):
        where = read_yaml(project.folder / "rig.yaml").where(("simulated", "habits"))
        _check_habits(simulated.habits, where)
    return with_habits(board, simulated.habits)


def _check_habits(name: str, where: str) -> None:
    if name not in (REAL, *HABITS):
        raise ConfigError(f"{where}: no habits {name!r}: {nearest(name, (REAL, *HABITS))}")


def unlike_board(project: Project) -> list[str]:
    """Say in what toy.yaml and rig.yaml differ from the invented toy.

    Returns
    -------
    list of str
        Cautions: a line for each difference with which a sweep can be made all the same.

    Raises
    ------
    ConfigError
        The board can't be made, or lacks a pad or key of toy.yaml.
    """
    toy, board = project.toy, project_board(project)
    if not set(toy.keys) & set(board.keys):
        where = read_yaml(project.folder / "rig.yaml").where(("simulated",))
        raise ConfigError(
            f"{where}: that is another toy, with the keys {', '.join(board.keys)}: make a folder of "
            "its own with `padsweep new`"
        )
    document = read_yaml(project.folder / "toy.yaml")
    for part, named, there in (
        ("pads", toy.pads, board.letters), ("keys", toy.keys, board.keys)
    ):  # fmt: skip
        for name in named:
            if name not in there:
                raise ConfigError(
                    f"{document.where((part, name))}: the invented toy has no {part[:-1]} {name}: "
                    f"{nearest(name, there)}"
                )
    found = []
    for what, told, real in (
        ("kind", simulated_part(project).kind, board.kind),
        ("supply in volts", f"{toy.supply.volts:g}", f"{board.volts:g}"),
        ("`on`", ", ".join(toy.on) or "empty", ", ".join(board.on) or "empty"),
    ):
        if told != real:
            found.append(f"the invented toy's {what} is {real}, the project says {told}")
    return found


def lead_for(volts: float) -> int:
    """Give the lead resistor that keeps fresh cells of `volts` below 1.8 mA, ohms."""
    return next(r for r in _LEADS_OHM if volts * FRESH_CELL / (2 * r) <= 0.0018)


def _key(board: Board, key: str) -> str:
    """Give a key's line in toy.yaml."""
    if board.press_ms == Key().press_ms or key in board.on:
        return f"  {written(key)}:"
    return f"  {written(key)}: {{press_ms: {board.press_ms}}}"


def _nets(board: Board) -> list[list[str]]:
    """Give the groups of pads that are one conductor."""
    groups: dict[int, list[str]] = {}
    for pad in board.pads:
        groups.setdefault(pad.net, []).append(pad.letter)
    return [group for group in groups.values() if len(group) > 1]
