"""A whole sweep by hand over the real sound path: a person's stand-in reads, bridges and presses.

The sweep runs as a person would run it. Person and toy are a
process of their own, heard through a sound server and PortAudio. What is found is held
against a sweep of the same toy with the same path by the simulated rig.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from emulated_rig import PADSWEEP, export, padsweep
from emulator import hurry

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))

from hands import write_project

from rig.log import SweepLog, verify

SEED, PADS, LEADS, PATH_OHM = 218, 8, "ABCDE", 10_000
"""No threshold was chosen on this board. It must be turned on after its batteries were out."""

LEAD_OHM = 2_000
TAPS_AT = 3
"""At this touch the person taps twice instead: the one before is made again."""

RIG = f"""\
bench: simulated
lead_ohm: {LEAD_OHM}
switch_ohm: 0
series_ohm: [{PATH_OHM - 2 * LEAD_OHM}]
simulated: {{seed: {SEED}, pads: {PADS}}}
sweep: {{baseline_takes: 8}}
"""


@pytest.fixture(scope="module")
def by_rig(tmp_path_factory):
    """The finds of the simulated rig: pairs, and whether they stop the toy."""
    folder = write_project(tmp_path_factory.mktemp("rig") / "toy", SEED, PADS, LEADS)
    (folder / "rig.yaml").write_text(RIG)
    done = padsweep("sweep", "--project", str(folder))
    assert done.returncode == 0, done.stderr
    return pair_facts(folder)


@pytest.fixture(scope="module")
def by_hand(sound_server, tmp_path_factory):
    """The project swept by hand, what the sweep said, and the person's own record."""
    folder = tmp_path_factory.mktemp("hand")
    project = write_project(
        folder / "toy", SEED, PADS, LEADS, PATH_OHM, take_ms=800, wait_s=4, device="toymic"
    )
    env = sound_server.env | {"OPENBLAS_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
    began = time.monotonic()
    with (folder / "complaints").open("w+") as complaints, subprocess.Popen(
        [*PADSWEEP, "sweep", "--project", str(project)], env=env,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=complaints,
    ) as sweep, subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("hand_process.py")),
         f"--seed={SEED}", f"--pads={PADS}", f"--path-ohm={PATH_OHM}",
         f"--record={folder / 'person.jsonl'}", f"--tap-at={TAPS_AT}"],
        env=env, stdin=sweep.stdout, stdout=sweep.stdin,
    ) as person:
        sweep.stdout.close()  # the person alone reads it, and answers
        sweep.stdin.close()
        for process in (sweep, person):
            hurry(process.pid)
        try:
            sweep.wait(timeout=300)
        finally:
            sweep.kill()
            person.terminate()
    told = (folder / "complaints").read_text()
    lines = [json.loads(line) for line in (folder / "person.jsonl").read_text().splitlines()]
    said = "\n".join(f"{one['at_s']:7.2f} {one['line']}" for one in lines)
    print(said)
    print(f"wall {time.monotonic() - began:.0f} s, {told}")
    assert sweep.returncode == 0, told
    return project, lines


def pair_facts(folder: Path) -> set[tuple]:
    return {(one["pads_1"], one["pads_2"], one["after"] == "freeze")
            for one in export(folder, "--finds")}


def test_the_finds_are_those_of_the_rig(by_hand, by_rig):
    project, _ = by_hand
    assert pair_facts(project) == by_rig
    assert {stops for *_, stops in by_rig} == {True, False}


def test_every_pair_is_in_the_log_with_its_take_and_the_log_is_whole(by_hand):
    project, _ = by_hand
    with SweepLog.open(project / "sweeps" / "main", read_only=True) as log:
        assert verify(log) == []
        records = [r for r in log.records() if r.kind == "sweep" and r.complete]
    assert len({(r.pads_1, r.pads_2) for r in records}) == 10
    assert all(r.take and r.path_ohm == PATH_OHM for r in records)
    assert all(r.timeline.close_us < r.timeline.press_us for r in records)


def test_nothing_was_lost_and_taps_made_the_last_touch_again(by_hand):
    project, lines = by_hand
    with SweepLog.open(project / "sweeps" / "main", read_only=True) as log:
        assert not [r for r in log.records() if r.fault or r.sound == "lost"]
    asked = [found[1] for one in lines if (found := re.search(r"bridge (\w+ and \w+), then",
                                                            one["line"]))]
    said = "\n".join(f"{one['at_s']:7.2f} {one['line']}" for one in lines[:40])
    assert asked[TAPS_AT] == asked[TAPS_AT - 2], said


def test_each_step_after_the_touch_works_on_it(by_hand):
    project, _ = by_hand
    before = pair_facts(project)
    pair = "-".join(min(before)[:2])
    for words in (["judge", "--jobs", "1"], ["replay", "--keep", pair], ["sheet"]):
        done = padsweep(words[0], "--project", str(project), *words[1:])
        assert done.returncode == 0, done.stderr
    assert pair_facts(project) == before
    assert (project / "sheet.html").exists()
