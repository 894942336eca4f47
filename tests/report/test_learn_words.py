"""Words for what is learned of a car: a name for every number, pressures in bar."""

from __future__ import annotations

import re

import pytest

from foreaft.files.classes import class_names, load_class
from foreaft.model.car import draw
from foreaft.report.learn_words import between, lock_text, name_of, setting_text, told
from foreaft.report.words import NBSP


@pytest.mark.parametrize("name", class_names())
def test_every_number_of_a_car_has_a_name_in_words(name: str) -> None:
    for key in draw(load_class(name), 0, 0):
        said = name_of(key)
        assert not re.search(r"[_.]|\b(frac|Pa|mps2|kgm2)\b", said), said


def test_names_of_both_ends_differ() -> None:
    assert name_of("wheel.radius_front_m") == "rolling radius (front)"
    assert name_of("gain_rear_N_per_Pa") == "braking force per line pressure (rear)"
    assert name_of("drive.gear.3.engine_drag_Nm") == "drag of the engine (gear 3 of the file)"
    # These name an end by what they are.
    assert name_of("brakes.front_share_frac") != name_of("force_share_frac")
    assert "rear tyres" in name_of("tyre.rear_grip_frac")


def test_pressures_are_shown_in_bar() -> None:
    """15 kN at 100 bar, and 1 g at 80 bar, worked out by hand."""
    gain = 15_000.0 / 100e5
    assert told("gain_front_N_per_Pa", "N/Pa", gain, 0.98 * gain, 1.02 * gain) == (
        "1.500 ±0.030 kN per 10 bar"
    )
    slope = 9.80665 / 80e5
    key = "decel_per_front_pressure_mps2_per_Pa"
    assert told(key, "m/s2/Pa", slope, 0.9 * slope, 1.1 * slope) == "0.125 ±0.013 g per 10 bar"
    assert between(key, "m/s2/Pa", 0.8 * slope, 1.2 * slope) == "0.100 to 0.150 g per 10 bar"


def test_shares_are_percent_and_frictions_are_not() -> None:
    assert told("force_share_frac", "", 0.623, 0.615, 0.631) == "62.30 ±0.80 %"
    assert told("tyre.mu_x", "", 1.3, 1.1, 1.5) == "1.30 ±0.20"


@pytest.mark.parametrize(
    ("half", "step", "shown"),
    [
        (0.58, 0.5, "54.5 ±0.6"),
        (0.58, 1.0, "54 ±1"),
        (0.02, 0.5, "54.5 ±0.1"),
        (2.26, 0.25, "54.48 ±2.26"),
    ],
)
def test_a_setting_has_the_decimals_of_its_adjuster(half: float, step: float, shown: str) -> None:
    said = setting_text(54.4837, 54.4837 - half, 54.4837 + half, step)
    assert said.replace(NBSP, " ") == shown


def test_which_end_locks_first_is_said_of_the_lock_alone() -> None:
    said = lock_text(54.5, 50.0, 0.5, "front")
    assert "Further to the rear than 54.5 a rear wheel locks first" in said
    assert "50" not in said
    assert "more of it on the front" in said
    # Counted the other way it lies behind the other one: nothing is said of why.
    assert "more of it on the front" not in lock_text(54.5, 50.0, 0.5, "rear")
