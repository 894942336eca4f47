"""The statistics of a trial against SciPy, statsmodels, brute force and printed figures."""

from __future__ import annotations

from itertools import combinations
from math import sqrt

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from foreaft.learn import statistics as st

sm = pytest.importorskip("statsmodels.api")
multitest = pytest.importorskip("statsmodels.stats.multitest")
proportion = pytest.importorskip("statsmodels.stats.proportion")
power = pytest.importorskip("statsmodels.stats.power")

ORDER = np.array([1.0, -1, -1, 1, 1, -1, -1, 1])


def some_pairs(seed: int, gaps: NDArray[np.float64] | None = None, n: int = 8) -> st.Pairs:
    rng = np.random.default_rng(seed)
    gap = np.full(n, 2.0) if gaps is None else gaps
    order = np.tile(ORDER, n // 8 + 1)[:n]
    change = 0.07 * gap - 0.2 * order + rng.normal(0.0, 0.3, n)
    return st.Pairs(change, gap, order)


@pytest.mark.parametrize("seed", range(5))
def test_with_equal_gaps_it_is_the_two_sample_t_test(seed: int) -> None:
    pairs = some_pairs(seed)
    found = st.effect(pairs, 0.05)
    assert found is not None
    later, earlier = pairs.change[pairs.order > 0], pairs.change[pairs.order < 0]
    told = stats.ttest_ind(later, earlier)
    low, high = told.confidence_interval(0.95)
    assert found.p == pytest.approx(told.pvalue, rel=1e-9)
    assert found.estimate == pytest.approx((later.mean() - earlier.mean()) / 2, rel=1e-9)
    assert (found.low, found.high) == pytest.approx((low / 2, high / 2), rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_with_unequal_gaps_it_is_least_squares(seed: int) -> None:
    pairs = some_pairs(seed, np.array([2.0, 3, 2, 5, 2, 2, 4, 3]))
    found = st.effect(pairs, 0.10)
    assert found is not None
    told = sm.OLS(pairs.change, np.column_stack([pairs.gap_laps, pairs.order])).fit()
    assert found.estimate == pytest.approx(told.params[1], rel=1e-9)
    assert found.error == pytest.approx(told.bse[1], rel=1e-9)
    assert found.p == pytest.approx(told.pvalues[1], rel=1e-9)
    assert (found.low, found.high) == pytest.approx(told.conf_int(0.10)[1], rel=1e-9)
    assert found.freedom == told.df_resid


@pytest.mark.parametrize("seed", range(4))
def test_shuffling_is_every_way_of_choosing_the_orders(seed: int) -> None:
    pairs = some_pairs(seed)

    def size(later: tuple[int, ...]) -> float:
        order = np.array([1.0 if i in later else -1.0 for i in range(8)])
        told = sm.OLS(pairs.change, np.column_stack([pairs.gap_laps, order])).fit()
        return float(abs(told.tvalues[1]))

    sizes = np.array([size(one) for one in combinations(range(8), 4)])
    seen = size(tuple(np.flatnonzero(pairs.order > 0)))
    found = st.shuffled(pairs, seed=1)
    assert found is not None
    told, least = found
    assert told == pytest.approx(np.mean(sizes >= seen * (1 - 1e-9)), abs=1e-12)
    assert least == pytest.approx(2 / 70)


def test_resampling_agrees_with_the_t_interval_where_there_are_more_pairs() -> None:
    pairs = some_pairs(7, n=60)
    found, drawn = st.effect(pairs, 0.05), st.resampled(pairs, 0.05, seed=1)
    assert found is not None
    assert drawn is not None
    # Resampling 30 of each order divides by n, not n - 1, and uses 1.96 for 2.00: 4 % shorter;
    # the rest is the skewness of the sample.
    width = found.high - found.low
    assert drawn[1] - drawn[0] == pytest.approx(0.96 * width, rel=0.05)
    assert drawn == pytest.approx((found.low, found.high), abs=0.1 * width)


def test_resampling_keeps_away_from_few_pairs() -> None:
    assert st.resampled(some_pairs(1, n=14), 0.05, seed=1) is None


def test_many_pairs_are_neither_shuffled_nor_resampled() -> None:
    assert st.shuffled(some_pairs(1, n=64), seed=1) is None
    assert st.resampled(some_pairs(1, n=64), 0.05, seed=1) is None


@pytest.mark.parametrize("n", [4, 6, 8, 20, 200])
@pytest.mark.parametrize("shift", [0.01, 0.3, 1.0, 40.0])
def test_power_is_that_of_the_two_sample_t_test(n: int, shift: float) -> None:
    found = st.power_of(shift, st.error_of(1.0, n), n - 2, 0.05)
    told = power.TTestIndPower().power(2 * shift / sqrt(2), n // 2, 0.05)
    assert found == pytest.approx(told, abs=1e-6)


@pytest.mark.parametrize(("shift", "scatter"), [(0.1, 0.4), (0.03, 0.06), (0.5, 0.4), (0.8, 0.4)])
@pytest.mark.parametrize("wanted", [0.8, 0.9])
def test_pairs_needed_are_those_of_statsmodels(shift: float, scatter: float, wanted: float) -> None:
    size = 2 * shift / (sqrt(2) * scatter)
    half = power.TTestIndPower().solve_power(size, alpha=0.05, power=wanted)
    expected = max(st.FEWEST_PAIRS, 2 * int(np.ceil(float(np.squeeze(half)) - 1e-6)))
    assert st.pairs_needed(shift, scatter, 0.05, wanted) == expected


def test_what_cannot_be_seen_is_never() -> None:
    assert st.pairs_needed(1e-6, 1.0, 0.05, 0.8) is None


@pytest.mark.parametrize("n", [4, 6, 8, 30])
def test_the_smallest_shown_has_the_power_it_says(n: int) -> None:
    least = st.smallest_shown(st.error_of(0.4, n), n - 2, 0.05, 0.8)
    assert least is not None
    told = power.TTestIndPower().power(2 * least / (sqrt(2) * 0.4), n // 2, 0.05)
    assert told == pytest.approx(0.8, abs=1e-5)


def test_many_pairs_follow_the_rule_of_thumb_of_the_trade() -> None:
    """2.8 sigma sqrt(2 / n), trade.md section 5; 2.8 has two digits."""
    least = st.smallest_shown(st.error_of(0.4, 2000), 1998, 0.05, 0.8)
    assert least == pytest.approx(2.8 * 0.4 * sqrt(2 / 2000), rel=0.02)


@pytest.mark.parametrize(("rates", "passes"), [((0.20, 0.05), 75), ((0.30, 0.10), 62)])
def test_passes_needed_are_the_trades(rates: tuple[float, float], passes: int) -> None:
    """trade.md section 5: rounded there, rounded up here."""
    assert st.passes_needed(rates, 0.05, 0.8) in (passes, passes + 1)


def test_holm_is_that_of_statsmodels() -> None:
    rng = np.random.default_rng(1)
    for count in (1, 2, 5, 12):
        chances = list(rng.uniform(0, 0.2, count))
        told = multitest.multipletests(chances, method="holm")[1]
        assert st.holm(chances) == pytest.approx(told, rel=1e-12)
    assert st.holm([]) == []


def test_the_lady_tasting_tea() -> None:
    """3 of 4 against 1 of 4: 34/70, R. A. Fisher, The Design of Experiments (1935), chapter 2."""
    assert st.fisher((3, 1), (4, 4)) == pytest.approx(34 / 70, rel=1e-12)


@pytest.mark.parametrize(("events", "passes"), [(0, 10), (3, 20), (20, 20)])
def test_the_interval_of_a_rate_is_exact(events: int, passes: int) -> None:
    told = proportion.proportion_confint(events, passes, 0.05, method="beta")
    assert st.rate_interval(events, passes, 0.05) == pytest.approx(told, abs=1e-9)


@pytest.mark.parametrize("drift", [0.0, 0.05])
def test_the_scatter_of_laps_is_found_beside_a_drift(drift: float) -> None:
    rng = np.random.default_rng(2)
    runs = [40.0 + drift * np.arange(500) + rng.normal(0.0, 0.4, 500) for _ in range(4)]
    # The estimate has a relative standard error of about sqrt(3 / (4 n)) = 2 %.
    assert st.scatter_of(runs) == pytest.approx(0.4, rel=0.06)
    assert st.scatter_of([np.array([1.0, 2.0, 3.0])]) is None
    assert st.scatter_of([]) is None


def test_nothing_is_told_of_one_order_few_pairs_or_no_scatter() -> None:
    ones, gap = np.ones(6), np.full(6, 2.0)
    assert st.effect(st.Pairs(np.arange(6.0), gap, ones), 0.05) is None
    assert st.effect(st.Pairs(np.array([1.0, 2, 4]), gap[:3], np.array([1.0, -1, 1])), 0.05) is None
    assert st.effect(st.Pairs(0.5 * ORDER, np.full(8, 2.0), ORDER), 0.05) is None
    assert st.effect(st.Pairs(np.empty(0), np.empty(0), np.empty(0)), 0.05) is None
