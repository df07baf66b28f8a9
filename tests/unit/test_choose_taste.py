"""What the person keeps and sets aside moves what is alike, a little, on this board alone."""

from making_records import seen_twice

from rig.choose import Session, by_taste, finds
from rig.choose.picks import Pick
from rig.choose.rank import tier
from rig.choose.taste import STRENGTH, taste
from rig.listen import MANNER


def touches():
    """Pairs with a crushed and a metallic sound in turn, about as good; a cut behind them."""
    made = []
    for at, pads in enumerate(("AB", "AC", "AD", "AE", "AF", "AG")):
        measures = {MANNER: "crushed" if at % 2 == 0 else "metallic"}
        made += seen_twice(pads, 1 + 2 * at, sound="timbre", amount=10.0 + 7 * at, unit="dB",
                           measures=measures)  # fmt: skip
    return made + seen_twice("BC", 21, sound="cut", amount=-30.0, unit="dB", score=9.0)


FOUND = finds(touches())


def words(found):
    return [one.word for one in found]


def test_without_choices_the_order_is_that_of_finds():
    assert by_taste(FOUND, []) == FOUND == finds(touches())
    assert taste(FOUND, []) == {}


def test_what_was_kept_draws_its_like_up_and_what_was_set_aside_pushes_it_down():
    first = words(FOUND)[0]
    other = {"crushed": "metallic", "metallic": "crushed"}[first]
    kept = [Pick(one.pair) for one in FOUND if one.word == other][:2]
    assert words(by_taste(FOUND, kept))[0] == other
    aside = [Pick(one.pair, set_aside=True) for one in FOUND if one.word == first][:2]
    assert words(by_taste(FOUND, aside))[0] == other
    assert taste(FOUND, [*kept, *aside]) == {other: 1 + STRENGTH / 2, first: 1 - STRENGTH / 2}


def test_it_is_bounded_and_no_choice_brings_up_what_nobody_looks_for():
    kept = [Pick("B-C")]
    moved = by_taste(FOUND, kept)
    assert {one.label for one in moved} == {one.label for one in FOUND}
    assert [tier(one) for one in moved] == sorted(tier(one) for one in FOUND)
    assert moved[-1].pair == "B-C"
    every = [Pick(one.pair) for one in FOUND]
    assert all(1 < factor < 1 + STRENGTH for factor in taste(FOUND, every).values())


def test_what_is_left_to_go_through_comes_in_this_order(tmp_path):
    aside = FOUND[0]
    session = Session(FOUND, None, tmp_path)
    assert session.found == FOUND
    (tmp_path / "picks.yaml").write_text(f"- pair: {aside.pair}\n  set_aside: true\n", "utf-8")
    session = Session(FOUND, None, tmp_path)
    left = [one for one in FOUND if one is not aside]
    assert sorted(words(session.found)) == sorted(words(left))
    assert words(session.found)[:2].count(aside.word) < 2
    assert session.found == [one for one in by_taste(FOUND, [Pick(aside.pair, set_aside=True)])
                             if one is not aside]  # fmt: skip
    assert session.all_found == FOUND
