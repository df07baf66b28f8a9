"""The command that shows the whole job without hardware: `padsweep demo`."""

from __future__ import annotations

from pathlib import Path

import typer

from rig.bench.simulated.board import KINDS
from rig.bench.simulated.folder import DEMO_KIND, DEMO_PADS, DEMO_SEED, new_simulated_project
from rig.choose import finds
from rig.cli.console import console, print_commands
from rig.cli.player import cannot_play
from rig.cli.progress import SweepView
from rig.cli.project import DRIVERS_HELP, HABITS_HELP
from rig.cli.sweep import run_sweep
from rig.cli.tables import print_finds
from rig.errors import ConfigError
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import load_project

DEMO_FOLDER = "padsweep-demo"
BEST = 12


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(demo)


def demo(
    folder: Path = typer.Option(Path(DEMO_FOLDER), "--folder", help="Where to keep it."),
    seed: int | None = typer.Option(None, "--seed", min=0, help="Another invented toy."),
    pads: int | None = typer.Option(None, "--pads", min=8, max=64, help="How many pads."),
    kind: str | None = typer.Option(None, "--kind", help=f"What it is: {', '.join(KINDS)}."),
    habits: str | None = typer.Option(None, "--habits", help=HABITS_HELP),
    drivers: str | None = typer.Option(None, "--drivers", help=DRIVERS_HELP),
) -> None:
    """Sweep an invented toy on the simulated bench and show what it found.

    The folder is an ordinary project folder: every other command works on it. Run again, it
    continues, or shows what is there.

    Example: padsweep demo --folder my-demo --seed 7 --pads 16
    """
    out = console()
    if folder.exists() and any(folder.iterdir()):
        loaded = load_project(folder)
        _check_same(folder, loaded, seed=seed, pads=pads, kind=kind, habits=habits,
                    drivers=drivers)
    else:
        loaded = new_simulated_project(
            folder, DEMO_SEED if seed is None else seed, DEMO_PADS if pads is None else pads,
            kind or DEMO_KIND, habits=habits, drivers=drivers,
        )
    toy = loaded.toy
    count = len(toy.pads)
    out.print(
        f"{toy.name}: {count} pads, {count * (count - 1) // 2} pairs, key "
        f"{loaded.sweep_keys[0]!r}, {toy.supply.volts:g} V\nsimulated: no hardware is touched",
    )
    _, told = run_sweep(loaded, DEFAULT_NAME, SweepView(out, toy, quiet=True))
    log = SweepLog.open(sweep_folder(loaded, DEFAULT_NAME), read_only=True)
    print_finds(out, finds(log.records(), loaded.rig.sweep.false_discovery), toy, most=BEST)
    log.close()
    out.print(told)
    out.print(f"\neverything is in {folder}/; next:")
    print_commands(out, {
        f"padsweep page --project {folder}": "hear and keep, in a browser",
        f"padsweep replay --project {folder}": "the same in the terminal",
        f"padsweep sheet --project {folder}": "what you kept, to build",
        f"padsweep export --project {folder} --finds": "all finds as rows",
    })
    if missing := cannot_play():
        out.print(missing)


def _check_same(folder: Path, loaded, **wanted: int | str | None) -> None:
    """Refuse to show one toy where another was asked for."""
    simulated = loaded.rig.simulated
    if simulated is None:
        raise ConfigError(f"{folder}: holds a project for real hardware; give --folder another")
    for word, asked in wanted.items():
        is_there = getattr(simulated, word)
        if asked is not None and asked != is_there:
            raise ConfigError(
                f"{folder}: holds a demo with {word} {is_there}, not {asked}; give --folder another"
            )
