"""What holds for all tests."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program itself; before numpy comes in

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# How long an example took, or how long it took to think of one, tells of the machine alone.
settings.register_profile("tests", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("tests")

KEEP_REAL_TIME = {
    "test_emulated_by_hand", "test_emulated_sweep", "test_firmware_emulator", "test_host_and_guard",
    "test_one_pair", "test_pyvisa", "test_replay_sound", "test_serial_faults", "test_sound_path",
    "test_stalled_reader",
}  # fmt: skip
"""Files whose emulated rig goes with the host's clock: one at a time."""
SWEPT_BOARDS = {"test_screens", "test_build_every_pair"}
"""Files that share a fixture which takes minutes."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep a file's tests in one process where there are several, and those of real time too."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            file = nodeid.split("::")[0]
            if Path(file).stem in KEEP_REAL_TIME:
                return "real time"
            return "swept boards" if Path(file).stem in SWEPT_BOARDS else file

    return ByFile(config, log)
