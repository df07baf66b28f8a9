"""Every planted fault still applies and names tests that there are; some of them are planted.

`planted.py` plants them all.
"""

from __future__ import annotations

import subprocess

import planted
import pytest


@pytest.mark.parametrize("fault", planted.FAULTS)
def test_a_fault_applies_and_names_its_finders(fault):
    subprocess.run(
        ["git", "apply", "--check", str(planted.FAULTS[fault])], cwd=planted.ROOT, check=True
    )
    tests = planted.finders(fault)
    assert tests
    for test in tests:
        file, name = test.split("::")
        assert f"def {name.split('[')[0]}(" in (planted.ROOT / file).read_text()


def test_a_copy_s_tests_import_its_own_rig(tmp_path):
    planted.copy_tree(tmp_path)
    # -P: nothing but PYTHONPATH leads to the copy.
    done = planted.run_python(["-P", "-c", "import rig.build; print(rig.build.__file__)"], tmp_path)
    assert done.stdout.strip() == str(tmp_path / "rig" / "build" / "__init__.py")


@pytest.mark.parametrize(
    "fault",
    ["rail_not_watched", "dead_converter_is_zero", "no_reset_rung", "drift_never_stops"],
)
def test_a_planted_fault_is_found(fault, tmp_path):
    assert planted.is_found(fault, tmp_path)
