"""The stream of events: what the log gives back is what was told, to anybody, then and later."""

import json
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st
from listening import told_during
from making_logs import new_log
from running import small_project
from small_sweeps import few_leads
from small_sweeps import new_log as new_sweep

from rig import events
from rig.bench.simulated.bench import SimulatedBench
from rig.events import (
    KINDS,
    Event,
    Noticed,
    Other,
    Progress,
    Recovered,
    RungTried,
    SetAside,
    SweepDone,
    SweepStarted,
    Unsettled,
    from_row,
    to_row,
)
from rig.log import SweepLog, read_events
from rig.log.records import to_json
from rig.sweep import Sweep

HANGS_S = 120
number = st.integers(1, 10**9)
plain = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text()


def values(name, hint):
    """Give what may stand in a field."""
    if name == "touch":
        return st.none() | number
    if name == "facts":
        return st.dictionaries(st.text(), plain | st.lists(plain))
    return st.from_type(hint)


told = st.sampled_from(list(KINDS.values())).flatmap(
    lambda kind: st.builds(kind, **{
        name: values(name, hint) for name, hint in get_type_hints(kind).items()
        if name not in ("id", "at")
    })
)  # fmt: skip


def test_every_class_has_a_word_of_its_own():
    classes = {one for one in vars(events).values()
               if isinstance(one, type) and issubclass(one, Event)} - {Event, Other}
    assert classes == set(KINDS.values())
    assert len(KINDS) == len(classes)


@given(number, st.text(), told)
def test_a_row_gives_back_what_was_told(id, at, event):
    word, detail = to_row(event)
    read = from_row(id, at, event.touch, word, json.loads(to_json(detail)))
    there = replace(event, id=id, at=at)
    # Equal as texts too, since a number that is none equals nothing.
    assert read == there or repr(read) == repr(there)


def test_the_log_gives_number_and_time_and_goes_on_with_them(tmp_path):
    heard = []
    with new_log(tmp_path) as log:
        log.listen(heard.append)
        first = [log.tell(Noticed(text="one")), log.tell(Recovered(touch=3, rung="wait", tries=1))]
    with SweepLog.open(tmp_path) as log:
        third = log.tell(Noticed(text="three"))
        assert log.events() == [*first, third]
        assert log.events(after_id=2) == [third]
        assert log.events(after_id=3) == []
    assert heard == first
    assert [one.id for one in (*first, third)] == [1, 2, 3]
    assert first[0].at.endswith("+00:00") and len(first[0].at) == len("2031-05-04T03:02:01.000+00:00")
    assert read_events(tmp_path) == [*first, third]


def test_a_listener_that_fails_stops_the_teller_and_the_row_is_there(tmp_path):
    with new_log(tmp_path) as log:
        log.listen(lambda event: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            log.tell(Noticed(text="one"))
        assert [one.text for one in log.events()] == ["one"]


@pytest.mark.parametrize(("word", "detail"), [
    ("warmed up", {"degrees": 3}), ("warmed up", {}), ("noticed", {}), ("noticed", {"texts": "a"}),
    ("noticed", ["text"]), ("noticed", None), ("begun", {}), ("set aside", {"why": "so"}),
])  # fmt: skip
def test_a_row_that_this_version_cannot_read_is_given_as_it_is(word, detail):
    read = from_row(7, "then", 9, word, detail)
    assert read == Other(id=7, at="then", touch=9, kind=word, detail=detail)
    assert to_row(read) == (word, detail)


def test_what_a_later_version_says_beside_it_is_left_out():
    read = from_row(7, "then", None, "noticed", {"text": "so", "loudness": 3})
    assert read == Noticed(id=7, at="then", text="so")


@pytest.mark.parametrize(("word", "detail", "event"), [
    ("begun", {"bench": "simulated", "identity": "toy", "seed": 3, "rate_hz": 48000},
     SweepStarted(bench="simulated", identity="toy", facts={"seed": 3, "rate_hz": 48000},
                  done=None, planned=None)),
    ("recovery", {"rung": "wait"}, RungTried(rung="wait", tries=1)),
    ("recovery", {"rung": "supply", "tries": 2, "rail_fell_s": 0.1},
     RungTried(rung="supply", tries=2, rail_fell_s=0.1)),
    ("recovered", {"answered": False, "closed_meanwhile": True, "rung": "supply", "tries": 2},
     Recovered(rung="supply", tries=2)),
    ("unsettled", {}, Unsettled()),
    ("unsettled", {"lost": True}, Unsettled(lost=True)),
    ("set aside", {"plan_key": "sweep moo A-B 0", "why": "so"},
     SetAside(plan_key="sweep moo A-B 0", what="sweep moo A-B 0", why="so")),
    ("done", {"touches": 9}, SweepDone(touches=9, freezes=None, recoveries=None)),
])  # fmt: skip
def test_rows_of_version_1_are_translated(word, detail, event):
    assert from_row(0, "", None, word, detail) == event


def test_what_a_sweep_tells_is_what_its_log_holds(tmp_path):
    project = few_leads(tmp_path / "toy")
    with new_sweep(project) as log:
        told = told_during(log, Sweep(project, SimulatedBench(project), log).run)
        assert log.events() == told
        assert [one.id for one in told] == list(range(1, len(told) + 1))
        assert [one.touch for one in told if isinstance(one, Progress)] == [
            one.number for one in log.records()
        ]


def test_another_process_reads_on_by_number_while_the_sweep_runs():
    with tempfile.TemporaryDirectory() as name:
        folder = small_project(Path(name) / "toy")
        sweep = folder / "sweeps" / "main"
        host = subprocess.Popen(
            [sys.executable, "-m", "rig.cli", "sweep", "--project", str(folder)],
            stdout=subprocess.DEVNULL,
        )
        try:
            found, looks, until_s = [], [], time.monotonic() + HANGS_S
            while not (found and isinstance(found[-1], SweepDone)):
                assert time.monotonic() < until_s and host.poll() in (None, 0)
                if (sweep / "log.db").exists():
                    new = read_events(sweep, found[-1].id if found else 0)
                    looks += [len(new)] if new else []
                    found += new
            assert host.wait(HANGS_S) == 0
        finally:
            host.kill()
            host.wait()
        assert found == read_events(sweep)
        assert len(looks) > 1 and [one.id for one in found] == list(range(1, len(found) + 1))
