"""The emulator as a process: how it starts, what a vanished one looks like, how it ends."""

from __future__ import annotations

import os
import subprocess
import time

import pytest
import serial
from emulator import CYCLES_PER_MS, Emulator, Port, build_emulator, build_firmware


def test_it_ends_in_order_on_sigterm_and_takes_its_socket_along():
    with Emulator() as emulator:
        socket_path = emulator.socket_path
        assert os.path.exists(socket_path)
        emulator._process.terminate()
        assert emulator._process.wait(timeout=5) == 0
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
    assert process.wait(timeout=5) == 0
    process.stdout.close()


def test_a_killed_emulator_is_an_error_at_once_on_the_port():
    with Emulator() as emulator, Port(emulator.pty) as port:
        assert port.ask("*IDN?")
        emulator.kill()
        with pytest.raises((serial.SerialException, OSError)):
            port.ask("*IDN?")


def test_time_keeps_the_pace_of_the_host():
    with Emulator(speed=2) as emulator:
        start_s, start = time.monotonic(), emulator.cycle
        emulator.wait_cycles(2_000 * CYCLES_PER_MS)
        took_s = time.monotonic() - start_s
        ran_s = (emulator.cycle - start) / CYCLES_PER_MS / 1000
        assert ran_s / took_s == pytest.approx(2, rel=0.2)


@pytest.mark.parametrize("arguments", [[], ["--speed", "0", "x.elf"], ["--wait", "x.elf"]])
def test_wrong_arguments_are_refused_with_the_usage(arguments):
    done = subprocess.run([build_emulator(), *arguments], check=False, capture_output=True)
    assert done.returncode == 2
    assert b"usage:" in done.stderr


def test_a_missing_firmware_is_one_line():
    done = subprocess.run([build_emulator(), "/nowhere.elf"], check=False, capture_output=True)
    assert done.returncode == 2
    assert b"can't read firmware /nowhere.elf" in done.stderr
