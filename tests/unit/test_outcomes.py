"""The one table of what a touch can do."""

import pytest
from making_logs import BASELINE, add, bridge, new_log

from rig.build.controls import propose
from rig.build.evidence import evidence_for
from rig.choose import finds
from rig.choose.picks import Pick
from rig.outcomes import AFTERS, SOUNDS, Sound, is_change, is_heard, is_stop, sound_words


def test_a_word_that_is_added_is_one_row(tmp_path, monkeypatch):
    """Stored, said, ranked and given its control: nothing else has to know it."""
    row = Sound("wobble", lambda hz, _: f"wobbles {hz:.0f} times a second", 0.99,
                ("push-button", "Hold it while it should wobble."))  # fmt: skip
    monkeypatch.setitem(SOUNDS, "wobble", row)
    with new_log(tmp_path) as log:
        add(log, kind="baseline", touch=BASELINE)
        for pads, sound in (("AB", "wobble"), ("CD", "level")):
            for kind in ("sweep", "confirm", "confirm"):
                add(log, kind=kind, touch=bridge(*pads), sound=sound, amount=7.0, unit="Hz",
                    score=3.0)  # fmt: skip
        records = log.records()
    first, second = finds(records, false_discovery=0.5)
    assert (first.pair, first.sound, second.sound) == ("A-B", "wobble", "level")
    assert sound_words(first.sound, first.amount, first.unit) == "wobbles 7 times a second"
    pick = Pick("A-B")
    (evidence,) = evidence_for([pick], records, 0.5)
    control = propose(pick, evidence, least_path_ohm=3e3, most_path_ohm=2e5, volts=4.8)
    assert control.kind == "push-button"
    assert "wobble" in control.why


@pytest.mark.parametrize("after", AFTERS)
def test_only_what_needs_a_reset_is_a_stop(after):
    assert is_stop(after) == (after in ("freeze", "guarded"))
    assert not is_stop(None)


def test_a_change_and_what_runs_on_are_heard():
    assert [word for word in SOUNDS if not is_change(word)] == ["none", "lost"]
    assert not is_change(None)
    assert is_heard("none", "runs on")
    assert not is_heard("none", "freeze")
