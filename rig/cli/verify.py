"""The command `verify`: does the finished build do what was kept?"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import typer
from rich.console import Console

from rig.bench.byhand import Command, Prompt
from rig.build.patch_bay import bay_of
from rig.build.several import Kept, by_pair
from rig.build.sheet import proposals, see
from rig.build.verified import Build, Verified, load_build, save_build
from rig.choose.picks import load_picks
from rig.cli.benches import open_build
from rig.cli.console import console
from rig.cli.keys import single_keys
from rig.cli.sweep import CAUTIONS
from rig.cli.tables import Column, print_table, where
from rig.cli.terminal import KEYS, Terminal
from rig.errors import ConfigError, Stopped, ToyLost
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.outcomes import sound_words
from rig.project import Project, load_project
from rig.sweep.hand import Leave
from rig.verify import Job, Told, Toy, Tried, Verdict, Verifying, cords, decide, jobs

HELP = """\
Cells only, no adaptor; stop if anything gets warm. All controls open, then wait for each line,
and for the high tone where there is one. Nothing need be typed: the program hears the press.
  a  the last press again      f  the toy froze
  s  leave this control out    Enter  go on: I pressed, and nothing came
  q  leave; run it again to continue
A knob that has no off: unhook one of its wires for as long as others are tried.
Move the wires a little between presses: a cold joint shows so."""

SET = {
    "on": "close {}", "joined": "lay a coin across the domes of {}", "touched": "two fingers on the domes of {}",
    "cord": "a cord between the sockets of {}", "light": "hold the photocell of {} under a lamp, switch it on",
    "dark": "cover the photocell of {}, switch it on",
    "right": "turn knob {} fully right, switch it on",
    "middle": "turn knob {} to its middle, switch it on",
    "left": "turn knob {} fully left, switch it on",
}
"""How a control is set before the press; a rotary switch's positions are said by their numbers."""
READY = {
    "light": "photocell {} under a lamp, off; ", "dark": "photocell {} covered, off; ",
    "cord": "a cord in one socket of {}; ", "right": "knob {} fully right, off; ",
    "middle": "knob {} in its middle, off; ", "left": "knob {} fully left, off; ",
}
"""What is to be ready where it is set as the toy sounds; that is `THEN`."""
THEN = {
    "on": "close {}", "joined": "lay a coin across the domes of {}", "touched": "two fingers on the domes of {}",
    "cord": "its other end into the other", "light": "switch {} on", "dark": "switch {} on", "right": "switch {} on", "middle": "switch {} on", "left": "switch {} on",
}
LONG_PRESS_MS = 300
"""From here on it's said how long a key is held."""


def register(app: typer.Typer) -> None:
    """Add `verify` to the command line."""
    app.command("verify")(verify)


def verify(
    project: Path = typer.Option(Path("."), "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep the picks come from."),
    again: bool = typer.Option(
        False, "--again", help="All once more, five minutes after the first time."
    ),
    other_microphone: bool = typer.Option(
        False, "--other-microphone",
        help="Another microphone, place or shell: another timbre of the open toy doesn't count.",
    ),
    patch_bay: bool = typer.Option(
        False, "--patch-bay", help="The patch bay was built in place of the controls: each cord is tried."
    ),
    listed: bool = typer.Option(False, "--list", help="Show the last verdicts; nothing is asked."),
) -> None:
    """Go through the finished build: does each control do what you kept?

    You set each control and press the key; the program listens.

    Example: padsweep verify --project my-toy
    """
    loaded, out = load_project(project), console()
    command = f"padsweep verify --project {loaded.folder}" + " --patch-bay" * patch_bay
    kept, made = _planned(loaded, name, patch_bay)
    if not listed:
        if loaded.rig.bench == "simulated":
            out.print("simulated: the invented toy is taken to be built as the sheet says")
        else:
            out.print(CAUTIONS)
        _go_through(loaded, name, kept, made, Asker(out, loaded, made, command), again, other_microphone)
    show(out, loaded, made, load_build(loaded.folder), command)


def _planned(project: Project, name: str, patch_bay: bool = False) -> tuple[list[Kept], list[Job]]:
    """Give what is kept and the controls that are fitted for it, or the cords of the patch bay."""
    picks = load_picks(project.folder)
    folder = sweep_folder(project, name)
    if not (folder / "log.db").exists():
        raise ConfigError(f"there is no sweep {name!r} in {project.folder}: what was kept must have been "
                          "heard before it can be verified")  # fmt: skip
    with SweepLog.open(folder, read_only=True) as log:
        seen = see(project, picks, log.records())
    controls = proposals(project, picks, seen)
    kept = by_pair(picks, seen.evidence)
    if patch_bay:
        bay = bay_of(project, kept, controls, seen.trials or {})
        if bay is None:
            raise ConfigError(f"{project.folder}: no patch bay is proposed: see `padsweep controls`")
        return kept, cords(kept, bay)
    made = jobs(kept, controls)
    if not made:
        raise ConfigError(f"{project.folder}: the sheet fits no control: see `padsweep sheet`")
    return kept, made


def _go_through(
    project: Project, name: str, kept: Sequence[Kept], made: Sequence[Job], asker: Asker, again: bool,
    other_microphone: bool,
) -> None:
    """Try what is still to be tried, and store what it came to control by control."""
    folder = project.folder
    build = load_build(folder)
    if again and not any(build.of(job.pair, job.built).at for job in made):
        raise ConfigError(f"{folder}: nothing was verified yet: `{asker.again}`")
    if build.is_done and not again:
        build = Build()
    build = Build(tuple(one for job in made if (one := build.of(job.pair, job.built)).at))
    with (
        SweepLog.open(sweep_folder(project, name), read_only=True) as log,
        single_keys(),
        closing(open_build(project, asker, made)) as bench,
    ):
        run = Verifying(project, bench, log, made, other_microphone=other_microphone)
        try:
            _rounds(project, run, asker, kept, build, again)
        except Leave:
            asker.line(f"left early: `{asker.again}` continues")
        except KeyboardInterrupt:
            raise Stopped(
                "stopped: open all controls; what was heard is stored, and "
                f"`{asker.again}` continues"
            ) from None


def _rounds(
    project: Project, run: Verifying, asker: Asker, kept: Sequence[Kept], build: Build, again: bool
) -> None:
    """Go through the open toy and the controls, then, after five minutes, once more."""
    done = min((one.rounds for one in build.controls if one.rounds), default=0)
    for goal in (done + 1,) if again else (1, 2):
        if all(build.of(job.pair, job.built).rounds >= goal for job in run.jobs):
            continue
        try:
            toy = run.open_toy()
        except ToyLost:
            save_build(project.folder, _not_itself(run, Toy(1, 1, words="it doesn't answer"), build))
            raise
        build = Build(build.controls, toy_words(toy), toy.is_itself)
        asker.note(build.toy)
        if not toy.is_itself:
            save_build(project.folder, _not_itself(run, toy, build))
            if toy.is_colour:
                asker.line(f"is it only the microphone, its place or the shell: `{asker.again} --other-microphone`")
            return
        for job in run.jobs:
            before = build.of(job.pair, job.built)
            if before.rounds >= goal:
                continue
            asker.heading(job)
            try:
                tried = run.try_out(job, asker.note, _stored(before))
            except ToyLost as lost:
                verdict = Verdict("stops the toy", "it didn't come back", next_step=str(lost))
                save_build(project.folder, build.with_one(_verified(job, verdict, (), 0)))
                raise
            if tried is None:
                asker.note("left out")
                continue
            rounds = [*_stored(before), tried]
            verdict = decide(job, rounds, run.jobs, run.misses(job), _kept_words(kept, job))
            build = build.with_one(_verified(job, verdict, rounds, before.rounds + 1))
            save_build(project.folder, build)
            asker.verdict(verdict)
        if goal == 1 and not again:
            asker.line("now five minutes of rest, then all once more: Enter when they are over, q to leave")
            run.wait_again()
    save_build(project.folder, Build(build.controls, build.toy, build.is_itself, is_done=True))


def _not_itself(run: Verifying, toy: Toy, build: Build) -> Build:
    """Give what is to be stored of a toy that isn't itself: no control counts as tried then."""
    build = Build(build.controls, toy_words(toy), is_itself=False)
    for job in run.jobs:
        verdict = Verdict("not tried", "the toy isn't itself with all controls open")
        if job is toy.suspect:
            verdict = Verdict(
                "changes the toy while open", f"with all controls open it sounds like it: {toy.words}",
                next_step="look for solder between its lugs or joints, and whether its switch opens",
            )
        build = build.with_one(_verified(job, verdict, (), 0))
    return build


def toy_words(toy: Toy) -> str:
    """Say what was heard of the toy with all controls open."""
    if not toy.presses:
        return "with all controls open: there is nothing to compare with"
    if toy.is_itself:
        louder = "louder" if toy.louder_db > 0 else "softer"
        level = f", {abs(toy.louder_db):.0f} dB {louder}" if abs(toy.louder_db) >= 1 else ""
        return f"with all controls open it sounds as in the sweep{level}"
    return (
        f"with all controls open it isn't as in the sweep ({toy.words}, {toy.changed} of {toy.presses} "
        "presses): unhook one wire of each control in turn until it is"
    )


def _kept_words(kept: Sequence[Kept], job: Job) -> str:
    find = next(one for one in kept if one.pick.pair == job.pair).evidence[0].find
    return "" if find is None else sound_words(find.sound, find.amount, find.unit)


def _stored(before: Verified) -> list[Tried]:
    """Give the rounds that are stored of a control."""
    found: dict[int, dict[str, list[Told]]] = {}
    opened: dict[int, bool] = {}
    for press in before.heard:
        told = dict(press)
        round_, setting, changed = told.pop("round"), told.pop("setting"), told.pop("changes_open")
        found.setdefault(round_, {}).setdefault(setting, []).append(Told(**told))
        opened[round_] = changed
    return [Tried(heard, opened[round_]) for round_, heard in sorted(found.items())]


def _verified(job: Job, verdict: Verdict, rounds: Sequence[Tried], round_: int) -> Verified:
    heard = tuple(
        {"round": number, "setting": setting, "changes_open": tried.changes_open, **asdict(told)}
        for number, tried in enumerate(rounds, 1) for setting, made in tried.heard.items() for told in made
    )
    return Verified(
        job.pair, job.built, verdict.name, verdict.words, verdict.next_step,
        datetime.now(UTC).isoformat(timespec="seconds"), round_, heard,
    )


def show(out: Console, project: Project, made: Sequence[Job], build: Build, command: str) -> None:
    """Print the verdict of each control, what to do about it, and what they came to; `command` verifies."""
    known = [(job, build.of(job.pair, job.built)) for job in made]
    columns = [Column("no.", stays=True), Column("pads", stays=True), Column("verdict", stays=True),
               Column("heard"), Column("built"), Column("where")]  # fmt: skip
    print_table(out, columns, [
        (str(job.number), job.pair, one.verdict, one.words, job.built, where(project.toy, job.pads))
        for job, one in known
    ])  # fmt: skip
    for job, one in known:
        if one.next_step:
            out.print(f"{job.number} ({job.pair}): {one.next_step}")
    right = sum(one.verdict == "right" for _, one in known)
    alike = sum(one.verdict == "right or swapped" for _, one in known)
    once = sum(one.verdict == "right" and one.rounds < 2 for _, one in known)
    out.print(f"{right} of {len(known)} controls right" + (
        f", {alike} right or swapped with one that sounds alike" if alike else ""
    ) + (
        f", {once} of them heard once only: `{command} --again`" if once else ""
    ))


class Asker(Terminal):
    """The terminal, with the words of a finished build.

    Parameters
    ----------
    console : rich.console.Console
    project : Project
    made : sequence of Job
    again : str
        The command that goes on.
    """

    def __init__(self, console: Console, project: Project, made: Sequence[Job], again: str):
        super().__init__(console, project)
        self.again = again
        self._kinds = {job.number: job.kind for job in made}

    def line(self, text: str) -> None:
        """Show a line."""
        self._line(text)

    def heading(self, job: Job) -> None:
        """Show which control is next."""
        notes = where(self.project.toy, job.pads)
        self._line(f"{job.number} {job.pair}: {job.built}" + (f"   {notes}" if notes else ""))

    def verdict(self, verdict: Verdict) -> None:
        """Show what a control came to."""
        self.note(f"{verdict.name}: {verdict.words}".rstrip(": "))
        if verdict.next_step:
            self.note(verdict.next_step)

    def command(self) -> Command:
        """Give what was typed since the last call."""
        key = self._keys.next()
        if key and key not in KEYS:
            self._line(HELP)
        return KEYS.get(key, "")

    def _line(self, text: str) -> None:
        self.console.print(text)  # folded between words on a terminal

    def _press(self, key: str) -> str:
        held = self.project.toy.keys.get(key)
        if held is None or held.press_ms < LONG_PRESS_MS:
            return f"press {key}"
        return f"press {key} for {held.press_ms / 1000:.1f} s"

    def _words(self, prompt: Prompt) -> str:
        press = self._press(prompt.key)
        why = prompt.why and (f"{prompt.why} " if prompt.why.endswith("?") else f"{prompt.why}: ")
        if prompt.ask == "control":
            position = f"turn {{}} to position {prompt.setting}"
            if prompt.late:
                ready = READY.get(prompt.setting, "").format(prompt.control)
                then = THEN.get(prompt.setting, position).format(prompt.control)
                return f"{why}{ready}{press}, and as it sounds {then}; open at the low tone"
            act = SET.get(prompt.setting, position).format(prompt.control)
            return f"{why}{act}, {press}; open at the low tone"
        if prompt.ask == "room":
            return f"{HELP}\nquiet, please: listening to the room"
        if prompt.ask in ("level", "clean", "bare"):
            return f"{why}all controls open, {press}"
        if prompt.ask == "battery":
            on = ", ".join(self.project.toy.on)
            turn_on = f"press {on} to turn it on, " if on else ""
            return (f"the toy doesn't answer: all controls open, hold reset, or batteries out, count to ten, put them in, "
                    f"{turn_on}then {press}")  # fmt: skip
        if prompt.ask == "quieten":
            return f"{why}all controls open, and {press} until it is quiet (f: it froze)"
        return super()._words(prompt)
