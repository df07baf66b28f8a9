"""The emulator's driver stands beside its own tests."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "emulated"))
