"""What holds for all tests."""

import os
import re
import signal

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the program itself; before numpy comes in

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # As a shell's job in the background has it: what the tests start would inherit that, and be deaf.
    signal.signal(signal.SIGINT, signal.default_int_handler)

# How long an example took, or how long it took to think of one, tells of the machine alone.
settings.register_profile("tests", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("tests")

KEEP_REAL_TIME = {
    "test_emulated_by_hand", "test_emulated_page", "test_emulated_survey", "test_emulated_sweep",
    "test_emulated_try", "test_firmware_emulator", "test_host_and_guard", "test_late_toy", "test_one_pair",
    "test_pyvisa", "test_replay_sound", "test_serial_faults", "test_sound_path", "test_stalled_reader",
}  # fmt: skip
"""Files whose emulated rig goes with the host's clock: one at a time."""
SWEPT_BOARDS = {
    "test_build_every_pair", "test_controls_command", "test_page_board", "test_page_browser",
    "test_screens", "test_try_command",
}
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


BOARDS = {"talker": 8, "keyboard": 5, "sampler": 3}
"""Kinds and their seeds."""
SWEPT_PADS = 8
BANK_OHM = [0, 33_000, 150_000]


@pytest.fixture(scope="session")
def swept_boards(tmp_path_factory):
    """The project folders of three swept toys, by kind; only ever read."""
    from rich.console import Console

    from rig.bench.simulated.folder import new_simulated_project
    from rig.cli.progress import SweepView
    from rig.cli.sweep import run_sweep
    from rig.log.opening import DEFAULT_NAME
    from rig.project import load_project

    folders = {}
    for kind, seed in BOARDS.items():
        folder = tmp_path_factory.mktemp("swept") / kind
        new_simulated_project(folder, seed, SWEPT_PADS, kind)
        text = (folder / "rig.yaml").read_text("utf-8")
        changed, count = re.subn(r"(?m)^series_ohm: .*$", f"series_ohm: {BANK_OHM}", text)
        assert count == 1
        (folder / "rig.yaml").write_text(changed, "utf-8")
        project = load_project(folder)
        with open(os.devnull, "w") as nowhere:
            run_sweep(project, DEFAULT_NAME, SweepView(Console(file=nowhere), project.toy))
        folders[kind] = folder
    return folders
