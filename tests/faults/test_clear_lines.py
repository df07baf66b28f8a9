"""Whatever is wrong with a project: one line that says what, where and what to do."""

import subprocess
import sys

import pytest

from rig.bench.simulated.folder import new_simulated_project
from rig.log import SweepLog, verify
from rig.project import load_project, new_project, setup_facts, setup_hash


def padsweep(*arguments):
    return subprocess.run(
        [sys.executable, "-c", "from rig.cli.main import run; run()", *map(str, arguments)],
        check=False, capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL,
    )


def one_line(done, *words):
    """Assert that a command failed with one line that holds these words; give its exit code."""
    assert done.returncode != 0
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert lines[0].startswith("padsweep: ")
    for word in words:
        assert word in lines[0], lines[0]
    return done.returncode


@pytest.fixture
def folder(tmp_path):
    new_simulated_project(tmp_path / "toy", 7, 8)
    return tmp_path / "toy"


def edit(path, old, new):
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


@pytest.mark.parametrize("command", ["check", "sweep"])
@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("pads:", "pads: [", ["toy.yaml:"]),
        ("supply:", "suply:", ["toy.yaml:", "suply", "supply"]),
        ("  A: ", "  A1: ", ["toy.yaml:", "A1"]),
        ("volts: ", "volts: 230  # ", ["toy.yaml:", "230 V", "12 V"]),
        ("volts: ", "volts: 4.5 V  # ", ["toy.yaml:", "write 4.5"]),
        ("source: cells", "source: mains", ["toy.yaml:", "mains"]),
    ],
    ids=["broken", "wrong key", "unknown pad", "230 V", "unit", "mains"],
)
def test_a_bad_toy_yaml(folder, command, old, new, words):
    edit(folder / "toy.yaml", old, new)
    one_line(padsweep(command, "--project", folder), *words)
    assert not (folder / "sweeps").exists()


def test_an_unknown_pad_asked_for(folder):
    SweepLog.create(folder / "sweeps" / "main", {}, "x", {}).close()
    one_line(padsweep("replay", "--project", folder, "--keep", "C-QQ"), "QQ")
    assert not (folder / "picks.yaml").exists()


def test_a_port_that_is_not_there(tmp_path):
    new_project(tmp_path / "toy", 8)
    edit(tmp_path / "toy" / "rig.yaml", "/dev/ttyUSB0", "/dev/ttyNOTTHERE")
    code = one_line(padsweep("sweep", "--project", tmp_path / "toy"), "/dev/ttyNOTTHERE")
    assert code == 5


def test_a_log_of_another_setup_is_refused_and_kept(folder):
    project = load_project(folder)
    place = folder / "sweeps" / "main"
    SweepLog.create(place, setup_facts(project), setup_hash(project), {}).close()
    before = (place / "log.db").read_bytes()
    edit(folder / "toy.yaml", "volts: ", "volts: 2.4  # ")
    one_line(padsweep("sweep", "--project", folder), "log.db", "another set-up", "volts")
    assert (place / "log.db").read_bytes() == before
    with SweepLog.open(place, read_only=True) as log:
        assert not verify(log)


@pytest.mark.parametrize("command", [["replay", "--list"], ["export"], ["export", "--finds"]])
def test_no_sweep_yet(folder, command):
    one_line(padsweep(*command, "--project", folder), "sweep")


@pytest.mark.parametrize("command", ["check", "sweep", "replay", "sheet", "export"])
def test_no_project_there(tmp_path, command):
    one_line(padsweep(command, "--project", tmp_path), "toy.yaml")


def test_a_demo_folder_of_another_toy(folder):
    one_line(padsweep("demo", "--folder", folder, "--seed", "99"), "seed")


def test_a_sweep_name_that_leads_elsewhere(folder):
    one_line(padsweep("sweep", "--project", folder, "--name", "../x"), "../x")
