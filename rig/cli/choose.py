"""The command for listening and choosing: `padsweep replay`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer
from rich.console import Console

from rig.choose import Find, Session, finds, keep, load_picks, remove, set_aside
from rig.choose.picks import PICKS, tidy_pair
from rig.choose.replay import decisions, find_pair, one_after_the_other
from rig.cli.console import console
from rig.cli.keys import ask_line, at_terminal, read_key, single_keys
from rig.cli.player import Player
from rig.cli.tables import afterwards, path_words, pressed, print_finds, what, where
from rig.errors import BenchError, RigError
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.log.takes import TAKES
from rig.project import Toy, load_project

KEYS = """\
p play baseline and bend   b baseline alone   o bend alone
k keep   n keep with a note   s set aside   u undo
Enter next   - back   q quit"""
HERE = Path(".")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("replay")(replay)


def replay(
    project: Path = typer.Option(HERE, "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in the folder."),
    listing: bool = typer.Option(False, "--list", help="List the finds, best first, and leave."),
    kept: list[str] = typer.Option([], "--keep", metavar="PAIR", help="Keep this pair: C-F."),
    aside: list[str] = typer.Option([], "--set-aside", metavar="PAIR", help="Set a pair aside."),
    undone: list[str] = typer.Option([], "--undo", metavar="PAIR", help="Take a choice back."),
    played: str | None = typer.Option(None, "--play", metavar="PAIR", help="Play one pair."),
    note: str | None = typer.Option(None, "--note", help="Your words about the kept pair."),
    again: bool = typer.Option(False, "--again", help="Also go through what was decided."),
) -> None:
    """Hear each find next to the toy's own sound, and keep it or set it aside.

    At a terminal it goes through the finds with single keys; in a pipe it lists them. What
    is kept stands in picks.yaml, which may be edited by hand.

    Example: padsweep replay --project my-toy --keep C-F --note "stutters, robot"
    """
    loaded = load_project(project)
    folder = loaded.folder
    if note is not None and len(kept) != 1:
        raise RigError("--note belongs to one kept pair: give it with one --keep C-F")
    load_picks(folder)  # a file that can't be read is told before anything is played
    log = SweepLog.open(sweep_folder(loaded, name), read_only=True)
    found = finds(log.records(), loaded.rig.sweep.false_discovery)
    out = console()
    if kept or aside or undone:
        _decide(
            out, loaded.toy, folder, found, kept=kept, aside=aside, undone=undone, note=note
        )
    if played is not None:
        _play_one(out, loaded.toy, find_pair(found, played), log, folder)
    if listing or not (kept or aside or undone or played or at_terminal()):
        print_finds(out, found, loaded.toy, choices=_choices(folder))
        if found:
            _line(out, f"takes: {log.folder / TAKES}, by their number")
        if not listing and found:
            _line(out, f"next: padsweep replay --project {project} --keep "
                       f'{found[0].pair} --note "..."')
    elif not (kept or aside or undone or played):
        _go_through(out, loaded.toy, Session(found, log, folder, again))


def _choices(folder: Path) -> dict[str, str]:
    """Give what was decided about each pair, with the person's words."""
    told = {}
    for one in load_picks(folder, set_aside=True):
        words = ", ".join(word for word in (one.name, one.note) if word)
        decided = "set aside" if one.set_aside else "kept"
        told[one.pair] = f"{decided}: {words}" if words else decided
    return told


def _decide(out: Console, toy: Toy, folder: Path, found: Sequence[Find], *, kept: Sequence[str],
            aside: Sequence[str], undone: Sequence[str], note: str | None) -> None:
    # Every pair is looked at first: a wrong one among several changes nothing.
    to_keep = [find_pair(found, pair) for pair in kept]
    to_set_aside = [find_pair(found, pair) for pair in aside]
    to_undo = [tidy_pair(pair) for pair in undone]
    for find in to_keep:
        keep(folder, find.pair, note)
        _line(out, f"{find.pair}: kept, in {folder / PICKS}{_noted(toy, find)}")
    for find in to_set_aside:
        set_aside(folder, find.pair)
        _line(out, f"{find.pair}: set aside, in {folder / PICKS}{_noted(toy, find)}")
    for pair in to_undo:
        there = remove(folder, pair)
        _line(out, f"{pair}: {'no longer' if there else 'was not'} in {folder / PICKS}")


def _noted(toy: Toy, find: Find) -> str:
    notes = where(toy, find.pads)
    return f"   {notes}" if notes else ""


def _play_one(out: Console, toy: Toy, find: Find, log: SweepLog, folder: Path) -> None:
    session = Session([find], log, folder, again=True)
    try:
        player = Player()
    except BenchError as trouble:
        _line(out, f"{trouble}; listen to these with any player:")
        _show_paths(out, session)
        return
    _show(out, toy, session)
    heard = [one for one in (session.baseline(), session.bend()) if one is not None]
    player.play(*one_after_the_other(heard), wait=True)


def _go_through(out: Console, toy: Toy, session: Session) -> None:
    if session.current is None:
        _line(out, "nothing is left to go through; see `padsweep replay --list`, or go through "
                   "all with `padsweep replay --again`")
        return
    player: Player | None = None
    try:
        player = Player()
    except BenchError as trouble:
        _line(out, f"{trouble}; each find shows where its files are")
    with single_keys():
        _line(out, KEYS)
        _show(out, toy, session, files=player is None)
        while session.current is not None:
            key = read_key()
            if key in ("q", "\x04", ""):
                break
            try:
                moved = _press(out, session, player, key)
            except RigError as trouble:
                _line(out, f"  {trouble}")
                continue
            if moved and session.current is not None:
                _show(out, toy, session, files=player is None)
    if player:
        player.stop()
    chosen = list(decisions(session.folder).values())
    _line(out, f"{chosen.count('kept')} kept, {chosen.count('set aside')} set aside, in "
               f"{session.folder / PICKS}")


def _press(out: Console, session: Session, player: Player | None, key: str) -> bool:
    """Do what a key asks for; says if another find is to be shown."""
    if key in ("p", "b", "o"):
        _play(out, session, player, key)
        return False
    if key in "kns" and session.current is not None and session.current.is_lone:
        _line(out, "  it's what one pad's lead does alone: nothing can be built of that")
        return False
    if key == "k":
        session.keep()
        _line(out, "  kept")
    elif key == "n":
        session.note(ask_line("  note: "))
        _line(out, "  kept with your note")
    elif key == "s":
        session.set_aside()
        _line(out, "  set aside")
    elif key == "u":
        _line(out, "  taken back" if session.undo() else "  nothing to take back")
        return False
    elif key in ("-", "\x1b[A", "\x1b[D"):
        session.move(-1)
        return True
    elif key not in ("\n", "\r", " ", "\x1b[B", "\x1b[C"):
        _line(out, KEYS)
        return False
    session.move(1)
    return True


def _play(out: Console, session: Session, player: Player | None, key: str) -> None:
    if player is None:
        _show_paths(out, session)
        return
    baseline = session.baseline() if key in "pb" else None
    bend = session.bend() if key in "po" else None
    heard = [one for one in (baseline, bend) if one is not None]
    if heard:
        player.play(*one_after_the_other(heard))
    else:
        _line(out, "  no baseline was recorded with this key")


def _show(out: Console, toy: Toy, session: Session, files: bool = False) -> None:
    find = session.current
    at, count = session.place
    state = session.state(find)
    _line(out, f"\n{at} of {count}   {find.pair}   {what(find)}   "
               + (f"key {key}   " if (key := pressed(find, session.all_found)) else "")
               + path_words(find)
               + (f"   {afterwards(find)}" if afterwards(find) else "")
               + (f"   ({state})" if state else ""))
    if notes := where(toy, find.pads):
        _line(out, f"  {notes}")
    if alike := session.alike():
        _line(out, f"  alike: {', '.join(one.pair for one in alike)}")
    if files:
        _show_paths(out, session)


def _show_paths(out: Console, session: Session) -> None:
    for name, path in session.paths():
        _line(out, f"  {name:8}  {path}", whole=True)


def _line(out: Console, text: str, whole: bool = False) -> None:
    """Print a line, folded between words unless it must stay whole, like a path."""
    out.print(text, highlight=False, markup=False, soft_wrap=True if whole else None)
