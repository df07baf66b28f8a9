"""kill -9 of a sweep while it pauses: it goes on where it was, and nothing is lost or made twice."""

from collections import Counter

from killing import padsweep, run_and_kill
from rows import facts

from rig.events import Progress, SweepDone, SweepGoesOn, SweepStarted, SweepWaits
from rig.log import SweepLog, read_events, verify
from rig.log.pausing import PAUSE, ask_to_pause, let_go_on
from rig.log.stream import waits

KILLS = 3


def test_a_sweep_that_is_killed_in_its_pauses(tmp_path):
    project = tmp_path / "toy"
    folder = project / "sweeps/main"
    words = ("sweep", "--project", str(project))
    assert run_and_kill(padsweep, "new", str(project), "--simulated", "--seed", "11", "--pads", "8",
                        when=None) == 0
    before = []
    for _ in range(KILLS):
        made = len(before)

        def is_paused(made=made):
            if not (folder / "log.db").exists():
                return False
            events = read_events(folder)
            if sum(isinstance(one, Progress) for one in events) >= made + 12:
                ask_to_pause(folder, "at a terminal")
            return waits(events) is not None and not waits(events).is_old

        assert run_and_kill(padsweep, *words, when=is_paused) is None
        log = SweepLog.open(folder, read_only=True)
        assert verify(log) == []
        records = log.records()
        assert all(one.complete or one.fault for one in records), "what was made is all known"
        assert [facts(one) for one in records[: len(before)]] == before
        before = [facts(one) for one in records]
        assert len(before) >= made + 12
        assert (folder / PAUSE).exists(), "who asked for it is still told"
        # The next start waits, and is killed in that pause too.
        assert run_and_kill(padsweep, *words, when=lambda: (
            told := waits(read_events(folder))) is not None and told.is_old) is None
        assert len(SweepLog.open(folder, read_only=True).records()) == len(before)
        let_go_on(folder)
    assert run_and_kill(padsweep, *words, when=None) == 0
    log = SweepLog.open(folder, read_only=True)
    assert verify(log) == []
    made = Counter(one.plan_key for one in log.records()
                   if one.kind == "sweep" and one.complete and not one.fault)
    assert set(made.values()) == {1}
    events = log.events()
    assert isinstance(events[-1], SweepDone)
    kinds = [type(one) for one in events if isinstance(one, (SweepStarted, SweepWaits, SweepGoesOn))]
    assert kinds == KILLS * [SweepStarted, SweepWaits, SweepStarted, SweepWaits] + [SweepStarted]
