"""The serial link over a pty: a scripted peer misbehaves, the host says so in one line."""

from __future__ import annotations

import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest
from serial_peer import IDENTITY, REPLY_S, Peer

from rig.bench.controller import ACTIONS, Controller
from rig.errors import BenchError, GuardTripped, LinkLost, Restarted

SILENCE_S = 0.05
"""So long is waited for a peer that says nothing more."""


@pytest.fixture
def peer():
    peer = Peer()
    yield peer
    peer.close()


@pytest.fixture
def controller(peer):
    controller = open_at(peer)
    yield controller
    controller.close()


def open_at(peer, restart_s=REPLY_S):
    return Controller.open(peer.port, restart_s=restart_s, reply_s=REPLY_S)


def one_line(caught) -> str:
    text = str(caught.value)
    assert "\n" not in text
    return text


def test_opening_learns_who_is_there(controller):
    assert controller.identity == IDENTITY
    assert controller.firmware == (0, 5, 0)
    assert controller.query("SYSTem:DMAN?") == "3000"


def test_a_busy_machine_whose_time_is_over_at_the_first_byte_reads_the_others(
    controller, monkeypatch
):
    """pyserial's read_until gives what it has once its time is over, be the rest there or not."""
    monkeypatch.setattr(controller._link, "read_until", lambda *_: controller._link.read(1))
    assert controller.query("SYSTem:DMAN?") == "3000"


def test_opening_waits_out_a_restart(peer):
    peer.deaf_lines = 4  # two probes, each a line end and a query
    controller = open_at(peer)
    assert controller.query("SYSTem:DMAN?") == "3000"
    controller.close()


def test_errors_from_before_the_opening_are_cleared(peer):
    peer.queue = ['-102,"Syntax error"', '-350,"Queue overflow"']
    controller = open_at(peer)
    assert controller.errors() == []
    controller.close()


def test_a_port_that_is_not_there():
    with pytest.raises(LinkLost) as caught:
        Controller.open("/dev/padsweep-none")
    text = one_line(caught)
    assert "/dev/padsweep-none isn't there" in text and "rig.yaml" in text


def test_a_file_is_no_port(tmp_path):
    path = tmp_path / "port"
    path.write_text("")
    with pytest.raises(LinkLost) as caught:
        Controller.open(str(path))
    assert str(path) in one_line(caught)


def test_silence(peer):
    peer.raw["*IDN?"] = b""
    with pytest.raises(LinkLost) as caught:
        open_at(peer, restart_s=0.5)
    assert "nothing came" in one_line(caught)


def test_another_device(peer):
    peer.replies["*IDN?"] = "Somebody,Multimeter,123,1.0"
    with pytest.raises(LinkLost) as caught:
        open_at(peer)
    assert "another device ('Somebody,Multimeter,123,1.0')" in one_line(caught)


def test_a_device_that_never_replies_with_a_line(peer):
    peer.raw["*IDN?"] = b"\x80\xff\x00"
    with pytest.raises(LinkLost) as caught:  # whose time is over once it has replied to a probe
        Controller.open(peer.port, clock=lambda: 2 * REPLY_S * (peer.heard.count("*IDN?") > 1),
                        restart_s=REPLY_S, reply_s=REPLY_S)
    assert "\\x80" in one_line(caught)


@pytest.mark.parametrize("version", ["0.0.9", "1.0.0", "what"])
def test_firmware_that_does_not_fit(peer, version):
    peer.replies["*IDN?"] = f"padsweep,controller,0,{version}"
    with pytest.raises(LinkLost) as caught:
        open_at(peer)
    assert version in one_line(caught) and "firmware/" in one_line(caught)


def test_two_programs_can_not_share_a_port(peer, controller):
    code = (
        "import sys\nfrom rig.bench.controller import Controller\n"
        "from rig.errors import LinkLost\n"
        "try:\n    Controller.open(sys.argv[1])\n"
        "except LinkLost as error:\n    print(error)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, peer.port],
        check=True,
        capture_output=True,
        text=True,
        timeout=REPLY_S,
    )
    assert run.stdout.startswith(f"{peer.port} is in use"), run.stderr
    assert run.stdout.count("\n") == 1


def test_the_port_is_free_again_after_close(peer):
    open_at(peer).close()
    open_at(peer).close()


def test_a_command_reads_the_error_queue(peer, controller):
    controller.command("OUTPut ON")
    assert peer.heard[-2:] == ["OUTPut ON", "SYSTem:ERRor?"]
    peer.queue = ['-222,"Data out of range"', '-221,"Settings conflict"']
    with pytest.raises(BenchError) as caught:
        controller.command("ROUTe:SERies 9")
    text = one_line(caught)
    assert "'ROUTe:SERies 9'" in text and "-222" in text and "-221" in text
    # Refused is not lost: the link is still in step.
    assert not isinstance(caught.value, LinkLost)
    controller.command("ROUTe:SERies 1")


def test_a_latched_guard_is_its_own_error(peer, controller):
    peer.queue = ['105,"Guard latched"']
    with pytest.raises(GuardTripped) as caught:
        controller.command("OUTPut ON")
    assert ACTIONS[105] in one_line(caught)


def test_every_error_of_the_firmware_s_own_has_its_action():
    text = (Path(__file__).parents[2] / "firmware" / "errors.def").read_text()
    numbers = [int(number) for number in re.findall(r"^ERROR\((-?\d+),", text, re.MULTILINE)]
    assert len(numbers) > 10
    own = {number for number in numbers if number > 0}
    assert own
    assert own <= set(ACTIONS) <= set(numbers)


def test_a_short_reply_is_an_error_at_once(peer, controller, monkeypatch):
    peer.raw["MEASure:VOLTage?"] = b"4.5"
    link, read_until = controller._link, controller._link.read_until

    def read_what_came(*arguments):
        if link.timeout != SILENCE_S:
            select.select([link.fileno()], [], [], REPLY_S)
            link.timeout = SILENCE_S
        return read_until(*arguments)

    monkeypatch.setattr(link, "read_until", read_what_came)
    with pytest.raises(LinkLost) as caught:
        controller.query("MEASure:VOLTage?")
    assert "only b'4.5'" in one_line(caught)


def test_no_reply(peer, controller):
    controller._link.timeout = SILENCE_S
    with pytest.raises(LinkLost) as caught:
        controller.query("TOUCh:STATe?")
    assert "nothing within" in one_line(caught)


@pytest.mark.parametrize(
    "raw", [b"\xff\xfe12\n", b"\n", b"1\n2\n", b"4.5\x07\n", b"x" * 600 + b"\n"]
)
def test_garbage_in_a_reply(peer, controller, raw):
    peer.raw["MEASure:VOLTage?"] = raw
    with pytest.raises(LinkLost) as caught:
        controller.query("MEASure:VOLTage?")
        controller.query("SYSTem:DMAN?")  # a second line may come just behind the first
    one_line(caught)


def test_bytes_nobody_asked_for(peer, controller):
    peer.say(b"boo\n")
    select.select([controller._link.fileno()], [], [], REPLY_S)
    with pytest.raises(LinkLost) as caught:
        controller.query("SYSTem:DMAN?")
    assert "boo" in one_line(caught) and "unasked" in one_line(caught)
    # The next exchange starts in step again.
    assert controller.query("SYSTem:DMAN?") == "3000"


def test_an_interrupted_query_does_not_shift_the_next(peer, controller, monkeypatch):
    peer.replies["MEASure:VOLTage?"] = "4.512"

    def interrupted(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(controller._link, "read_until", interrupted)
        with pytest.raises(KeyboardInterrupt):
            controller.query("MEASure:VOLTage?")
    assert controller.query("SYSTem:DMAN?") == "3000"


def test_what_is_urgent_goes_first_whatever_is_under_way(peer, controller):
    peer.queue = ['-222,"Data out of range"']
    controller._link.write(b"ROUTe:CLOSe (@1!")  # the rest never came
    peer.say(b"a reply that nobody waited for\n")
    select.select([controller._link.fileno()], [], [], REPLY_S)
    before, heard = len(controller.log), len(peer.heard)
    controller.urgent("OUTPut OFF")
    first = controller.log[before]
    assert (first.sent, first.data) == (True, b"\nOUTPut OFF\n")
    assert controller.errors() == [(-222, "Data out of range")]
    assert peer.heard[heard:][:3] == ["ROUTe:CLOSe (@1!", "OUTPut OFF", "SYSTem:ERRor?"]
    assert controller.query("SYSTem:DMAN?") == "3000"


def test_what_is_urgent_goes_out_at_once_after_an_interrupted_query(peer, controller, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(controller._link, "read_until", interrupted)
        with pytest.raises(KeyboardInterrupt):
            controller.query("SYSTem:DMAN?")
    before = len(controller.log)
    controller.urgent("OUTPut OFF")
    assert controller.log[before].data == b"\nOUTPut OFF\n"
    assert controller.query("SYSTem:BOOTs?") == "7"


def test_what_is_urgent_is_sent_to_a_port_that_never_gets_quiet(peer, controller, monkeypatch):
    now = iter(range(1000))
    monkeypatch.setattr(controller, "_clock", lambda: next(now))
    monkeypatch.setattr(controller._link, "read", lambda count: b"noise")
    with pytest.raises(LinkLost, match="keeps talking"):
        controller.urgent("OUTPut OFF")
    until = time.monotonic() + REPLY_S
    while "OUTPut OFF" not in peer.heard:
        assert time.monotonic() < until


def test_a_restart_nobody_asked_for(peer, controller):
    controller.check_restart()
    peer.replies["SYSTem:BOOTs?"] = "8"
    peer.queue = ['103,"Restarted by watchdog"']
    with pytest.raises(Restarted) as caught:
        controller.check_restart()
    assert "restarted by itself (start 7 -> 8" in one_line(caught)
    assert "Restarted by watchdog" in one_line(caught)
    controller.check_restart()  # told of once


def test_a_restart_that_the_error_queue_tells_of(peer, controller):
    peer.replies["SYSTem:BOOTs?"] = "8"
    peer.queue = ['-500,"Power on"', '104,"Supply sagged"']
    with pytest.raises(Restarted, match='-500 "Power on"; 104 "Supply sagged"'):
        controller.command("TOUCh:CLOSe 1000")


def test_another_device_after_a_restart(peer, controller):
    peer.replies |= {"SYSTem:BOOTs?": "8", "*IDN?": "Somebody,Multimeter,123,1.0"}
    with pytest.raises(LinkLost) as caught:
        controller.check_restart()
    assert not isinstance(caught.value, Restarted)
    assert "another device" in one_line(caught)


@pytest.mark.parametrize("number", [105, 106, 107])
def test_a_guard_that_holds_everything_open(peer, controller, number):
    peer.queue = [f'{number},"Text"']
    with pytest.raises(GuardTripped):
        controller.check_errors("before a touch")


@pytest.mark.parametrize("number", [110, 111])
def test_a_fault_of_the_toy_s_supply_is_no_trip_though_the_guard_is_latched(
    peer, controller, number, monkeypatch
):
    monkeypatch.setitem(ACTIONS, number, "look at the cells")
    peer.queue = ['105,"Guard latched"', f'{number},"Text"']
    with pytest.raises(BenchError) as caught:
        controller.check_errors("before a touch")
    assert type(caught.value) is BenchError
    assert one_line(caught).endswith(": look at the cells")


@pytest.mark.parametrize("reply", ["1,2", "1,2,x", "4.5,1,1"])
def test_numbers_that_do_not_fit(peer, controller, reply):
    peer.replies["TOUCh:TIMeline?"] = reply
    with pytest.raises(LinkLost):
        controller.numbers("TOUCh:TIMeline?", 3)


def test_an_error_queue_that_never_ends(peer, controller):
    peer.raw["SYSTem:ERRor?"] = b'-350,"Queue overflow"\n'
    with pytest.raises(LinkLost) as caught:
        controller.command("OUTPut ON")
    assert "never gets empty" in one_line(caught)


def test_unplugged():
    peer = Peer()
    controller = open_at(peer)
    peer.close()
    with pytest.raises(LinkLost) as caught:
        controller.query("SYSTem:DMAN?")
    assert f"{peer.port} is gone" in one_line(caught)
    with pytest.raises(LinkLost, match="is gone"):  # nor does it come back
        controller.wake()
    controller.close()
    controller.close()


def test_every_byte_is_logged_once(peer, controller):
    before = len(controller.log)
    controller.query("SYSTem:DMAN?")
    entries = list(controller.log)[before:]
    assert [(entry.sent, entry.data) for entry in entries] == [
        (True, b"SYSTem:DMAN?\n"),
        (False, b"3000\n"),
    ]
    for _ in range(1500):
        controller.query("SYSTem:DMAN?")
    assert len(controller.log) == controller.log.maxlen
