"""The command for listening and choosing: `padsweep replay`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import typer
from rich.console import Console

from rig.choose import Find, Session, by_taste, finds, load_picks, remove
from rig.choose.matching import Named, decision, find_named, is_same, named
from rig.choose.picks import PICKS
from rig.choose.replay import (
    decided,
    keep_find,
    one_after_the_other,
    set_find_aside,
    set_pair_aside,
    undo_find,
)
from rig.cli.console import console
from rig.cli.keys import ask_line, at_terminal, read_key, single_keys
from rig.cli.player import Player
from rig.cli.tables import afterwards, path_words, pressed, print_finds, what, where
from rig.errors import BenchError, ConfigError, RigError
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.log.takes import TAKES
from rig.project import Toy, load_project
from rig.words import ohms, short_ohms

KEYS = """\
p play baseline and bend   b baseline alone   o bend alone
< over less resistance   > over more
k keep   n keep with a note   s set aside   u undo
Enter next   - back   q quit"""
STEPS = {"<": -1, ">": 1}
"""Keys that go through the paths of a pair, from the lowest up."""
HERE = Path(".")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("replay")(replay)


def replay(
    project: Path = typer.Option(HERE, "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in the folder."),
    listing: bool = typer.Option(False, "--list", help="List the finds, best first, and leave."),
    kept: list[str] = typer.Option(
        [], "--keep", metavar="SOUND", help='Keep it: C-F, or "C-F 3.6k" (a key may follow).'
    ),
    aside: list[str] = typer.Option(
        [], "--set-aside", metavar="SOUND", help="Set it aside; C-F: all of the pair."
    ),
    undone: list[str] = typer.Option(
        [], "--undo", metavar="SOUND", help="Take a choice back; C-F: all of the pair."
    ),
    played: str | None = typer.Option(None, "--play", metavar="SOUND", help="Play one."),
    note: str | None = typer.Option(None, "--note", help="Your words about the kept one."),
    again: bool = typer.Option(False, "--again", help="Also go through what was decided."),
) -> None:
    """Hear each find next to the toy's own sound, and keep it or set it aside.

    At a terminal it goes through the finds with single keys; in a pipe it lists them. What
    is kept stands in picks.yaml, which may be edited by hand: pair, resistance and key. A pair may
    have several sounds, each over resistances of its own; a pair alone means the best of them.

    Example: padsweep replay --project my-toy --keep C-F --note "stutters, robot"
    """
    loaded = load_project(project)
    folder = loaded.folder
    if note is not None and len(kept) != 1:
        raise RigError("--note belongs to one kept pair or sound: give it with one --keep C-F")
    load_picks(folder)  # a file that can't be read is told before anything is played
    log = SweepLog.open(sweep_folder(loaded, name), read_only=True)
    found = finds(log.records(), loaded.rig.sweep.false_discovery)
    out = console()
    if kept or aside or undone:
        _decide(
            out, loaded.toy, folder, found, kept=kept, aside=aside, undone=undone, note=note
        )
    if played is not None:
        _play_one(out, loaded.toy, find_named(found, played), log, folder)
    if listing or not (kept or aside or undone or played or at_terminal()):
        shown = by_taste(found, load_picks(folder, set_aside=True))
        print_finds(out, shown, loaded.toy, choices=_choices(folder, found))
        if found:
            _line(out, f"takes: {log.folder / TAKES}, by their number")
        if not listing and found:
            _line(out, f"next: padsweep replay --project {project} --keep "
                       f'{_quoted(found[0].label)} --note "..."')
    elif not (kept or aside or undone or played):
        _go_through(out, loaded.toy, Session(found, log, folder, again))


def _quoted(label: str) -> str:
    return f'"{label}"' if " " in label else label


def _choices(folder: Path, found: Sequence[Find]) -> dict[str, str]:
    """Give what was decided about each find, with the person's words, by its label."""
    told = {}
    entries = load_picks(folder, set_aside=True)
    for find in found:
        made = decision(entries, found, find)
        if made is not None:
            entry, is_it = made
            words = ", ".join(word for word in (entry.name, entry.note) if word and is_it)
            said = decided(entries, found, find)
            told[find.label] = f"{said}: {words}" if words else said
    return told


def _decide(out: Console, toy: Toy, folder: Path, found: Sequence[Find], *, kept: Sequence[str],
            aside: Sequence[str], undone: Sequence[str], note: str | None) -> None:
    # Every one is looked at first: a wrong one among several changes nothing.
    to_keep, to_set_aside = (
        [(find_named(found, text), named(text)) for text in texts] for texts in (kept, aside)
    )
    to_undo = [named(text) for text in undone]
    for find, wanted in to_keep:
        keep_find(folder, found, find, note, exact=wanted.at_ohm is not None)
        _line(out, f"{_told(find)}: kept, in {folder / PICKS}{_noted(toy, find)}")
    for find, wanted in to_set_aside:
        if wanted.at_ohm is None and wanted.key is None:
            set_pair_aside(folder, found, find.pair)
        else:
            set_find_aside(folder, found, find, exact=wanted.at_ohm is not None)
        name = find.pair if wanted.at_ohm is None and wanted.key is None else _told(find)
        _line(out, f"{name}: set aside, in {folder / PICKS}{_noted(toy, find)}")
    for text, wanted in zip(undone, to_undo, strict=True):
        there = _undo(folder, found, text, wanted)
        name = wanted.pair if wanted.at_ohm is None else text
        _line(out, f"{name}: {'no longer' if there else 'was not'} in {folder / PICKS}")


def _told(find: Find) -> str:
    """Name a find with its resistance, where it has one to keep."""
    if find.apart or find.stops_only or find.best_path_ohm is None:
        return find.label
    return f"{find.pair} {short_ohms(find.best_path_ohm)}"


def _undo(folder: Path, found: Sequence[Find], text: str, wanted: Named) -> bool:
    """Take out the entry of a sound, or all of a pair; says if there was one."""
    if wanted.at_ohm is None and wanted.key is None:
        return remove(folder, wanted.pair)
    for entry in load_picks(folder, set_aside=True):  # one may be there that no sweep knows
        same = entry.at_ohm is not None and wanted.at_ohm is not None and is_same(
            entry.at_ohm, wanted.at_ohm)  # fmt: skip
        if entry.pair == wanted.pair and same and wanted.key in (None, entry.key):
            return remove(folder, wanted.pair, entry)
    try:
        find = find_named(found, text)
    except ConfigError:  # nothing was heard there, so nothing can stand for it
        return False
    return undo_find(folder, found, find, exact=wanted.at_ohm is not None)


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
                if moved and session.current is not None:
                    _show(out, toy, session, files=player is None)
                    if key in STEPS and player is not None:
                        _play(out, session, player, "p")
            except RigError as trouble:
                _line(out, f"  {trouble}")
    if player:
        player.stop()
    entries = load_picks(session.folder, set_aside=True)
    aside = sum(one.set_aside for one in entries)
    _line(out, f"{len(entries) - aside} kept, {aside} set aside, in {session.folder / PICKS}")


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
    elif key in STEPS:
        if session.step(STEPS[key]):
            return True
        _line(out, f"  it was heard over no {'less' if key == '<' else 'more'}")
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
    _line(out, f"\n{at} of {count}   {find.label}   {what(find)}   "
               + (f"key {key}   " if (key := pressed(find, session.all_found)) else "")
               + (f"over {ohms(find.best_path_ohm)}" if session.is_along else path_words(find))
               + (", seen once" if session.is_once else "")
               + (f"   {afterwards(find)}" if afterwards(find) else "")
               + (f"   ({state})" if state else ""))
    if notes := where(toy, find.pads):
        _line(out, f"  {notes}")
    if alike := session.alike():
        _line(out, f"  alike: {', '.join(one.label for one in alike)}")
    if files:
        _show_paths(out, session)


def _show_paths(out: Console, session: Session) -> None:
    for name, path in session.paths():
        _line(out, f"  {name:8}  {path}", whole=True)


def _line(out: Console, text: str, whole: bool = False) -> None:
    """Print a line, folded between words unless it must stay whole, like a path."""
    out.print(text, highlight=False, markup=False, soft_wrap=True if whole else None)
