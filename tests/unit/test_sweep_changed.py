"""A toy that a pair has left changed: nothing that is touched meanwhile becomes a find."""

import pytest
from listening import told_during
from scripted_hand import ScriptedHand
from small_sweeps import few_leads, new_log

from rig.choose import finds
from rig.events import RungTried, SweepDone
from rig.log import verify
from rig.log.between import parts
from rig.sweep import rejudge
from rig.sweep.confirming import RIG
from rig.sweep.run import Run

LEADS = "ABDEFG"
LEAVES = ("A", "E")


class Changed(ScriptedHand):
    """A toy that sounds changed for some presses after one pair was bridged, unless brought back."""

    def __init__(self, presses, heard=True):
        super().__init__(self.say)
        self.presses, self.heard = presses, heard
        self.left = self.restored = 0

    def say(self, step):
        if step.pads == LEAVES:
            self.left = self.presses
            return "odd" if self.heard else "ok"
        self.left -= 1
        return "odd" if self.left >= 0 else "ok"

    def restore(self, key):
        self.left, self.restored = 0, self.restored + 1
        return super().restore(key)


def swept(folder, hand):
    """Sweep 15 pairs over one path; gives the records, the finds and the last event."""
    hand.project = few_leads(folder / "toy", LEADS)
    with new_log(hand.project) as log:
        events = told_during(log, Run(hand.project, hand, log).run)
        assert not verify(log)
        again = {one.record.number: one for one in rejudge.rejudge(log, rejudge.in_processes(1))}
        records = log.records()
        # A log judged again says the same of all that counts.
        assert not [n for n in parts(records).counting if again[n].is_news]
    return records, {one.pair: one for one in finds(records)}, events


@pytest.mark.parametrize("presses", [1, 2, 4, 12])
@pytest.mark.parametrize("heard", [True, False])
def test_only_the_pair_that_does_it_is_found(tmp_path, presses, heard):
    hand = Changed(presses, heard)
    records, found, events = swept(tmp_path, hand)
    assert isinstance(events[-1], SweepDone)
    assert set(found) == ({"A-E"} if heard else set())
    if heard:
        assert found["A-E"].changed_presses == min(presses, 3)
        assert (hand.restored > 0) == (presses > 3)
        assert 0 < found["A-E"].p_value < 0.002
    counting = [one for one in records if one.number in parts(records).counting]
    assert len(counting) >= RIG.touches * len(found)


def test_a_toy_that_is_only_odd_once_now_and_then_loses_nothing(tmp_path):
    made = 0

    def script(step):
        nonlocal made
        made += step.is_clean and step.kind == "check"
        return "odd" if step.pads == LEAVES or (step.kind == "check" and made % 9 == 0) else "ok"

    records, found, events = swept(tmp_path, ScriptedHand(script))
    assert set(found) == {"A-E"} and isinstance(events[-1], SweepDone)
    told = parts(records)
    odd = {one.number for one in records if one.kind == "check" and one.sound != "none"}
    # What it does by itself stays among the takes that calibrate.
    assert odd & told.calibrating and not odd & told.reference
    assert not any(isinstance(one, RungTried) for one in events)
