"""The command that judges stored takes again, or any recordings: `padsweep judge`."""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import joblib
import typer

from rig.cli.console import console
from rig.cli.progress import track
from rig.cli.recordings import Form, SeveralValues, judge_recordings
from rig.cli.sweep import DEFAULT_NAME, sweep_folder
from rig.errors import MissingLibrary, RigError
from rig.listen import JUDGE
from rig.log import SweepLog
from rig.project import load_project
from rig.sweep.rejudge import judgeable, rejudge


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
    out = console()
    with _on(cluster):
        for folder in project:
            out.print(_rejudge(folder, name, jobs, dry_run, out))


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


def _rejudge(folder: Path, name: str, jobs: int, dry_run: bool, out) -> str:
    path = sweep_folder(load_project(folder), name)
    changed: Counter[tuple[str, str]] = Counter()
    news = 0
    with SweepLog.open(path, read_only=dry_run) as log:
        total = len(judgeable(log.records()))
        for one in track(out, f"judging {folder}", total, rejudge(log, jobs)):
            if not one.is_news:
                continue
            news += 1
            if one.record.sound != one.judgement.sound:
                changed[one.record.sound or "not judged", one.judgement.sound] += 1
            if not dry_run:
                log.judged(one.record.number, one.judgement)
    words = "; ".join(
        f"{old} -> {new}: {count}" for (old, new), count in sorted(changed.items())
    )
    told = "would be new" if dry_run else "are new"
    return (
        f"{folder}: {total} takes judged by judge {JUDGE}, {news} judgements {told}, "
        f"{sum(changed.values())} with another word" + (f" ({words})" if words else "")
    )


@contextlib.contextmanager
def _on(cluster: str | None) -> Iterator[None]:
    """Judge on a Dask cluster, where one is given."""
    if cluster is None:
        yield
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
    with client, joblib.parallel_config("dask"):
        yield
