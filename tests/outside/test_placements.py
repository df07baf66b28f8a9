"""p values by ranks among known scores: against counting all orders, and against scipy."""

import itertools
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import hypergeom, nhypergeom

from rig.listen.statistics import Staged, placements, staged_p_value


def all_orders(known, fresh):
    """Give, for each of the equally likely orders, which places from the top are fresh."""
    return itertools.combinations(range(known + fresh), fresh)


def heard(places, beyond):
    """Count fresh ones with at most so many known ones at or above them."""
    return [place - above <= beyond for above, place in enumerate(places)]


@pytest.mark.parametrize("known", [1, 4, 7])
@pytest.mark.parametrize("fresh", [1, 3, 4])
@pytest.mark.parametrize("beyond", [0, 1, 2])
def test_the_chances_are_those_of_counting_all_orders(known, fresh, beyond):
    counts = [sum(heard(one, beyond)) for one in all_orders(known, fresh)]
    exact = [Fraction(counts.count(j), len(counts)) for j in range(fresh + 1)]
    np.testing.assert_allclose(placements(fresh, known, beyond), [float(one) for one in exact])


@pytest.mark.parametrize(("known", "fresh", "beyond"), [(24, 3, 1), (60, 6, 3), (19, 4, 0), (200, 9, 10)])
def test_the_chances_are_scipy_s_negative_hypergeometric(known, fresh, beyond):
    # Drawn from the top: fresh ones until `beyond` + 1 known ones have come.
    reference = nhypergeom(known + fresh, fresh, beyond + 1).pmf(range(fresh + 1))
    np.testing.assert_allclose(placements(fresh, known, beyond), reference, rtol=1e-9)


@pytest.mark.parametrize(("known", "fresh"), [(24, 3), (39, 6)])
def test_all_fresh_ones_farther_than_every_known_one_is_a_draw_of_the_highest(known, fresh):
    # The `fresh` highest of all are the fresh ones: hypergeometric, each of them a success.
    reference = hypergeom(known + fresh, fresh, fresh).pmf(fresh)
    assert placements(fresh, known, 0)[-1] == pytest.approx(reference, rel=1e-12)


@pytest.mark.parametrize("beyond", [0, 1])
@pytest.mark.parametrize("made", [(2, 2), (3, 3), (3, 0), (1, 2)])
def test_two_stages_are_those_of_counting_all_orders_of_all_touches(beyond, made):
    """Which touch has which place counts too: every order of the touches is as likely."""
    known, (first, second) = 6, made
    outcomes = []
    for places in all_orders(known, first + second):
        beyond_all = heard(places, beyond)
        for mine in itertools.combinations(range(first + second), first):
            of_first = sum(beyond_all[i] for i in mine)
            outcomes.append((of_first, sum(beyond_all) - of_first))

    def order(outcome):  # as the docstring has it
        of_first, _ = outcome
        if of_first == first:
            return 2, 0
        return (1, sum(outcome)) if of_first else (0, 0)

    for outcome in set(outcomes):
        exact = sum(order(one) >= order(outcome) for one in outcomes) / len(outcomes)
        told = staged_p_value([Staged(known, beyond, made, outcome)])
        assert told == pytest.approx(exact, rel=1e-9), outcome


def test_scores_of_two_keys_count_together():
    """Against playing it: two keys with their own known scores, and one order over both."""
    rng = np.random.default_rng(8)
    played = np.zeros(20_000)
    for known, beyond, made in ((24, 1, 2), (10, 0, 1)):
        scores = rng.lognormal(size=(len(played), known))
        bar = np.sort(scores, axis=1)[:, -beyond - 1]
        played += (rng.lognormal(size=(len(played), made)) > bar[:, None]).sum(axis=1)
    for of_3 in (1, 2, 3):
        sets = [Staged(24, 1, (2, 0), (min(of_3, 2), 0)), Staged(10, 0, (1, 0), (max(0, of_3 - 2), 0))]
        share = np.mean(played >= of_3)
        assert staged_p_value(sets) == pytest.approx(share, abs=4 * np.sqrt(share / len(played)))


def test_what_cannot_be_told_from_chance():
    assert staged_p_value([]) == 1.0
    assert staged_p_value([Staged(24, 1, (3, 0), (0, 0))]) == 1.0
    assert staged_p_value([Staged(0, 0, (3, 0), (3, 0))]) == 1.0
    assert placements(2, 1, 1).tolist() == [0.0, 0.0, 1.0]
