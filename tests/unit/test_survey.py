"""A survey on the simulated bench: what it finds, how it leaves the toy, what it says, what merges."""

from dataclasses import replace
from itertools import combinations
from unittest import mock

import pytest
from running import run_main

from rig.bench.measuring import Load, Measures
from rig.bench.simulated import bench as simulated
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.cli import survey as command
from rig.errors import BenchError, ConfigError
from rig.project import load_project
from rig.project.nets import confirm
from rig.project.places import load_places
from rig.survey.compare import changes, parted, steady_v, telling
from rig.survey.nets import between, nets
from rig.survey.points import BETWEEN, BEYOND, FLOATS, HIGH, LOW, MINUS, PLUS, points
from rig.survey.readings import load_readings, readings_text, save_readings
from rig.survey.telling import lines
from rig.survey.visit import Visit
from rig.sweep.steps import lone_steps, pair_steps
from rig.sweep.workload import workload

SEED, PADS, KIND = 101, 24, "sampler"


@pytest.fixture(scope="module")
def surveyed(tmp_path_factory):
    """Give a project, its bench after a survey, and what was read."""
    folder = tmp_path_factory.mktemp("survey") / "toy"
    project = new_simulated_project(folder, SEED, PADS, KIND)
    bench = SimulatedBench(project)
    readings = Visit(project, bench).read()
    save_readings(folder, readings)
    return project, bench, readings


def is_open_and_off(bench) -> bool:
    return not bench.toy._wiring.links and not bench.toy._wiring.keys and not bench.toy._supply.on


def same(bench) -> set:
    net_of = bench.board.net_of
    return {pair for pair in combinations(bench.board.letters, 2) if net_of[pair[0]] == net_of[pair[1]]}


def test_the_simulated_bench_can_measure():
    assert issubclass(SimulatedBench, Measures)


def test_nets_are_the_board_s_own(surveyed):
    project, bench, readings = surveyed
    sure, maybe = nets(readings.pads, between(project, readings))
    found = {pair for net in sure for pair in combinations(net, 2)}
    assert found
    assert found <= same(bench)
    assert same(bench) <= found | {pair for net in maybe for pair in combinations(net, 2)}


def test_each_pad_is_what_its_circuit_makes_of_it(surveyed):
    project, bench, readings = surveyed
    seen, board = points(project, readings), bench.board
    for pad, point in seen.items():
        net = board.nets[board.net_of[pad]]
        if net.role in ("vcc", "gnd") and project.toy.pads[pad].kind == "rail":
            assert point.kind == (PLUS if net.role == "vcc" else MINUS)
        elif net.role.startswith("nc"):
            assert point.kind == FLOATS
        elif net.role == "osc":
            assert point.kind == BETWEEN
        elif net.drive.pull is not None and net.drive.pull[1] in (0.0, 1.0) and net.drive.low_ohm is None:
            assert point.kind == (HIGH if net.drive.pull[1] else LOW)
            assert point.held_ohm == pytest.approx(net.drive.pull[0], abs=2 * point.off_ohm)


def test_it_leaves_the_toy_off_with_all_pads_open(surveyed):
    _, bench, _ = surveyed
    assert is_open_and_off(bench)


@pytest.mark.parametrize("part", ["ohm_between", "pad_v", "press_keys"])
@pytest.mark.parametrize("why", [KeyboardInterrupt, BenchError("gone")])
def test_ended_in_the_middle_it_leaves_the_toy_off_with_all_pads_open(surveyed, part, why):
    project, *_ = surveyed
    bench = SimulatedBench(project)
    real, calls = getattr(bench, part), []

    def fails_at_third(*given, **named):
        calls.append(given)
        if len(calls) == 3:
            raise why
        return real(*given, **named)

    setattr(bench, part, fails_at_third)
    with pytest.raises((KeyboardInterrupt, BenchError)):
        Visit(project, bench).read()
    assert is_open_and_off(bench)
    assert bench.toy.guard is None or not bench.toy.tripped


def test_nothing_is_measured_in_ohms_while_the_toy_is_supplied(surveyed):
    project, *_ = surveyed
    bench = SimulatedBench(project)
    bench.supply(True)
    bench.wait(0.5)
    with pytest.raises(BenchError, match="with the toy off"):
        bench.ohm_between("A", "B")
    with pytest.raises(BenchError, match="with the toy off"):
        bench.bank_ohm(6800)


def test_what_a_sweep_may_not_close_a_survey_may_not_either(surveyed):
    project, bench, _ = surveyed
    rails = [pad for pad, one in project.toy.pads.items() if one.kind == "rail"]
    plus, minus = rails
    with pytest.raises(BenchError, match="rails"):
        bench.pad_v(plus, Load(minus, 0.0))
    pads = {**project.toy.pads, "A": project.toy.pads["A"].model_copy(update={"forbidden": True})}
    careful = replace(project, toy=project.toy.model_copy(update={"pads": pads}))
    with pytest.raises(BenchError, match="forbidden"):
        SimulatedBench(careful).pad_v("A")
    assert "A" not in Visit(careful, bench).letters


def test_a_survey_pulls_no_harder_than_two_rails_may_be_joined(surveyed):
    project, bench, _ = surveyed
    pulls = Visit(project, bench)._pulls({PLUS: "A", MINUS: "B"})
    least = project.toy.supply.volts * 1.6 / 1.5 / 0.5e-3  # fresh cells and 0.5 mA
    assert pulls
    assert all(ohm + 2 * project.rig.lead_ohm >= least for ohm in pulls)


def loudspeaker(kind: str):
    """Give a board with a pad on each end of its loudspeaker, 8 ohm from its amplifier to minus."""
    board = make_board(SEED, PADS, kind)
    spk, minus = board.roles["spk"], board.roles["gnd"]
    bare = next(pad for pad in board.pads if board.nets[pad.net].role.startswith("nc"))
    pads = tuple(replace(pad, net=spk) if pad == bare else pad for pad in board.pads)
    return replace(board, pads=pads, fitted=(*board.fitted, (spk, minus, 8.0)))


@pytest.mark.parametrize("kind", ["talker", "keyboard", "sampler"])
def test_a_loudspeaker_s_two_wires_are_never_one_net(kind, tmp_path):
    board = loudspeaker(kind)
    project = new_simulated_project(tmp_path / "toy", SEED, PADS, kind)
    with mock.patch.object(simulated, "project_board", lambda _: board):
        bench = SimulatedBench(project)
    readings = Visit(project, bench).read()
    pairs = between(project, readings)
    sure, _ = nets(readings.pads, pairs)
    found = {pair for net in sure for pair in combinations(net, 2)}
    assert found <= same(bench)
    near = [one for one in pairs if {board.net_of[pad] for pad in one.pads} == {
        board.roles["spk"], board.roles["gnd"]}]  # fmt: skip
    assert near, "8 ohm must look like one net by its resistance, or this tests nothing"


def test_readings_are_kept_as_they_were(surveyed):
    project, _, readings = surveyed
    again = load_readings(project.folder)
    assert again is not None
    assert readings_text(again) == readings_text(readings)
    assert [again.ohm_of(*pair) for pair in combinations(again.pads, 2)]
    assert points(project, again).keys() == readings.pads.keys()


def test_the_report_fits_80_columns_and_warns_first(surveyed):
    project, _, readings = surveyed
    pads = dict(readings.pads)
    rail = next(pad for pad, one in project.toy.pads.items() if one.kind == "rail")
    high = next(pad for pad, one in project.toy.pads.items() if one.kind != "rail")
    pads[rail] = pads[rail].model_copy(update={"idle_v": [2.0]})
    pads[high] = pads[high].model_copy(update={"idle_v": [readings.rail_v + 5]})
    told = list(lines(project, readings.model_copy(update={"pads": pads})))
    assert max(map(len, told)) <= 80
    assert told[0].startswith(f"caution  {high}: above the supply")
    assert any(line.startswith(f"caution  {rail} is marked") for line in told)
    supply = next(i for i, line in enumerate(told) if line.startswith("supply"))
    assert all(line.startswith(("caution  ", " " * 9)) for line in told[:supply])
    rows = [line for line in told if line[:5].strip() in readings.pads]
    assert len(rows) == len(readings.pads)
    assert next(line for line in rows if line.split()[0] == high).endswith("leave it alone")
    assert points(project, readings.model_copy(update={"pads": pads}))[high].kind == BEYOND


def test_a_rail_that_is_not_what_toy_yaml_says_is_told(surveyed):
    project, _, readings = surveyed
    told = list(lines(project, readings.model_copy(update={"rail_v": project.toy.supply.volts / 2})))
    assert any("toy.yaml says" in line for line in told)


# --- leads that come off or are swapped


def test_a_lead_that_came_off_is_told_by_ohms_and_volts(surveyed):
    project, _, before = surveyed
    pad = next(pad for pad in telling(before) if any(pad in name.split("-") for name in before.ohm))
    bench = SimulatedBench(project)
    bench.senses.off.add(pad)
    now = Visit(project, bench).read()
    assert [line for line in parted(before, now) if line.startswith(f"{pad} is open")]
    assert [line for line in changes(before, steady_v(now), now.rail_v)
            if line.startswith(f"{pad} reads nothing")]  # fmt: skip
    assert parted(before, before) == []


def test_nothing_is_told_of_leads_that_stayed(surveyed):
    project, _, before = surveyed
    assert command.look_again(project, before) == []


def test_two_swapped_leads_are_told_as_such(surveyed):
    _, _, before = surveyed
    volts = steady_v(before)
    one = max(volts, key=volts.get)
    other = min(volts, key=lambda pad: abs(volts[pad] - volts[one] / 2))
    swapped = {**volts, one: volts[other], other: volts[one]}
    (line,) = changes(before, swapped, before.rail_v)
    assert {one, other} <= set(line.replace(":", " ").split())
    assert "swapped" in line


def test_a_fallen_rail_moves_no_lead(surveyed):
    _, _, before = surveyed
    lower = {pad: volts * 0.8 for pad, volts in steady_v(before).items()}
    assert changes(before, lower, before.rail_v * 0.8) == []


# --- nets that the person has confirmed


def copy(project, tmp_path):
    folder = tmp_path / "toy"
    new_simulated_project(folder, SEED, PADS, KIND)
    save_readings(folder, load_readings(project.folder))
    return folder


def test_confirming_keeps_what_is_there_and_the_person_s_word_wins(surveyed, tmp_path):
    project, _, readings = surveyed
    folder = copy(project, tmp_path)
    sure, _ = nets(readings.pads, between(project, readings))
    first, *rest = sure
    board = folder / "board.yaml"
    text = board.read_text("utf-8") + f"nets:\n  {'+'.join(first)}: apart  # I looked\n"
    board.write_text(text, "utf-8")
    places = load_places(folder)
    done = run_main("survey", "--confirm", "--project", folder)
    assert done.code == 0, done.err
    assert board.read_text("utf-8").startswith(text.rstrip("\n"))
    assert load_places(folder) == places
    assert load_project(folder).nets == tuple(rest)
    again = run_main("survey", "--confirm", "--project", folder)
    assert "0 nets more" in again.out


def test_a_board_without_a_picture_may_hold_nets(tmp_path):
    project = new_simulated_project(tmp_path / "toy", SEED, PADS, KIND)
    for name in ("board.yaml", "board.svg"):
        (project.folder / name).unlink()
    confirm(project.folder, project.toy, [("A", "C")])
    assert load_project(project.folder).nets == (("A", "C"),)
    assert load_places(project.folder) is None
    assert run_main("check", "--project", project.folder).code == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("nets:\n  A+Q9: one\n", "A+Q9"),
        ("nets:\n  A+Z: one\n", "no pad Z"),
        ("nets:\n  A+C: two\n", "two"),
        ("nets:\n  A+C: one\n  C+F: one\n  A+F: apart\n", "A and F can't be apart"),
    ],
)
def test_what_can_not_be_is_one_line(tmp_path, text, words):
    project = new_simulated_project(tmp_path / "toy", SEED, PADS, KIND)
    file = project.folder / "board.yaml"
    file.write_text(file.read_text("utf-8") + text, "utf-8")
    with pytest.raises(ConfigError, match="board.yaml:") as raised:
        load_project(project.folder)
    assert words in str(raised.value)


def merging(project, *groups, each=False):
    rig = project.rig
    if each:
        sweep = rig.sweep.model_copy(update={"nets": "each pad"})
        rig = rig.model_copy(update={"sweep": sweep})
    return replace(project, nets=tuple(groups), rig=rig)


def test_one_pad_of_a_net_is_touched_for_all(surveyed):
    project, *_ = surveyed
    signals = [pad for pad, one in project.toy.pads.items() if one.kind == "signal"]
    group = tuple(signals[:3])
    merged = merging(project, group)
    touched = {pad for step in pair_steps(merged) for pad in step.pads}
    assert touched == set(project.toy.pads) - set(group[1:])
    assert {step.pads for step in lone_steps(merged)} == {(pad,) for pad in touched}
    assert workload(merged).pairs < workload(project).pairs
    assert list(pair_steps(merging(project, group, each=True))) == list(pair_steps(project))


def test_a_net_is_what_its_strictest_pad_is(surveyed):
    project, *_ = surveyed
    rail = [pad for pad, one in project.toy.pads.items() if one.kind == "rail"][-1]
    signal = next(pad for pad, one in project.toy.pads.items() if one.kind == "signal")
    merged = merging(project, tuple(sorted((signal, rail))))
    assert signal not in merged.sweep_pads
    assert rail in merged.sweep_pads


def test_a_net_with_a_forbidden_pad_is_not_touched(surveyed):
    project, *_ = surveyed
    pads = {**project.toy.pads, "B": project.toy.pads["B"].model_copy(update={"forbidden": True})}
    toy = project.toy.model_copy(update={"pads": pads})
    merged = merging(replace(project, toy=toy), ("A", "B"))
    assert not {"A", "B"} & {pad for step in pair_steps(merged) for pad in step.pads}


def test_check_says_what_is_touched_for_what(surveyed, tmp_path):
    project, *_ = surveyed
    folder = copy(project, tmp_path)
    before = run_main("check", "--project", folder).out
    assert run_main("survey", "--confirm", "--project", folder).code == 0
    after = run_main("check", "--project", folder).out
    assert "one net" not in before
    assert " = " in next(line for line in after.splitlines() if line.startswith("nets"))
    assert workload(load_project(folder)).pairs < workload(project).pairs


# --- the command


def test_without_a_survey_nothing_is_listed_or_confirmed(tmp_path):
    project = new_simulated_project(tmp_path / "toy", SEED, PADS, KIND)
    for option in ("--list", "--confirm"):
        done = run_main("survey", option, "--project", project.folder)
        assert done.code == 2
        assert "padsweep survey" in done.err
        assert done.err.count("\n") == 1


def test_ctrl_c_keeps_nothing_and_says_that_the_toy_is_off(tmp_path, monkeypatch):
    project = new_simulated_project(tmp_path / "toy", SEED, PADS, KIND)
    monkeypatch.setattr(SimulatedBench, "press_keys", mock.Mock(side_effect=KeyboardInterrupt))
    done = run_main("survey", "--project", project.folder)
    assert done.code == 130
    assert "the toy is off and all pads are open" in done.err
    assert load_readings(project.folder) is None
