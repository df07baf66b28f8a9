"""Benjamini-Hochberg and Wilson against statsmodels, Wald's test by simulation."""

import numpy as np
import pytest
from scipy.signal import lfilter
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint

from rig.listen.statistics import SequentialTest, dependence, q_values, wilson_interval


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
    # thrombolysis; at 5 % the first four are discoveries, Bonferroni would find three.
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240,
         0.4262, 0.5719, 0.6528, 0.7590, 1.0000]
    assert np.count_nonzero(q_values(p) <= 0.05) == 4
    assert np.count_nonzero(np.array(p) <= 0.05 / len(p)) == 3


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
    with pytest.raises(ValueError):
        wilson_interval(3, 2)


def autoregressive(rng, length, phi):
    """Draw normal values, each drawn towards the one before (AR(1)), of variance 1."""
    steps = rng.normal(size=length)
    steps[1:] *= np.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], steps)


def run(test, shift, altered, runs, seed, phi=0.0, divide=1.0):
    """Simulate tests on normal observations, shifted by `shift` if altered."""
    rng = np.random.default_rng(seed)
    alarms, used = 0, []
    length = round(60 * divide / shift**2)
    for _ in range(runs):
        x = shift * altered + autoregressive(rng, length, phi)
        verdict, number = test.decide((shift * x - shift**2 / 2) / divide)
        assert verdict is not None
        alarms += verdict
        used.append(number)
    return alarms / runs, np.mean(used)


def within(rate, runs):
    """Four standard errors of a rate."""
    return 4 * np.sqrt(rate * (1 - rate) / runs)


@pytest.mark.parametrize("false_alarm", [0.01, 0.05])
@pytest.mark.parametrize("miss", [0.05, 0.1])
def test_wald_s_error_rates_and_average_sample_number(false_alarm, miss):
    test, shift, runs = SequentialTest(false_alarm, miss), 0.15, 3000
    expected = test.average_number(-(shift**2) / 2, shift**2 / 2)
    alarms, unaltered = run(test, shift, False, runs, seed=4)
    heard, altered = run(test, shift, True, runs, seed=5)
    # Wald's inequalities, which hold with any observations.
    most_alarms, most_misses = false_alarm / (1 - miss), miss / (1 - false_alarm)
    assert alarms <= most_alarms + within(most_alarms, runs)
    assert 1 - heard <= most_misses + within(most_misses, runs)
    # Small steps hardly overshoot, so the rates come close to those aimed at, and the numbers
    # to Wald's. A step overshoots by about 0.58 of its standard deviation (D. Siegmund,
    # Sequential Analysis, 1985; memory), at either boundary.
    assert alarms > 0.6 * false_alarm
    assert 1 - heard > 0.6 * miss
    over = 0.583 * shift / (shift**2 / 2)
    for mean, wald in zip((unaltered, altered), expected, strict=True):
        assert wald < mean
        assert mean == pytest.approx(wald + over, rel=0.06)


def test_the_average_number_by_hand():
    # Wald's formula at 1 % and 5 %, one standard deviation: 5.8 and 8.4 observations, worked
    # out by hand: ln(0.05/0.99) = -2.986, ln(0.95/0.01) = 4.554;
    # (0.99·-2.986 + 0.01·4.554) / -0.5 = 5.82; (0.05·-2.986 + 0.95·4.554) / 0.5 = 8.35.
    assert SequentialTest(0.01, 0.05).average_number(-0.5, 0.5) == pytest.approx(
        (5.82, 8.35), abs=0.01
    )


def test_a_test_that_can_t_decide_says_so():
    assert SequentialTest(0.01, 0.05).decide(np.zeros(7)) == (None, 7)


@pytest.mark.parametrize(("false_alarm", "miss"), [(0.0, 0.1), (0.1, 0.0), (0.5, 0.5)])
def test_impossible_chances_are_refused(false_alarm, miss):
    with pytest.raises(ValueError, match="below 1"):
        SequentialTest(false_alarm, miss)


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.7])
def test_dependence_of_an_autoregressive_series(phi):
    # The variance of an AR(1) series' mean grows by (1 + phi)/(1 - phi) (handbook).
    x = autoregressive(np.random.default_rng(6), 20_000, phi)
    assert dependence(x) == pytest.approx((1 + phi) / (1 - phi), rel=0.1)


def test_dependent_frames_need_wider_boundaries():
    test, phi, shift, runs = SequentialTest(0.05, 0.05), 0.6, 0.3, 1000
    careless, _ = run(test, shift, False, runs, seed=7, phi=phi)
    careful, _ = run(test, shift, False, runs, seed=7, phi=phi, divide=(1 + phi) / (1 - phi))
    most = 0.05 / 0.95
    assert careless > 3 * most
    assert careful <= most + within(most, runs)


def test_what_has_no_dependence_to_see():
    assert dependence(np.ones(50)) == 1.0
    with pytest.raises(ValueError, match="4 are needed"):
        dependence(np.ones(3))
