"""Random edits of project folders and command lines: each run ends well, or in one line.

    python tests/fuzz/edits.py --edits 5000 --seed 1
    python tests/fuzz/edits.py --seed 1 --only 1234     # one of them again, with its folder kept

A run may leave with 0 and nothing on standard error, or with another code and one line there. Tracebacks,
reports of what nobody foresaw, warnings and runs without an end are failures, told with what makes
them again. Sweeps are begun on the smallest boards alone, and stopped as a person would stop them.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from types import SimpleNamespace
from unittest import mock

import numpy as np
import soundfile
from editing import edit_command, edit_folder

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit"))
from running import Done, run_main, small_project, swept_project

from rig.bench.simulated.folder import new_simulated_project
from rig.errors import MissingLibrary
from rig.project import new_project

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
BOARD_FILE = "board file.yaml"
STOP_S = 4.0
"""After so long a sweep or demo is stopped as by Ctrl-C."""
BUSY_S = 30.0
"""A run that needs more of the processor hangs; the slowest needs some seconds."""
BLOCKED_S = 600.0
"""So does one that lasts longer, however busy the machine is with other things."""

QUICK = [
    "check --project toy", "check", "replay --project toy", "replay --project toy --list",
    "replay --project toy --keep A-D --note words", "replay --project toy --set-aside A-C --undo A-D",
    "sheet --project toy", "sheet --project toy --out sheet.html", "export --project toy",
    "export --project toy --finds --format json", "export --project toy --all --output rows.csv",
]
SLOW = ["sweep --project toy", "sweep --project toy --name two", "demo --folder toy",
        "judge --project toy --dry-run --jobs 1"]
COMMANDS = {
    "swept": QUICK,
    "small": [*QUICK[:3], "sheet --project toy"],
    "by-hand": ["check --project toy", "sweep --project toy", "sweep --project toy --explore",
                "replay --project toy"],
    "hardware": ["check --project toy", "sweep --project toy", "sheet --project toy"],
    "configs": ["check --project toy", "sheet --project toy"],
    "board": ["new made --simulated --board toy/board?file.yaml"],
    "none": ["new made", "new made --by-hand --pads 16", "new made --simulated --pads 8 --seed 3",
             "judge --before plain.wav plain.wav plain.wav --after bent.wav", "--version", ""],
}
"""What is run on each kind of folder; `?` stands for a space within a word."""


class HangingError(BaseException):
    """A run that didn't end; no handler of the program may take it for one of its own."""


@dataclass
class Tally:
    """What came of the runs."""

    codes: Counter = field(default_factory=Counter)
    lines: Counter = field(default_factory=Counter)
    failures: int = 0
    slowest_s: float = 0.0


def main() -> int:
    """Make the edits that the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--edits", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="the number of one edit")
    parser.add_argument("--lines", action="store_true", help="print the lines that were told")
    given = parser.parse_args()
    tally = Tally()
    kept = Path(tempfile.gettempdir()) / f"padsweep-edit-{given.seed}-{given.only}"
    with tempfile.TemporaryDirectory() as folder, _a_machine_of_its_own(Path(folder)):
        templates = make_templates(Path(folder) / "templates")
        numbers = range(given.edits) if given.only is None else [given.only]
        for number in numbers:
            once(templates, Path(folder) / "work", given.seed, number, tally)
        if given.only is not None:
            shutil.copytree(Path(folder) / "work", kept, dirs_exist_ok=True, symlinks=True)
            print(f"the folder: {kept}")
    for line, count in sorted(tally.lines.items()) if given.lines else ():
        print(f"{count:5}  {line}")
    codes = ", ".join(f"{code}: {count}" for code, count in sorted(tally.codes.items()))
    print(f"{len(numbers)} edits, {tally.failures} failures; exit codes {codes}; "
          f"the slowest took {tally.slowest_s:.1f} s")
    return min(tally.failures, 1)


def make_templates(folder: Path) -> dict[str, Path]:
    """Make a folder of each kind that is edited."""
    made = {name: folder / name / "toy" for name in COMMANDS}
    for one in made.values():
        one.parent.mkdir(parents=True)
        rng = np.random.default_rng(1)
        for name, hz in (("plain", 440.0), ("bent", 660.0)):
            t = np.arange(24_000) / 48_000
            press = np.where((t > 0.1) & (t < 0.3), np.sin(2 * np.pi * hz * t), 0.0)
            noise = 1e-3 * rng.normal(size=t.size)
            soundfile.write(one.parent / f"{name}.wav", 0.3 * press + noise, 48_000)
    swept_project(made["swept"])
    run_main("replay", "--project", made["swept"], "--keep", "A-D", "--note", "for – Käthe")
    small_project(made["small"])
    new_project(made["by-hand"], 6, by_hand=True)
    new_project(made["hardware"], 12, by_hand=False)
    shutil.copytree(CONFIGS / "demo", made["configs"])
    new_simulated_project(made["board"], 1, 8, board=CONFIGS / "boards" / "talker.yaml")
    shutil.copy(CONFIGS / "boards" / "talker.yaml", made["board"] / BOARD_FILE)
    made["none"].mkdir()
    return made


def once(templates: dict[str, Path], work: Path, seed: int, number: int, tally: Tally) -> None:
    """Edit a folder or a command line, run it, and say what was wrong with how it ended."""
    random = Random(f"{seed}:{number}")
    kind = random.choices(list(COMMANDS), (10, 2, 4, 3, 3, 4, 3))[0]
    _remove(work)
    shutil.copytree(templates[kind].parent, work, copy_function=_copy, symlinks=True)
    slow = kind in ("swept", "small") and random.random() < 0.02
    command = random.choice(SLOW if slow else COMMANDS[kind])
    words = [word.replace("?", " ") for word in command.split()]
    edits = []
    if random.random() < 0.75:
        for _ in range(random.choice((1, 1, 1, 2, 3))):
            where = random.choice(["boards", "toy"]) if kind == "none" else "toy"
            edits.append(edit_folder(random, work / where) if (work / where).is_dir() else "none")
    if not edits or random.random() < 0.15:
        words = edit_command(random, words)
    os.chdir(work / "toy" if command == "check" and kind != "none" and (work / "toy").is_dir() else work)
    began = time.monotonic()
    done = run_guarded(words)
    tally.slowest_s = max(tally.slowest_s, time.monotonic() - began)
    tally.codes[done.code] += 1
    tally.lines[done.err.strip()[:200]] += done.code != 0
    wrong = breach(done, work)
    if wrong:
        tally.failures += 1
        print(f"\n--seed {seed} --only {number}: {wrong}\n  {kind}: {edits}\n  padsweep {words!r}"[:2000])
        print("  " + done.err.strip()[-3000:].replace("\n", "\n  "))
        for report in _reports(work):
            print("  " + report.read_text("utf-8")[-3000:].replace("\n", "\n  "), flush=True)


def breach(done: Done, work: Path) -> str:
    """Say what is wrong with how a run ended; "" where nothing is."""
    if _reports(work):
        return "a report of what nobody foresaw"
    if done.code == 0:
        return "something on standard error" if done.err else ""
    if not isinstance(done.code, int):
        return f"no exit code: {done.code!r}"
    if not done.err.startswith("padsweep: ") or done.err.count("\n") != 1:
        return f"code {done.code} without one line"
    return "a traceback" if "Traceback" in done.out + done.err else ""


def _reports(work: Path) -> list[Path]:
    return sorted(p for p in work.rglob("padsweep-report-*.txt") if p.is_file())


def run_guarded(words: list[str]) -> Done:
    """Run the program, stop it if it sweeps for long, and give up on it if it doesn't end."""
    began = time.monotonic()

    def rung(signum, frame):
        if signum == signal.SIGPROF or time.monotonic() - began > BLOCKED_S:
            raise HangingError
        if set(words) & {"sweep", "demo"}:
            raise KeyboardInterrupt

    before = [(one, signal.signal(one, rung)) for one in (signal.SIGALRM, signal.SIGPROF)]
    signal.setitimer(signal.ITIMER_REAL, STOP_S, BLOCKED_S)
    signal.setitimer(signal.ITIMER_PROF, BUSY_S, BUSY_S)
    try:
        return run_main(*words)
    except HangingError as hanging:
        at = hanging.__traceback__
        while at.tb_next:
            at = at.tb_next
        where = at.tb_frame.f_back or at.tb_frame
        return Done(-1, "", f"didn't end: {where.f_code.co_filename}, line {where.f_lineno}")
    finally:
        for timer in (signal.ITIMER_REAL, signal.ITIMER_PROF):
            signal.setitimer(timer, 0)
        for one, handler in before:
            signal.signal(one, handler)


@contextmanager
def _a_machine_of_its_own(folder: Path) -> Iterator[None]:
    """Keep what is run off this machine's sound, processors and temporary folder."""
    def no_portaudio():
        raise MissingLibrary("no sound here")

    silent = SimpleNamespace(query_devices=lambda *_, **__: [], PortAudioError=OSError)
    (folder / "work").mkdir()
    with (
        mock.patch("rig.bench.capture._load", lambda: silent),
        mock.patch("rig.cli.player._portaudio", no_portaudio),
        mock.patch.dict(os.environ, LOKY_MAX_CPU_COUNT="1", COLUMNS="100"),
        mock.patch("tempfile.tempdir", str(folder / "work")),
    ):
        here = Path.cwd()
        try:
            yield
        finally:
            os.chdir(here)


def _copy(source: str, target: str) -> None:
    """Copy a file; takes share their content, since nothing writes into one that is there."""
    if source.endswith(".flac"):
        os.link(source, target)
    else:
        shutil.copy2(source, target)


def _remove(folder: Path) -> None:
    os.chdir(folder.parent)
    for at, folders, _ in os.walk(folder):
        for name in folders:
            if not (Path(at) / name).is_symlink():
                (Path(at) / name).chmod(0o755)
    shutil.rmtree(folder)


if __name__ == "__main__":
    sys.exit(main())
