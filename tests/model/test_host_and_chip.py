"""What the host lets be begun the controller lets be closed, and what either refuses of low pads the
other refuses too: random images, the host's rules beside the natively built firmware."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import hypothesis
import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from native import NativeController

from rig.bench.configuration import wanted_configuration
from rig.project import Project, Rig, Toy
from rig.project.closing import Closing, refusal
from rig.project.side_by_side import channels, made_ohm

EXAMPLES = 800
BANK_OHM = [65, 2_000, 6_800, 33_000]
HOST_ONLY = ("a pad on each bus", "are rails")
"""Reasons of the host's own; and no ordinary pad is closed twice."""
ROUNDED = 1.08
"""The controller counts with whole hundreds of ohms and a limit 5 % above rig.yaml's."""


def made(lead_ohm, volts, longest_ms, own_ohm) -> Project:
    low = {"B", "D", "E", "K"}
    pads = {letter: {} for letter in "ABCDEFGHIJKL"} | {"A": {"kind": "rail"}, "H": {"kind": "rail"}}
    pads |= {"C": {"forbidden": True}, "B": {"lead_ohm": own_ohm}}
    toy = {"name": "t", "supply": {"volts": volts, "source": "bench"}, "pads": pads,
           "keys": {"red": {}}, "low_pads": sorted(low)}  # fmt: skip
    rig = {"bench": "hardware", "lead_ohm": lead_ohm, "switch_ohm": 0.2, "series_ohm": BANK_OHM,
           "controller": {"port": "none", "pads": 24}, "sound": {"device": "none"},
           "accept_higher_current": True, "limiter": {"fitted": True, "longest_ms": longest_ms}}  # fmt: skip
    return Project(Path("x"), Toy.model_validate(toy), Rig.model_validate(rig))


PROJECTS = [made(1_200, 4.5, 100, 30.0), made(2_700, 9.0, 500, 200.0), made(1_000, 3.0, 2_000, 33.0)]


def supplied(project: Project) -> NativeController:
    """Give a controller that holds a project's configuration, its toy's rail up."""
    device = NativeController()
    for message in [*wanted_configuration(project).commands(), "SYSTem:CONFigure:SAVE", "*CLS"]:
        device.ask(message)
    assert device.ask("SYST:CONF:CRC?;STOR?") == f"{wanted_configuration(project).crc()};1"
    device.ask("OUTPut ON")
    device.run(300)
    assert device.ask("SYST:ERR?") == '0,"No error"'
    device.keep()
    return device


def chip_errors(device: NativeController, closing: Closing, dwell_ms: int) -> set[str]:
    """Close it by commands, then begin a touch of it; give the errors of each that had any."""
    number = {letter: n for n, letter in enumerate("ABCDEFGHIJKL", 1)}
    pads = [f"1!{number[pad]}" for pad in closing.pads_1]
    pads += [f"2!{number[pad]}" for pad in closing.pads_2]
    series = ",".join(map(str, channels(BANK_OHM, closing.series_ohm)))
    found = set()
    device.back()
    device.ask(f"TOUC:TIM 0,1,0,{dwell_ms},0;CONN (@{','.join(pads)});SER {series};INIT")
    found.add(device.ask("SYST:ERR?"))
    device.back()
    device.send(f"ROUT:SER {series};CLOS (@{','.join(pads)})\n".encode())
    device.run(8)
    found.add(device.ask("SYST:ERR?", 8))
    assert bool(device.closures) == (found == {'0,"No error"'}) or len(found) == 2
    return found


def is_host_only(why: str, any_low: bool) -> bool:
    """Say whether the controller may think otherwise."""
    return any(reason in why for reason in HOST_ONLY) or ("closed twice" in why and not any_low)


@pytest.mark.parametrize("project", PROJECTS, ids=["1.2 kohm", "2.7 kohm", "1 kohm"])
def test_host_and_chip_agree_on_low_pads(project):
    device, seen = supplied(project), Counter()
    laxer = replace(project, rig=project.rig.model_copy(
        update={"current_limit_ma": project.rig.current_limit_ma * ROUNDED}))  # fmt: skip
    bus = st.lists(st.sampled_from("ABBCDDEFGHIJKL"), min_size=0, max_size=3, unique=True)
    low = st.sampled_from([["B"], ["D"], ["E"], ["K"]])
    longest = project.rig.limiter.longest_ms
    times = st.sampled_from([1, longest - 5, longest - 4, 1_000])

    @hypothesis.settings(max_examples=EXAMPLES, deadline=None, database=None, derandomize=True,
                         suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(st.one_of(bus, low), st.one_of(low, bus), st.sampled_from([65, *made_ohm(BANK_OHM)]), times)
    def check(pads_1, pads_2, series_ohm, dwell_ms):
        closing = Closing(tuple(pads_1), tuple(pads_2), series_ohm)
        hypothesis.assume(pads_1 or pads_2)
        why = refusal(project, [closing], dwell_ms)
        errors = chip_errors(device, closing, dwell_ms)
        is_refused = errors != {'0,"No error"'}
        are_low = [set(pads) & set(project.toy.low_pads) for pads in (pads_1, pads_2)]
        if why is None:
            assert not is_refused, (closing, dwell_ms, errors)
        elif not is_host_only(why, any(are_low)) and refusal(laxer, [closing], dwell_ms):
            assert is_refused, (closing, dwell_ms, why)
        seen["both low" if all(are_low) else "one low" if any(are_low) else "none", is_refused] += 1

    check()
    assert len(seen) == 6 and min(seen.values()) >= 5, seen
