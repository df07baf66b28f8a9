"""The sheet of every pair of three swept toys: by hand and by command the same, and safe."""

import itertools
import shutil

import pytest

from rig.build.evidence import evidence_for
from rig.build.sheet import make_sheet, proposals, see
from rig.choose import Pick, finds, keep, load_picks
from rig.choose.picks import PICKS
from rig.errors import SafetyRefusal
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import load_project
from rig.project.places import load_places


@pytest.mark.parametrize("kind", ["talker", "keyboard", "sampler"])
def test_every_pair_kept_by_hand_and_by_command(swept_boards, tmp_path, kind):
    folder = tmp_path / "toy"
    shutil.copytree(swept_boards[kind], folder)
    project, places = load_project(folder), load_places(folder)
    with SweepLog.open(sweep_folder(project, DEFAULT_NAME), read_only=True) as log:
        records = log.records()
    found = {one.pair for one in finds(records)}
    fitted = 0
    for pads in itertools.combinations(project.toy.pads, 2):
        pair = "-".join(pads)
        (folder / PICKS).write_text(f"- pair: {pads[1]}-{pads[0]}\n", "utf-8")
        by_hand = load_picks(folder)
        seen = see(project, by_hand, records)
        if all(project.toy.pads[pad].kind == "rail" for pad in pads):
            with pytest.raises(SafetyRefusal):
                make_sheet(project, by_hand, places, seen)
            continue
        sheet = make_sheet(project, by_hand, places, seen)
        (folder / PICKS).unlink()
        keep(folder, pair)
        by_command = load_picks(folder)
        assert make_sheet(project, by_command, places, see(project, by_command, records)) == sheet
        (control,) = proposals(project, by_hand, seen)
        fitted += check(control, [one for one in records if {one.pads_1, one.pads_2} == set(pads)])
        if pair not in found:
            assert control.part in ("nothing found", "not touched")
    assert fitted >= 5


def check(control, touches):
    """Hold a control against a pair's touches, counted anew; says whether it has a value."""
    if control.fixed_ohm is None:
        assert control.kind == "leave out"
        return False
    lowest = control.fixed_ohm * 0.95
    made = [one for one in touches if one.counts and one.kind in ("sweep", "confirm")]
    stops = [one.path_ohm for one in made if one.after in ("freeze", "guarded")]
    if control.stops:  # by wish: a crash that sounds on, heard twice over one path, with a button
        crashes = [one.path_ohm for one in made if one.after == "freeze" and one.sound in ("drone", "loop")]
        kept = [ohm for ohm in crashes if crashes.count(ohm) >= 2 and 0.9 * ohm <= lowest and control.fixed_ohm <= 1.25 * ohm]
        assert control.kind == "push-button" and kept
        assert not any(one.after == "guarded" and one.path_ohm >= lowest for one in made)
        return True
    assert lowest > max(stops, default=0.0)
    heard = [one.path_ohm for one in made if one.path_ohm > max(stops, default=0.0)
             and (one.sound not in ("none", "lost") or one.after == "runs on")]
    least = min(path for path in heard if heard.count(path) >= 2)
    # Where the toy lived over less, a little less than what was heard will do.
    lived = any(max(stops, default=0.0) < one.path_ohm < least for one in made)
    assert lowest >= 0.99 * (0.9 * least if lived else least)
    return True


def test_the_evidence_is_the_pairs_own(swept_boards):
    project = load_project(swept_boards["talker"])
    with SweepLog.open(sweep_folder(project, DEFAULT_NAME), read_only=True) as log:
        records = log.records()
    found = finds(records)
    assert len(found) >= 5
    picks = [
        Pick(one.pair) if one.stops_only
        else Pick(one.pair, at_ohm=float(f"{one.best_path_ohm:.3g}"), key=one.key) for one in found
    ]
    for find, seen in zip(found, evidence_for(picks, records, 0.05), strict=True):
        assert seen.find == find
        assert {trial.path_ohm for trial in seen.trials} == {
            one.path_ohm for one in records
            if {one.pads_1, one.pads_2} == set(find.pads) and one.counts}
