"""The ear's thresholds are one frozen object that says of each what it is, and has a version."""

import ast
import hashlib
from dataclasses import FrozenInstanceError, asdict, fields, is_dataclass
from pathlib import Path

import pytest

import rig.listen
from rig.listen import JUDGE, THRESHOLDS

VALUES = {"6": "01a9", "7": "2e29", "8": "6ba6"}
"""The beginning of the hash of a version's values. Another value is another version."""
GROUPS = [getattr(THRESHOLDS, one.name) for one in fields(THRESHOLDS) if one.name != "version"]
EACH = [(group, one) for group in GROUPS for one in fields(group)]
# What the ear is made of, not what it decides by.
NAMES = {"T", "LAG_FRAMES", "HOP_S", "WINDOW_S", "BANDS", "BAND_LOW_HZ", "BAND_HIGH_HZ",
         "SILENCE_DB", "AT_A_TIME", "COARSE", "DEAD_DB", "SIZE", "JUDGE", "JUDGING", "DESCRIBING", "RECORDINGS",
         "CALIBRATING", "AS_FAR", "AS_WITH_LEAD", "BESIDE_LEAD", "LIKE_KEY",
         "MANNER", "MANNER_AMOUNT", "MANNER_UNIT",
         "THRESHOLDS", "LEAST_TAKES", "LEAST_RATE_HZ"}  # fmt: skip
ROOT = Path(rig.listen.__file__).parent


def test_another_value_is_another_version():
    values = repr(sorted(asdict(THRESHOLDS).items())).encode()
    assert hashlib.sha256(values).hexdigest()[:4] == VALUES[THRESHOLDS.version]
    assert THRESHOLDS.version == JUDGE


@pytest.mark.parametrize("group, one", EACH, ids=lambda it: getattr(it, "name", ""))
def test_each_says_its_unit_what_it_decides_and_how_it_was_chosen(group, one):
    assert set(one.metadata) == {"unit", "decides", "chosen"}
    assert all(one.metadata.values())
    value = getattr(group, one.name)
    for suffix, unit in (("_db", "dB"), ("_s", "s"), ("_hz", "Hz"), ("_frames", "frames"),
                         ("_cents", "cents"), ("_takes", "takes")):
        if one.name.endswith(suffix):
            assert one.metadata["unit"].startswith(unit)
    with pytest.raises(FrozenInstanceError):
        setattr(group, one.name, value)
    assert is_dataclass(group)


def test_no_threshold_stands_elsewhere():
    for path in ROOT.rglob("*.py"):
        if "thresholds" in path.parts:
            continue
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.Assign):
                named = {one.id for target in node.targets for one in ast.walk(target)
                         if isinstance(one, ast.Name)}
                assert {name for name in named if name.isupper()} <= NAMES, path


@pytest.mark.parametrize("group", GROUPS, ids=lambda it: type(it).__name__)
def test_each_is_used(group):
    text = "".join(path.read_text("utf-8") for path in ROOT.rglob("*.py")
                   if "thresholds" not in path.parts)
    for one in fields(group):
        assert f".{one.name}" in text, one.name
