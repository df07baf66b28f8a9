"""What two picks at once are known to do, and a patch bay for all of them."""

from dataclasses import replace

import pytest
from making_records import record
from measured_records import found

from rig.bench.base import Connection, Stimulus, Touch
from rig.bench.simulated.folder import new_simulated_project
from rig.build.drawer import Drawer
from rig.build.evidence import evidence_for
from rig.build.fitting import Control
from rig.build.page import html_of
from rig.build.patch_bay import Wanted, _plays, patch_bay
from rig.build.pieces import Fitted, built_words
from rig.build.proposing import propose_all
from rig.build.series import TOLERANCE
from rig.build.sheet import make_sheet, proposals, see
from rig.build.together import TRIES, spans_of
from rig.build.verified import Build, Verified
from rig.choose.picks import Pick
from rig.project import path_ohm

KEPT_OHM = 10_400.4


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("t") / "toy", 8, 8)


@pytest.fixture
def key(project):
    return project.sweep_keys[0]


def sweep(*pairs, key, path=KEPT_OHM):
    return [one for at, pair in enumerate(pairs)
            for one in found(pair.replace("-", ""), 1 + 2 * at, path_ohm=path, key=key, sound="loop",
                             amount=0.2, unit="s")]  # fmt: skip


def tried(project, key, *closed, after="answers", number=500):
    """A touch of several pads at once: (pads, pads, path)."""
    least = path_ohm(project.rig, 0.0)
    touch = Touch(tuple(Connection(tuple(a), tuple(b), ohm - least) for a, b, ohm in closed), Stimulus((key,)))
    return record(number, "AB", "sweep", "none", after, key=key, touch=touch,
                  path_ohm=min(ohm for *_, ohm in closed))  # fmt: skip


def both(project, records, *pairs):
    picks = [Pick(pair) for pair in pairs]
    (one,) = propose_all(project, picks, records).together
    return one


def test_what_was_never_tried_is_not_known_and_says_which_touch_would_tell(project, key):
    one = both(project, sweep("A-B", "C-D", key=key), "A-B", "C-D")
    assert (one.verdict, one.told, one.wiring, one.joins) == ("not known", "never tried", "", None)
    assert [(a, b) for a, b, _ in one.closed] == [(("A",), ("B",)), (("C",), ("D",))]
    shared = both(project, sweep("A-C", "B-C", key=key), "A-C", "B-C")
    assert shared.joins == ("A", "B")
    (closed,) = shared.closed
    assert {*closed[0], *closed[1]} == {"A", "B", "C"}


@pytest.mark.parametrize(("times", "path", "verdict"), [
    (TRIES, KEPT_OHM, "safe"), (TRIES - 1, KEPT_OHM, "not known"), (TRIES, 4 * KEPT_OHM, "not known"),
])  # fmt: skip
def test_they_are_safe_once_tried_often_enough_over_as_little(project, key, times, path, verdict):
    records = sweep("A-B", "C-D", key=key) + [
        tried(project, key, ("A", "B", path), ("C", "D", path), number=500 + n) for n in range(times)]
    assert both(project, records, "A-B", "C-D").verdict == verdict


def test_once_stopped_is_told_with_a_wiring_that_keeps_them_apart(project, key):
    records = sweep("A-B", "C-D", key=key) + [
        tried(project, key, ("A", "B", KEPT_OHM), ("C", "D", KEPT_OHM), number=500 + n,
              after="freeze" if n == 2 else "answers") for n in range(3)]  # fmt: skip
    one = both(project, records, "A-B", "C-D")
    assert one.verdict == "freezes"
    assert one.wiring.startswith("Take a changeover switch with two poles, off in the middle: A-B through")


def test_two_on_one_pad_that_join_what_stopped_the_toy_will_freeze(project, key):
    stop = record(90, "AB", path_ohm=36_600.4, sound="none", after="freeze", key=key)
    one = both(project, [*sweep("A-C", "B-C", key=key), stop], "A-C", "B-C")
    assert one.verdict == "freezes"
    assert "it joins A and B over 2" in one.told and "over 36.6 kΩ they stopped the toy" in one.told
    assert "C on its middle lug" in one.wiring


def test_two_that_pull_at_one_pad_are_safe_where_each_lived_over_as_little_as_both(project, key):
    less = [record(90 + n, pair, path_ohm=4_500.4, sound="none", key=key) for n, pair in enumerate(("AC", "BC"))]
    joined = record(95, "AB", path_ohm=15_000.4, sound="none", key=key)
    kept = sweep("A-C", "B-C", key=key)
    one = both(project, [*kept, *less, joined], "A-C", "B-C")
    assert (one.verdict, one.wiring) == ("safe", "")
    assert "never tried as one, but each two of the three lived" in one.told
    assert both(project, [*kept, *less], "A-C", "B-C").verdict == "not known"
    stopped = replace(less[0], after="freeze")
    assert both(project, [*kept, stopped, less[1], joined], "A-C", "B-C").verdict == "not known"


def test_pads_on_one_bus_share_what_is_between_the_buses(project):
    lead = path_ohm(project.rig, 0.0) / 2
    pair = spans_of(project, [(("A",), ("B",), 10_000.0)])
    assert pair == {frozenset("AB"): pytest.approx(10_000.0)}
    three = spans_of(project, [(("A", "B"), ("C",), 10_000.0)])
    arms = {"A": lead, "B": lead, "C": 10_000.0 - lead}  # a star, turned into a triangle
    for one, other, third in ("ABC", "ACB", "BCA"):
        wanted = arms[one] + arms[other] + arms[one] * arms[other] / arms[third]
        assert three[frozenset((one, other))] == pytest.approx(wanted, rel=1e-6)


def test_a_stop_where_the_rig_joins_harder_than_the_controls_is_no_proof(project, key):
    records = [*sweep("A-C", "B-C", key=key), tried(project, key, ("AB", "C", KEPT_OHM), after="freeze")]
    one = both(project, records, "A-C", "B-C")
    assert one.verdict == "not known"
    assert "joined the pads harder" in one.told


def test_what_a_bench_cannot_try_it_says(project, key):
    hardware = replace(project, rig=project.rig.model_copy(update={"bench": "hardware"}))
    one = both(hardware, sweep("A-B", "C-D", key=key), "A-B", "C-D")
    assert one.closed == ()
    assert one.told == ("this bench can't try it, 2 connections need 2 pairs of buses, this bench has one")
    by_hand = replace(project, rig=project.rig.model_copy(update={"bench": "by-hand"}))
    assert "two tips bridge two pads" in both(by_hand, sweep("A-C", "B-C", key=key), "A-C", "B-C").told


# -- the patch bay ------------------------------------------------------------------------


def test_three_picks_that_share_a_pad_get_a_patch_bay_as_an_alternative(project, key):
    records = sweep("A-C", "B-C", "C-D", key=key)
    picks = [Pick(pair) for pair in ("A-C", "B-C", "C-D")]
    bay = propose_all(project, picks, records).patch_bay
    ohm = dict(bay.sockets)
    assert list(ohm) == ["A", "B", "C", "D"]
    assert [one.pair for one in bay.plays] == ["A-C", "B-C", "C-D"]
    for one in bay.plays:
        a, b = one.pair.split("-")
        assert one.ohm == ohm[a] + ohm[b]
        assert KEPT_OHM / (1 - TOLERANCE) <= one.ohm <= 1.3 * KEPT_OHM
    assert {(a, b) for a, b in bay.untried} == {("A", "B"), ("A", "D"), ("B", "D")}
    assert propose_all(project, picks[:2], records).patch_bay is None
    apart = [Pick(pair) for pair in ("A-B", "C-D", "E-F")]
    assert propose_all(project, apart, sweep("A-B", "C-D", "E-F", key=key)).patch_bay is None


def test_sockets_that_stop_the_toy_are_named(project, key):
    stop = record(90, "AB", path_ohm=36_600.4, sound="none", after="freeze", key=key)
    picks = [Pick(pair) for pair in ("A-C", "B-C", "C-D")]
    bay = propose_all(project, picks, [*sweep("A-C", "B-C", "C-D", key=key), stop]).patch_bay
    assert bay.never == (("A", "B", "over 36.6 kΩ they stopped the toy"),)


def test_a_pick_that_no_sockets_can_give_is_left_out(project):
    """A-B and B-C over little, A-C over much: the sockets of A and C are small already."""
    def wanted(number, pair, kept):
        control = Control("toggle", "toggle", "", kept)
        return Wanted(Fitted(number, Pick(pair), control, kept), kept, kept, kept)

    bay = patch_bay(project, [wanted(1, "A-B", 4_000.0), wanted(2, "B-C", 4_000.0), wanted(3, "A-C", 200_000.0)],
                    {}, Drawer(), 3_600.0)  # fmt: skip
    assert 3 in bay.left_out or {1, 2} & set(bay.left_out)
    assert patch_bay(project, [wanted(1, "A-B", 1e4), wanted(2, "B-C", 1e4), wanted(3, "B-D", 1e4)], {},
                     Drawer(kinds=("toggle",)), 3_600.0) is None  # fmt: skip


def test_one_that_does_not_fit_the_others_is_none_of_the_sockets(project):
    """Four over little and one over much: without the one they all play."""
    def wanted(number, pair, kept):
        control = Control("toggle", "toggle", "", kept)
        return Wanted(Fitted(number, Pick(pair), control, kept), kept, kept, kept)

    little = [wanted(n, pair, 4_000.0) for n, pair in enumerate(("A-B", "B-C", "C-D", "A-D"), 1)]
    bay = patch_bay(project, [*little, wanted(5, "A-C", 200_000.0)], {}, Drawer(), 3_600.0)
    assert [one.number for one in bay.plays] == [1, 2, 3, 4] and bay.left_out == (5,)


def test_a_cord_elsewhere_in_the_range_says_what_it_plays(project, key):
    """Two octaves over a decade, measured at its ends: between them about the middle."""
    records = [*sweep("A-C", "B-C", key=key)]
    heard = [record(100 + n, "CD", "confirm" if n % 2 else "sweep", path_ohm=ohm, key=key, amount=cents, unit="cents")
             for n, (ohm, cents) in enumerate(((3600.4, 500.0),) * 2 + ((KEPT_OHM, 400.0),) * 2 + ((36_600.4, 300.0),) * 2)]  # fmt: skip
    (seen,) = evidence_for([Pick("C-D", at_ohm=10_400)], [*records, *heard], 0.05)
    built = Fitted(3, Pick("C-D"), Control("toggle", "toggle", "", 11_000.0), 11_000.0)
    high = Wanted(built, KEPT_OHM, 3600.4, 36_600.4, seen)
    assert _plays(high, 11_000.0) == seen.find.words
    assert _plays(high, 19_500.0) == "pitch up 350 cents at about 19.5 kΩ"
    assert "about what was kept over 10.4 kΩ" in _plays(high, 60_000.0)


def test_the_patch_bay_stands_on_the_sheet(project, key):
    stop = record(90, "AB", path_ohm=36_600.4, sound="none", after="freeze", key=key)
    said = on_the_sheet(project, [*sweep("A-C", "B-C", "C-D", key=key), stop], "A-C", "B-C", "C-D")
    assert "Or a patch bay" in said and "patch bay of 4 sockets" in said
    assert "Never join A \u2013 B" in said and "over 36.6 kΩ they stopped the toy" in said
    assert "Never tried over so little" in said
    assert "Or a patch bay" not in on_the_sheet(project, sweep("A-C", "B-C", key=key), "A-C", "B-C")


def test_what_stops_the_toy_is_tried_with_nothing_and_has_no_socket(project, key):
    crash = [record(100 + n, "CF", "confirm" if n else "sweep", path_ohm=KEPT_OHM, sound="drone", amount=97.0,
                    unit="Hz", after="freeze", key=key) for n in range(2)]  # fmt: skip
    records = [*sweep("A-C", "B-C", "C-D", key=key), *crash]
    picks = [Pick(pair) for pair in ("A-C", "B-C", "C-D", "C-F")]
    board = propose_all(project, picks, records)
    assert board.picks[3].control.stops and board.picks[3].row["control"] == "push-button"
    assert "reset button" in board.picks[3].row["reason"]
    assert all(4 not in (one.first, one.second) for one in board.together)
    assert "F" not in dict(board.patch_bay.sockets)
    said = on_the_sheet(project, records, "A-C", "B-C", "C-D", "C-F")
    for words in ("4 alone stops the toy", "4 stops the toy by itself", "4 is there to stop it, and this button",
                  "Pressed, it stops the toy, which sounds on: press reset", "Behind 4 press the reset button",
                  "The button of 4 stops the toy", "4 stops the toy: a cord would leave it stuck"):  # fmt: skip
        assert words in said, words


def on_the_sheet(project, records, *pairs):
    picks = [Pick(pair) for pair in pairs]
    return html_of(make_sheet(project, picks, None, see(project, picks, records)))


def test_the_sheet_says_what_was_tried_together(project, key):
    apart, shared = sweep("A-B", "C-D", key=key), sweep("A-C", "B-C", key=key)
    untried = on_the_sheet(project, apart, "A-B", "C-D")
    assert "How two of them sound together wasn" in untried
    tries = [tried(project, key, ("A", "B", KEPT_OHM), ("C", "D", KEPT_OHM), number=500 + n)
             for n in range(TRIES)]  # fmt: skip
    lived = on_the_sheet(project, apart + tries, "A-B", "C-D")
    assert "Tried together, and the toy lived: 1 and 2." in lived and "wasn" not in lived.split("Together")[1][:400]
    froze = [tried(project, key, ("A", "B", KEPT_OHM), ("C", "D", KEPT_OHM), after="freeze")]
    assert "with two poles" in on_the_sheet(project, apart + froze, "A-B", "C-D")
    froze = [tried(project, key, ("AB", "C", KEPT_OHM * 2), after="freeze")]
    assert "C on its middle lug" not in on_the_sheet(project, shared, "A-C", "B-C")
    assert "never touched" in on_the_sheet(project, shared, "A-C", "B-C")


def test_the_sheet_says_what_the_finished_build_was_heard_to_do(project, key):
    records, picks = sweep("A-B", "C-D", key=key), [Pick("A-B"), Pick("C-D")]
    seen = see(project, picks, records)
    controls = proposals(project, picks, seen)
    heard = Verified("A-B", built_words(controls[0]), "right", at="2031-05-04T03:02:01+00:00")
    other = Verified("C-D", "another part", "swapped", at="2031-05-04T03:02:01+00:00")
    rows = make_sheet(project, picks, None, seen, build=Build((heard, other))).picks
    assert [one.works for one in rows] == ["right, 2031-05-04", ""]
