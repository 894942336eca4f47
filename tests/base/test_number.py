"""A number with its uncertainty: what is refused, and that draws follow the stated distribution."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from foreaft.base.errors import InputError
from foreaft.base.number import Number

N = 20000
# Kolmogorov-Smirnov: 1.95 / sqrt(n) is passed by chance once in a thousand (Massey, The
# Kolmogorov-Smirnov test for goodness of fit, J. Am. Stat. Assoc. 46, 1951: 1.63 at 0.01;
# 1.95 at 0.001 from the same asymptotic series). Seeds are fixed, so there is no chance left.
KS_LIMIT = 1.95 / math.sqrt(N)


@pytest.mark.parametrize(
    "parts",
    [
        {},
        {"sd": 1.0},
        {"low": 1.0},
        {"high": 1.0},
        {"low": 2.0, "high": 1.0},
        {"low": 1.0, "high": 1.0},
        {"low": 0.0, "high": 1.0, "sd": 0.1},
        {"value": 1.0, "low": 0.0, "high": 2.0},
        {"value": 1.0, "sd": 0.0},
        {"value": 1.0, "sd": -0.1},
        {"value": math.nan},
        {"value": math.inf},
        {"value": 1.0, "sd": math.inf},
        {"low": -math.inf, "high": 0.0},
    ],
)
def test_what_is_no_number_is_refused(parts: dict[str, Any]) -> None:
    with pytest.raises(InputError) as caught:
        Number(**parts)
    assert caught.value.key is not None
    assert caught.value.allowed


def test_forms() -> None:
    assert Number(value=3.0).is_known
    assert not Number(value=3.0, sd=0.1).is_known
    assert not Number(low=2.0, high=4.0).is_known
    assert Number(value=3.0, sd=0.1).nominal == 3.0
    assert Number(low=2.0, high=4.0).nominal == 3.0


def test_a_known_number_takes_no_randomness() -> None:
    rng, untouched = np.random.default_rng(1), np.random.default_rng(1)
    assert Number(value=2.5).sample(rng, 3, 0.0, 9.0).tolist() == [2.5, 2.5, 2.5]
    assert rng.random() == untouched.random()


def test_a_range_is_uniform() -> None:
    drawn = Number(low=2.0, high=5.0).sample(np.random.default_rng(2), N, 0.0, 9.0)
    assert stats.kstest(drawn, stats.uniform(2.0, 3.0).cdf).statistic < KS_LIMIT


LIMITS = [(-math.inf, math.inf), (0.0, math.inf), (0.9, 1.1), (1.0, 1.5), (-math.inf, 1.2)]


@pytest.mark.parametrize(("lower", "upper"), LIMITS)
def test_a_spread_is_the_truncated_normal(lower: float, upper: float) -> None:
    mean, sd = 1.0, 0.4
    drawn = Number(value=mean, sd=sd).sample(np.random.default_rng(3), N, lower, upper)
    theory = stats.truncnorm((lower - mean) / sd, (upper - mean) / sd, loc=mean, scale=sd)
    assert stats.kstest(drawn, theory.cdf).statistic < KS_LIMIT
    assert lower <= drawn.min()
    assert drawn.max() <= upper


@given(st.floats(-5, 5), st.floats(1e-6, 1e3), st.integers(0, 2**32))
def test_no_draw_leaves_the_limits_or_piles_up_on_them(mean: float, sd: float, seed: int) -> None:
    lower, upper = mean - 0.3, mean + 0.8
    drawn = Number(value=mean, sd=sd).sample(np.random.default_rng(seed), 200, lower, upper)
    assert np.all((drawn >= lower) & (drawn <= upper))
    assert np.isfinite(drawn).all()
    assert np.count_nonzero((drawn == lower) | (drawn == upper)) < 5


@pytest.mark.parametrize("number", [Number(value=3.0), Number(low=0.5, high=1.5)])
def test_beyond_the_physical_limits_is_refused(number: Number) -> None:
    with pytest.raises(InputError, match="physically"):
        number.sample(np.random.default_rng(0), 2, 0.0, 1.0)


def test_same_seed_same_draws() -> None:
    one, two = (Number(value=1.0, sd=0.2).sample(np.random.default_rng(7), 9) for _ in range(2))
    assert one.tobytes() == two.tobytes()
