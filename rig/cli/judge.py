"""The command that judges stored takes again, or any recordings: `padsweep judge`."""

from __future__ import annotations

import contextlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

import typer
from rich.console import Console

from rig.choose import Find, finds
from rig.cli.console import console
from rig.cli.progress import track
from rig.cli.recordings import Form, SeveralValues, judge_recordings
from rig.cli.tables import path_words
from rig.errors import MissingLibrary, RigError
from rig.listen import JUDGE
from rig.log import Record, SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import load_project
from rig.sweep.cluster import on_cluster
from rig.sweep.rejudge import Rejudged, Run, in_processes, judgeable, rejudge

MOST_NAMED = 8
"""Takes or pairs that are named in one line."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("judge", cls=SeveralValues)(judge)


def judge(
    context: typer.Context,
    project: list[Path] = typer.Option(
        [Path(".")], "--project", help="A project folder; may be given several times."
    ),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in each folder."),
    jobs: int = typer.Option(-1, "--jobs", help="Processes to judge with; -1: one a core."),
    cluster: str | None = typer.Option(
        None, "--cluster", help="Address of a Dask scheduler to judge on, tcp://HOST:PORT."
    ),
    dry_run: bool = typer.Option(False, "--dry-run", help="Say what would change, write nothing."),
    before: list[str] = typer.Option(
        [], "--before", metavar="FILE...", help="Recordings of the toy by itself, best 3 or more."
    ),
    after: list[str] = typer.Option(
        [], "--after", metavar="FILE...", help="Recordings to be judged against these."
    ),
    form: Form = typer.Option(Form.text, "--format", help="text or json, of recordings."),
) -> None:
    """Judge the stored takes of sweeps again; earlier judgements are kept beside the new.
    With --before and --after: judge any recordings, WAV or FLAC, that no rig made.

    Example: padsweep judge --project my-toy --project other-toy
    Example: padsweep judge --before plain-*.wav --after bent-1.wav bent-2.wav
    """
    if before or after:
        _only_recordings(context)
        if not before or not after:
            lacking = "--before" if after else "--after"
            raise RigError(f"--before and --after belong together: give {lacking} FILE, too")
        judge_recordings(before, after, form)
        return
    if "form" in _given(context):
        raise RigError("--format is for recordings: give it with --before and --after")
    if jobs == 0 or jobs < -1:
        raise RigError(f"--jobs must be 1 or more, or -1 for one a core, is {jobs}")
    if cluster is not None and "jobs" in _given(context):
        raise RigError("--jobs is for the processes of this machine; leave it out with --cluster")
    out = console()
    with _runner(jobs, cluster) as run:
        for folder in project:
            out.print("\n".join(_rejudge(folder, name, run, dry_run, out)))


def _given(context: typer.Context) -> set[str]:
    """Give the names of the parameters that stood on the command line."""
    return {
        name for name in context.params
        # by its name: typer brings an enumeration of its own, click may have another
        if getattr(context.get_parameter_source(name), "name", None) == "COMMANDLINE"
    }


def _only_recordings(context: typer.Context) -> None:
    stored = _given(context) - {"before", "after", "form"}
    if stored:
        options = {param.name: param.opts[0] for param in context.command.params}
        raise RigError(
            f"{', '.join(sorted(options[name] for name in stored))}: for stored takes, "
            "--before and --after for recordings; give one or the other"
        )


def _rejudge(folder: Path, name: str, run: Run, dry_run: bool, out: Console) -> list[str]:
    """Judge a sweep's takes again, and say what it came to."""
    project = load_project(folder)
    told: list[Rejudged] = []
    with SweepLog.open(sweep_folder(project, name), read_only=dry_run) as log:
        records = log.records()
        total = len(judgeable(records))
        for one in track(out, f"judging {folder.resolve().name}", total, rejudge(log, run)):
            told.append(one)
            if one.is_news and not dry_run:
                log.judged(one.record.number, one.judgement)
    lines = [_words_told(folder, told), *_changed_words(told)]
    now = {one.record.number: one.now for one in told}
    lines += _changed_finds(*(
        _by_pair(finds(made, project.rig.sweep.false_discovery))
        for made in (records, [now.get(one.number, one) for one in records])
    ))
    if moved := sum(one.is_news and not one.has_another_word for one in told):
        lines.append(f"  in {moved} takes only figures moved (amount, score, p value)")
    if dry_run:
        lines.append("  nothing was written (--dry-run)")
    return lines


def _words_told(folder: Path, told: Sequence[Rejudged]) -> str:
    if not told:
        return f"{folder}: no take is there to be judged"
    others = sum(one.has_another_word for one in told)
    return (
        f"{folder}: {len(told)} takes judged again (judge {JUDGE}), "
        + (f"{others} of them with another word than before" if others
           else "each with the same word as before")
    )


def _changed_words(told: Sequence[Rejudged]) -> list[str]:
    """Say which takes have another word, those with the same change in a line."""
    changed: dict[tuple[str, str], list[Record]] = defaultdict(list)
    for one in told:
        if one.has_another_word:
            changed[_word(one.judgement.sound), _word(one.record.sound)].append(one.record)
    lines = []
    for (new, old), made in sorted(changed.items()):
        made.sort(key=lambda one: one.number)
        takes = [f"{one.number} ({_touched(one)})" for one in made]
        lines.append(f"  now {new}, before {old}: take{'s' * (len(made) > 1)} {_some(takes)}")
    return lines


def _word(sound: str | None) -> str:
    return {None: "not judged", "none": "no change"}.get(sound, sound)


def _touched(record: Record) -> str:
    return record.target.name or "nothing bridged"


def _by_pair(found: Sequence[Find]) -> dict[str, list[Find]]:
    """Gather the sounds of each pair, from the lowest path up."""
    sounds = defaultdict(list)
    for one in sorted(found, key=lambda one: (one.key, one.path_min_ohm or 0.0)):
        if one.sound != "none":
            sounds[one.pair].append(one)
    ranked = dict.fromkeys(one.pair for one in found)
    return {pair: sounds[pair] for pair in ranked if pair in sounds}


def _changed_finds(before: dict[str, list[Find]], now: dict[str, list[Find]]) -> list[str]:
    """Say which pairs change or silence the sound now and didn't, or did and don't, or do it otherwise."""
    came = [pair for pair in now if pair not in before]
    went = [pair for pair in before if pair not in now]
    lines = [f"  {len(now)} pairs change or silence the sound"]
    if not came and not went:
        lines[0] += ", the same as before"
    else:
        lines[0] += f", before {len(before)}"
    if came:
        lines.append(f"  new: {_some([f'{pair} ({_does(now[pair])})' for pair in came])}")
    if went:
        lines.append(f"  gone: {_some([f'{pair} ({_does(before[pair])})' for pair in went])}")
    lines += [
        f"  {pair}: now {_does(now[pair])}, before {_does(before[pair])}"
        for pair in now
        if pair in before and [one.sound for one in now[pair]] != [one.sound for one in before[pair]]
    ]
    return lines


def _does(sounds: Sequence[Find]) -> str:
    """Say what a pair does, and over what where it's more than one thing."""
    told = [one.words for one in sounds]
    if len(told) > 1:
        told = [f"{said} over {path_words(one)}" for said, one in zip(told, sounds, strict=True)]
    return "; ".join(told)


def _some(named: Sequence[str]) -> str:
    """Name the first ones, and say how many more there are."""
    more = len(named) - MOST_NAMED
    return ", ".join(named[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


@contextlib.contextmanager
def _runner(jobs: int, cluster: str | None) -> Iterator[Run]:
    """Give what does the jobs: processes of this machine, or a Dask cluster."""
    if cluster is None:
        yield in_processes(jobs)
        return
    try:
        from distributed import Client
    except ImportError:
        raise MissingLibrary(
            "--cluster needs Dask, which isn't installed: pip install 'padsweep[cluster]'"
        ) from None
    try:
        client = Client(cluster, timeout=10)
    except (OSError, ValueError) as trouble:
        raise RigError(f"no Dask scheduler answers at {cluster} ({trouble})") from None
    with client:
        yield on_cluster(client)
