"""The command `survey`: what each pad is, measured gently; and the look at the leads before a sweep."""

from __future__ import annotations

from pathlib import Path
from statistics import mean
from typing import Annotated, cast

import typer
from rich.console import Console

from rig.bench import Bench
from rig.bench.measuring import Measures
from rig.cli.benches import at_bench
from rig.cli.called import alarm
from rig.cli.console import console
from rig.errors import ConfigError, Stopped
from rig.log.opening import sweep_folder
from rig.project import Project, load_project
from rig.project.nets import BOARD, confirm, load_nets
from rig.survey.compare import changes, parted, steady_v, telling
from rig.survey.nets import agreed, between, nets
from rig.survey.readings import SURVEY, Readings, load_readings, save_readings
from rig.survey.telling import folded, lines, name
from rig.survey.visit import MeasuringBench, Visit, seconds
from rig.sweep.workload import workload
from rig.words import duration


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("survey")(survey)


def survey(
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
    confirming: Annotated[
        bool, typer.Option("--confirm", help="Take what was surely one net last time as one.")
    ] = False,
    listing: Annotated[
        bool, typer.Option("--list", help="Show what was measured last, and leave.")
    ] = False,
) -> None:
    """Measure what each pad is: one net with which others, high, low, floating, beyond the rails.

    The supply is off for the resistances and on for the voltages; no more flows than in a sweep.
    With --confirm the sure nets go into board.yaml, and a sweep touches one pad of each.

    Example: padsweep survey --project my-toy --confirm
    """
    loaded, out = load_project(project), console()
    before = load_readings(project)
    if listing or confirming:
        if before is None:
            raise ConfigError(
                f"there is no {project / SURVEY} yet: measure with `padsweep survey` first"
            )
        (_confirm if confirming else _show)(out, loaded, before)
        return
    now = measure(out, loaded)
    _show(out, loaded, now)
    for line in [] if before is None else differences(before, now):
        out.print("\n".join(folded(f"changed  {line}")))
    _next(out, loaded, now)


def measure(out: Console, project: Project) -> Readings:
    """Survey a project's toy at its bench and keep what was read.

    Raises
    ------
    ConfigError
        The bench can't measure.
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early. The toy is off then.
    """
    if project.rig.bench == "by-hand":
        raise ConfigError("a survey needs a rig: by hand there are no senses")
    out.print(f"survey of {len(project.toy.pads)} pads: about {duration(seconds(project))}"
              + (" of virtual time" if project.rig.bench == "simulated" else ""))
    try:
        with at_bench(project) as bench:
            readings = Visit(project, _measuring(bench)).read()
    except KeyboardInterrupt:
        off = "" if alarm() else "; the toy is off and all pads are open"
        raise Stopped(f"stopped: nothing was kept{off}; `padsweep survey` begins anew") from None
    save_readings(project.folder, readings)
    return readings


def _measuring(bench: Bench) -> MeasuringBench:
    if not isinstance(bench, Measures):
        raise ConfigError("this bench can't measure: sweep with --no-survey")
    return cast(MeasuringBench, bench)


def differences(before: Readings, now: Readings) -> list[str]:
    """Say what has changed since the last survey, a line each."""
    return [*parted(before, now), *changes(before, steady_v(now), now.rail_v)]


def before_sweep(out: Console, project: Project, sweep_name: str) -> None:
    """Survey a toy on a rig before its first sweep, or look whether its leads are on and where they were.

    An invented toy has no leads that may be wrong: it is surveyed where `padsweep survey` was called.
    """
    before = load_readings(project.folder)
    is_begun = (sweep_folder(project, sweep_name) / "log.db").exists()
    if before is None and project.rig.bench == "hardware" and not is_begun:
        now = measure(out, project)
        sure, maybe = nets(now.pads, between(project, now))
        out.print(f"{_nets(len(sure))} for sure, {len(maybe)} maybe: `padsweep survey --list` shows all")
        _next(out, project, now)
    for line in look_again(project, before) if before is not None else []:
        out.print("\n".join(folded(f"caution  {line}")))


def look_again(project: Project, before: Readings) -> list[str]:
    """Read the pads whose voltage at rest shows their leads, and say what has changed since."""
    pads = [pad for pad in telling(before) if pad in project.toy.pads
            and not project.toy.pads[pad].forbidden]  # fmt: skip
    if not pads:
        return []
    toy = project.toy
    with at_bench(project) as bench:
        senses = _measuring(bench)
        bench.supply(True)
        bench.wait(toy.boot_ms / 1000 + 0.2)
        for key in toy.on:
            bench.press_keys((key,))
            bench.wait(toy.keys[key].press_ms / 1000)
            bench.press_keys(())
        if toy.on:
            bench.wait(toy.longest_phrase_s)
        now_v = {pad: mean(senses.pad_v(pad, times=2)) for pad in pads}
        rail_v = bench.rail_v()
    return changes(before, now_v, rail_v)


def _show(out: Console, project: Project, readings: Readings) -> None:
    for line in lines(project, readings):
        out.print(line)


def _confirm(out: Console, project: Project, readings: Readings) -> None:
    """Write the sure nets of which board.yaml says nothing yet."""
    sure, _ = nets(readings.pads, between(project, readings))
    new = agreed(sure, load_nets(project.folder, project.toy))
    if new:
        confirm(project.folder, project.toy, new)
    file = project.folder / BOARD
    out.print(f"{file}: {_nets(len(new))} more" + "".join(f"\n  {name(net)}" for net in new))
    for line in nets_told(load_project(project.folder)):
        out.print("\n".join(folded(line)))


def nets_told(project: Project) -> list[str]:
    """Say which pads are touched once for several, and how many pairs that leaves."""
    if not project.nets:
        return []
    told = "; ".join(
        name(net) + (f", touched at {pad}" if (pad := project.pad_of(net)) else ", not touched")
        for net in project.nets
    )
    if project.rig.sweep.nets == "each pad":
        return [f"nets     {told.replace(', touched at', ',')}; each pad is touched (rig.yaml)"]
    return [f"nets     {told}: {workload(project).pairs:,} pairs are left"]


def _next(out: Console, project: Project, readings: Readings) -> None:
    sure, _ = nets(readings.pads, between(project, readings))
    new = agreed(sure, load_nets(project.folder, project.toy))
    if new:
        out.print(f"to touch {_nets(len(new))} once each: padsweep survey --project {project.folder} --confirm")


def _nets(count: int) -> str:
    return "1 net" if count == 1 else f"{count} nets"
