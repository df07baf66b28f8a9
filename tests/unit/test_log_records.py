"""Rows and objects are each other's inverse, for whatever a sweep may ever store."""

import shutil
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from making_logs import RATE_HZ, bridge, new_log

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.events import SweepStarted
from rig.listen.judgement import Judgement
from rig.log import SweepLog, verify
from rig.log import records as rows
from rig.outcomes import AFTERS, SOUNDS
from rig.touches import Target

WORDS = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
PADS = st.lists(WORDS, min_size=1, max_size=3).map(tuple)
NUMBERS = st.floats(allow_nan=False)
COUNTS = st.integers(0, 1 << 40)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(1 << 60), 1 << 60) | NUMBERS | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=8,
)
TOUCHES = st.builds(
    Touch,
    st.lists(st.builds(Connection, PADS, PADS, st.floats(0, 1e9)), max_size=3).map(tuple),
    st.builds(Stimulus, st.lists(WORDS, max_size=2).map(tuple), st.integers(1, 9999)),
    **dict.fromkeys(("before_ms", "lead_in_ms", "dwell_ms", "tail_ms"), st.integers(0, 10_000)),
)
MOMENTS = st.none() | COUNTS
LINES = st.builds(Timeline, press_us=MOMENTS, close_us=MOMENTS, release_us=MOMENTS,
                  open_us=MOMENTS, end_us=COUNTS, guarded=st.booleans())
JUDGEMENTS = st.builds(
    Judgement, st.sampled_from([*SOUNDS]), amount=st.none() | NUMBERS, unit=st.none() | WORDS,
    score=NUMBERS, p_value=st.none() | NUMBERS, judge=WORDS,
    measures=st.dictionaries(WORDS, JSON, max_size=3),
)


@given(TOUCHES)
def test_touches(touch):
    assert rows.touch_from_json(rows.touch_to_json(touch)) == touch


@given(LINES)
def test_timelines(line):
    assert rows.timeline_from_json(rows.timeline_to_json(line)) == line


@settings(max_examples=25)
@given(touch=TOUCHES, line=LINES, judgement=JUDGEMENTS, after=st.sampled_from([*AFTERS]),
       facts=st.dictionaries(WORDS, JSON, max_size=3), fault=st.none() | WORDS,
       path_ohm=st.none() | NUMBERS, key=WORDS)
def test_whole_records_and_their_seals(touch, line, judgement, after, facts, fault, path_ohm,
                                       key):
    folder = Path(tempfile.mkdtemp())
    try:
        with new_log(folder) as log:
            log.intend(key, touch)
            log.made(1, key, "sweep", touch, path_ohm=path_ohm, started_at="t", timeline=line,
                     samples=None, rate_hz=RATE_HZ, fault=fault, facts=facts)
            log.judged(1, judgement)
            log.completed(1, after)
            started = log.tell(SweepStarted(bench=key, identity=key, facts=facts, done=0, planned=1))
        with SweepLog.open(folder) as log:
            (record,) = log.records()
            assert verify(log) == []
            assert log.events() == [started]
    finally:
        shutil.rmtree(folder)
    assert (record.touch, record.timeline, record.facts, record.fault, record.path_ohm) == (
        touch, line, facts, fault, path_ohm)
    assert (record.sound, record.amount, record.unit, record.score, record.p_value,
            record.judge, record.measures, record.after) == (
        judgement.sound, judgement.amount, judgement.unit, judgement.score, judgement.p_value,
        judgement.judge, judgement.measures, after)


def test_pads_of_groups_and_held_pairs_are_told_apart():
    held = Touch((*bridge("A", "B").connections, Connection(("C", "D"), ("E",), 0.0)))
    assert (Target.of(held).side(1), Target.of(held).side(2)) == ("A / C+D", "B / E")
