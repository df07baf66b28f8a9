"""A sweep never waits for whoever reads it: what is kept, what is dropped, and how it ends."""

import io
import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from types import SimpleNamespace

import pytest
from making_logs import new_log
from running import small_project
from stalled_pipe import StalledPipe

from rig.bench.simulated.folder import new_simulated_project
from rig.cli.called import Call, during, raise_alarm
from rig.cli.reader import Reader
from rig.errors import ToyLost
from rig.events import BendSeen, Noticed, Progress, SweepDone
from rig.files import FileLock
from rig.log import SweepLog, read_events, verify

HANGS_S = 60
PADSWEEP = [sys.executable, "-c",
            ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
             "from rig.cli.main import run; run()")]  # fmt: skip


def progress(done):
    return Progress(touch=done, kind="sweep", what="A-B", done=done, planned=99, bench_s=1.0)


class Show:
    """Keeps what it is given; reads on only while `goes_on` is set."""

    def __init__(self):
        self.shown = []
        self.goes_on = threading.Event()
        self.has_begun = threading.Event()

    def __call__(self, events):
        for event in events:
            self.has_begun.set()
            assert self.goes_on.wait(HANGS_S)
            self.shown.append(event)


@pytest.fixture
def log(tmp_path):
    with new_log(tmp_path) as log:
        yield log


def stored_in(log):
    """Give what reads on in a log, and a list of the numbers behind which it was asked to."""
    asked = []

    def stored(after_id):
        asked.append(after_id)
        return log.events(after_id)

    return stored, asked


def test_all_is_shown_in_order_before_the_end(log):
    show = Show()
    show.goes_on.set()
    stored, asked = stored_in(log)
    with Reader(show, stored) as reader:
        log.listen(reader.put)
        told = [log.tell(Noticed(text=f"{n}")) for n in range(50)]
    assert show.shown == told
    assert not asked


def test_of_progress_only_the_latest_waits_and_all_else_does(log):
    show = Show()
    stored, asked = stored_in(log)
    with Reader(show, stored) as reader:
        log.listen(reader.put)
        told = [log.tell(Noticed(text="first"))]
        assert show.has_begun.wait(HANGS_S)
        for n in range(100):
            log.tell(progress(n))
            if n % 10 == 0:
                told.append(log.tell(Noticed(text=f"{n}")))
        show.goes_on.set()
    assert [one for one in show.shown if isinstance(one, Noticed)] == told
    assert [one.done for one in show.shown if isinstance(one, Progress)] == [99]
    assert [one.id for one in show.shown] == sorted(one.id for one in show.shown)
    assert not asked


@pytest.mark.parametrize("late", [False, True])
def test_what_does_not_fit_is_read_in_the_log(log, late):
    show = Show()
    stored, asked = stored_in(log)
    with Reader(show, stored, waiting=5) as reader:
        log.listen(reader.put)
        told = [log.tell(Noticed(text="first"))]
        assert show.has_begun.wait(HANGS_S)
        for n in range(40):
            told.append(log.tell(Noticed(text=f"{n}")))
            log.tell(progress(n))
        if not late:  # it has read on before the end, and goes on with what is handed to it
            show.goes_on.set()
            until_s = time.monotonic() + HANGS_S
            while len(show.shown) < len(told):
                assert time.monotonic() < until_s
                time.sleep(0.01)
            told.append(log.tell(Noticed(text="last")))
        show.goes_on.set()
    assert [one for one in show.shown if isinstance(one, Noticed)] == told
    assert not any(isinstance(one, Progress) for one in show.shown[6:])
    assert asked[0] == show.shown[5].id


def test_progress_alone_never_fills_it(log):
    show = Show()
    stored, asked = stored_in(log)
    with Reader(show, stored, waiting=3) as reader:
        log.listen(reader.put)
        told = [log.tell(Noticed(text="first"))]
        assert show.has_begun.wait(HANGS_S)
        told += [log.tell(Noticed(text=f"{n}")) for n in range(3)]
        for n in range(10):
            log.tell(progress(n))
        show.goes_on.set()
    assert show.shown == told
    assert not asked


def test_rows_that_never_reached_a_failed_log_are_not_waited_for():
    show = Show()
    with Reader(show, lambda after_id: [], waiting=1) as reader:
        event = Noticed(text="one")
        for n in range(3):
            reader.put(replace(event, id=n + 1))
        assert show.has_begun.wait(HANGS_S)
        show.goes_on.set()
    assert [one.id for one in show.shown] in ([1], [1, 2])


@pytest.mark.parametrize("error", [BrokenPipeError(), UnicodeEncodeError("ascii", "ü", 0, 1, "no"),
                                   SystemExit(1), KeyboardInterrupt()], ids=repr)  # fmt: skip
def test_what_ends_the_showing_ends_the_sweep(error):
    def show(events):
        next(iter(events))
        raise error

    put = 0
    with pytest.raises(type(error)) as caught, Reader(show, lambda after_id: []) as reader:
        until_s = time.monotonic() + HANGS_S
        while time.monotonic() < until_s:
            reader.put(progress(put))
            put += 1
            time.sleep(0.001)
    assert caught.value is error


def test_what_ends_the_showing_at_the_very_end_is_not_lost():
    def show(events):
        for _ in events:
            pass
        raise BrokenPipeError

    with pytest.raises(BrokenPipeError), Reader(show, lambda after_id: []) as reader:
        reader.put(progress(1))


def test_it_fails_only_once():
    """What the sweep has still to tell while it ends is no second error."""
    def show(events):
        next(iter(events))
        raise BrokenPipeError

    reader = Reader(show, lambda after_id: [])
    reader.put(progress(1))
    assert reader._is_through()
    with pytest.raises(BrokenPipeError):
        reader.put(progress(2))
    reader.put(progress(3))


@pytest.mark.parametrize(("error", "alarm", "lines"), [
    (ToyLost("it is gone"), "", ["padsweep: it is gone"]),
    (ToyLost("it is gone"), "pull the cells", ["padsweep: it is gone", "padsweep: pull the cells"]),
    (None, "pull the cells", ["padsweep: pull the cells"]),
])  # fmt: skip
def test_what_cannot_wait_is_told_beside_an_output_that_stands_still(
    monkeypatch, error, alarm, lines
):
    show, told = Show(), io.StringIO()

    def write(text):
        told.write(text)
        if told.getvalue().splitlines() == lines:
            show.goes_on.set()

    monkeypatch.setattr(sys, "__stderr__", SimpleNamespace(write=write))
    with during(Call()), pytest.raises(ToyLost) if error else nullcontext():  # noqa: SIM117
        with Reader(show, lambda after_id: []) as reader:
            reader.put(progress(1))
            raise_alarm(alarm)
            if error:
                raise error
    assert told.getvalue().splitlines() == lines
    assert len(show.shown) == 1


# The whole program, with an output that stands still


@pytest.fixture
def folder(tmp_path):
    return small_project(tmp_path / "toy")


@pytest.fixture
def long(tmp_path):
    """A project whose sweep isn't over before a test has seen that it goes on."""
    return new_simulated_project(tmp_path / "toy", 5, 8).folder


@contextmanager
def sweeping(folder, pipe):
    """Sweep in a process of its own, which doesn't outlive the test."""
    # A thread that waits for a buffered output holds its lock.
    env = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    with subprocess.Popen([*PADSWEEP, "sweep", "--project", str(folder)], stdout=pipe.write,
                          stderr=subprocess.PIPE, text=True, env=env) as host:  # fmt: skip
        try:
            yield host
        finally:
            host.kill()


def wait_for(host, folder, kind, count=1):
    """Wait until a sweep's log has told of something so often."""
    until_s = time.monotonic() + HANGS_S
    while True:
        assert time.monotonic() < until_s and host.poll() is None
        time.sleep(0.02)
        if (folder / "log.db").exists():
            found = read_events(folder)
            if sum(isinstance(one, kind) for one in found) >= count:
                return found


def wait_for_lock(folder):
    """Wait until nobody writes a sweep's log any more."""
    until_s = time.monotonic() + HANGS_S
    while True:
        try:
            FileLock(folder / "lock").release()
            return
        except BlockingIOError:
            assert time.monotonic() < until_s
            time.sleep(0.02)


def what_was_done(folder):
    """Give a log's touches and events, without times."""
    with SweepLog.open(folder, read_only=True) as log:
        assert verify(log) == []
        events = [replace(one, at="") for one in log.events()]
        return [replace(one, started_at="") for one in log.records()], events


def test_a_sweep_that_nobody_reads_does_what_one_does_that_is_read(folder):
    """For a minute and a half on the toy's clock."""
    done = subprocess.run(
        [*PADSWEEP, "sweep", "--project", str(folder), "--name", "eager"], check=False,
        capture_output=True, text=True,
    )
    assert done.returncode == 0
    with StalledPipe() as pipe:
        pipe.fill()
        with sweeping(folder, pipe) as host:
            wait_for(host, folder / "sweeps" / "main", SweepDone)
            # Toy and log are given back before anything waits for the output.
            wait_for_lock(folder / "sweeps" / "main")
            assert host.poll() is None
            said = pipe.read_rest()
            assert host.wait(HANGS_S) == 0
            assert host.stderr.read() == ""
    assert what_was_done(folder / "sweeps" / "main") == what_was_done(folder / "sweeps" / "eager")
    # How far it is by then hangs on the machine.
    lasting, read = (
        [line for line in text.splitlines() if " touches, " not in line]
        for text in (said.lstrip("."), done.stdout)
    )
    assert lasting[:-1] == read[:-1]
    assert any(line.startswith("bend ") for line in lasting)


def test_ctrl_c_ends_a_sweep_though_its_output_stands_still(long):
    with StalledPipe() as pipe:
        pipe.fill()
        with sweeping(long, pipe) as host:
            wait_for(host, long / "sweeps" / "main", BendSeen)
            host.send_signal(signal.SIGINT)
            _, said = host.communicate(timeout=HANGS_S)
        assert host.returncode == 130
        (line,) = said.splitlines()
        assert line.startswith("padsweep: stopped: the toy is off, all pads are open")
    with SweepLog.open(long / "sweeps" / "main") as log:
        assert verify(log) == []
        assert not any(isinstance(one, SweepDone) for one in log.events())


def test_ctrl_c_ends_the_waiting_for_an_output_that_stands_still(folder):
    with StalledPipe() as pipe:
        pipe.fill()
        with sweeping(folder, pipe) as host:
            wait_for(host, folder / "sweeps" / "main", SweepDone)
            wait_for_lock(folder / "sweeps" / "main")
            host.send_signal(signal.SIGINT)
            _, said = host.communicate(timeout=HANGS_S)
        assert host.returncode == 130
        assert said.startswith("padsweep: stopped") and said.count("\n") == 1
    with SweepLog.open(folder / "sweeps" / "main") as log:
        assert verify(log) == []


def test_an_output_that_is_closed_ends_the_sweep(long):
    with StalledPipe() as pipe, sweeping(long, pipe) as host:
        wait_for(host, long / "sweeps" / "main", Progress)
        pipe.close_read()
        _, said = host.communicate(timeout=HANGS_S)
        assert host.returncode in (1, 141)
        assert "Traceback" not in said
    with SweepLog.open(long / "sweeps" / "main") as log:
        assert verify(log) == []
        assert not any(isinstance(one, SweepDone) for one in log.events())
