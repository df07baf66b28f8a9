"""`padsweep controls` as a person and a pipe use it, on a swept toy."""

import csv
import io
import json
import shutil
import subprocess
import sys

import pytest
from rich.cells import cell_len
from screens import PROGRAM, screen

from rig.build.proposing import CONTROL_COLUMNS
from rig.choose import finds
from rig.log import SweepLog

COLUMNS = 80


def padsweep(*words, fails=False):
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *map(str, words)], check=False, capture_output=True, text=True,
        stdin=subprocess.DEVNULL,
    )
    assert bool(done.returncode) == fails, done.stderr
    return done.stderr.strip() if fails else done.stdout


@pytest.fixture(scope="module")
def kept(swept_boards, tmp_path_factory):
    """A copy of a swept keyboard of which the best three bends are kept."""
    folder = tmp_path_factory.mktemp("controls") / "toy"
    shutil.copytree(swept_boards["keyboard"], folder)
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        best = [one for one in finds(log.records()) if one.is_bend and not one.is_lone][:3]
    assert len(best) == 3
    padsweep("replay", "--project", folder, *(word for one in best for word in ("--keep", one.label)))
    return folder


@pytest.fixture(scope="module")
def measured(kept, tmp_path_factory):
    folder = tmp_path_factory.mktemp("measured") / "toy"
    shutil.copytree(kept, folder)
    padsweep("controls", "--project", folder, "--measure", "--together")
    return folder


def test_json_and_csv_have_a_row_for_each_pick(kept):
    rows = json.loads(padsweep("controls", "--project", kept, "--format", "json"))
    assert [list(row) for row in rows] == [list(CONTROL_COLUMNS)] * 3
    assert CONTROL_COLUMNS == ("pads_1", "pads_2", "key", "at_ohm", "control", "fixed_ohm", "pot_ohm", "reason")
    for row in rows:
        assert row["at_ohm"] > 0 and row["reason"].endswith(".")
        assert (row["pot_ohm"] is not None) == (row["control"] == "potentiometer")
    table = list(csv.DictReader(io.StringIO(padsweep("controls", "--project", kept, "--format", "csv"))))
    assert [row["reason"] for row in table] == [row["reason"] for row in rows]


def test_without_measuring_it_says_what_was_not_measured(kept):
    shown = " ".join(screen(["controls", "--project", kept], COLUMNS, kept))
    assert "wasn't measured" in shown
    assert "not measured yet: padsweep controls --project" in shown
    assert "not tried yet: padsweep controls --project" in shown


def test_all_reads_well_at_80_columns(kept, measured):
    for folder in (kept, measured):
        lines = screen(["controls", "--project", folder], COLUMNS, folder)
        assert all(cell_len(line) <= COLUMNS for line in lines)
        assert lines[0].split()[:3] == ["no.", "pads", "control"]
        for row in json.loads(padsweep("controls", "--project", folder, "--format", "json")):
            assert any(f"{row['pads_1']}-{row['pads_2']}" in line for line in lines)


def test_measuring_is_done_once_and_said(measured):
    shown = " ".join(screen(["controls", "--project", measured], COLUMNS, measured))
    assert "Measured: heard from" in shown and "not measured yet" not in shown
    with SweepLog.open(measured / "sweeps" / "main", read_only=True) as log:
        count = len(log.records())
    padsweep("controls", "--project", measured, "--measure", "--together")
    with SweepLog.open(measured / "sweeps" / "main", read_only=True) as log:
        assert len(log.records()) == count


def test_the_finds_stay_what_they_were(kept, measured):
    told = [padsweep("export", "--project", folder, "--finds") for folder in (kept, measured)]
    assert told[0] == told[1]


def test_a_wish_wins_and_the_warning_is_in_the_row(measured, tmp_path):
    folder = tmp_path / "toy"
    shutil.copytree(measured, folder)
    picks = folder / "picks.yaml"
    first = json.loads(padsweep("controls", "--project", folder, "--format", "json"))[0]
    pair = f"{first['pads_1']}-{first['pads_2']}"
    picks.write_text(f"- pair: {pair}\n  control: photocell\n", "utf-8")
    (row,) = json.loads(padsweep("controls", "--project", folder, "--format", "json"))
    assert row["control"] == "photocell"
    assert row["reason"].startswith("You wish for it.")


def test_the_drawer_stands_in_rig_yaml(kept, tmp_path):
    folder = tmp_path / "toy"
    shutil.copytree(kept, folder)
    with (folder / "rig.yaml").open("a", encoding="utf-8") as rig:
        rig.write("\nparts:\n  kinds: [push-button]\n")
    rows = json.loads(padsweep("controls", "--project", folder, "--format", "json"))
    assert {row["control"] for row in rows} == {"push-button"}
    text = (folder / "rig.yaml").read_text("utf-8").replace("push-button", "pushbutton")
    (folder / "rig.yaml").write_text(text, "utf-8")
    assert "push-button" in padsweep("controls", "--project", folder, fails=True)


def test_without_a_sweep_there_is_nothing_to_measure(kept, tmp_path):
    folder = tmp_path / "toy"
    shutil.copytree(kept, folder, ignore=shutil.ignore_patterns("sweeps"))
    assert "there is no sweep 'main'" in padsweep("controls", "--project", folder)
    assert "nothing can be measured: run `padsweep sweep" in padsweep("controls", "--project", folder, "--measure", fails=True)
    assert not (folder / "sweeps").exists()


def test_the_sounds_of_a_knobs_positions_are_written_once(measured, tmp_path):
    rows = json.loads(padsweep("controls", "--project", measured, "--format", "json"))
    words = ("controls", "--project", measured, "--sounds", tmp_path / "sounds")
    knobs = [row for row in rows if row["control"] in ("potentiometer", "stepped switch", "rotary switch")]
    if not knobs:
        assert "no knob and no stepped switch" in padsweep(*words, fails=True)
        return
    assert "each at the position of its control" in padsweep(*words)
    written = sorted(path.name for path in (tmp_path / "sounds").glob("*.wav"))
    assert sum(name.startswith("0") and "1of" in name for name in written) == len({r["pads_1"] + r["pads_2"] for r in knobs})
    assert "is there already" in padsweep(*words, fails=True)
