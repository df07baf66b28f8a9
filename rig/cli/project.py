"""The commands `new` and `check`: a project folder is made, and looked over before a sweep."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from rig.bench.capture import check_input
from rig.bench.controller import Controller
from rig.bench.controller_power import power_told
from rig.bench.simulated.board import KINDS
from rig.bench.simulated.folder import (
    DEMO_KIND,
    DEMO_PADS,
    DEMO_SEED,
    new_simulated_project,
    unlike_board,
)
from rig.cli.console import console
from rig.cli.player import quietly
from rig.cli.survey import nets_told
from rig.errors import BenchError, ConfigError
from rig.events import HabitsLearnt
from rig.log import read_events
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.pads import name_of
from rig.project import Project, load_project, low_pads, new_project
from rig.project.asked import asked
from rig.project.cautions import cautions
from rig.project.electrical import highest_v, path_ohm, worst_current_ma
from rig.project.places import load_places
from rig.sweep.habits import paragraph
from rig.sweep.workload import touch_s, workload
from rig.words import duration, ohms

HABITS_HELP = "`real`: as late, deaf and talkative as toys are; or one habit by its name."
DRIVERS_HELP = "`real`: lines driven as strongly as chips drive them, some chips on a rail of their own."

LABEL = 9
"""Columns of a line's label in the report of `check`."""


def register(app: typer.Typer) -> None:
    """Add `new` and `check` to the command line."""
    app.command("new")(new)
    app.command("check")(check)


def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make.")],
    simulated: Annotated[
        bool, typer.Option("--simulated", help="An invented toy on the simulated bench.")
    ] = False,
    seed: Annotated[
        int | None, typer.Option(help=f"Which invented toy ({DEMO_SEED}).")
    ] = None,
    pads: Annotated[
        int | None, typer.Option(help=f"Number of leads (12; simulated: {DEMO_PADS}).")
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(help=f"What the invented toy is: {', '.join(KINDS)} ({DEMO_KIND})."),
    ] = None,
    board: Annotated[
        Path | None, typer.Option(help="A board file; it says what the invented toy is.")
    ] = None,
    habits: Annotated[str | None, typer.Option(help=HABITS_HELP)] = None,
    drivers: Annotated[str | None, typer.Option(help=DRIVERS_HELP)] = None,
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="You bridge the pads: no rig, only a microphone.")
    ] = False,
) -> None:
    """Make a project folder to fill in, or one with an invented toy.

    Example: padsweep new my-toy --by-hand --pads 16
    """
    out = console()
    if by_hand and simulated:
        raise ConfigError("--by-hand and --simulated are two benches: give one of them")
    about_the_toy = {"--board": board, "--kind": kind, "--seed": seed, "--habits": habits,
                     "--drivers": drivers}  # fmt: skip
    given = [option for option, value in about_the_toy.items() if value is not None]
    if given and not simulated:
        raise ConfigError(
            f"{given[0]} is about an invented toy: give --simulated as well, or leave it out"
        )
    if board is not None:
        more = [*given[1:], *(["--pads"] if pads is not None else [])]
        if more:
            raise ConfigError(f"--board says all about the toy: leave {' and '.join(more)} out")
    if simulated:
        project = new_simulated_project(
            folder,
            DEMO_SEED if seed is None else seed,
            DEMO_PADS if pads is None else pads,
            DEMO_KIND if kind is None else kind,
            board,
            habits,
            drivers=drivers,
        )
        out.print(f"{project.toy.name}: {len(project.toy.pads)} pads, in {folder}")
        out.print(f"next: padsweep check --project {folder}")
        return
    new_project(folder, 12 if pads is None else pads, by_hand)
    out.print(f"made {folder / 'toy.yaml'} and {folder / 'rig.yaml'}: open both and fill them in")
    out.print("Battery toys only, up to 12 V d.c.; unplug any adaptor first.")
    out.print("Never a toy with a lithium pack, charger, camera flash or back-light inverter.")
    out.print("Photograph both sides of the board; keep the photo as board.jpg in the folder, then")
    out.print(f"say where the pads are on it: padsweep places --project {folder}")
    out.print(f"next: padsweep check --project {folder}")


def check(
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
) -> None:
    """Look a project folder over and say what a sweep of it would do.

    Example: padsweep check --project my-toy
    """
    loaded = load_project(project)
    places = load_places(project)
    unlike = unlike_board(loaded) if loaded.rig.bench == "simulated" else []
    out = console()
    for line in report(loaded, None if places is None else len(places.pads), unlike):
        out.print(folded(line, out.width) if out.is_terminal else line)
    for line in nets_told(loaded):
        out.print(folded(line, out.width) if out.is_terminal else line)
    for line in habits(loaded):
        out.print(folded(line, out.width) if out.is_terminal else line)
    for line in check_controller(loaded):
        out.print(folded(line, out.width) if out.is_terminal else line)
    check_sound(loaded)
    out.print(
        "ready: padsweep sweep" + (f" --project {project}" if str(project) != "." else "")
    )


def folded(line: str, width: int) -> str:
    """Fold a line of the report, so that what follows stands behind its label.

    Parameters
    ----------
    width : int
        Of the screen, columns.
    """
    return textwrap.fill(
        line, max(width, 2 * LABEL), subsequent_indent=" " * LABEL,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


def report(project: Project, placed: int | None, more_cautions: Sequence[str] = ()) -> list[str]:
    """Give the lines that `check` prints: a label of `LABEL` columns, then what there is to say.

    Parameters
    ----------
    placed : int or None
        How many pads have a place on the picture; None without one.
    more_cautions : sequence of str

    Raises
    ------
    ConfigError
        There is nothing to sweep.
    """
    toy, rig = project.toy, project.rig
    work = workload(project)
    kinds = Counter(pad.kind for pad in toy.pads.values() if not pad.forbidden)
    forbidden = [letter for letter, pad in toy.pads.items() if pad.forbidden]
    first, last = next(iter(toy.pads)), list(toy.pads)[-1]
    freezes = "a minute" if rig.bench == "by-hand" else "some seconds"
    fresh = f" (fresh cells {highest_v(toy):.1f} V)" if toy.supply.source == "cells" else ""
    pads = ", ".join(f"{count} {kind}" for kind, count in kinds.items())
    paths = ", ".join(ohms(path_ohm(rig, s)) for s in sorted(rig.swept_ohm, reverse=True))
    if not work.pairs:
        why = f": {work.left_out.most_common(1)[0][0]}" if work.left_out else ""
        raise ConfigError(f"{project.folder / 'toy.yaml'}: no two pads may be bridged{why}")
    lines = [
        f"toy      {toy.name}, {toy.supply.volts:g} V from {toy.supply.source}{fresh}",
        f"bench    {_bench(project)}",
        f"pads     {len(toy.pads)}, {first} to {last}: {pads}"
        + (f"; forbidden: {', '.join(forbidden)}" if forbidden else ""),
        f"keys     {', '.join(toy.keys)}; the sweep presses {', '.join(project.sweep_keys)}"
        + _without_socket(project)
        + (f"; turned on with {', '.join(toy.on)}" if toy.on else ""),
        f"pairs    {work.pairs:,}" + _left_out(work.left_out) + _also(project),
        f"path     {paths}{', high to low' if len(rig.swept_ohm) > 1 else ''}; "
        + _path_is(rig.bench),
        (
            f"current  at most {worst_current_ma(project):.2f} mA through a pair; "
            f"limit {rig.current_limit_ma:g} mA"
        ),
        (
            f"touches  about {work.touches + work.baselines:,}: {work.touches - work.lone:,} of pairs"
            + (f", {work.lone} of leads alone" if work.lone else "")
            + f" and {work.baselines} of the baseline, {touch_s(project):.1f} s each; more for each "
            "hit, fewer for each stop"
        ),
        f"time     about {duration(work.seconds)}{_virtual(project)}; each freeze adds {freezes}",
        f"space    about {_bytes(work.take_bytes)}" + _kept(rig.keep),
    ]
    if low := low_pads.told(toy, rig):
        lines.append(f"{'low':<{LABEL}}{low}")
    if placed is not None and placed < len(toy.pads):
        missing = len(toy.pads) - placed
        lines.append(f"picture  {missing} of {len(toy.pads)} pads have no place on it yet: "
                     "padsweep places")
    lines += [f"caution  {text}" for text in [*more_cautions, *cautions(project)]]
    return lines


def habits(project: Project) -> list[str]:
    """Give a line for each key of which a sweep has learnt what the toy does with it."""
    folder = sweep_folder(project, DEFAULT_NAME)
    if not (folder / "log.db").exists():
        return []
    learnt = {one.key: one for one in read_events(folder) if isinstance(one, HabitsLearnt)}
    return [f"{'habits':<{LABEL}}{paragraph(one)}" for one in learnt.values()]


def check_controller(project: Project) -> list[str]:
    """Look for the controller and give lines on its own supply (hardware only).

    Raises
    ------
    BenchError
        Its port isn't there or is in use, or another device is at it.
    """
    if project.rig.bench != "hardware" or project.rig.controller is None:
        return []
    _check_port(project.rig.controller.port)
    controller = Controller.open(project.rig.controller.port, project.rig.controller.baud)
    try:
        return [f"{label:<{LABEL}}{text}" for label, text in power_told(controller)]
    finally:
        controller.close()


def _check_port(port: str) -> None:
    from serial.tools import list_ports

    found = [info.device for info in list_ports.comports()]
    if Path(port).exists() or port in found:
        return
    there = f"there are: {', '.join(found)}" if found else "no serial port is there: plug it in"
    raise BenchError(f"there is no port {port} (controller in rig.yaml); {there}")


def _bench(project: Project) -> str:
    rig = project.rig
    if rig.bench == "by-hand":
        return f"by hand, sound from {rig.sound.device if rig.sound else 'none'}"
    leads = f"leads of {ohms(rig.lead_ohm)}, {rig.switch} switches"
    if rig.bench == "simulated" and rig.simulated:
        habits = f", habits: {rig.simulated.habits}" if rig.simulated.habits else ""
        habits += f", drivers: {rig.simulated.drivers}" if rig.simulated.drivers else ""
        return (
            f"simulated {rig.simulated.kind}, seed {rig.simulated.seed}, {rig.simulated.pads} pads"
            f"{habits}; {leads}"
        )
    port = rig.controller.port if rig.controller else "no port"
    device = rig.sound.device if rig.sound else "none"
    return f"hardware on {port}, sound from {device}; {leads}"


def check_sound(project: Project) -> None:
    """Raise `BenchError` where the sound input isn't there, or can't record as rig.yaml says."""
    sound = project.rig.sound
    if project.rig.bench == "simulated" or sound is None:
        return
    marker = sound.sound_channel if project.rig.bench == "by-hand" else sound.marker_channel
    with quietly():
        check_input(sound.device, sound.rate_hz, sound.sound_channel, marker)


def _path_is(bench: str) -> str:
    parts = "what is between your tips" if bench == "by-hand" else (
        "both leads, switch and series value")  # fmt: skip
    return f"path is all the resistance between two pads: {parts}"


def _without_socket(project: Project) -> str:
    wired = project.wired_keys
    if len(wired) == len(project.toy.keys):
        return ""
    return f"; the controller's {len(wired)} sockets are for {', '.join(wired)}"


def _also(project: Project) -> str:
    """Name what rig.yaml asks for beside all pairs."""
    asked_for = [
        name_of(joints) + ("" if keys == (project.sweep_keys[0],) else
                           f" with {'+'.join(keys) or 'nothing pressed'}")
        for joints, keys in asked(project)
    ]  # fmt: skip
    return f"; also {', '.join(asked_for)}" if asked_for else ""


def _left_out(reasons: Counter) -> str:
    if not reasons:
        return ""
    most = "; ".join(f"{count} as {reason}" for reason, count in reasons.most_common(2))
    return f"; left out: {most}" + ("; ..." if len(reasons) > 2 else "")


def _virtual(project: Project) -> str:
    return " of the toy's own, virtual time" if project.rig.bench == "simulated" else ""


def _kept(keep: str) -> str:
    return " of takes" if keep == "all" else " of takes if all were kept; only finds are"


def _bytes(count: float) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{max(1, round(count / 1e6))} MB"
