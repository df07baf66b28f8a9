"""A toy that was swept, some of its sounds kept, and the person who goes through the finished build."""

import re

from rig.bench.byhand import Prompt
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.built import Build, wired
from rig.bench.simulated.folder import new_simulated_project, project_board
from rig.build.several import by_pair
from rig.build.sheet import proposals, see
from rig.choose import keep, load_picks
from rig.log import SweepLog
from rig.log.opening import open_log, sweep_folder
from rig.project import load_project
from rig.sweep import Sweep
from rig.verify import jobs

SEED, KIND, KEPT = 620, "sampler", {"C-E": 36_000, "D-G": 9800, "F-G": 9800}
"""An invented toy, and pairs of it that bend over so many ohms (looked up beforehand)."""


def new_swept(folder, seed=SEED, kind=KIND, kept=KEPT, forbidden="ABH"):
    """Sweep an invented toy into a new folder, but for some pads, and keep some of its sounds."""
    new_simulated_project(folder, seed, 8, kind)
    toy, rig = folder / "toy.yaml", folder / "rig.yaml"
    toy.write_text(
        re.sub(rf"(?m)^  ([{forbidden}]): .*$", r"  \1: {forbidden: true}", toy.read_text("utf-8")), "utf-8"
    )
    rig.write_text(re.sub(r"series_ohm: .*", "series_ohm: [6800, 33000]", rig.read_text("utf-8"))
                   + "\nsweep:\n  baseline_takes: 8\n", "utf-8")  # fmt: skip
    project = load_project(folder)
    with open_log(project, "main") as log:
        Sweep(project, SimulatedBench(project), log).run()
    for pair, ohm in kept.items():
        keep(folder, pair, at_ohm=ohm)
    return folder


class Person:
    """Says what a script has for the n-th prompt of a control, and notes what is shown."""

    def __init__(self, script=None):
        self.script = script or {}
        self.asked: list[Prompt] = []
        self.notes: list[str] = []
        self.answers: list[str] = []

    def say(self, prompt):
        self.asked.append(prompt)
        count = sum(one.control == prompt.control and one.ask == prompt.ask for one in self.asked)
        if word := self.script.get((prompt.ask, prompt.control, count)):
            self.answers.append(word)

    def note(self, text):
        self.notes.append(text)

    def tone(self, name):
        raise AssertionError("the hands have the tones")

    def command(self):
        answer = self.answers.pop(0) if self.answers else ""
        if answer == "interrupt":
            raise KeyboardInterrupt
        return answer

    def which(self):
        return None


def planned(folder):
    """Give a swept project, its log and the sheet's controls."""
    project = load_project(folder)
    log = SweepLog.open(sweep_folder(project, "main"), read_only=True)
    picks = load_picks(folder)
    seen = see(project, picks, log.records())
    return project, log, jobs(by_pair(picks, seen.evidence), proposals(project, picks, seen))


def built(project, made, **more):
    """Give the build as the sheet has it, then changed: `n=...` is of control n."""
    controls = {job.number: wired(job.pads, {one.name: one.ohm for one in job.settings}) for job in made}
    return Build(project_board(project), controls, **more)
