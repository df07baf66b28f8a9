"""The emulator as a process: how it starts, what a vanished one looks like, how it ends."""

from __future__ import annotations

import os
import subprocess
import time

import pytest
import serial
from emulator import (
    CYCLES_PER_MS,
    CYCLES_PER_S,
    HANGS_S,
    Emulator,
    Port,
    build_emulator,
    build_firmware,
)


def test_it_ends_in_order_on_sigterm_and_takes_its_socket_along():
    with Emulator() as emulator:
        socket_path = emulator.socket_path
        assert os.path.exists(socket_path)
        emulator._process.terminate()
        assert emulator._process.wait(timeout=HANGS_S) == 0
        assert not os.path.exists(socket_path)


def test_it_ends_when_its_parent_is_gone():
    process = subprocess.Popen(
        [build_emulator(), "--until-eof", build_firmware()],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout.readline().startswith("/dev/pts/")
    process.stdin.close()
    assert process.wait(timeout=HANGS_S) == 0
    process.stdout.close()


def test_a_killed_emulator_is_an_error_at_once_on_the_port():
    with (
        Emulator(paced=True) as emulator,
        serial.Serial(emulator.pty, 250_000, timeout=HANGS_S) as port,
    ):
        port.write(b"*IDN?\n")
        assert port.readline().endswith(b"\n")
        emulator.kill()
        with pytest.raises((serial.SerialException, OSError)):
            port.write(b"*IDN?\n")
            port.readline()


def test_paced_time_goes_on_by_itself_and_never_ahead_of_the_host_s():
    start_s = time.monotonic()  # before the emulator's own
    with Emulator(paced=True) as emulator:
        for _ in range(20):
            emulator.wait_cycles(10 * CYCLES_PER_MS)
            assert emulator.cycle <= (time.monotonic() - start_s) * CYCLES_PER_S


def test_other_time_stands_still_unless_a_test_waits():
    with Emulator() as emulator:
        port = Port(emulator)
        port.write("OUTPut ON")
        cycle, events = emulator.cycle, emulator.events()
        assert emulator.eeprom()  # the emulator itself goes on answering
        assert (emulator.cycle, emulator.events()) == (cycle, events)
        emulator.wait_cycles(60 * CYCLES_PER_MS)
        assert 0 <= emulator.cycle - cycle - 60 * CYCLES_PER_MS < CYCLES_PER_MS / 10
        assert emulator.state.supply


@pytest.mark.parametrize("arguments", [[], ["--step", "x.elf"], ["--wait", "x.elf"]])
def test_wrong_arguments_are_refused_with_the_usage(arguments):
    done = subprocess.run([build_emulator(), *arguments], check=False, capture_output=True)
    assert done.returncode == 2
    assert b"usage:" in done.stderr


def test_a_missing_firmware_is_one_line():
    done = subprocess.run([build_emulator(), "/nowhere.elf"], check=False, capture_output=True)
    assert done.returncode == 2
    assert b"can't read firmware /nowhere.elf" in done.stderr
