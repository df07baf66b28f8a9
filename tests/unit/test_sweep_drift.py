"""Clean presses at intervals: a toy that no longer sounds like its baseline stops the sweep."""

import pytest
from small_sweeps import Altered, few_leads, louder, new_log

from rig.errors import RigError
from rig.events import BaselineDoubted, Progress, RungTried, SweepDone
from rig.log import verify
from rig.sweep import Sweep


def sweep_with_odd_checks(project, log, odd):
    """Sweep with a clean press after every pair, of which the first so many are softer."""
    def softer(sound, marker, number):
        if bench.is_bridged or checks >= odd:
            return sound, marker
        return louder(-9, from_piece=4)(sound, marker, number)

    bench = Altered(project, softer, after=1)
    sweep = Sweep(project, bench, log)
    checks = 0

    def check_often(event):
        nonlocal checks
        if isinstance(event, Progress):
            checks += event.kind == "check"
            if event.kind == "sweep":
                sweep.known.check_next()

    log.listen(check_often)
    sweep.run()


@pytest.mark.parametrize("odd", [2, 3, 6])
def test_three_odd_clean_presses_in_a_row_bring_the_toy_back_and_three_more_stop_the_sweep(tmp_path, odd):
    project = few_leads(tmp_path / "toy", "ABDE")
    with new_log(project) as log:
        if odd < 6:
            sweep_with_odd_checks(project, log, odd)
            assert isinstance(log.events()[-1], SweepDone)
        else:
            with pytest.raises(RigError, match="no longer sounds like its baseline .*--name"):
                sweep_with_odd_checks(project, log, odd)
        log.flush()
        assert not verify(log)
        records, events = log.records(), log.events()
    doubted = [one.touch for one in events if isinstance(one, BaselineDoubted)]
    checks = [one for one in records if one.kind == "check"]
    assert [one.number for one in checks[:odd]] == doubted
    assert all(one.sound == "level" for one in checks[:odd])
    assert (records[-1].number == doubted[-1]) == (odd == 6)
    restored = [one for one in events if isinstance(one, RungTried)]
    assert [one.rung for one in restored] == ["supply"] * (odd >= 3)
    # Good ones follow before anything is bridged again.
    behind = [one.kind for one in records if one.number > doubted[-1]]
    assert behind[:4] == ([] if odd == 6 else 3 * ["check"] + ["sweep"])
