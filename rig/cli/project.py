"""The commands `new` and `check`: a project folder is made, and looked over before a sweep."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from rig.bench.simulated.board import KINDS
from rig.bench.simulated.folder import DEMO_KIND, DEMO_PADS, DEMO_SEED, new_simulated_project
from rig.cli.console import console
from rig.errors import BenchError, ConfigError
from rig.project import Project, load_project, new_project
from rig.project.cautions import cautions
from rig.project.electrical import highest_v, path_ohm, touchable, worst_current_ma
from rig.project.places import load_places

BY_HAND_TOUCH_S = 15.0
"""A careful person does a touch in 10 to 20 s (common practice, no source)."""

TAKE_BYTES_PER_S = 75_000
"""A second of a take as FLAC, on the safe side: simulated takes of 48 kHz need about 50,000."""


def register(app: typer.Typer) -> None:
    """Add `new` and `check` to the command line."""
    app.command("new")(new)
    app.command("check")(check)


def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make.")],
    simulated: Annotated[
        bool, typer.Option("--simulated", help="An invented toy on the simulated bench.")
    ] = False,
    seed: Annotated[int, typer.Option(help="Which invented toy.")] = DEMO_SEED,
    pads: Annotated[int | None, typer.Option(help="Number of leads (12; simulated: 24).")] = None,
    kind: Annotated[
        str, typer.Option(help=f"What the invented toy is: {', '.join(KINDS)}.")
    ] = DEMO_KIND,
    board: Annotated[
        Path | None, typer.Option(help="A board file; it says what the invented toy is.")
    ] = None,
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
    if board is not None and not simulated:
        raise ConfigError("--board makes a toy of the simulated bench: give --simulated as well")
    if simulated:
        project = new_simulated_project(
            folder, seed, DEMO_PADS if pads is None else pads, kind, board
        )
        out.print(f"{project.toy.name}: {len(project.toy.pads)} pads, in {folder}")
        out.print(f"next: padsweep check --project {folder}")
        return
    new_project(folder, 12 if pads is None else pads, by_hand)
    out.print(f"made {folder / 'toy.yaml'} and {folder / 'rig.yaml'}: open both and fill them in")
    out.print("Battery toys only, up to 12 V d.c.; unplug any adaptor first.")
    out.print("Never a toy with a lithium pack, charger, camera flash or back-light inverter.")
    out.print("Photograph both sides of the board; keep the photo as board.jpg in the folder.")
    out.print(f"next: padsweep check --project {folder}")


def check(
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
) -> None:
    """Look a project folder over and say what a sweep of it would do.

    Example: padsweep check --project my-toy
    """
    loaded = load_project(project)
    places = load_places(project)
    out = console()
    for line in report(loaded, None if places is None else len(places.pads)):
        out.print(line)
    check_port(loaded)
    out.print(
        "ready: padsweep sweep" + (f" --project {project}" if str(project) != "." else "")
    )


@dataclass(frozen=True)
class Workload:
    """What a sweep has before it: pairs, touches, time and space."""

    pairs: int
    left_out: Counter
    touches: int
    baselines: int
    seconds: float
    take_bytes: float


def workload(project: Project) -> Workload:
    """Count what a sweep of all pairs makes, before any touch is repeated.

    A pair counts when at least one value of the series bank may be put between its pads.
    """
    series = project.rig.series_ohm
    pairs = touches = 0
    left_out: Counter = Counter()
    for one, other in itertools.combinations(project.toy.pads, 2):
        reasons = [touchable(project, (one,), (other,), value) for value in series]
        allowed = reasons.count(None)
        pairs += allowed > 0
        touches += allowed
        if not allowed:
            left_out[str(reasons[0])] += 1
    keys = len(project.sweep_keys)
    baselines = project.rig.sweep.baseline_takes * keys
    touches *= keys
    made = touches + baselines
    taken_s = made * project.rig.timings.touch_s
    return Workload(
        pairs, left_out, touches, baselines, made * touch_s(project), taken_s * TAKE_BYTES_PER_S
    )


def touch_s(project: Project) -> float:
    """Give how long one touch takes with all there is to it, s."""
    return BY_HAND_TOUCH_S if project.rig.bench == "by-hand" else project.rig.timings.touch_s


def report(project: Project, placed: int | None) -> list[str]:
    """Give the lines that `check` prints."""
    toy, rig = project.toy, project.rig
    work = workload(project)
    kinds = Counter(pad.kind for pad in toy.pads.values() if not pad.forbidden)
    forbidden = [letter for letter, pad in toy.pads.items() if pad.forbidden]
    first, last = next(iter(toy.pads)), list(toy.pads)[-1]
    freezes = "a minute" if rig.bench == "by-hand" else "some seconds"
    fresh = f" (fresh cells {highest_v(toy):.1f} V)" if toy.supply.source == "cells" else ""
    pads = ", ".join(f"{count} {kind}" for kind, count in kinds.items())
    paths = ", ".join(ohms(path_ohm(rig, s)) for s in sorted(rig.series_ohm, reverse=True))
    lines = [
        f"toy      {toy.name}, {toy.supply.volts:g} V from {toy.supply.source}{fresh}",
        f"bench    {_bench(project)}",
        f"pads     {len(toy.pads)}, {first} to {last}: {pads}"
        + (f"; forbidden: {', '.join(forbidden)}" if forbidden else ""),
        f"keys     {', '.join(toy.keys)}; the sweep presses {', '.join(project.sweep_keys)}"
        + (f"; turned on with {', '.join(toy.on)}" if toy.on else ""),
        f"pairs    {work.pairs:,}" + _left_out(work.left_out),
        f"paths    {paths} between two pads, high to low",
        (
            f"current  at most {worst_current_ma(project):.2f} mA through a pair; "
            f"limit {rig.current_limit_ma:g} mA"
        ),
        (
            f"touches  at most {work.touches:,} and {work.baselines} of the baseline, "
            f"{touch_s(project):.1f} s each; every hit is touched again"
        ),
        f"time     about {_duration(work.seconds)}{_virtual(project)}; each freeze adds {freezes}",
        f"space    about {_bytes(work.take_bytes)}" + _kept(rig.keep),
    ]
    if placed is not None and placed < len(toy.pads):
        missing = len(toy.pads) - placed
        lines.append(f"picture  {missing} of {len(toy.pads)} pads have no place in board.yaml yet")
    lines += [f"caution  {text}" for text in cautions(project)]
    return lines


def check_port(project: Project) -> None:
    """Raise `BenchError` where the controller's port isn't there (hardware only)."""
    if project.rig.bench != "hardware" or project.rig.controller is None:
        return
    port = project.rig.controller.port
    if Path(port).exists():
        return
    from serial.tools import list_ports

    found = [info.device for info in list_ports.comports()]
    if port in found:
        return
    there = f"there are: {', '.join(found)}" if found else "no serial port is there: plug it in"
    raise BenchError(f"there is no port {port} (controller in rig.yaml); {there}")


def ohms(value: float) -> str:
    """Give a resistance for people: `470 ohm`, `3 kohm`, `1.5 Mohm`."""
    for size, unit in ((1e6, "Mohm"), (1e3, "kohm")):
        if value >= size * 0.9995:
            return f"{value / size:.3g} {unit}"
    return f"{value:.3g} ohm"


def _bench(project: Project) -> str:
    rig = project.rig
    if rig.bench == "by-hand":
        return f"by hand, sound from {rig.sound.device if rig.sound else 'none'}"
    leads = f"leads of {ohms(rig.lead_ohm)}, {rig.switch} switches"
    if rig.bench == "simulated" and rig.simulated:
        return f"simulated {rig.simulated.kind}, seed {rig.simulated.seed}, {rig.simulated.pads} pads; {leads}"
    port = rig.controller.port if rig.controller else "no port"
    device = rig.sound.device if rig.sound else "none"
    return f"hardware on {port}, sound from {device}; {leads}"


def _left_out(reasons: Counter) -> str:
    if not reasons:
        return ""
    most = "; ".join(f"{count} as {reason}" for reason, count in reasons.most_common(2))
    return f"; left out: {most}" + ("; ..." if len(reasons) > 2 else "")


def _virtual(project: Project) -> str:
    return " of the toy's own, virtual time" if project.rig.bench == "simulated" else ""


def _kept(keep: str) -> str:
    return " of takes" if keep == "all" else " of takes if all were kept; only finds are"


def _duration(seconds: float) -> str:
    minutes = round(seconds / 60)
    if minutes < 1:
        return f"{seconds:.0f} s"
    if minutes < 90:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _bytes(count: float) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{max(1, round(count / 1e6))} MB"
