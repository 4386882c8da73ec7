"""Fewer eggs than usual: the tail against scipy, and how often it cries wolf."""

import numpy as np
import pytest
from scipy import stats

from flockcare.analysis.falls import MIN_DAYS, RARE, fall, lower_tail


def series(counts, hens=0):
    return dict(enumerate(map(int, counts))), dict.fromkeys(range(len(counts)), hens)


def test_the_tail_is_the_textbook_one_where_much_is_known():
    """With ten thousand days on record nothing is left but binomial, or Poisson, chance."""
    base = np.tile([8, 8, 9, 7], 2500)
    hens = np.full(10_000, 10.0)
    for count in (3, 5, 8):
        ours = lower_tail(count, 10, base, hens, at_most_one=True)
        assert ours == pytest.approx(stats.binom.cdf(count, 10, 0.8), rel=0.01)
        ours = lower_tail(count, 1, base, hens / 10, at_most_one=False)
        assert ours == pytest.approx(stats.poisson.cdf(count, 8), rel=0.01)


def test_few_days_on_record_make_it_less_sure():
    """For Poisson counts the Bayesian predictive is negative binomial: total 112 in 14 days."""
    ours = lower_tail(2, 1, [8] * 14, [1] * 14, at_most_one=False)
    assert ours > stats.poisson.cdf(2, 8)
    assert ours == pytest.approx(stats.nbinom.cdf(2, 112.5, 14 / 15), rel=0.05)


def test_days_that_vary_more_than_chance_make_it_less_sure():
    even, uneven = [8] * 20, [2, 14] * 10
    tails = [lower_tail(0, 1, days, [1] * 20, at_most_one=False) for days in (even, uneven)]
    assert tails[0] < RARE < tails[1]


def test_a_fall_is_told_with_what_was_usual():
    counts, hens = series([10, 11, 9, 12, 10] * 6 + [3], 12)
    found = fall(counts, hens, 30)
    assert (found.days, found.count, found.low, found.high) == (1, 3, 9, 12)
    assert found.chance <= RARE
    # Three days that are each not low enough are so together.
    counts, hens = series([10, 11, 9, 12, 10] * 6 + [7, 7, 7], 12)
    assert fall({**counts, 30: 10, 31: 10}, hens, 32) is None
    assert (fall(counts, hens, 32).days, fall(counts, hens, 32).count) == (3, 21)


def test_fewer_birds_lay_fewer_eggs():
    counts, hens = series([10, 11, 9, 12, 10] * 6 + [3], 12)
    assert fall(counts, {**hens, 30: 4}, 30) is None


@pytest.mark.parametrize("known", [True, False])
def test_nothing_is_said_of_little(known):
    hens = 12 * known
    assert fall(*series([10] * (MIN_DAYS - 1) + [0], hens), MIN_DAYS - 1) is None
    assert fall(*series([10] * MIN_DAYS + [0], hens), MIN_DAYS) is not None
    assert fall(*series([0] * 29, hens), 28) is None
    counts, birds = series([10] * 30, hens)
    del counts[29]
    assert fall(counts, birds, 29) is None
    assert fall(*series([], hens), 3) is None


@pytest.mark.parametrize(
    ("kind", "hens", "days"),
    [
        (lambda random, days: random.binomial(6, 0.8, days), 6, 31),
        # Days that vary by far more than chance, which so few days hardly tell.
        (lambda random, days: random.binomial(30, random.beta(2.8, 1.2, days)), 30, 17),
        (lambda random, days: random.poisson(8, days), 0, 17),
        (lambda random, days: random.negative_binomial(8, 0.5, days), 0, 31),
    ],
    ids=["good layers", "very uneven", "birds unknown", "unknown and uneven"],
)
def test_false_alarms_are_no_more_than_it_says(kind, hens, days):
    """2,000 houses in which nothing is wrong, seeded."""
    random = np.random.default_rng(2026)
    alarms = sum(fall(*series(kind(random, days), hens), days - 1) is not None for _ in range(2000))
    assert alarms <= 2000 * RARE


def test_a_real_fall_is_found():
    random = np.random.default_rng(21)
    found = 0
    for _ in range(200):
        days = [*random.binomial(12, 0.85, 28), *random.binomial(12, 0.3, 1)]
        found += fall(*series(days, 12), 28) is not None
    assert found > 150
