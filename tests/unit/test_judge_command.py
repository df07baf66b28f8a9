"""`padsweep judge` on the stored takes of swept folders."""

import subprocess
import sys
from dataclasses import asdict

import pytest
import typer
from making_logs import add, bridge, new_log
from test_sweep import make_project
from typer.testing import CliRunner

from rig.bench.simulated.bench import SimulatedBench
from rig.cli import judge
from rig.errors import LogError, RigError
from rig.listen import decide
from rig.log import SweepLog, verify
from rig.project import setup_facts, setup_hash
from rig.sweep import Sweep
from rig.sweep.rejudge import judgeable, rejudge

APP = typer.Typer()
judge.register(APP)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A swept project."""
    project = make_project(tmp_path_factory.mktemp("judged") / "toy")
    with SweepLog.create(project.folder / "sweeps" / "main", setup_facts(project),
                         setup_hash(project), {}) as log:
        for _ in zip(range(160), Sweep(project, SimulatedBench(project), log).run(), strict=False):
            pass
    return project.folder


def run(*words):
    """Run the command; its errors are raised, its text given."""
    done = CliRunner().invoke(APP, list(words))
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout


def judgements(folder, jobs):
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        return [asdict(one.judgement) for one in rejudge(log, jobs)]


def test_the_judgements_do_not_depend_on_how_many_judge(folder):
    alone = judgements(folder, 1)
    assert len(alone) > 60
    assert {one["sound"] for one in alone} > {"none"}
    assert judgements(folder, 2) == alone


def test_old_judgements_are_kept_with_their_version(folder, monkeypatch):
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        before = log.records()
        count = len(judgeable(before))
    run("--project", str(folder), "--jobs", "1")
    assert f"{count} takes judged by judge {decide.JUDGE}, 0 judgements are new" in run(
        "--project", str(folder), "--jobs", "1"
    )
    monkeypatch.setattr(decide, "JUDGE", "next")
    assert f"{count} judgements would be new" in run(
        "--project", str(folder), "--jobs", "1", "--dry-run"
    )
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


SCHEDULER = """
import sys
from distributed import LocalCluster
cluster = LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None)
print(cluster.scheduler_address, flush=True)
sys.stdin.read()
cluster.close()
"""


def test_a_dask_cluster_judges_the_same(folder):
    with subprocess.Popen([sys.executable, "-c", SCHEDULER], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, text=True) as cluster:
        address = cluster.stdout.readline().strip()
        run("--project", str(folder), "--jobs", "1")
        done = subprocess.run(
            [sys.executable, "-c", "from rig.cli.main import run; run()", "judge",
             "--project", str(folder), "--dry-run", "--cluster", address],
            check=False, capture_output=True, text=True, timeout=120,
        )
        cluster.stdin.close()
    assert done.returncode == 0, done.stderr
    assert "0 judgements would be new" in done.stdout


def test_a_cluster_that_is_not_there_is_one_line(folder):
    with pytest.raises(RigError, match="no Dask scheduler answers at tcp://127.0.0.1:1 "):
        run("--project", str(folder), "--cluster", "tcp://127.0.0.1:1")
