"""A full disk: one clear line, whatever was logged stays whole and readable, and goes on later.

A small file system of its own is mounted, so that the disk is really full.
"""

import os
import shutil
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from rows import facts

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.errors import DiskFull
from rig.events import Migrated, Noticed
from rig.listen.judgement import Judgement
from rig.log import SweepLog, verify

sys.path.append(str(Path(__file__).parents[1] / "unit"))
from old_logs import TOLD, copied, told

RATE_HZ = 48_000
TOUCH = Touch((Connection(("A",), ("B",), 10_000.0),), Stimulus(("moo",)))
LINE = Timeline(press_us=60_000, close_us=300_000, release_us=180_000, open_us=1_500_000,
                end_us=2_000_000)
NOISE = (0.5 * np.random.default_rng(3).standard_normal(RATE_HZ)).astype(np.float32)


@pytest.fixture
def small_disk(tmp_path):
    """Mount a file system of a few megabytes; gives a function of its size in kilobytes."""
    if os.name != "posix" or os.getuid() != 0 or not shutil.which("mount"):
        pytest.skip("NOT CHECKED: mounting a small file system needs root")
    mounted = []

    def mount(kilobytes):
        place = tmp_path / f"disk{len(mounted)}"
        place.mkdir()
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", place],
            capture_output=True, text=True, check=False, timeout=30)
        if done.returncode:
            pytest.skip(f"NOT CHECKED: mounting was refused: {done.stderr.strip()}")
        mounted.append(place)
        return place

    yield mount
    for place in mounted:
        subprocess.run(["umount", "-l", place], check=True, timeout=30)


def fill(disk):
    """Take all the room that is left with one file."""
    ballast = disk / "ballast"
    with suppress(OSError), ballast.open("wb", buffering=0) as out:
        while out.write(bytes(1 << 16)):
            pass
    with suppress(OSError), ballast.open("ab", buffering=0) as out:
        while out.write(bytes(512)):
            pass
    return ballast


def make_touches(log, most):
    """Make and complete touches with takes until the disk refuses; gives how many were begun."""
    for count in range(most):
        number = log.next_number()
        log.intend(f"p{number}", TOUCH)
        if count:
            log.completed(number - 1, "answers")
        log.made(number, f"p{number}", "sweep", TOUCH, path_ohm=12_000.0, started_at="now",
                 timeline=LINE, samples=NOISE, rate_hz=RATE_HZ)
        log.judged(number, Judgement("none", score=0.1, p_value=0.5, judge="test"))
    log.flush()
    return count + 1


def check_whole(folder, at_least):
    """The log is readable now, without a gap, every take whole, nothing half-written about."""
    log = SweepLog.open(folder, read_only=True)
    assert verify(log) == []
    records = log.records()
    assert [one.number for one in records] == list(range(1, len(records) + 1))
    assert len(records) >= at_least
    for one in records:
        assert len(log.read_take(one.number)[0]) == len(NOISE)
    left = sorted(os.listdir(folder / "takes"))
    assert left == [f"{one.number:06d}.flac" for one in records]
    return records


@pytest.mark.parametrize(("kilobytes", "reserve_bytes"), [
    (1500, 0), (2000, 0), (2001, 0), (2500, 1 << 20), (20_000, 16 << 20)])
def test_takes_fill_the_disk(small_disk, kilobytes, reserve_bytes):
    disk = small_disk(kilobytes)
    folder = disk / "sweeps" / "main"
    log = SweepLog.create(folder, {"pads": []}, "h", reserve_bytes=reserve_bytes)
    with pytest.raises(DiskFull) as caught:
        make_touches(log, 1000)
    message = str(caught.value)
    assert "no room left on the disk" in message
    assert "sweep again to continue" in message
    assert "\n" not in message
    assert message.startswith(str(folder))
    with pytest.raises(DiskFull):  # and it stays so until it is opened again
        log.intend("more", TOUCH)
    log.close()
    records = check_whole(folder, at_least=2)

    room = subprocess.run(["mount", "-o", f"remount,size={kilobytes + 4000}k", disk],
                          check=False, capture_output=True, timeout=30)
    assert room.returncode == 0
    with SweepLog.open(folder, "h", {"pads": []}, reserve_bytes=reserve_bytes) as log:
        make_touches(log, 5)
    assert len(check_whole(folder, at_least=5)) == len(records) + 5
    assert not (folder / "log.db-wal").exists()


def test_the_database_itself_meets_the_full_disk(small_disk):
    disk = small_disk(1500)
    folder = disk / "main"
    log = SweepLog.create(folder, {"pads": []}, "h", reserve_bytes=0)
    make_touches(log, 3)
    ballast = fill(disk)
    with pytest.raises(DiskFull) as caught:
        for _ in range(2000):
            log.intend("p", TOUCH)
            log.tell(Noticed(text="x" * 500))
    assert "\n" not in str(caught.value)
    log.close()
    check_whole(folder, at_least=3)
    ballast.unlink()
    with SweepLog.open(folder, reserve_bytes=0) as log:
        make_touches(log, 1)
    assert len(check_whole(folder, at_least=4)) == 4


def test_no_sweep_begins_on_a_full_disk(small_disk):
    disk = small_disk(300)
    ballast = fill(disk)
    with pytest.raises(DiskFull):
        SweepLog.create(disk / "main", {"pads": []}, "h")
    assert not (disk / "main" / "log.db").exists()
    ballast.unlink()
    SweepLog.create(disk / "main", {"pads": []}, "h", reserve_bytes=0).close()


def test_a_log_on_a_disk_that_became_full_is_still_read(small_disk):
    disk = small_disk(1500)
    with SweepLog.create(disk / "main", {"pads": []}, "h", reserve_bytes=0) as log:
        make_touches(log, 3)
    fill(disk)
    check_whole(disk / "main", at_least=3)


def padsweep(*words):
    """Run the command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", "from rig.cli.main import run; run()", *map(str, words)],
        capture_output=True, text=True, check=False, timeout=300)


def test_a_sweep_stops_with_one_line_and_goes_on_later(small_disk):
    disk = small_disk(20_000)
    project = disk / "toy"
    assert padsweep("new", project, "--simulated", "--seed", 5, "--pads", 8).returncode == 0
    stopped = padsweep("sweep", "--project", project)
    assert stopped.returncode == DiskFull.exit_code
    (line,) = stopped.stderr.splitlines()
    assert line.startswith("padsweep: ")
    assert "no room left on the disk" in line
    log = SweepLog.open(project / "sweeps" / "main", read_only=True)
    assert verify(log) == []
    before = [one for one in log.records() if one.complete]
    assert len(before) > 10
    room = subprocess.run(["mount", "-o", "remount,size=90m", disk], check=False,
                          capture_output=True, timeout=30)
    assert room.returncode == 0
    done = padsweep("sweep", "--project", project)
    assert done.returncode == 0, done.stderr
    now = {one.number: one for one in log.records()}
    assert [facts(now[one.number]) for one in before] == [facts(one) for one in before]
    assert len(now) > len(before)
    assert verify(log) == []


def test_a_log_of_an_older_version_waits_as_it_is_for_room(small_disk):
    """Room for nothing, for a part of the copy, for all of it and no more, for the rest too."""
    ends = set()
    for room in range(0, 320 << 10, 16 << 10):
        disk = small_disk(2000)
        sweep = copied(disk / "toy")
        before = (sweep / "log.db").read_bytes()
        ballast = fill(disk)
        os.truncate(ballast, ballast.stat().st_size - room)
        try:
            SweepLog.open(sweep, reserve_bytes=0).close()
            ends.add("migrated")
        except DiskFull as full:
            assert "\n" not in str(full)
            copy = list(sweep.glob("log.db.v1*"))
            ends.add("copied" if copy else "as it was")
            assert [one.read_bytes() for one in copy] == [before] * len(copy)
            with SweepLog.open(sweep, read_only=True) as log:
                assert verify(log) == []
                assert told(log.events()) == TOLD
        ballast.unlink()
        with SweepLog.open(sweep, reserve_bytes=0) as log:
            assert verify(log) == []
            assert told(log.events()) == [*TOLD, (Migrated, None)]
        assert (sweep / "log.db.v1").read_bytes() == before
        assert not (sweep / "log.db.v1-2").exists()
    assert ends >= {"as it was", "migrated"}, ends


def test_a_log_of_an_older_version_is_read_from_a_disk_that_takes_nothing(small_disk):
    disk = small_disk(2000)
    sweep = copied(disk / "toy")
    done = subprocess.run(["mount", "-o", "remount,ro", disk], check=False, timeout=30)
    assert done.returncode == 0
    with SweepLog.open(sweep, read_only=True) as log:
        assert verify(log) == []
        assert told(log.events()) == TOLD
    for words in (["replay", "--list"], ["export"]):
        assert padsweep(*words, "--project", disk / "toy").returncode == 0
