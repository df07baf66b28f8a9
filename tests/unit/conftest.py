"""What several test modules share: three small invented toys, swept once."""

import os
import re

import pytest
from rich.console import Console

from rig.bench.simulated.folder import new_simulated_project
from rig.cli.progress import SweepView
from rig.cli.sweep import run_sweep
from rig.log.opening import DEFAULT_NAME
from rig.project import load_project

BOARDS = {"talker": 8, "keyboard": 5, "sampler": 3}
"""Kinds and their seeds."""
SWEPT_PADS = 8
BANK_OHM = [0, 33_000, 150_000]


@pytest.fixture(scope="session")
def swept_boards(tmp_path_factory):
    """The project folders of three swept toys, by kind; only ever read."""
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
