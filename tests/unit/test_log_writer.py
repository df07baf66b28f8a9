"""The writer's order: what waits for what, and that a slow disk holds the sweep back."""

import threading

import pytest
from making_logs import bridge, new_log

from rig.errors import DiskFull, LogError
from rig.events import Noticed
from rig.log import SweepLog
from rig.log.takes import StoredTake, disk_full
from rig.log.writer import WAITING_TAKES, Job, Writer

PATIENCE_S = 60.0


class SlowDisk:
    """Takes that are on the disk only once they are let go."""

    def __init__(self):
        self._gates = []

    def take(self):
        """Give a function that writes a take, and waits."""
        gate = threading.Event()
        self._gates.append(gate)
        number = len(self._gates)

        def write():
            assert gate.wait(PATIENCE_S)
            return StoredTake(f"take {number}", 1, "")

        return write

    def let_go(self, count=1):
        """Let the next takes through."""
        for _ in range(count):
            self._gates.pop(0).set()


@pytest.fixture
def order():
    """Names of what was committed, in order."""
    return []


@pytest.fixture
def writer(tmp_path):
    new_log(tmp_path).close()
    writer = Writer(tmp_path)
    yield writer
    writer.close()


def job(order, name):
    """A job that notes its name, and its take's path if it has one."""
    return Job(lambda db, take: order.append(f"{name}: {take.path}" if take else name))


def in_background(call, *args):
    """Start a call that may have to wait; gives its thread."""
    thread = threading.Thread(target=call, args=args)
    thread.start()
    return thread


def test_rows_wait_for_their_take_and_keep_their_order(writer, order):
    disk = SlowDisk()
    writer.put(job(order, "before"))
    writer.put(job(order, "made"), disk.take())
    writer.put(job(order, "after"))
    writer.put_and_wait(job(order, "intent"))
    assert order == ["before", "intent"]
    disk.let_go()
    writer.flush()
    assert order == ["before", "intent", "made: take 1", "after"]


def test_an_intent_never_overtakes_two_takes(writer, order):
    disk = SlowDisk()
    writer.put(job(order, "made 1"), disk.take())
    writer.put(job(order, "complete 1"))
    writer.put(job(order, "made 2"), disk.take())
    waiting = in_background(writer.put_and_wait, job(order, "intent 3"))
    assert waiting.is_alive()
    assert order == []
    disk.let_go()
    waiting.join(PATIENCE_S)
    assert order == ["made 1: take 1", "complete 1", "intent 3"]
    disk.let_go()
    writer.flush()
    assert order[-1] == "made 2: take 2"


def test_a_slow_disk_holds_the_caller_back(writer, order):
    disk = SlowDisk()
    for count in range(WAITING_TAKES):
        writer.put(job(order, f"made {count}"), disk.take())
    one_more = disk.take()
    waiting = in_background(writer.put, job(order, "one more"), one_more)
    waiting.join(0.05)
    assert waiting.is_alive()
    disk.let_go()
    waiting.join(PATIENCE_S)
    assert not waiting.is_alive()
    assert order == ["made 0: take 1"]
    disk.let_go(WAITING_TAKES)
    writer.flush()
    assert order[-1] == f"one more: take {WAITING_TAKES + 1}"


def test_what_was_queued_before_a_take_that_failed_is_kept(writer, order, tmp_path):
    def fail():
        raise disk_full(tmp_path)

    writer.put(job(order, "complete 1"))
    writer.put(job(order, "made 2"), fail)
    with pytest.raises(DiskFull):
        writer.flush()
    assert order == ["complete 1"]
    for call in (writer.flush, lambda: writer.put(job(order, "x")),
                 lambda: writer.put_and_wait(job(order, "x"))):
        with pytest.raises(DiskFull):
            call()
    assert order == ["complete 1"]


def test_a_bug_in_a_row_is_no_rig_error_and_not_swallowed(tmp_path, order):
    new_log(tmp_path).close()
    writer = Writer(tmp_path)
    writer.put(Job(lambda db, take: 1 // 0))
    with pytest.raises(RuntimeError, match="ZeroDivisionError"):
        writer.close()


def test_an_error_nobody_heard_of_yet_is_told_at_the_end(tmp_path):
    new_log(tmp_path).close()
    writer = Writer(tmp_path)
    writer.put(Job(lambda db, take: db.execute("INSERT INTO nowhere VALUES (1)")))
    with pytest.raises(LogError, match="no such table"):
        writer.close()


def test_small_rows_go_along_with_the_next_intent(tmp_path):
    with new_log(tmp_path) as log:
        log.tell(Noticed(text="small"))
        log.intend("p", bridge())
        reader = SweepLog.open(tmp_path, read_only=True)
        assert [event.text for event in reader.events()] == ["small"]
