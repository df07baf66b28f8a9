"""The command that touches the toy: `padsweep sweep`."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import typer

from rig.choose import Tally, finds, tally
from rig.choose.discovery import FALSE_DISCOVERY, doubtful, takes_needed
from rig.choose.rank import pair_p_values
from rig.cli.benches import at_bench, open_hands
from rig.cli.called import alarm
from rig.cli.console import console
from rig.cli.keys import single_keys
from rig.cli.progress import SweepView
from rig.cli.terminal import Terminal
from rig.errors import ConfigError, LogError, Stopped
from rig.log import Record, SweepLog
from rig.project import Project, load_project, setup_facts, setup_hash
from rig.sweep import Sweep, SweepDone
from rig.sweep.asking import SweepByHand

DEFAULT_NAME = "main"
CAUTIONS = (
    "Battery toys only, 12 V d.c. at most, never anything that plugs into the mains; isolate "
    "the line out; stay near for the first touches. Local rules and licensed practice come first."
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("sweep")(sweep)


def sweep(
    project: Path = typer.Option(Path("."), "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in the folder."),
    explore: bool = typer.Option(
        False, "--explore", help="By hand: poke at will, and say which two it was."
    ),
) -> None:
    """Touch every pair of pads, judge and log each; continues what was interrupted.

    With `bench: by-hand` in rig.yaml you are asked which two pads to bridge and when to press.

    Example: padsweep sweep --project my-toy
    """
    loaded = load_project(project)
    out = console()
    by_hand = loaded.rig.bench == "by-hand"
    if explore and not by_hand:
        raise ConfigError("--explore is for work by hand: `bench: by-hand` in rig.yaml")
    if loaded.rig.bench != "simulated":
        out.print(CAUTIONS)
    if by_hand:
        done, told = run_by_hand(loaded, name, Terminal(out, loaded), explore)
    else:
        done, told = run_sweep(loaded, name, SweepView(out, loaded.toy))
    out.print(told)
    if done:
        out.print(f"next: padsweep replay --project {project}")


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


def run_sweep(project: Project, name: str, view: SweepView) -> tuple[SweepDone | None, str]:
    """Run or continue a sweep to its end and say in a line what it came to.

    Raises
    ------
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early.
    """
    with closing(open_log(project, name)) as log:
        try:
            with at_bench(project) as bench, closing(Sweep(project, bench, log).run()) as events:
                done = view.show(events)
        except KeyboardInterrupt:
            off = "" if alarm() else "the toy is off, all pads are open and "
            raise Stopped(
                f"stopped: {off}the log is whole; "
                f"`padsweep sweep --project {project.folder}` continues"
            ) from None
        return done, summary(log, project.rig.sweep.false_discovery)


def run_by_hand(
    project: Project, name: str, terminal: Terminal, explore: bool
) -> tuple[SweepDone | None, str]:
    """Run or continue a sweep by hand until its end or until the person leaves.

    Raises
    ------
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early.
    """
    again = f"`padsweep sweep --project {project.folder}` continues"
    with closing(open_log(project, name)) as log, single_keys():
        with closing(open_hands(project, terminal)) as bench:
            sweep = SweepByHand(project, bench, log)
            with closing(sweep.explore() if explore else sweep.run()) as events:
                try:
                    done = terminal.show(events)
                except KeyboardInterrupt:
                    raise Stopped(
                        f"stopped: take the bridge off; the log is whole, {again}"
                    ) from None
        told = summary(log, project.rig.sweep.false_discovery)
        return done, told if done else f"{told}\nleft early: {again}"


def summary(log: SweepLog, false_discovery: float = FALSE_DISCOVERY) -> str:
    """Say what a sweep has come to so far, and in one more line what it can't tell."""
    records = log.records()
    back = {e.touch for e in log.events() if e.kind == "recovered" and e.touch is not None}
    told = tally(records, finds(records, false_discovery), back)
    unsure = unsure_words(records, told.bends + told.silences, false_discovery)
    return tally_words(told, false_discovery) + (f"\n{unsure}" if unsure else "")


def tally_words(told: Tally, false_discovery: float) -> str:
    """Say in a few sentences what a sweep came to: each pair is counted once."""
    heard = told.bends + told.silences
    said = f"{told.touches:,} touches of {told.pairs:,} pairs: {told.bends} change the sound"
    said += f", {told.silences} only silence it"
    if told.stop_below:
        said += f" ({told.stop_below} of these {heard} stop the toy over a lower resistance)"
    said += f", {told.stops} only stop it."
    if heard:
        said += f" At most {100 * false_discovery:.3g} in 100 of these {heard} are chance."
    if told.freezes:
        said += f" {told.recovered} of {told.freezes} freezes were recovered."
    return said


def unsure_words(records: list[Record], heard: int, false_discovery: float) -> str:
    """Say what the clean takes can't resolve; empty where every change that came back is sure."""
    p_values = pair_p_values(records)
    unsure = doubtful(p_values, false_discovery)
    if not unsure:
        return ""
    keys = {one.key for one in records if one.kind == "confirm"}
    takes = min(sum(r.kind == "baseline" and r.counts and r.key == k for r in records)
                for k in keys)
    needed = takes_needed(len(p_values), heard, false_discovery)
    more = (f"; with {len(p_values)} pairs take {needed} clean presses, not {takes} "
            "(sweep: baseline_takes in rig.yaml)") if needed > takes else ""  # fmt: skip
    return f"{len(unsure)} more came back, not surely enough to be told from chance{more}"
