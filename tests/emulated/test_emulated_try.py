"""Trying on the emulated rig: a pair held by the real firmware, and whatever ends its host."""

from __future__ import annotations

import signal
import subprocess
import wave

import numpy as np
import pytest
from emulated_rig import CLOSED, DEAD_MAN_MS, HELD_BOARD, PADSWEEP, PAIR, EmulatedRig
from emulator import CYCLES_PER_MS, HANGS_S


@pytest.fixture(scope="module")
def rig(sound_server, tmp_path_factory):
    with EmulatedRig(tmp_path_factory.mktemp("try"), sound_server, HELD_BOARD) as rig:
        yield rig


class Host:
    """`padsweep try` with commands in a pipe, on the pair of this board that bends it."""

    def __init__(self, rig, *words):
        self.rig = rig
        self.process = subprocess.Popen(
            [*PADSWEEP, "try", PAIR, "--project", str(rig.folder), *words], env=rig.server.env,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )

    def say(self, line: str) -> None:
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def wait_for(self, wanted, seconds=HANGS_S):
        return self.rig.emulator.wait_for(wanted, seconds)

    def until_held(self) -> None:
        """Wait until the pair is closed on a toy that is on, and the host has had time to keep it."""
        self.wait_for(lambda state: state.closures == CLOSED and state.supply)
        self.rig.emulator.wait_cycles(500 * CYCLES_PER_MS)
        assert self.rig.emulator.state.closures == CLOSED

    def end(self) -> tuple[int, str, str]:
        told, errors = self.process.communicate(timeout=HANGS_S)
        return self.process.returncode, told, errors

    def kill(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            stream.close()


@pytest.fixture
def host(rig):
    rig.emulator.wait_for(lambda state: state.is_open_and_off, HANGS_S)
    hosts = []

    def start(*words):
        hosts.append(Host(rig, *words))
        return hosts[-1]

    yield start
    for one in hosts:
        one.kill()


def test_a_pair_is_held_stepped_pressed_and_heard(rig, host, tmp_path):
    path = tmp_path / "heard.wav"
    at = host("--record", str(path))
    at.until_held()
    emulator = rig.emulator
    assert emulator.state.series == {2}
    # Longer than a plain closure lasts: it is kept, and nobody has let go of it.
    emulator.wait_cycles(11_000 * CYCLES_PER_MS)
    assert emulator.state.closures == CLOSED
    at.say("press")
    pressed = at.wait_for(lambda state: state.keys).cycle
    assert emulator.state.closures == CLOSED
    released = at.wait_for(lambda state: not state.keys and state.cycle > pressed).cycle
    assert 100 < (released - pressed) / CYCLES_PER_MS < 1000
    emulator.wait_cycles(1000 * CYCLES_PER_MS)
    before = emulator.cycle
    for series in ({1}, {1, 2}):
        at.say("step down")
        at.wait_for(lambda state, series=series: state.series == series)
    states = [s for s in emulator.settled() if s.cycle > before]
    assert all(state.closures == CLOSED for state in states), "only the bank's channels change"
    at.say("open")
    at.wait_for(lambda state: not state.closures)
    assert emulator.state.supply
    at.say("close")
    at.wait_for(lambda state: state.closures == CLOSED)
    at.say("add A-D")
    at.say("quit")
    code, told, errors = at.end()
    assert (code, errors) == (0, "")
    assert "need 2 pairs of buses, this bench has one" in told
    assert "all pads are open and the toy is off" in told
    assert emulator.settled()[-1].is_open_and_off
    with wave.open(str(path)) as file:
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768
        rate_hz = file.getframerate()
    assert len(samples) > 11 * rate_hz
    loud = [np.sqrt(np.mean(one**2)) for one in np.array_split(samples, len(samples) // 4800)]
    assert max(loud[:80]) < 0.01, "nobody presses for eight seconds"
    assert max(loud) > 0.02


@pytest.mark.parametrize("how", ["stopped", "killed"])
def test_a_host_that_is_dead_leaves_all_open_and_the_toy_off(rig, host, how):
    at = host()
    at.until_held()
    at.process.send_signal(signal.SIGSTOP if how == "stopped" else signal.SIGKILL)
    emulator = rig.emulator
    emulator.wait_cycles(200 * CYCLES_PER_MS)  # what it had sent by then has come in
    heard = emulator.heard
    assert emulator.state.closures == CLOSED
    at.wait_for(lambda state: state.is_open_and_off, 10)
    opened = next(s.cycle for s in emulator.events() if s.cycle > heard and not s.closures)
    off = next(s.cycle for s in emulator.events() if s.cycle > heard and not s.supply)
    for cycle in (opened, off):
        assert (cycle - heard) / CYCLES_PER_MS == pytest.approx(DEAD_MAN_MS, abs=5)
    if how == "stopped":
        before = len(emulator.events())
        at.process.send_signal(signal.SIGCONT)
        at.process.wait(HANGS_S)  # before its input ends, which would be an answer to it too
        code, _, errors = at.end()
        assert code == 5
        assert '101 "Dead-man time ran out"' in errors
        assert errors.count("\n") == 1
        assert all(state.is_open_and_off for state in emulator.settled()[before:])


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGHUP, signal.SIGTERM])
def test_whatever_stops_the_host_opens_all_and_switches_off(rig, host, sent):
    at = host()
    at.until_held()
    before = rig.emulator.cycle
    at.process.send_signal(sent)
    code, _, errors = at.end()
    assert (code, errors) == (130, "padsweep: stopped: all pads are open and the toy is off\n")
    states = [s for s in rig.emulator.settled() if s.cycle > before]
    assert states[-1].is_open_and_off
    off = next(state.cycle for state in states if state.is_open_and_off)
    assert (off - before) / CYCLES_PER_MS < DEAD_MAN_MS, "it was told to, not left to the dead-man"


def test_a_guard_that_trips_is_told_and_the_toy_is_brought_back(rig, host):
    at = host()
    at.until_held()
    rig.emulator.current(400)
    at.wait_for(lambda state: state.is_open_and_off)
    rig.emulator.current(0)
    rig.emulator.wait_cycles(1500 * CYCLES_PER_MS)
    at.say("close")
    at.say("reset")
    at.wait_for(lambda state: state.supply)
    at.say("close")
    at.say("close")
    at.wait_for(lambda state: state.closures == CLOSED)
    at.say("quit")
    code, told, errors = at.end()
    assert (code, errors) == (0, "")
    assert "the toy drew too much: the guard has opened everything" in told
    assert "the toy is off: bring it back first" in told
    assert f"{PAIR} stopped the toy over" in told
    assert rig.emulator.settled()[-1].is_open_and_off
