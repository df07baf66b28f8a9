"""The command that touches the toy: `padsweep sweep`."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path

import typer

from rig.choose.summary import summary
from rig.cli.benches import at_bench, open_hands
from rig.cli.called import alarm
from rig.cli.console import console
from rig.cli.keys import single_keys
from rig.cli.progress import SweepView
from rig.cli.reader import Reader
from rig.cli.survey import before_sweep
from rig.cli.terminal import Terminal
from rig.errors import ConfigError, Stopped
from rig.events import SweepDone
from rig.log import SweepLog, read_events
from rig.log.opening import DEFAULT_NAME, open_log, sweep_folder
from rig.project import Project, load_project
from rig.sweep import Sweep
from rig.sweep.asking import SweepByHand
from rig.sweep.run import Run

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
    retry: bool = typer.Option(
        False, "--retry", help="Make after all what earlier runs have set aside."
    ),
    no_survey: bool = typer.Option(
        False, "--no-survey", help="Neither measure the pads of a new toy nor look at its leads."
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
        done, told = run_by_hand(loaded, name, Terminal(out, loaded), explore, retry)
    else:
        if not no_survey:
            before_sweep(out, loaded, name)
            loaded = load_project(project)
        done, told = run_sweep(loaded, name, SweepView(out, loaded.toy), retry)
    out.print(told)
    if done:
        out.print(f"next: padsweep replay --project {project}")


def run_sweep(
    project: Project, name: str, view: SweepView, retry: bool = False
) -> tuple[SweepDone | None, str]:
    """Run or continue a sweep to its end and say in a line what it came to.

    Raises
    ------
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early.
    """
    again = f"padsweep sweep --project {project.folder}"
    done, log = run_at_rig(project, name, view, Run.run, again=again, retry=retry)
    return done, summary(log, project.rig.sweep.false_discovery)


Work = Callable[[Run], SweepDone | None]
"""What a run is asked to do: the sweep, or to measure."""


def run_at_rig(
    project: Project, name: str, view: SweepView, work: Work, *, again: str, retry: bool = False
) -> tuple[SweepDone | None, SweepLog]:
    """Have a run do its work at the project's bench; gives its log, closed.

    The run has this thread, where Ctrl-C arrives; the view has another, and is waited for only
    when the toy is off and the log closed.

    Parameters
    ----------
    again : str
        The command that goes on after Ctrl-C.

    Raises
    ------
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early.
    """
    stored = partial(read_events, sweep_folder(project, name))
    with Reader(view.show, stored) as reader, closing(open_log(project, name)) as log:
        log.listen(reader.put)
        try:
            with at_bench(project) as bench:
                done = work(Sweep(project, bench, log, retry=retry))
        except KeyboardInterrupt:
            off = "" if alarm() else "the toy is off, all pads are open and "
            raise Stopped(f"stopped: {off}the log is whole; `{again}` continues") from None
    return done, log


def run_by_hand(
    project: Project, name: str, terminal: Terminal, explore: bool, retry: bool = False
) -> tuple[SweepDone | None, str]:
    """Run or continue a sweep by hand until its end or until the person leaves.

    Raises
    ------
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early.
    """
    again = f"padsweep sweep --project {project.folder}"
    work = SweepByHand.explore if explore else SweepByHand.run
    done, log = run_at_hands(project, name, terminal, work, again=again, retry=retry)
    told = summary(log, project.rig.sweep.false_discovery)
    return done, told if done else f"{told}\nleft early: `{again}` continues"


def run_at_hands(
    project: Project, name: str, terminal: Terminal, work: Callable[[SweepByHand], SweepDone | None],
    *, again: str, retry: bool = False,
) -> tuple[SweepDone | None, SweepLog]:
    """Have a run by hand do its work; gives its log, closed.

    Raises
    ------
    RigError
        `Stopped` after Ctrl-C; whatever else ends it early.
    """
    with closing(open_log(project, name)) as log, single_keys(), \
            closing(open_hands(project, terminal)) as bench:
        log.listen(terminal.tell)
        try:
            done = work(SweepByHand(project, bench, log, retry=retry))
        except KeyboardInterrupt:
            raise Stopped(
                f"stopped: take the bridge off; the log is whole, `{again}` continues"
            ) from None
    return done, log
