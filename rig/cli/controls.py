"""The command that measures what is kept and proposes what to fit: `padsweep controls`."""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import typer
from rich.console import Console

from rig.build.pieces import in_series
from rig.build.positions import heard_at
from rig.build.proposing import CONTROL_COLUMNS, Board, Proposed, propose_all
from rig.build.sheet import proposals, see
from rig.build.together import Combination
from rig.choose.picks import Pick, load_picks
from rig.choose.sounds import as_wav
from rig.cli.console import console
from rig.cli.export import Format, chosen_format, write_new
from rig.cli.progress import SweepView
from rig.cli.sweep import CAUTIONS, run_at_hands, run_at_rig
from rig.cli.tables import Column, print_table
from rig.cli.terminal import Terminal
from rig.errors import RigError
from rig.events import SweepDone
from rig.files import make_folder, replace_file
from rig.log import Record, SweepLog
from rig.log.export import as_text
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import Project, load_project
from rig.sweep.measuring import Wanted, pick_steps, together_steps, together_target
from rig.sweep.run import Run
from rig.sweep.steps import Step
from rig.words import ohms


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("controls")(controls)


def controls(
    project: Path = typer.Option(Path("."), "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep the picks come from."),
    measure: bool = typer.Option(
        False, "--measure", help="Touch each pick over all values first, down and up again."
    ),
    together: bool = typer.Option(
        False, "--together", help="Try the picks two at a time first, those not tried yet."
    ),
    form: Format | None = typer.Option(
        None, "--format", help="csv or json: a row for each pick; without it a table to read."
    ),
    output: Path | None = typer.Option(None, "--output", help="Write the rows to this file."),
    sounds: Path | None = typer.Option(
        None, "--sounds", metavar="FOLDER",
        help="Write what each knob and stepped switch sounds like at its positions, as WAV files.",
    ),
    force: bool = typer.Option(False, "--force", help="Overwrite files that are there."),
) -> None:
    """Measure what you kept, and propose what to fit for each: switch, knob, values, and why.

    Without --measure it goes by what the sweep has heard, and says what wasn't measured. What you
    have in the drawer stands in rig.yaml under `parts:`, what you wish for in picks.yaml as `control:`.

    Example: padsweep controls --project my-toy --measure --together
    """
    loaded = load_project(project)
    picks = load_picks(loaded.folder)
    records = _records(loaded, name)
    proposals(loaded, picks, see(loaded, picks, None))  # a pick that can't be built is told first
    out = console()
    if measure or together:
        _measure(out, loaded, name, picks, measure=measure, together=together)
        records = _records(loaded, name)
    board = propose_all(loaded, picks, records)
    if sounds is not None:
        _write_sounds(out, sounds, board, SweepLog.open(sweep_folder(loaded, name), read_only=True), force)
        return
    if form is not None or output is not None:
        form = chosen_format(form, output)
        text = as_text([one.row for one in board.picks], CONTROL_COLUMNS, form.value)
        if output is None:
            sys.stdout.write(text)
        else:
            write_new(output, text, force)
        return
    _show(out, loaded, board)
    if records is None:
        out.print(f"there is no sweep {name!r} in this folder, so nothing is known of these pairs")
    elif not all(one.course.is_measured for one in board.picks if one.course):
        _line(out, f"not measured yet: padsweep controls --project {project} --measure")
    if any(one.told == "never tried" for one in board.together):
        _line(out, f"not tried yet: padsweep controls --project {project} --together")


def _records(project: Project, name: str) -> list[Record] | None:
    folder = sweep_folder(project, name)
    if not (folder / "log.db").exists():
        return None
    return SweepLog.open(folder, read_only=True).records()


# Measuring


def _measure(
    out: Console, project: Project, name: str, picks: Sequence[Pick], *, measure: bool, together: bool
) -> None:
    """Have the touches made that the log doesn't have; first the picks alone, then two at a time."""
    if _records(project, name) is None:
        raise RigError(f"{sweep_folder(project, name)}: nothing was swept yet, so nothing can be "
                       "measured: run `padsweep sweep` first")  # fmt: skip
    if project.rig.bench != "simulated":
        out.print(CAUTIONS)
    if measure:
        board = propose_all(project, picks, _records(project, name))
        wanted = _wanted(out, project, board.picks)
        _run(out, project, name, pick_steps(project, wanted), "--measure")
    if together:
        # What is fitted may hang on what was just measured.
        board = propose_all(project, picks, _records(project, name))
        _run(out, project, name, _together(project, board), "--together")


def _wanted(out: Console, project: Project, picks: Sequence[Proposed]) -> list[Wanted]:
    """Give the picks that can be measured, each pair with each key once; says of the others why not."""
    wanted: dict[Wanted, None] = {}
    for one in picks:
        if not one.pick.is_single_pair:
            _line(out, f"{one.pick.label}: not measured: only two pads are")
        elif one.evidence.find is None or one.key is None:
            _line(out, f"{one.pick.label}: not measured: the sweep found nothing there")
        elif one.evidence.find.stops_only:
            _line(out, f"{one.pick.label}: not measured: it only stops the toy")
        elif one.key and one.key not in project.sweep_keys:
            _line(out, f"{one.pick.label}: not measured: the sweep no longer presses {one.key}")
        else:
            first, second = one.pick.pads
            wanted[Wanted((first, second), (one.key,) if one.key else ())] = None
    return list(wanted)


def _together(project: Project, board: Board) -> list[Step]:
    """Give the touches that try what isn't known yet."""
    targets = [
        together_target(project, one.closed, key)
        for one in board.together if one.verdict == "not known" and one.closed for key in one.keys
    ]
    return together_steps(one for one in dict.fromkeys(targets) if one is not None)


def _run(out: Console, project: Project, name: str, steps: Sequence[Step], option: str) -> None:
    if not steps:
        return
    again = f"padsweep controls --project {project.folder} {option}"
    if project.rig.bench == "by-hand":
        done, _ = run_at_hands(project, name, Terminal(out, project), partial(_touch, steps), again=again)
        if done is None:
            raise RigError(f"left early: `{again}` continues")
    else:
        run_at_rig(project, name, SweepView(out, project.toy, quiet=True), partial(_touch, steps),
                   again=again)  # fmt: skip


def _touch(steps: Sequence[Step], run: Run) -> SweepDone | None:
    return run.measure(steps)


# Showing


def _show(out: Console, project: Project, board: Board) -> None:
    columns = [Column("no."), Column("pads", stays=True), Column("control", stays=True),
               Column("in series", label="in series "), Column("reason")]  # fmt: skip
    print_table(out, columns, [
        (
            str(one.number), one.pick.label, one.control.part,
            in_series(one.control).replace(" (yours)", ", yours"), _reason(one),
        )
        for one in board.picks
    ])  # fmt: skip
    _show_together(out, board.together)
    if stops := dict.fromkeys(str(one.number) for one in board.picks if one.control.stops):
        _line(out, f"by itself, whatever else is on, {' and '.join(stops)} stops the toy: the reset button ends it")
    if board.patch_bay is not None:
        _show_patch_bay(out, board)


def _show_together(out: Console, together: Sequence[Combination]) -> None:
    """Say which two may be on at once: those that stop the toy with the wiring that keeps them apart."""
    if safe := [one for one in together if one.verdict == "safe"]:
        _line(out, f"together, tried: {_numbers(safe)}")
    for one in together:
        if one.verdict == "freezes":
            _line(out, f"together, {_numbers([one])}: will freeze: {one.told}. {one.wiring}")
    unknown: dict[str, list[Combination]] = defaultdict(list)
    for one in together:
        if one.verdict == "not known":
            unknown[one.told].append(one)
    for told, mine in unknown.items():
        _line(out, f"together, {told}: {_numbers(mine)}; try by hand, with the reset at hand")


def _numbers(together: Sequence[Combination]) -> str:
    return ", ".join(f"{one.first} and {one.second}" for one in together)


def _reason(one: Proposed) -> str:
    """Say why, where it was kept, and what wasn't measured."""
    kept = "" if one.at_ohm is None or one.pick.at_ohm is not None else f"kept at {ohms(one.at_ohm)}. "
    course = one.course
    told = "" if course is None or course.is_measured or course.told in one.control.why else course.told
    return f"{kept}{one.control.reason} {told}".strip()


def _show_patch_bay(out: Console, board: Board) -> None:
    bay = board.patch_bay
    assert bay is not None
    _line(out, "or a patch bay, the cheapest: a socket for each pad with its resistor, and a cord: "
               + ", ".join(f"{pad} {ohms(ohm)}" for pad, ohm in bay.sockets))
    plays = "; ".join(f"{one.pair} {ohms(one.ohm)}" + (f", {one.plays}" if one.plays else "") for one in bay.plays)
    _line(out, f"  a cord plays: {plays or 'none of them'}")
    if bay.left_out:
        _line(out, f"  not by a cord, fit its own control: {', '.join(map(str, bay.left_out))}")
    if bay.never:
        _line(out, "  never join: " + "; ".join(f"{a}-{b}, {why}" for a, b, why in bay.never))
    if bay.untried:
        _line(out, "  never tried over so little: " + ", ".join(f"{a}-{b}" for a, b in bay.untried))


def _write_sounds(out: Console, folder: Path, board: Board, log: SweepLog, force: bool) -> None:
    """Write the take nearest to each position of knobs and stepped switches."""
    records = log.records()
    count = 0
    try:
        make_folder(folder)
        for one in {one.number: one for one in reversed(board.picks)}.values():
            for at in heard_at(one.control, one.pick.pair, one.key, records):
                path = folder / f"{one.number:02d}-{one.pick.pair}-{at.stem}.wav"
                if path.exists() and not force:
                    raise RigError(f"{path}: is there already; give --force to overwrite it")
                samples, rate_hz = log.read_take(at.record.number)
                replace_file(path, as_wav(samples, rate_hz))
                count += 1
                if at.is_far:
                    _line(out, f"{path.name}: the nearest touch was over {ohms(at.record.path_ohm or 0.0)}")
    except OSError as trouble:
        raise RigError(f"{folder}: can't be written: {trouble.strerror}; give another folder with "
                       "--sounds") from trouble  # fmt: skip
    if not count:
        raise RigError(f"{log.folder}: no knob and no stepped switch is proposed, so there is nothing to hear")
    _line(out, f"{folder}: {count} takes, each at the position of its control that is nearest")


def _line(out: Console, text: str) -> None:
    out.print(text, highlight=False, markup=False)
