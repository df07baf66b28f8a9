"""What holds for all tests."""

import pytest
from hypothesis import HealthCheck, settings

# How long an example took, or how long it took to think of one, tells of the machine alone.
settings.register_profile("tests", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("tests")

KEEP_REAL_TIME = {
    "test_emulated_by_hand", "test_emulated_sweep", "test_firmware_emulator", "test_host_and_guard",
    "test_one_pair", "test_pyvisa", "test_replay_sound", "test_serial_faults", "test_sound_path",
}  # fmt: skip
"""Files whose emulated rig goes with the host's clock: one at a time."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Keep a file's tests together where several processes run them, and those of real time too."""
    for item in items:
        group = "real time" if item.path.stem in KEEP_REAL_TIME else str(item.path)
        item.add_marker(pytest.mark.xdist_group(group))
