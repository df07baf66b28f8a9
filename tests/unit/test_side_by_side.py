"""Values that channels of the bank make side by side, in a set-up and in a sweep's plan."""

from itertools import combinations
from math import prod
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import ConfigError, SafetyRefusal
from rig.project import Rig, load_project, touchable
from rig.project.side_by_side import (
    ALIKE,
    MOST_TOGETHER,
    channels,
    counted_ohm,
    made_ohm,
    nearest_ohm,
)
from rig.sweep.steps import pair_steps
from rig.sweep.workload import workload

BANK = [0, 6800, 33000, 150000, 1500, 15000, 470000, 2200000]

TOY = """\
name: Pip
supply: {volts: 4.5, source: bench}
pads: {A: {kind: rail}, B: {kind: rail}, C: {}, D: {}}
keys: {red: {}}
"""
RIG = """\
bench: simulated
lead_ohm: 1500
switch_ohm: 0.2
series_ohm: %s
simulated: {seed: 1, pads: 4}
sweep: {series_ohm: %s}
"""


def folder(tmp_path: Path, bank=BANK, swept=(0, 4680, 27000, 150000)) -> Path:
    (tmp_path / "toy.yaml").write_text(TOY)
    (tmp_path / "rig.yaml").write_text(RIG % (list(bank), list(swept)))
    return tmp_path


def brute(bank, together):
    """Product over sums: another way to the same resistance, by the two-resistor formula."""
    value = bank[together[0] - 1]
    for number in together[1:]:
        value = value * bank[number - 1] / (value + bank[number - 1])
    return value


@pytest.mark.parametrize(("wanted", "together"), [
    (0, (1,)), (33000, (3,)), (4680, (2, 6)), (27000, (3, 4)), (387000, (7, 8)), (4000, None),
    (1, None), (3e7, None),
])  # fmt: skip
def test_the_fewest_channels_that_make_it(wanted, together):
    assert channels(BANK, wanted) == together


@given(st.lists(st.integers(100, 10**6), min_size=1, max_size=8), st.data())
def test_whatever_up_to_three_channels_make_is_found_and_made(bank, data):
    some = st.lists(st.integers(1, len(bank)), min_size=1, max_size=MOST_TOGETHER, unique=True)
    wanted = brute(bank, sorted(data.draw(some)))
    together = channels(bank, wanted)
    assert together is not None
    assert brute(bank, together) == pytest.approx(wanted, rel=ALIKE)
    assert nearest_ohm(bank, wanted) == pytest.approx(wanted, rel=1e-9)
    # The chip counts with the least of them shared by how many they are: never with more.
    assert counted_ohm(bank, wanted) <= wanted * (1 + ALIKE)


def test_no_more_channels_are_closed_than_the_budget_has():
    bank = [1000, 1100, 1210, 1331]
    all_of_them = prod(bank) / sum(prod(three) for three in combinations(bank, 3))
    assert channels(bank, all_of_them) is None


def test_pairs_are_touched_over_the_values_that_are_named(tmp_path):
    project = load_project(folder(tmp_path))
    swept = {step.series_ohm for step in pair_steps(project)}
    assert swept == {0, 4680, 27000, 150000}
    # Rails meet over one channel alone: the chip refuses more, which could be the wrong ones.
    rails = {step.series_ohm for step in pair_steps(project) if step.pads == ("A", "B")}
    assert rails == {150000}
    assert "one channel" in touchable(project, ("A",), ("B",), 27000)
    work = workload(project)
    assert work.touches - work.lone == sum(1 for _ in pair_steps(project))


def test_what_no_channels_make_is_told_with_the_nearest(tmp_path):
    with pytest.raises(ConfigError) as caught:
        load_project(folder(tmp_path, swept=(0, 22000)))
    assert str(caught.value) == (
        f"{tmp_path}/rig.yaml:6: no channels of series_ohm make 22000 ohm, alone or side by side: "
        "the nearest is 25577 ohm"
    )
    with pytest.raises(ConfigError, match="no channel of series_ohm is 0 ohm"):
        load_project(folder(tmp_path, bank=BANK[1:], swept=(0, 6800)))
    with pytest.raises(ConfigError, match=r":6: 6800 and 6900 ohm are one path"):
        load_project(folder(tmp_path, bank=[6800, 6900, 150000], swept=(6800, 6900)))


def test_two_alike_are_good_for_their_half(tmp_path):
    project = load_project(folder(tmp_path, bank=[6800, 6800, 150000], swept=(3400, 150000)))
    assert {step.series_ohm for step in pair_steps(project)} == {3400, 150000}


def test_what_the_chip_counts_with_is_what_must_keep_the_limit(tmp_path):
    made = folder(tmp_path, bank=[4700, 33000], swept=(4114, 33000))
    text = (made / "rig.yaml").read_text().replace("lead_ohm: 1500", "lead_ohm: 0")
    (made / "rig.yaml").write_text(text + "current_limit_ma: 1.2\n")
    # 4.5 V over 4,114 ohm are 1.09 mA; the chip counts with 2,350 ohm, 1.9 mA, and would refuse.
    with pytest.raises(SafetyRefusal, match="1.9"):
        load_project(made)


def test_by_hand_the_tips_values_stand_elsewhere(tmp_path):
    (tmp_path / "toy.yaml").write_text(TOY)
    (tmp_path / "rig.yaml").write_text(
        "bench: by-hand\nsound: {device: x}\nsweep: {series_ohm: [0]}\n"
    )
    with pytest.raises(ConfigError, match="by_hand: path_ohm"):
        load_project(tmp_path)


def test_without_them_the_bank_s_values_are_swept():
    rig = Rig.model_validate({
        "bench": "simulated", "lead_ohm": 1500, "switch_ohm": 0.2, "series_ohm": BANK,
        "simulated": {"seed": 1, "pads": 4},
    })  # fmt: skip
    assert rig.swept_ohm == BANK
    assert rig.least_ohm == 0


def test_all_that_is_made_can_be_asked_for():
    made = made_ohm(BANK)
    assert made[: len(BANK)] == BANK
    assert 1 / (1 / 6800 + 1 / 33000) in made
    assert all(channels(BANK, one) is not None for one in made)
