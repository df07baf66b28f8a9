"""Whole sweeps on the emulated bench: real firmware, real serial port, real sound path.

One sweep is killed three times and continued; another has a lead cut. Both are held
against a sweep of the same toy on the simulated bench, and against the pins.
"""

from __future__ import annotations

import random
import signal
import time
from collections import Counter
from dataclasses import replace

import pytest
from emulated_rig import BOARD, EmulatedRig, export, padsweep
from emulator import CYCLES_PER_MS, HANGS_S

from rig.events import ControllerRestarted, RungTried
from rig.log import SweepLog, verify
from rig.project import load_project, touchable

DEADMAN_MS = 3_000
KILLS = 3
CUT = "C"
CUT_BOARD = replace(BOARD, leads=("A", "B", "C", "D", "E"))


@pytest.fixture(scope="module")
def simulated(tmp_path_factory):
    """The same toy with the same set-up, swept on the simulated bench."""
    folder = BOARD.write_project(tmp_path_factory.mktemp("simulated") / "project", None)
    done = padsweep("sweep", "--project", str(folder))
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def simulated_finds(simulated):
    return pair_facts(export(simulated, "--finds"))


@pytest.fixture(scope="module")
def killed(sound_server, tmp_path_factory):
    """A sweep whose host is killed at random moments, continued to its end."""
    # The moments differ from run to run; the seed is in the message of whatever fails.
    seed = random.SystemRandom().randrange(10**6)
    print(f"moments of the kills: seed {seed}")
    moments = random.Random(seed)
    with EmulatedRig(tmp_path_factory.mktemp("killed"), sound_server, BOARD) as rig:
        # After the first kill the touch that it met must get through: one that is met twice
        # is set aside for the person.
        first_s = [0.0] + [4.5] * (KILLS - 1)
        kills = [kill_at(rig, moments.uniform(least_s, 7.5)) for least_s in first_s]
        done = rig.sweep()
        assert done.returncode == 0, done.stderr
        rig.wait_for_record(lambda line: not line["supply"])
        yield rig, kills, rig.pins(), done


@pytest.fixture(scope="module")
def killed_log(killed):
    rig, *_ = killed
    with SweepLog.open(rig.folder / "sweeps" / "main", read_only=True) as log:
        yield log


@pytest.fixture(scope="module")
def cut(sound_server, tmp_path_factory):
    """A rig with one lead cut, swept to the end."""
    with EmulatedRig(tmp_path_factory.mktemp("cut"), sound_server, CUT_BOARD, cut=(CUT,)) as rig:
        done = rig.sweep()
        assert done.returncode == 0, done.stderr
        yield rig


def kill_at(rig: EmulatedRig, seconds: float) -> dict:
    """Start the sweep, kill it so long after the first pair was closed, see what happens."""
    with rig.start_sweep() as host:
        try:
            # 40 s where the machine is idle; what a busy one loses is made again.
            rig.emulator.wait_for(lambda state: bool(state.closures), 240)
            time.sleep(seconds)
            assert host.poll() is None, "the sweep ended before it was killed"
        finally:
            host.kill()
    cycle = rig.emulator.cycle
    safe = rig.emulator.wait_for(lambda state: state.is_open_and_off, DEADMAN_MS / 1000 + 3)
    # And so it stays, with nobody there to hold it.
    rig.emulator.wait_cycles(500 * CYCLES_PER_MS)
    return {"killed": cycle, "safe": safe.cycle, "still": rig.emulator.state.is_open_and_off}


def pair_facts(finds: list[dict]) -> set[tuple]:
    """Pairs with whether they stop the toy: what doesn't hang on the phrase that was said."""
    return {
        (*sorted((find["pads_1"], find["pads_2"])), find["after"] == "freeze") for find in finds
    }


def closed_touches(pins: list[dict]) -> Counter:
    """Count how often each pair was closed, by the pins."""
    counts: Counter = Counter()
    before: list = []
    for line in pins:
        if line["closures"] and not before:
            letters = [BOARD.leads[pad - 1] for _, pad in line["closures"]]
            counts[tuple(sorted(letters))] += 1
        before = line["closures"]
    return counts


def test_after_each_kill_everything_is_open_and_off_within_the_dead_man_s_time(killed):
    _, kills, *_ = killed
    assert len(kills) >= 3
    for kill in kills:
        # One tick of the emulator is 5 ms; the host fed it last at most 0.3 s before.
        assert kill["safe"] - kill["killed"] <= (DEADMAN_MS + 20) * CYCLES_PER_MS
        assert kill["still"]


def test_every_touch_on_the_pins_has_its_row_and_few_are_repeated(killed, killed_log):
    _, kills, pins, _ = killed
    on_pins = closed_touches(pins)
    rows = Counter(
        tuple(sorted(record.target.pads))
        for record in killed_log.records()
        if record.timeline and record.timeline.close_us is not None and record.pads_1
    )
    assert set(rows) == set(on_pins)
    assert all(rows[pair] <= on_pins[pair] for pair in rows)
    assert sum((on_pins - rows).values()) <= 2 * len(kills)


def test_the_log_is_whole_after_the_kills(killed_log):
    assert verify(killed_log) == []
    records = killed_log.records()
    assert [record.number for record in records] == list(range(1, len(records) + 1))


def test_every_lead_and_pair_was_touched_but_those_that_are_refused(killed):
    rig, _, pins, _ = killed
    project = load_project(rig.folder)
    pairs = {(a, b) for a in BOARD.leads for b in BOARD.leads if a < b}
    refused = {
        (a, b) for a, b in pairs if touchable(project, (a,), (b,), BOARD.series_ohm[0]) is not None
    }
    assert len(BOARD.leads) >= 6
    assert len(pairs - refused) >= 12
    assert set(closed_touches(pins)) == (pairs - refused) | {(lead,) for lead in BOARD.leads}


def test_the_emulated_bench_finds_what_the_simulated_one_finds(killed, simulated_finds):
    rig, *_ = killed
    assert simulated_finds
    assert pair_facts(export(rig.folder, "--finds")) == simulated_finds


def test_a_freeze_was_recovered_through_the_firmware_s_supply_switch(killed, killed_log):
    _, kills, pins, _ = killed
    revived = [
        event
        for event in killed_log.events()
        if isinstance(event, RungTried) and event.rung == "supply"
    ]
    assert any(record.after == "freeze" for record in killed_log.records())
    assert revived
    switched_on = sum(
        line["supply"] and not before["supply"]
        for before, line in zip([{"supply": False}, *pins], pins, strict=False)
    )
    # Once for each run of the host, and once for each recovery.
    assert switched_on >= len(kills) + 1 + len(revived)


def test_the_rows_are_equal_in_form_to_a_simulated_sweep_s(killed, simulated):
    rig, *_ = killed
    here, there = export(rig.folder), export(simulated)
    assert {tuple(row) for row in here} == {tuple(row) for row in there}
    for name in there[0]:
        kinds = {type(row[name]) for row in there} | {type(None)}
        assert {type(row[name]) for row in here} <= kinds, name
    # Pairs, keys and paths are the same touches; only how often depends on chance.
    touched = [
        {(row["pads_1"], row["pads_2"], row["key"]) for row in rows} for rows in (here, there)
    ]
    assert touched[0] == touched[1]


def test_with_a_lead_cut_just_that_pad_s_finds_vanish(cut, simulated_finds):
    reached = {fact for fact in simulated_finds if set(fact[:2]) <= set(CUT_BOARD.leads)}
    expected = {fact for fact in reached if CUT not in fact}
    assert expected != reached
    assert expected
    assert pair_facts(export(cut.folder, "--finds")) == expected
    # Its relays worked all the same: it is the lead that is missing.
    assert any(CUT in pair for pair in closed_touches(cut.pins()))


def test_with_the_sink_muted_takes_are_lost_and_the_sweep_stops(cut, sound_server):
    sound_server.mute(True)
    try:
        done = cut.sweep("--name", "muted", seconds=60)
    finally:
        sound_server.mute(False)
    assert done.returncode != 0
    assert_one_line(done.stderr, "lost")
    rows = export(cut.folder, "--name", "muted", "--all")
    assert rows
    assert {row["sound"] for row in rows} == {"lost"}
    cut.emulator.wait_for(lambda state: state.is_open_and_off, 1)


def test_ctrl_c_leaves_everything_open_and_off_at_once(cut):
    with cut.start_sweep("--name", "interrupted") as host:
        cut.emulator.wait_for(lambda state: bool(state.keys), 30)
        host.send_signal(signal.SIGINT)
        cycle = cut.emulator.cycle
        _, said = host.communicate(timeout=HANGS_S)
    assert host.returncode == 130, said
    assert "Traceback" not in said
    safe = cut.emulator.wait_for(lambda state: state.is_open_and_off, 1)
    # Long before the dead-man would have done it.
    assert safe.cycle - cycle < DEADMAN_MS / 2 * CYCLES_PER_MS
    with SweepLog.open(cut.folder / "sweeps" / "interrupted", read_only=True) as log:
        assert verify(log) == []


def test_after_a_restart_of_the_controller_in_mid_sweep_it_is_checked_and_the_sweep_goes_on(cut):
    with cut.start_sweep("--name", "restarted") as host:
        cut.emulator.wait_for(lambda state: bool(state.keys), 30)
        cut.emulator.reset()
        cut.emulator.wait_for(lambda state: not state.supply, 5)
        deadline = time.monotonic() + 30
        while host.poll() is None and not cut.emulator.state.keys:
            assert time.monotonic() < deadline, "the sweep neither ends nor goes on"
            time.sleep(0.05)
        host.send_signal(signal.SIGINT)
        _, said = host.communicate(timeout=HANGS_S)
    cut.emulator.wait_for(lambda state: state.is_open_and_off, 5)
    with SweepLog.open(cut.folder / "sweeps" / "restarted", read_only=True) as log:
        assert verify(log) == []
        restarts = [event for event in log.events() if isinstance(event, ControllerRestarted)]
    assert_one_line(said, "stopped: the toy is off")
    assert len(restarts) == 1
    assert "Power on" in restarts[0].why


def test_a_controller_unplugged_in_mid_sweep_is_one_clear_line_and_what_to_do_about_the_toy(cut):
    with cut.start_sweep("--name", "unplugged") as host:
        cut.emulator.wait_for(lambda state: bool(state.keys), 30)
        cut.emulator.kill()
        _, said = host.communicate(timeout=HANGS_S)
    assert host.returncode != 0
    gone, toy = said.splitlines(keepends=True)
    assert_one_line(gone, "is gone")
    assert_one_line(toy, "the toy may STILL BE SUPPLIED, its rail can't be measured: pull the cells now")
    with SweepLog.open(cut.folder / "sweeps" / "unplugged", read_only=True) as log:
        assert verify(log) == []


def test_a_port_that_is_not_there_is_one_clear_line(tmp_path):
    folder = BOARD.write_project(tmp_path / "project", "/dev/padsweep-none")
    done = padsweep("sweep", "--project", str(folder), seconds=60)
    assert done.returncode != 0
    assert_one_line(done.stderr, "/dev/padsweep-none isn't there")


def assert_one_line(text: str, part: str) -> None:
    assert part in text
    assert text.count("\n") == 1, text
    assert text.startswith("padsweep: ")
