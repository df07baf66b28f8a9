"""Benjamini-Hochberg and Wilson against statsmodels."""

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from rig.listen.statistics import q_values, wilson_interval


@pytest.mark.parametrize("n", [1, 2, 15, 276, 2016])
def test_q_values_are_those_of_statsmodels(n):
    rng = np.random.default_rng(n)
    p = np.where(rng.random(n) < 0.1, rng.random(n) * 1e-4, rng.random(n)).round(4)
    for level in (0.01, 0.05, 0.2):
        rejected, adjusted, *_ = multipletests(p, alpha=level, method="fdr_bh")
        np.testing.assert_allclose(q_values(p), adjusted, rtol=1e-12)
        assert ((q_values(p) <= level) == rejected).all()


def test_the_example_of_benjamini_and_hochberg():
    # Benjamini and Hochberg 1995, section 4.1 (memory): 15 comparisons in a study of
    # thrombolysis; at 5 % the first four are discoveries.
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240,
         0.4262, 0.5719, 0.6528, 0.7590, 1.0000]
    assert np.count_nonzero(q_values(p) <= 0.05) == 4


def test_the_false_discovery_rate_is_kept():
    # 1000 sweeps of 276 pairs of which 20 differ: the mean share of false discoveries is
    # 0.05 · 256/276 in theory; its standard error here is below 0.003.
    rng = np.random.default_rng(3)
    shares = []
    for _ in range(1000):
        p = rng.random(276)
        p[:20] *= 1e-5
        found = q_values(p) <= 0.05
        shares.append(found[20:].sum() / max(1, found.sum()))
    assert np.mean(shares) == pytest.approx(0.05 * 256 / 276, abs=0.009)


@pytest.mark.parametrize("bad", [[0.1, np.nan], [-0.1], [1.1]])
def test_what_is_no_p_value_is_refused(bad):
    with pytest.raises(ValueError, match="from 0 to 1"):
        q_values(bad)


def test_of_no_tests_there_are_no_q_values():
    assert len(q_values([])) == 0


@pytest.mark.parametrize(
    ("hits", "trials"), [(0, 1), (1, 1), (0, 20), (3, 20), (20, 20), (49, 50), (997, 1000)]
)
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_wilson_is_that_of_statsmodels(hits, trials, confidence):
    reference = proportion_confint(hits, trials, alpha=1 - confidence, method="wilson")
    assert wilson_interval(hits, trials, confidence) == pytest.approx(reference, abs=1e-12)


def test_wilson_of_no_trials_and_of_nonsense():
    assert wilson_interval(0, 0) == (0.0, 1.0)
    with pytest.raises(ValueError, match="greater"):
        wilson_interval(3, 2)
