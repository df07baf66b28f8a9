"""Plants each fault of faults/ in a copy of the tree, and expects the tests it names to find it.

    python tests/planted/planted.py            # all of them, some minutes
    python tests/planted/planted.py NAME ...   # of faults, or of their folders: firmware, sweep

A fault is a patch with lines `found by TEST` ahead of it: a test's place, as pytest takes it.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
FAULTS = {path.stem: path for path in sorted((HERE / "faults").glob("*/*.patch"))}
PARTS = ("firmware", "rig", "tests", "configs", "pyproject.toml")
PASSED, FAILED = 0, 1
"""What pytest leaves with when every test passed, and when some failed."""


def finders(fault: str) -> list[str]:
    """Give the tests that must find a fault."""
    return re.findall(r"^found by (\S+)$", FAULTS[fault].read_text(), re.MULTILINE)


def copy_tree(to: Path) -> None:
    """Copy what the tests need, without anything built."""
    for part in PARTS:
        if (ROOT / part).is_dir():
            built = ["__pycache__", *(["build*"] if part == "firmware" else [])]
            shutil.copytree(ROOT / part, to / part, ignore=shutil.ignore_patterns(*built))
        else:
            shutil.copy(ROOT / part, to / part)


def run_python(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run Python in a copy of the tree, with the copy's own `rig` and no installed one."""
    return subprocess.run(
        [sys.executable, *words], cwd=folder, env=os.environ | {"PYTHONPATH": str(folder)},
        check=False, capture_output=True, text=True,
    )  # fmt: skip


def do_pass(tests: list[str], folder: Path) -> bool:
    """Run tests of the tree in a folder itself; say whether they pass.

    Raises
    ------
    RuntimeError
        They can't be run.
    """
    done = run_python(["-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests], folder)
    if done.returncode not in (PASSED, FAILED):
        raise RuntimeError(f"the tests can't be run:\n{done.stdout}{done.stderr}")
    return done.returncode == PASSED


def is_found(fault: str, folder: Path) -> bool:
    """Plant a fault in an empty folder's copy of the tree; say whether its tests fail by it.

    Raises
    ------
    RuntimeError
        The patch doesn't apply any more, or its tests can't be run.
    """
    copy_tree(folder)
    patched = subprocess.run(["git", "apply", str(FAULTS[fault])], cwd=folder, check=False,
                             capture_output=True, text=True)  # fmt: skip
    if patched.returncode:
        raise RuntimeError(f"{fault} doesn't apply any more: {patched.stderr.strip()}")
    return not do_pass(finders(fault), folder)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    folders = {path.parent.name for path in FAULTS.values()}
    parser.add_argument("names", nargs="*", metavar="NAME", choices=[[], *FAULTS, *folders])
    names = parser.parse_args().names or folders
    faults = [one for one, path in FAULTS.items() if {one, path.parent.name} & {*names}]
    with tempfile.TemporaryDirectory() as name:
        copy_tree(Path(name))
        tests = sorted({test for fault in faults for test in finders(fault)})
        if not do_pass(tests, Path(name)):
            sys.exit("these tests fail without any fault: mend that first")
    print(f"without a fault {len(tests)} tests pass")
    missed = []
    for fault in faults:
        with tempfile.TemporaryDirectory() as name:
            found = is_found(fault, Path(name))
        print(f"{'found' if found else 'MISSED':7} {fault:28} {', '.join(finders(fault))}", flush=True)
        missed += [] if found else [fault]
    if missed:
        sys.exit(f"not found: {', '.join(missed)}")


if __name__ == "__main__":
    main()
