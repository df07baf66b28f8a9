"""One pair end to end: press, close, hear, judge, log; the pins are the witness."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from emulated_rig import BOARD, EmulatedRig
from emulator import CYCLES_PER_US, HANGS_S

from rig.log import SweepLog, verify

CLEAN_TAKES = 14
PAIR_BOARD = replace(BOARD, series_ohm=(800, 1200))
BETWEEN_OHM = 480
"""What both channels of its bank make side by side."""

HOST = """
import sys
from datetime import UTC, datetime
from pathlib import Path

from rig.bench import Connection, Stimulus, Touch
from rig.bench.hardware import HardwareBench
from rig.listen import Ear, Span
from rig.log import SweepLog
from rig.project import load_project, path_ohm, setup_facts, setup_hash
from rig.sweep.hearing import END, hear

project = load_project(sys.argv[1])
key = next(iter(project.toy.keys))
pair = Connection((sys.argv[2],), (sys.argv[3],), float(sys.argv[5]))
bench = HardwareBench(project)
log = SweepLog.create(
    Path(sys.argv[1]) / "sweeps" / "main", setup_facts(project), setup_hash(project), {}
)
ear = Ear(bench.rate_hz)


def made(kind, touch):
    number = log.next_number()
    began = datetime.now(UTC)
    log.intend(f"{kind} {number}", touch)
    heard = hear(bench, touch)
    path = path_ohm(project.rig, pair.series_ohm) if touch.connections else None
    log.made(
        number, f"{kind} {number}", kind, touch, path_ohm=path, started_at=began,
        timeline=heard.timeline, samples=heard.samples, rate_hz=bench.rate_hz,
        offsets=heard.offsets, fault=heard.fault,
    )
    return number, heard


def span(heard):
    return Span.from_seconds(
        *(heard.seconds(step, bench.rate_hz) for step in ("press", "close", "open", "end"))
    )


try:
    bench.supply(True)
    bench.wait(0.6)
    print("rail", bench.rail_v())
    while ear.takes_learnt(key) < int(sys.argv[4]):
        number, heard = made("baseline", Touch((), Stimulus((key,)), dwell_ms=900, tail_ms=300))
        if heard.fault is None:
            ear.learn(key, heard.samples, span(heard))
            log.completed(number, "answers", {})
    for tries in range(3):
        touch = Touch((pair,), Stimulus((key,)), dwell_ms=900, tail_ms=300)
        number, heard = made("sweep", touch)
        if heard.fault is None:
            judgement = ear.judge(key, heard.samples, span(heard))
            log.judged(number, judgement)
            print("judged", judgement.sound, judgement.p_value)
            break
    # The engine may end any touch early, also before anything closes.
    early = Touch((pair,), Stimulus((key,)), dwell_ms=900, tail_ms=300)
    heard = hear(bench, early, watch=lambda sound: END if len(sound) > 0.10 * bench.rate_hz else None)
    print("early", heard.timeline.close_us, heard.timeline.open_us, heard.timeline.end_us)
finally:
    bench.close()
    log.close()
"""


@pytest.fixture(scope="module")
def touched(sound_server, tmp_path_factory):
    """One pair touched by a host program of its own: its words, its log, the pins."""
    with EmulatedRig(tmp_path_factory.mktemp("pair"), sound_server, PAIR_BOARD) as rig:
        done = subprocess.run(
            [sys.executable, "-c", HOST, str(rig.folder), *BOARD.known_bend, str(CLEAN_TAKES),
             str(BETWEEN_OHM)],
            env=sound_server.env,
            check=False,
            capture_output=True,
            text=True,
            timeout=HANGS_S,
        )
        assert done.returncode == 0, done.stderr
        rig.emulator.wait_for(lambda state: state.is_open_and_off, 5)
        rig.wait_for_record(lambda line: not line["supply"])
        words = dict(line.split(maxsplit=1) for line in done.stdout.splitlines())
        with SweepLog.open(rig.folder / "sweeps" / "main", read_only=True) as log:
            assert verify(log) == []
            records = log.records()
            take = log.read_take(records[-1].number)
        return words, records, take, rig.pins()


def test_the_rail_is_measured_through_the_divider(touched):
    words, *_ = touched
    # 10 bits of 15 V are 15 mV a step, the emulated converter is up to one step off, and the
    # cells' own resistance takes some mV.
    assert float(words["rail"]) == pytest.approx(BOARD.volts, abs=0.05)


def test_the_timeline_is_what_the_pins_did(touched):
    _, records, _, pins = touched
    record = records[-1]
    touch = touches_on_pins(pins)[len(records) - 1]
    for step in ("press_us", "close_us", "release_us", "open_us", "end_us"):
        stamp = getattr(record.timeline, step)
        happened = (touch[step] - touch["start"]) / CYCLES_PER_US
        # The firmware stamps when contacts have settled; the pins show when coils change.
        assert abs(stamp - happened) < 2_500, step
    assert touch["series"] == [1, 2]
    assert touch["closures"] == [[1, index(BOARD.known_bend[0])], [2, index(BOARD.known_bend[1])]]


def test_the_take_holds_the_whole_touch_and_the_sound_of_the_press(touched):
    _, records, (samples, rate_hz), _ = touched
    record = records[-1]
    assert len(samples) == pytest.approx(record.timeline.end_us * rate_hz / 1e6, rel=0.01)

    def rms(begin, end):
        return float(np.sqrt(np.mean(samples[record.offsets[begin] : record.offsets[end]] ** 2)))

    assert rms("start", "press") < 0.01
    assert rms("press", "close") > 0.02


def test_the_pair_is_judged_as_a_bend(touched):
    words, *_ = touched
    sound, p_value = words["judged"].split()
    assert sound not in ("none", "lost")
    # The least a rank among so many can be: farther from the clean takes than any of them is.
    assert float(p_value) == pytest.approx(1 / (CLEAN_TAKES + 1))


def test_a_touch_ended_in_its_lead_in_closes_nothing(touched):
    words, records, _, pins = touched
    close, opened, end = words["early"].split()
    assert (close, opened) == ("None", "None")
    assert int(end) < 800_000
    assert touches_on_pins(pins)[len(records)]["closures"] == []


def index(letter: str) -> int:
    return BOARD.leads.index(letter) + 1


def touches_on_pins(pins: list[dict]) -> list[dict]:
    """Cut the pins' record into touches, by the marker: cycles of each step, and closures."""
    touches: list[dict] = []
    before = {"marker": False, "keys": [], "closures": []}
    inside = False
    for line in pins:
        if line["marker"] and not before["marker"]:
            if inside:
                touches[-1]["end_us"] = line["cycle"]
            else:
                touches.append({"start": line["cycle"], "closures": [], "series": []})
            inside = not inside
        if inside:
            for name, what in (("press_us", "keys"), ("close_us", "closures")):
                if line[what] and not before[what]:
                    touches[-1][name] = line["cycle"]
            for name, what in (("release_us", "keys"), ("open_us", "closures")):
                if before[what] and not line[what]:
                    touches[-1][name] = line["cycle"]
            for what in ("closures", "series"):
                touches[-1][what] = touches[-1][what] or line[what]
        before = line
    return touches
