"""`python -m rig.cli` is `padsweep`."""

from rig.cli.main import run

run()
