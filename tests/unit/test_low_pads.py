"""Low pads in the project's files: what is refused, what may be closed, and what the chip is told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rig_peer import Clock, RigPeer, bench_at

from rig.bench import Connection, Stimulus, Touch
from rig.bench.configuration import layout_of, wanted_configuration
from rig.cli.project import report
from rig.errors import BenchError, ConfigError, SafetyRefusal
from rig.project import load_project, path_ohm, setup_difference, setup_facts, setup_hash, touchable
from rig.project.closing import Closing, refusal
from rig.project.low_pads import LIMITER_MOST_MA, limiter_ma, low_lead_ohm, told
from rig.sweep.steps import lone_steps, pair_steps

TOY = """\
name: Test toy
supply: {volts: 4.5, source: cells}
pads:
  A: {kind: rail}
  B: {kind: clock}
  C: {lead_ohm: 30}
  D:
  E: {forbidden: true}
  F:
  G:
  H:
keys:
  red:
low_pads: [C, D, F]
"""
RIG = """\
bench: hardware
lead_ohm: 1200
switch: reed
switch_ohm: 0.2
series_ohm: [65, 2000, 6800, 33000]
controller: {port: /dev/none, pads: 8}
sound: {device: none}
accept_higher_current: true
limiter: {fitted: true, longest_ms: 150}
"""
PLAIN_TOY = TOY.replace("low_pads: [C, D, F]\n", "").replace("{lead_ohm: 30}", "")
PLAIN_RIG = RIG.replace("limiter: {fitted: true, longest_ms: 150}\n", "")


def loaded(folder, toy=TOY, rig=RIG):
    (folder / "toy.yaml").write_text(toy)
    (folder / "rig.yaml").write_text(rig)
    return load_project(folder)


@pytest.fixture
def project(tmp_path):
    return loaded(tmp_path)


@pytest.mark.parametrize(
    ("old", "new", "error", "said"),
    [
        ("[C, D, F]", "[C, A]", SafetyRefusal, "toy.yaml:14: pad A is a rail, which is never low"),
        ("[C, D, F]", "[C, B]", SafetyRefusal, "pad B is a clock"),
        ("[C, D, F]", "[C, E]", SafetyRefusal, "pad E is forbidden"),
        ("[C, D, F]", "[C, Z]", ConfigError, "toy.yaml:14: there is no pad Z"),
        ("[C, D, F]", "[C, D, C]", ConfigError, "pad C is there twice"),
        ("[C, D, F]", "[D, F]", ConfigError, "toy.yaml:6: a lead of its own is for low pads"),
        ("lead_ohm: 30}", "lead_ohm: 1200}", ConfigError, "lead_ohm must be at most 255"),
        ("fitted: true", "fitted: false", SafetyRefusal, "pad C can't be low without a limiter"),
        ("limiter: {fitted: true, longest_ms: 150}\n", "", SafetyRefusal, "without a limiter"),
        ("accept_higher_current: true\n", "", SafetyRefusal, "rig.yaml:8: up to 10.2 mA between low pads"),
        ("fitted: true", "fitted: true, limit_ma: 9.5", SafetyRefusal,
         "lets up to 10.8 mA through, the most is 10.2 mA: trim it to 9 mA or less"),
        ("longest_ms: 150", "longest_ms: 3000", ConfigError, "longest_ms must be at most 2000"),
        ("switch: reed", "switch: crosspoint", SafetyRefusal, "low pads need reed relays"),
        ("[65, 2000", "[1000, 2000", ConfigError, "the limiter is in series channel 1's place"),
    ],
)  # fmt: skip
def test_what_can_t_be_low_is_refused_where_it_stands(tmp_path, old, new, error, said):
    assert TOY.count(old) + RIG.count(old) == 1
    with pytest.raises(error) as caught:
        loaded(tmp_path, TOY.replace(old, new), RIG.replace(old, new))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_limiter_of_less_than_what_is_asked_above_needs_no_consent(tmp_path):
    rig = RIG.replace("accept_higher_current: true\n", "").replace("true,", "true, limit_ma: 4,")
    assert limiter_ma(loaded(tmp_path, rig=rig).rig) == pytest.approx(4.533, abs=0.001)


def test_by_hand_there_is_no_limiter(tmp_path):
    rig = "bench: by-hand\nsound: {device: none}\nlimiter: {fitted: true}\n"
    with pytest.raises(ConfigError, match="`limiter` belongs to a bench with switches"):
        loaded(tmp_path, PLAIN_TOY, rig)


def test_leads_and_worst_current_by_hand(project):
    # 33 ohm beside 1,200 are 32.1; C's 30 are the least, with which the chip counts for all.
    assert low_lead_ohm(project.toy, project.rig) == 30
    assert limiter_ma(project.rig) == pytest.approx(LIMITER_MOST_MA)
    beside = pytest.approx(32.12, abs=0.01)
    assert setup_facts(project)["low_pads"] == {"C": 30, "D": beside, "F": beside}


@pytest.mark.parametrize(
    ("pads_1", "pads_2", "series", "closed_ms", "words"),
    [
        ("C", "D", 65, 145, None),
        ("F", "C", 65, 10, None),
        ("C", "D", 65, 146, "C and D are low: closed for at most 145 ms"),
        ("C", "D", 65, None, "neither swept nor held"),
        ("C", "D", 2000, 100, "over the limiter of series channel 1 alone"),
        ("C", "D", 2000 * 6800 / 8800, 100, "series channel 1 alone"),
        ("CD", "F", 65, 100, "pad C is low: it is alone on its bus"),
        ("G", "CH", 33000, 100, "pad C is low: it is alone on its bus"),
        ("C", "C", 65, 100, "closed twice"),
        ("C", "G", 2000, 1200, None),  # 4.8 V / (30 + 2,000 + 1,200) ohm: 1.5 mA
        ("C", "G", 65, 100, "3.71 mA could flow"),  # 4.8 V / 1,295 ohm
        ("G", "H", 65, None, None),  # 1.9 mA
        ("C", "B", 6800, 100, "B is a clock"),
        ("C", "A", 6800, 100, None),
        ("C", "E", 6800, 100, "forbidden"),
        ("C", "", 65, 1200, None),
        ("C", "", 65, None, "neither swept nor held"),
    ],
)  # fmt: skip
def test_what_may_be_closed(project, pads_1, pads_2, series, closed_ms, words):
    why = refusal(project, [Closing(tuple(pads_1), tuple(pads_2), series)], closed_ms)
    assert (why is None) if words is None else words in str(why)


def test_no_sweep_touches_them_and_check_says_so(project):
    steps = [*pair_steps(project), *lone_steps(project)]
    joined = [one for step in steps for one in step.target.connections]
    touched = {pad for one in joined for pad in one.pads_1 + one.pads_2}
    assert touched == {"A", "B", "G", "H"}
    line = told(project.toy, project.rig)
    assert line == ("C, D, F: leads of 30 Ω; two of them carry at most 10.2 mA, for 150 ms; "
                    "no sweep touches them yet")  # fmt: skip
    lines = report(project, None)
    assert f"low      {line}" in lines
    assert any("6 as pad C is low: neither swept nor held yet" in one for one in lines)


def test_without_low_pads_nothing_changes(tmp_path, project):
    plain = loaded(tmp_path, PLAIN_TOY, PLAIN_RIG)
    assert told(plain.toy, plain.rig) == ""
    assert not {"limiter", "low_pads"} & setup_facts(plain).keys()
    assert touchable(plain, ("C",), ("D",), 65) is None
    assert path_ohm(plain.rig, 65) == pytest.approx(2465.4)
    assert setup_hash(plain) != setup_hash(project)
    assert "limiter was null" in setup_difference(setup_facts(plain), setup_facts(project))
    fitted = loaded(tmp_path, PLAIN_TOY)
    assert touchable(fitted, ("C",), ("D",), 65) is None


def test_the_chip_is_told_all_of_it(project):
    wanted = wanted_configuration(project)
    assert (wanted.low, wanted.limiter, wanted.low_ms, wanted.low_lead_ohm) == ({3, 4, 6}, True, 150, 30)
    assert wanted.packed()[54:].hex(" ") == "96 00 1e 01 2c 00 00 00 00 00 00 00"
    sent = wanted.commands()
    assert sent[-4:] == [
        "SYSTem:CONFigure:LOW:LIMiter ON", "SYSTem:CONFigure:LOW:PADS (@3,4,6)",
        "SYSTem:CONFigure:LOW:TIME 150", "SYSTem:CONFigure:LOW:LEADs 30",
    ]  # fmt: skip


@pytest.fixture
def peer(project):
    peer = RigPeer(project, Clock())
    yield peer
    peer.close()


def test_a_touch_of_two_low_pads_is_begun_where_it_is_short(peer, monkeypatch):
    bench = bench_at(peer, monkeypatch)
    try:
        touch = Touch(
            (Connection(("C",), ("D",), 65.0),), Stimulus(("red",), 100),
            before_ms=10, lead_in_ms=300, dwell_ms=145, tail_ms=50,
        )  # fmt: skip
        bench.begin(touch)
        assert "TOUCh:CONNections (@1!3,2!4)" in peer.heard
        assert "TOUCh:SERies 1" in peer.heard
        with pytest.raises(BenchError, match="closed for at most 145 ms"):
            bench.begin(replace(touch, dwell_ms=150))
        with pytest.raises(BenchError, match="nor held"):
            bench.hold((Connection(("C",), ("G",), 6800.0),))
    finally:
        bench.controller.close()


def as_firmware(peer, version, crc):
    peer.replies["*IDN?"] = f"padsweep,controller,0,{version}"
    peer.replies["SYSTem:CONFigure:CRC?"] = str(crc)


@pytest.mark.parametrize("version", ["0.3.0", "0.4.0"])
def test_firmware_that_knows_none_is_told_where_pads_are_low(peer, monkeypatch, version):
    as_firmware(peer, version, 0)
    with pytest.raises(BenchError, match=rf"has firmware {version}, low pads need 0\.5"):
        bench_at(peer, monkeypatch)
    assert not any("CONFigure" in line and "?" not in line for line in peer.heard)


@pytest.mark.parametrize("version", ["0.3.0", "0.4.0"])
def test_for_everything_else_it_serves_as_it_did(tmp_path, monkeypatch, version):
    plain = loaded(tmp_path, PLAIN_TOY)
    wanted = wanted_configuration(plain)
    peer = RigPeer(plain, Clock())
    as_firmware(peer, version, wanted.crc(layout=2))
    bench = bench_at(peer, monkeypatch)
    try:
        assert bench.state().facts["configuration_crc"] == wanted.crc(layout=2)
        assert bench.state().facts["configuration_stored_anew"] is False
        assert wanted.packed(layout=2) == bytes([2]) + wanted.packed()[1:54]
        assert not any("LOW" in message for message in wanted.commands(layout=2))
        assert layout_of(bench.controller.firmware) == 2
        assert layout_of((0, 5, 0)) == layout_of((0, 12)) == 3
    finally:
        bench.controller.close()
        peer.close()
