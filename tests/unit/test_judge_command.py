"""`padsweep judge` on the stored takes of swept folders."""

import io
import json
import os
import shutil
import subprocess
import sys
from dataclasses import asdict

import pytest
import typer
from listening import Enough
from making_logs import add, bridge, new_log
from rich.console import Console
from small_sweeps import make_project
from typer.testing import CliRunner

from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.cli import judge
from rig.cli.progress import track
from rig.errors import LogError, RigError
from rig.listen import JUDGE
from rig.listen.judgement import Judgement
from rig.listen.judging import decide
from rig.log import SweepLog, verify
from rig.outcomes import sound_words
from rig.project import setup_facts, setup_hash
from rig.sweep import Sweep
from rig.sweep.rejudge import in_processes, judgeable, rejudge

APP = typer.Typer()
judge.register(APP)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A swept project."""
    project = make_project(tmp_path_factory.mktemp("judged") / "toy")
    with SweepLog.create(project.folder / "sweeps" / "main", setup_facts(project),
                         setup_hash(project), {}) as log:
        def end(event):
            if event.touch == 120:
                raise Enough

        log.listen(end)
        with pytest.raises(Enough):
            Sweep(project, SimulatedBench(project), log).run()
    return project.folder


def run(*words):
    """Run the command; its errors are raised, its lines given."""
    done = CliRunner().invoke(APP, list(words))
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    # On a slow machine it says now and then how far it is.
    return [line for line in done.stdout.splitlines() if not line.startswith("judging ")]


def judgements(folder, jobs):
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        found = list(rejudge(log, in_processes(jobs)))
    found.sort(key=lambda one: one.record.number)
    return [asdict(one.judgement) for one in found]


@pytest.fixture(scope="module")
def alone(folder):
    """What one process judges."""
    return judgements(folder, 1)


def test_the_judgements_do_not_depend_on_how_many_judge(folder, alone):
    assert len(alone) > 60
    assert {one["sound"] for one in alone} > {"none"}
    assert judgements(folder, 2) == alone


def test_old_judgements_are_kept_with_their_version(folder, monkeypatch):
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        before = log.records()
        count = len(judgeable(before))
    run("--project", str(folder), "--jobs", "1")
    monkeypatch.setattr(decide, "JUDGE", "next")
    lines = run("--project", str(folder), "--jobs", "1", "--dry-run")
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        # The sweep was left half-way: what calibrates by then is known to all only from now on.
        bends = {one.pair for one in finds(log.records()) if one.sound != "none"}
    assert lines == [
        f"{folder}: {count} takes judged again (judge {JUDGE}), each with the same word as before",
        f"  {len(bends)} pairs change or silence the sound, the same as before",
        f"  in {count} takes only figures moved (amount, score, p value)",
        "  nothing was written (--dry-run)",
    ]
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        assert {one.judge for one in judgeable(log.records())} == {JUDGE}
    run("--project", str(folder), "--jobs", "1")
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        assert verify(log) == []
        after = log.records()
    assert [one.number for one in after] == [one.number for one in before]
    assert {one.judge for one in judgeable(after)} == {"next"}


def test_a_sweep_that_is_not_there_is_one_line(tmp_path, folder):
    with pytest.raises(LogError) as caught:
        run("--project", str(folder), "--name", "nothing")
    assert "\n" not in str(caught.value)


def test_too_few_clean_takes_are_refused(tmp_path):
    with new_log(tmp_path / "log") as log:
        add(log, touch=bridge("A", "B"))
        log.flush()
        # a take without all its steps can't be judged at all
        assert judgeable(log.records()) == []


@pytest.mark.parametrize("jobs", ["0", "-2"])
def test_numbers_of_jobs_that_make_no_sense(folder, jobs):
    with pytest.raises(RigError, match="--jobs must be"):
        run("--project", str(folder), "--jobs", jobs)


def test_what_changed_is_said_in_takes_and_in_pairs(folder, tmp_path):
    project = shutil.copytree(folder, tmp_path / "toy")
    run("--project", str(project), "--jobs", "1")  # by all the clean takes there are
    with SweepLog.open(project / "sweeps" / "main") as log:
        records = log.records()
        bends = {one.pair: one for one in finds(records) if one.sound != "none"}
        hidden = next(one for one in bends.values() if one.label == one.pair)  # of one sound
        touches = [one for one in records if one.kind in ("sweep", "confirm")]
        takes = [one.number for one in touches if pair(one) == hidden.pair
                 and one.sound == hidden.sound]
        quiet = next(one for one in judgeable(touches) if one.sound == "none"
                     and pair(one) not in bends)
        assert takes
        for number in takes:
            log.judged(number, Judgement("none", score=0.1, p_value=0.9, judge=JUDGE))
        log.judged(quiet.number, Judgement("loop", amount=0.4, unit="s", score=3.0, p_value=1e-9,
                                            judge=JUDGE))
    lines = run("--project", str(project), "--jobs", "1", "--dry-run")
    assert lines[0].endswith(f"{len(takes) + 1} of them with another word than before")
    assert f"  now no change, before loop: take {quiet.number} ({pair(quiet)})" in lines
    listed = ", ".join(f"{number} ({hidden.pair})" for number in takes)
    assert (f"  now {hidden.sound}, before no change: "
            f"take{'s' * (len(takes) > 1)} {listed}") in lines
    assert f"  {len(bends)} pairs change or silence the sound, before {len(bends) - 1}" in lines
    assert any(line.startswith(f"  new: {hidden.pair} (") for line in lines)


def test_a_sound_that_a_pair_has_beside_another_is_said_with_both(folder, tmp_path):
    project = shutil.copytree(folder, tmp_path / "toy")
    run("--project", str(project), "--jobs", "1")  # by all the clean takes there are
    with SweepLog.open(project / "sweeps" / "main") as log:
        found = [one for one in finds(log.records()) if one.label != one.pair]
        several = [one for one in found if one.pair == found[0].pair]
        hidden, other = sorted(several, key=lambda one: one.path_min_ohm)
        like = log.records()[other.best_touch - 1]
        for number in hidden.touches:
            log.judged(number, Judgement(
                like.sound, amount=like.amount, unit=like.unit, score=like.score,
                p_value=like.p_value, measures=like.measures, judge=JUDGE))  # fmt: skip
        assert [one.label for one in finds(log.records()) if one.pair == hidden.pair] == [hidden.pair]
    lines = run("--project", str(project), "--jobs", "1", "--dry-run")
    said = sound_words(hidden.sound, hidden.amount, hidden.unit)
    (line,) = [one for one in lines if one.startswith(f"  {hidden.pair}: now ")]
    assert line.startswith(f"  {hidden.pair}: now {said} over ")
    assert line.index(said) < line.index("; ") < line.index(", before ")


def pair(record):
    return record.target.name


def test_a_take_that_is_missing_is_one_line(folder, tmp_path):
    project = shutil.copytree(folder, tmp_path / "toy")
    with SweepLog.open(project / "sweeps" / "main", read_only=True) as log:
        gone = project / "sweeps" / "main" / judgeable(log.records())[40].take
    gone.unlink()
    with pytest.raises(LogError, match=f"{gone.name}: the take is missing"):
        run("--project", str(project), "--jobs", "2", "--dry-run")


class Clock:
    """A clock that goes when told to."""

    now_s = 100.0

    def __call__(self):
        return self.now_s


def shown(bursts, total):
    """Give what `track` prints in a pipe: (when, what) of each line; bursts are (after s, items)."""
    clock, lines = Clock(), []

    class Out(io.StringIO):
        def write(self, text):
            if text.strip():
                lines.append((clock.now_s - 100.0, text.strip()))
            return len(text)

    def items():
        for after_s, count in bursts:
            clock.now_s += after_s
            yield from range(count)

    assert len(list(track(Console(file=Out(), width=80), "judging", total, items(), clock))) == sum(
        count for _, count in bursts)
    return lines


def left_s(line):
    words = line.rpartition(", ")[2].split()
    assert words[-1] == "left"
    return float(words[0]) * {"s": 1, "min": 60}[words[1]]


def test_the_time_left_comes_from_what_is_done_not_from_the_start():
    # A slow start, then 32 at a time every 4 s: 8 in a second.
    total = 32 * 40
    lines = shown([(60.0, 32), *[(4.0, 32)] * 39], total)
    assert lines[0] == (60.0, f"judging: 1 of {total}")
    assert len(lines) > 10
    for at_s, line in lines[1:]:
        assert left_s(line) == pytest.approx(60.0 + 39 * 4.0 - at_s + 4.0, abs=31.0 if "min" in
                                             line else 1.0)


def test_nothing_is_said_of_the_time_before_enough_is_known():
    lines = shown([(12.0, 16), (1.0, 16), (1.0, 16)], 4800)
    assert lines == [(12.0, "judging: 1 of 4800")]


def test_the_time_left_follows_a_change_of_pace():
    lines = shown([(0.5, 8)] * 200 + [(5.0, 8)] * 50, 2400)
    line = lines[-1][1]
    done = int(line.split()[1])
    assert left_s(line) == pytest.approx((2400 - done) / 8 * 5.0, rel=0.1)


SCHEDULER = """
import sys
from distributed import LocalCluster
cluster = LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None)
print(cluster.scheduler_address, flush=True)
sys.stdin.read()
cluster.close()
"""

BLIND = """
import json, sys, types
from dataclasses import asdict, replace
from pathlib import Path
from distributed import Client
from rig.errors import RigError
from rig.log import SweepLog
from rig.sweep import cluster
from rig.sweep.rejudge import Stored, rejudge

carried = Stored.carried
Stored.carried = lambda one: replace(carried(one), path=Path("nowhere"))

def tried(asked):
    cluster._asked = asked
    with SweepLog.open(Path(sys.argv[1]), read_only=True) as log:
        return {one.record.number: asdict(one.judgement)
                for one in rejudge(log, cluster.on_cluster(client))}

def refused(asked):
    try:
        tried(asked)
    except RigError as error:
        return str(error)

missing = sys.modules["only_here"] = types.ModuleType("only_here")
exec("def asked(clean): pass", missing.__dict__)

with Client(sys.argv[2]) as client:
    print(json.dumps([tried(lambda clean: (cluster.JUDGE, False)),
                      refused(lambda clean: ("0", True)), refused(missing.asked)]))
"""


@pytest.fixture(scope="module")
def cluster():
    """Two workers, each a process of its own; gives the scheduler's address."""
    with subprocess.Popen([sys.executable, "-c", SCHEDULER], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, text=True) as process:
        yield process.stdout.readline().strip()
        process.stdin.close()


def with_dask(*words):
    """Run Python with a threshold that any take in a task's graph is above; gives its output."""
    done = subprocess.run(
        [sys.executable, *map(str, words)], check=False, capture_output=True, text=True,
        timeout=600, env=os.environ | {
            "DASK_DISTRIBUTED__ADMIN__LARGE_GRAPH_WARNING_THRESHOLD": "100 kB",
        },
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def test_a_dask_cluster_judges_the_same(folder, alone, cluster, tmp_path):
    project = shutil.copytree(folder, tmp_path / "toy")
    with SweepLog.open(project / "sweeps" / "main") as log:
        for one in judgeable(log.records()):
            word = one.sound or "none"  # the last touch of a stopped sweep has no judgement yet
            log.judged(one.number, Judgement(word, score=0.0, judge="old"))
    with_dask("-c", "from rig.cli.main import run; run()", "judge", "--project", project,
              "--cluster", cluster)
    with SweepLog.open(project / "sweeps" / "main", read_only=True) as log:
        there = [{name: getattr(one, name) for name in alone[0]}
                 for one in judgeable(log.records())]
    assert there == json.loads(json.dumps(alone))


def test_workers_that_do_not_see_the_folder_are_sent_the_takes(folder, alone, cluster):
    told, older, missing = json.loads(
        with_dask("-c", BLIND, folder / "sweeps" / "main", cluster)
    )
    assert [told[number] for number in sorted(told, key=int)] == json.loads(json.dumps(alone))
    assert "has judge 0, this machine judge" in older
    assert "can't load this padsweep (" in missing
    assert "only_here" in missing


def test_jobs_and_cluster_exclude_each_other(folder):
    with pytest.raises(RigError, match="leave it out with --cluster"):
        run("--project", str(folder), "--jobs", "2", "--cluster", "tcp://127.0.0.1:1")


def test_a_cluster_that_is_not_there_is_one_line(folder):
    with pytest.raises(RigError, match="no Dask scheduler answers at tcp://127.0.0.1:1 "):
        run("--project", str(folder), "--cluster", "tcp://127.0.0.1:1")
