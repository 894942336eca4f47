"""Drawing cars: the nominal row, statistics, independence of seeds, joint draws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from foreaft.base.errors import InputError
from foreaft.model.car import Car, draw, numbers
from model.car_text import plain_car

N = 20_000


def spread_car() -> Car:
    return plain_car(
        ("mass_kg = 1200", "mass_kg = { value = 1200, sd = 10 }"),
        ("cg_height_m = 0.5", "cg_height_m = { low = 0.4, high = 0.6 }"),
        ("mu_x = 1.2", "mu_x = { value = 0.2, sd = 0.1 }"),
    )


def test_row_0_is_the_nominal_car() -> None:
    drawn = draw(spread_car(), 3, 10)
    assert drawn["mass_kg"][0] == 1200.0
    assert drawn["cg_height_m"][0] == 0.5
    assert all(len(column) == 11 for column in drawn.values())
    assert set(drawn) == set(numbers(spread_car()))


def test_normal_and_uniform() -> None:
    """Mean and spread of N draws lie within five standard errors of the distribution's own."""
    drawn = draw(spread_car(), 3, N)
    mass, height = drawn["mass_kg"][1:], drawn["cg_height_m"][1:]
    assert abs(mass.mean() - 1200) < 5 * 10 / N**0.5
    assert abs(mass.std() - 10) < 5 * 10 / (2 * N) ** 0.5
    assert abs(height.mean() - 0.5) < 5 * 0.2 / 12**0.5 / N**0.5
    assert abs(height.std() - 0.2 / 12**0.5) < 0.001
    assert height.min() >= 0.4
    assert height.max() <= 0.6


def test_a_spread_is_cut_off_at_physical_limits_not_piled_up() -> None:
    mu = draw(spread_car(), 3, N)["tyre.mu_x"][1:]
    assert mu.min() >= 0.1
    assert np.sum(mu == 0.1) == 0
    # Mean of a normal cut off one sd below: m + s phi(1) / Phi(1) (handbook, closed form).
    assert mu.mean() == pytest.approx(0.2 + 0.1 * 0.241971 / 0.841345, abs=0.003)


def test_exact_numbers_do_not_move() -> None:
    assert np.ptp(draw(spread_car(), 3, 50)["wheelbase_m"]) == 0.0


def test_keys_are_independent() -> None:
    drawn = draw(spread_car(), 3, N)
    assert abs(np.corrcoef(drawn["mass_kg"][1:], drawn["cg_height_m"][1:])[0, 1]) < 0.04


def test_one_more_key_does_not_change_the_others() -> None:
    more = spread_car().replace(track_front_m={"low": 1.4, "high": 1.6})
    assert np.array_equal(draw(more, 3, 50)["mass_kg"], draw(spread_car(), 3, 50)["mass_kg"])


def test_a_longer_draw_begins_with_the_shorter() -> None:
    assert np.array_equal(
        draw(spread_car(), 3, 60)["cg_height_m"][:21], draw(spread_car(), 3, 20)["cg_height_m"]
    )


@given(st.integers(0, 2**31), st.integers(0, 30))
def test_same_seed_same_draws(seed: int, samples: int) -> None:
    one, two = (draw(spread_car(), seed, samples) for _ in range(2))
    assert all(np.array_equal(one[key], two[key]) for key in one)


def test_another_seed_other_draws() -> None:
    assert not np.array_equal(
        draw(spread_car(), 1, 9)["mass_kg"], draw(spread_car(), 2, 9)["mass_kg"]
    )


def test_joint_draws_keep_their_rows_together() -> None:
    joint = {"mass_kg": np.array([1100.0, 1300.0]), "cg_height_m": np.array([0.41, 0.59])}
    drawn = draw(spread_car(), 1, 5, joint)
    assert drawn["mass_kg"].tolist() == [1200, 1100, 1300, 1100, 1300, 1100]
    assert drawn["cg_height_m"].tolist() == [0.5, 0.41, 0.59, 0.41, 0.59, 0.41]


@pytest.mark.parametrize(
    ("joint", "code"),
    [
        ({"no_such": np.array([1.0])}, "unknown_key"),
        ({"mass_kg": np.array([-5.0])}, "out_of_range"),
        ({"mass_kg": np.array([np.nan])}, "out_of_range"),
        ({"mass_kg": np.array([])}, "out_of_range"),
    ],
)
def test_joint_draws_that_do_not_fit(joint: dict[str, np.ndarray], code: str) -> None:
    with pytest.raises(InputError) as caught:
        draw(spread_car(), 1, 5, joint)
    assert caught.value.code == code
