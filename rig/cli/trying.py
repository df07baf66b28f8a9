"""The command for trying picks with the toy under one's hands: `padsweep try`."""

from __future__ import annotations

import time
from contextlib import ExitStack
from pathlib import Path

import typer
from rich.console import Console
from rich.live import Live

from rig.bench import Bench
from rig.build.evidence import stopped_ohm, trials_by_pair
from rig.choose import finds
from rig.cli.benches import at_bench
from rig.cli.called import alarm
from rig.cli.console import console
from rig.cli.heard import Heard, Pace
from rig.cli.keys import Keys, Lines, at_terminal, single_keys
from rig.cli.sweep import CAUTIONS
from rig.cli.try_screen import QUIT, asked_by, screen, status
from rig.errors import ConfigError, Stopped
from rig.files import make_folder
from rig.log import Record, SweepLog
from rig.log.lock import lock_sweep
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import Project, load_project
from rig.trying import BY_HAND, READ_S, Holding, Session
from rig.trying.session import picks_to_try

HERE = Path(".")
TICK_S = 0.05
WAIT_MOST_S = 600.0
TAKES = {
    "press": True, "step": True, "open": False, "close": False, "next": False, "previous": False,
    "add": True, "drop": False, "hold": True, "keep": False, "reset": False, "wait": True, "quit": False,
}  # fmt: skip
"""The words of a pipe, and whether something may stand behind each."""
WORDS_TOLD = (
    "press [KEY], step up, step down, open, close, next, previous, add [SOUND], drop, hold SOUND, "
    "keep, reset, wait SECONDS, quit"
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("try")(try_picks)


def try_picks(
    sounds: list[str] = typer.Argument(
        None, metavar="SOUND", help='What to try: C-F, or "C-F 3.6k"; without, your picks.'
    ),
    project: Path = typer.Option(HERE, "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in the folder."),
    record: Path | None = typer.Option(
        None, "--record", metavar="FILE.wav", help="Write what is heard into this file."
    ),
) -> None:
    """Hold a pick on the rig while you press keys, step through resistances and listen.

    The rig is the decade box: what you like is kept with the resistance in force. A minute without
    a key and everything opens. In a pipe each line is a command: press [KEY], step up, step down,
    open, close, next, previous, add [SOUND], drop, hold SOUND, keep, reset, wait SECONDS, quit.

    Example: padsweep try --project my-toy "S-W 3.6k"
    """
    loaded = load_project(project)
    out = console()
    if loaded.rig.bench == "by-hand":
        raise ConfigError(BY_HAND)
    picks = picks_to_try(loaded.folder, sounds or [])
    folder = sweep_folder(loaded, name)
    if loaded.rig.bench != "simulated":
        out.print(CAUTIONS)
    make_folder(folder)
    with lock_sweep(folder):
        records = _records(folder)
        stops = {pair: stopped_ohm(trials) for pair, trials in trials_by_pair(records).items()}
        found = finds(records, loaded.rig.sweep.false_discovery)
        heard = Heard()
        try:
            with at_bench(loaded) as bench, heard.recorded(record, bench.rate_hz):
                known = {pair: ohm for pair, ohm in stops.items() if ohm is not None}
                session = Session(Holding(loaded, bench, heard.take, known), picks, found)
                if at_terminal():
                    _at_terminal(out, loaded, bench, session, heard)
                else:
                    _in_a_pipe(out, loaded, session)
        except KeyboardInterrupt:
            raise Stopped(f"stopped{': all pads are open and the toy is off' * (not alarm())}") from None
    if not alarm():
        out.print("all pads are open and the toy is off")
    if record is not None:
        out.print(f"what was heard is in {record}", soft_wrap=True)


def _records(folder: Path) -> list[Record]:
    """Read what a sweep knows; nothing where there was none."""
    if not (folder / "log.db").exists():
        return []
    with SweepLog.open(folder, read_only=True) as log:
        return log.records()


def _at_terminal(
    out: Console, project: Project, bench: Bench, session: Session, heard: Heard
) -> None:
    """Show one screen and do what each key asks for, until the person leaves or has gone."""
    told: list[str] = []
    is_simulated = project.rig.bench == "simulated"
    with ExitStack() as stack:
        stack.enter_context(single_keys())
        if is_simulated:
            stack.enter_context(heard.played(bench.rate_hz, told.append))
        keys, pace = Keys(), Pace(bench)
        told.append(session.begin())
        live = stack.enter_context(Live(console=out, auto_refresh=False))
        shown, asked_s = "", time.monotonic()
        while not (session.holding.is_over or keys.is_over):
            if line := " ".join(filter(None, told)):
                shown = line
            if told:
                live.update(screen(session, shown, out.encoding), refresh=True)
            told.clear()
            key = keys.next()
            if key in QUIT:
                return
            asked = asked_by(key, session) if key else None
            if asked and asked == session.asked and time.monotonic() - asked_s < READ_S:
                asked_s = time.monotonic()  # a key that is held down, or was typed ahead
            elif key:
                shown = ""
                told.append(session.do(*asked) if asked else session.seen())
                asked_s = time.monotonic()
            if note := session.tick(TICK_S):
                told.append(note)
            if is_simulated:
                pace.wait()
        live.update(screen(session, " ".join(filter(None, told)), out.encoding), refresh=True)


def _in_a_pipe(out: Console, project: Project, session: Session) -> None:
    """Do what each line says; a simulated toy's time passes only where it is waited for."""
    lines = Lines()
    is_simulated = project.rig.bench == "simulated"
    _say(out, session.begin(), status(session))
    while not session.holding.is_over:
        try:
            line = lines.next(None if is_simulated else 0)
        except TimeoutError:
            _say(out, session.tick(TICK_S))
            continue
        if line is None:
            return
        word, _, given = line.partition(" ")
        given = given.strip()
        if not word:
            continue
        if word not in TAKES or (given and not TAKES[word]):
            _say(out, f"{line!r} is no command: {WORDS_TOLD}")
        elif word == "quit":
            return
        elif word == "wait":
            _say(out, _wait(session, given), status(session))
        else:
            _say(out, session.do(word, given), status(session))


def _wait(session: Session, given: str) -> str:
    """Let time pass in which nothing is pressed."""
    try:
        left_s = float(given)
    except ValueError:
        left_s = -1.0
    if not 0 <= left_s <= WAIT_MOST_S:
        return f"wait takes seconds, 0 to {WAIT_MOST_S:g}, not {given!r}"
    told = []
    while left_s > 1e-9 and not session.holding.is_over:
        told.append(session.tick(min(left_s, TICK_S)))
        left_s -= TICK_S
    return " ".join(filter(None, told))


def _say(out: Console, *told: str) -> None:
    for line in filter(None, told):
        out.print(line, soft_wrap=True)
