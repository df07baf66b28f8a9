"""What is put into a log is what is read from it, now and after it was opened again."""

import os
import sqlite3
import subprocess
import sys
import tempfile
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from making_logs import BASELINE, HASH, LINE, RATE_HZ, SETUP, add, bridge, new_log, tone

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.errors import LogError
from rig.events import Recovered, SweepStarted
from rig.listen.judgement import Judgement
from rig.log import SweepLog, takes, verify
from rig.pcm import from_pcm, to_pcm


def _made(log, number, plan_key, kind="sweep", samples=None):
    log.made(number, plan_key, kind, bridge(), path_ohm=1.0, started_at="now", timeline=LINE,
             samples=samples, rate_hz=RATE_HZ)


def test_a_touch_is_read_back_whole_after_opening_again(tmp_path):
    touch = Touch((Connection(("A", "B"), ("C",), 47_000.0), Connection(("D",), ("E",), 0.0)),
                  Stimulus(("moo", "on"), 150), before_ms=50, lead_in_ms=200, dwell_ms=900, tail_ms=400)
    line = Timeline(press_us=50_000, close_us=None, release_us=200_000, open_us=None,
                    end_us=600_001, guarded=True)
    samples = tone()
    with new_log(tmp_path / "s" / "main") as log:
        log.intend("p1", touch)
        log.made(1, "p1", "sweep", touch, path_ohm=49_100.0,
                 started_at=datetime(2031, 5, 4, 3, 2, 1, tzinfo=UTC), timeline=line,
                 samples=samples, rate_hz=RATE_HZ, offsets={"press": 2400},
                 facts={"try": np.int64(2)})
        log.judged(1, Judgement("pitch", amount=3.5, unit="cents", score=np.float32(1.5),
                                p_value=0.25, judge="j1"))
        log.judged(1, Judgement("loop", amount=0.5, unit="s", score=2.0, judge="j2",
                                measures={"dB": np.float64(1.5)}))
        log.completed(1, "runs on", {"counts": True})
    with SweepLog.open(tmp_path / "s" / "main", HASH, SETUP) as log:
        (record,) = log.records()
        assert log.next_number() == 2
        back, rate_hz = log.read_take(1)
    assert record.touch == touch
    assert (record.pads_1, record.pads_2) == ("A+B / D", "C / E")
    assert (record.path_ohm, record.key, record.kind, record.plan_key) == (
        49_100.0, "moo+on", "sweep", "p1")
    assert record.started_at == "2031-05-04T03:02:01.000+00:00"
    assert (record.timeline, record.offsets) == (line, {"press": 2400})
    assert (record.take, record.take_samples, record.rate_hz) == (
        "takes/000001.flac", len(samples), RATE_HZ)
    assert record.facts == {"try": 2, "counts": True}
    assert (record.complete, record.after) == (True, "runs on")
    assert (record.sound, record.amount, record.unit, record.score, record.p_value,
            record.judge, record.measures) == ("loop", 0.5, "s", 2.0, None, "j2", {"dB": 1.5})
    assert rate_hz == RATE_HZ
    assert np.abs(back - samples).max() <= 0.5 / 32768


def test_the_folder_holds_only_what_it_should_after_a_clean_end(tmp_path):
    with new_log(tmp_path) as log:
        add(log)
        assert (tmp_path / "log.db-wal").exists()
    assert sorted(os.listdir(tmp_path)) == ["lock", "log.db", "setup", "takes"]
    assert (tmp_path / "setup" / "toy.yaml").read_text() == "name: cow\n"


def test_baselines_bridge_nothing(tmp_path):
    with new_log(tmp_path) as log:
        add(log, kind="baseline", touch=BASELINE)
        (record,) = log.records()
    assert (record.pads_1, record.pads_2, record.path_ohm, record.key) == ("", "", None, "moo")


def test_an_intent_is_on_the_disk_before_it_returns(tmp_path):
    with new_log(tmp_path) as log:
        log.intend("p1", bridge())
        with closing(sqlite3.connect(tmp_path / "log.db")) as other:
            assert other.execute("SELECT plan_key FROM intent").fetchall() == [("p1",)]


def test_attempts_counts_intents_that_never_became_a_touch(tmp_path):
    with new_log(tmp_path) as log:
        log.intend("killed", bridge())
        log.intend("stopped", bridge())
        log.withdraw("stopped", "Ctrl-C")
        log.intend("fine", bridge())
        _made(log, 1, "fine")
        counts = [log.attempts(key) for key in ("killed", "stopped", "fine", "never")]
    with SweepLog.open(tmp_path) as log:
        log.intend("killed", bridge())
        again = [log.attempts(key) for key in ("killed", "stopped", "fine", "never")]
    assert (counts, again) == ([1, 0, 0, 0], [2, 0, 0, 0])


def test_nothing_is_held_in_memory_of_touches_that_are_complete(tmp_path):
    def held(log):
        return sum(len(one) for one in vars(log).values() if isinstance(one, dict | set | list))

    with new_log(tmp_path) as log:
        for _ in range(20):
            add(log)
        log.intend("stopped", bridge())
        log.withdraw("stopped", "Ctrl-C")
        assert held(log) == 0
        add(log, after=None)
    with SweepLog.open(tmp_path) as log:
        assert held(log) == 1
        with pytest.raises(ValueError, match="touch 20 is complete already"):
            log.completed(20, "answers")
        log.completed(21, "answers")
        assert held(log) == 0


def test_incomplete_and_unjudged_touches_say_so(tmp_path):
    with new_log(tmp_path) as log:
        _made(log, 1, "p")
        (record,) = log.records()
        assert (record.complete, record.after, record.sound, record.take) == (
            False, None, None, None)
        with pytest.raises(LogError, match="missing"):
            log.read_take(1)


@pytest.mark.parametrize(("wrong", "said"), [
    (lambda log: _made(log, 3, "p"), "touch 3 after 1"),
    (lambda log: _made(log, 2, "p", kind="guess"), "guess is no kind of touch"),
    (lambda log: log.completed(1, "fine"), "fine is no word for how the toy is"),
    (lambda log: log.completed(2, "answers"), "touch 2 was never made"),
    (lambda log: log.completed(1, "freeze"), "touch 1 is complete already"),
    (lambda log: log.judged(1, Judgement("nice", score=1.0, judge="j")),
     "nice is no word for what a touch did"),
    (lambda log: log.withdraw("p", "never intended"), "no open intent for p"),
])
def test_words_and_numbers_out_of_place_are_refused_at_once(tmp_path, wrong, said):
    with new_log(tmp_path) as log:
        add(log)
        with pytest.raises(ValueError, match=said):
            wrong(log)
        add(log)
        assert [record.number for record in log.records()] == [1, 2]


def test_the_takes_array_may_be_used_again_by_the_caller(tmp_path):
    samples = tone()
    expected = from_pcm(to_pcm(samples))
    with new_log(tmp_path) as log:
        _made(log, 1, "p", samples=samples)
        samples[:] = 0
        assert np.array_equal(log.read_take(1)[0], expected)


def test_events_keep_their_order_and_details(tmp_path):
    with new_log(tmp_path) as log:
        told = [
            log.tell(SweepStarted(bench="simulated", identity="toy", done=0, planned=9,
                                  facts={"volts": np.float32(4.5)})),
            log.tell(Recovered(touch=9, rung="supply", tries=2)),
        ]  # fmt: skip
        assert log.events() == told


def test_a_score_that_is_no_number_is_kept_as_none(tmp_path):
    with new_log(tmp_path) as log:
        add(log, score=float("nan"))
        add(log, score=float("inf"))
        assert [record.score for record in log.records()] == [None, float("inf")]
        assert log.records(after_number=1)[0].number == 2


def test_a_dropped_take_is_gone_and_known_to_be(tmp_path):
    with new_log(tmp_path) as log:
        add(log)
        add(log)
        log.drop_take(1)
        assert [record.take for record in log.records()] == [None, "takes/000002.flac"]
        assert os.listdir(tmp_path / "takes") == ["000002.flac"]
        assert verify(log) == []


def test_reading_goes_on_while_another_process_writes(tmp_path):
    with new_log(tmp_path) as log:
        add(log)
        log.flush()
        reader = SweepLog.open(tmp_path, read_only=True)
        assert len(reader.records()) == 1
        add(log)
        log.flush()
        assert len(reader.records()) == 2
        with pytest.raises(LogError, match="not open for writing"):
            reader.intend("p", bridge())


def test_a_second_writer_is_refused_also_from_another_process(tmp_path):
    code = ("import sys; from rig.log import SweepLog\n"
            "from rig.errors import LogError\n"
            "try: SweepLog.open(sys.argv[1])\n"
            "except LogError as trouble: print(trouble)\n")
    with new_log(tmp_path):
        with pytest.raises(LogError, match="another padsweep is writing this sweep"):
            SweepLog.open(tmp_path)
        heard = subprocess.run([sys.executable, "-c", code, str(tmp_path)],
                               capture_output=True, text=True, check=True, timeout=60).stdout
    assert "another padsweep is writing this sweep" in heard
    SweepLog.open(tmp_path).close()


def test_create_refuses_where_a_sweep_is(tmp_path):
    new_log(tmp_path).close()
    with pytest.raises(LogError, match="a sweep is already here"):
        new_log(tmp_path)
    SweepLog.open(tmp_path).close()


def test_open_without_a_sweep_says_what_to_do(tmp_path):
    for read_only in (True, False):
        with pytest.raises(LogError, match="run `padsweep sweep` first"):
            SweepLog.open(tmp_path / "none", read_only=read_only)
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(("rights", "expected"), [(0o555, "1 touch"), (0o000, "no permission")])
def test_a_log_in_a_folder_that_cant_be_written(rights, expected):
    """Read as it lies, as by anyone from a read-only disk; or one clear line."""
    code = ("import os, sys\n"
            "from rig.log import SweepLog\n"
            "from rig.errors import LogError\n"
            "if os.getuid() == 0: os.setuid(65534)  # root may write anywhere\n"
            "try: print(len(SweepLog.open(sys.argv[1], read_only=True).records()), 'touch')\n"
            "except LogError as trouble: print(trouble)\n")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with new_log(folder) as log:
            add(log)
        folder.chmod(rights)
        heard = subprocess.run([sys.executable, "-c", code, place], check=False,
                               capture_output=True, text=True, timeout=60)
        folder.chmod(0o755)
        assert expected in heard.stdout, heard.stderr
        assert heard.stdout.count("\n") == 1
        assert sorted(os.listdir(folder)) == ["lock", "log.db", "setup", "takes"]


def test_set_up_must_be_the_same_but_may_grow(tmp_path):
    new_log(tmp_path).close()
    other = SETUP | {"supply": {"volts": 6.0, "source": "cells"}}
    for read_only in (True, False):
        with pytest.raises(LogError, match="supply was .*4.5.*, is .*6.0") as caught:
            SweepLog.open(tmp_path, "b" * 64, other, read_only=read_only)
        assert "\n" not in str(caught.value)
    with pytest.raises(LogError, match="another set-up"):
        SweepLog.open(tmp_path, "b" * 64)
    grown = SETUP | {"pads": [*SETUP["pads"], ["D", "signal"]]}
    with SweepLog.open(tmp_path, HASH, grown, {"toy.yaml": "name: big cow\n"}) as log:
        assert log.setup() == grown
        add(log, touch=bridge("A", "D"))
    assert (tmp_path / "setup" / "2" / "toy.yaml").read_text() == "name: big cow\n"
    assert (tmp_path / "setup" / "toy.yaml").read_text() == "name: cow\n"
    with pytest.raises(LogError, match="pads"):
        SweepLog.open(tmp_path, HASH, SETUP)
    with SweepLog.open(tmp_path, HASH, grown) as log:
        assert verify(log) == []


def test_a_slow_disk_leaves_time_for_the_caller_s_duties(tmp_path, monkeypatch):
    slow, calls = threading.Event(), []
    real = takes.write_take

    def write_take(*arguments):
        slow.wait()
        return real(*arguments)

    monkeypatch.setattr(takes, "write_take", write_take)
    log = new_log(tmp_path / "s")

    def duty():
        calls.append(len(log._writer._jobs))
        if len(calls) == 2:
            slow.set()

    log.see_to(duty)
    for _ in range(4):  # more than may wait: the caller has to
        add(log)
    log.close()
    assert len(calls) >= 2
