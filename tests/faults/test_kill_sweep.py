"""kill -9 of the whole simulated sweep, continued each time until it ends by itself."""

import random
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path

from killing import padsweep, random_moment, run_and_kill
from rows import facts

from rig.events import SetAside, Unsettled
from rig.log import SweepLog, verify
from rig.project import load_project
from rig.sweep.steps import pair_steps

KILLS = 24
PADS = 8


def test_a_sweep_killed_at_random_moments(tmp_path):
    chance = random.Random(7)
    project = tmp_path / "toy"
    assert run_and_kill(padsweep, "new", str(project), "--simulated", "--seed", "11", "--pads",
                        str(PADS), when=None) == 0
    kills, sweeps, completed_over_kills = 0, 0, 0
    while kills < KILLS:
        sweeps += 1
        folder = project / "sweeps" / f"s{sweeps}"
        words = ("sweep", "--project", str(project), "--name", folder.name)
        before: list = []
        last_intent = 0
        met: Counter = Counter()
        while True:
            # Enough are killed; the last sweep may end.
            moment = None if kills == KILLS else random_moment(
                chance, lambda takes=folder / "takes": len(list(takes.glob("*.flac"))), most=20,
                start_s=0.8, touch_s=0.05)
            code = run_and_kill(padsweep, *words, when=moment)
            assert code in (0, None)
            if (folder / "log.db").exists():
                before, last_intent, unmade = check_after_kill(folder, before, last_intent)
                met.update(unmade)
            if code == 0:
                break
            kills += 1
            completed_over_kills += sum(one.complete for one in before)
        check_whole_sweep(project, folder, met)
    assert completed_over_kills > 10 * KILLS, "hardly anything was at stake: it shows nothing"


def check_after_kill(
    folder: Path, before: list, last_intent: int
) -> tuple[list, int, set[str]]:
    """Nothing complete is gone, every row's take is whole, at most two touches are open.

    `before` and `last_intent` are what this gave after the run before; the last of the three
    are the plan keys of the touches that were begun in this run and have no row.
    """
    log = SweepLog.open(folder, read_only=True)
    assert [line for line in verify(log) if "belongs to no touch" not in line] == []
    records = log.records()
    assert [one.number for one in records] == list(range(1, len(records) + 1))
    complete = [one for one in before if one.complete]
    now = {one.number: one for one in records}
    assert ([now.get(one.number) and facts(now[one.number]) for one in complete]
            == [facts(one) for one in complete])
    # Open is what was begun and came to nothing, without the sweep itself having said why.
    told = {event.touch for event in log.events() if isinstance(event, Unsettled)}
    lasting = {one.number for one in records if one.complete or one.fault} | told
    with closing(sqlite3.connect(f"file:{folder / 'log.db'}?mode=ro", uri=True)) as db:
        begun = db.execute("SELECT intent.id, touch.number, intent.plan_key FROM intent "
                           "LEFT JOIN touch ON touch.intent = intent.id WHERE intent.id > ?",
                           (last_intent,)).fetchall()
    assert len([number for _, number, _ in begun if number not in lasting]) <= 2
    unmade = {plan_key for _, number, plan_key in begun if number is None}
    return records, max((intent for intent, *_ in begun), default=last_intent), unmade


def check_whole_sweep(project: Path, folder: Path, met: Counter) -> None:
    """The sweep that was killed so often came to its end: every pair is in, but those whose
    touch was met by two kills; `met` counts the kills that met each plan key's.
    """
    log = SweepLog.open(folder, read_only=True)
    assert verify(log) == []
    loaded = load_project(project)
    highest = max(loaded.rig.series_ohm)
    aside = {event.plan_key for event in log.events() if isinstance(event, SetAside)}
    wanted = {step.plan_key for step in pair_steps(loaded) if step.series_ohm == highest}
    made = {one.plan_key for one in log.records() if one.complete and not one.fault}
    assert wanted - aside <= made
    assert aside <= {plan_key for plan_key, kills in met.items() if kills >= 2}
