"""The firmware, natively built, under libFuzzer with both sanitizers.

The target itself (firmware/native/fuzz.c, oracle.c) ends with a word at the first breach of
what must hold. Here: none in the short run, everything was reached by it, and each of
the faults planted in copies of the firmware is found.
"""

from __future__ import annotations

import shutil
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import fuzzing
import pytest

FAULTS = Path(__file__).resolve().parent / "faults"
FOUND_AS = {
    "bleed": "supply and bleed together",
    "closures": "more pads than the maximum",
    "deadman": "on after the dead-man time of silence",
    "latch": "closed while latched",
    "line_buffer": "index 201 out of bounds",
    "lost_byte": "no command asked for it",
    "low_time": "two low pads meet for longer than their time",
}
"""What each planted fault must be found as."""

RUNS_EACH = 50_000
FAULT_RUNS = 40_000


@pytest.fixture(scope="module")
def program():
    """Give the fuzz target, built."""
    return fuzzing.build()


def test_nothing_is_breached_and_all_is_reached(program):
    with ThreadPoolExecutor(2) as two:
        runs = list(two.map(lambda seed: fuzzing.run(program, RUNS_EACH, seed=seed), (1, 2)))
    for done in runs:
        assert done.breach is None, done.output[-4000:]
        assert done.report["inputs"] >= RUNS_EACH
        for what in ("closings", "latchings", "supplyings", "restarts"):
            assert done.report[what] > 100, what
        assert done.report["low"] > 20
        assert [name for name, entered in done.report["handlers"].items() if not entered] == []


def test_every_fault_has_its_breach():
    assert {path.stem for path in FAULTS.glob("*.patch")} == set(FOUND_AS)


@pytest.mark.parametrize("fault", sorted(FOUND_AS))
def test_a_planted_fault_is_found(fault, program, tmp_path):
    firmware = tmp_path / "firmware"
    shutil.copytree(fuzzing.FIRMWARE, firmware, ignore=shutil.ignore_patterns("build*", "native"))
    patch = ["git", "apply", str(FAULTS / f"{fault}.patch")]
    subprocess.run(patch, cwd=firmware, check=True)
    # What the fault doesn't touch needn't be compiled again.
    shutil.copytree(program.parent / "fuzzed", tmp_path / "build" / "fuzzed")
    faulty = fuzzing.build(firmware, tmp_path / "build")
    done = fuzzing.run(faulty, FAULT_RUNS, corpus=tmp_path / "corpus")
    assert done.breach is not None, f"{fault} wasn't found in {FAULT_RUNS} inputs"
    assert FOUND_AS[fault] in done.breach
