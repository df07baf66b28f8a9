"""kill -9 while the picks are measured: the command goes on where it stopped, and makes nothing twice."""

from collections import Counter

from killing import padsweep, run_and_kill

from rig.choose import finds
from rig.log import SweepLog, verify
from rig.log.between import parts
from rig.log.records import CONTROL

KILL_AT = (5, 12, 20)
"""Takes beyond those of the sweep, at which it is killed."""


def records_of(folder):
    with SweepLog.open(folder, read_only=True) as log:
        return log.records(), log


def test_measuring_that_is_killed_goes_on(tmp_path):
    project = tmp_path / "toy"
    assert run_and_kill(padsweep, "new", str(project), "--simulated", "--seed", "7", "--pads", "8", when=None) == 0
    words = ("--project", str(project))
    assert run_and_kill(padsweep, "sweep", *words, when=None) == 0
    folder = project / "sweeps" / "main"
    before, _ = records_of(folder)
    found = finds(before)
    best = next(one for one in found if one.is_bend and not one.is_lone and len(one.heard_ohm) > 1)
    assert run_and_kill(padsweep, "replay", *words, "--keep", best.pair, when=None) == 0
    takes = folder / "takes"
    for more in KILL_AT:
        code = run_and_kill(padsweep, "controls", *words, "--measure",
                            when=lambda more=more: len(list(takes.glob("*.flac"))) >= len(before) + more)  # fmt: skip
        assert code is None, "it ended before it was killed"
        made, _ = records_of(folder)
        assert made[: len(before)] == before
    assert run_and_kill(padsweep, "controls", *words, "--measure", when=None) == 0
    made, log = records_of(folder)
    assert not verify(log)
    assert finds(made) == found
    counted = Counter((one.path_ohm, one.facts["way"]) for one in made if one.number in parts(made).measuring)
    assert counted and set(counted.values()) == {2}
    assert not any(one.kind != CONTROL for one in made[len(before):])
