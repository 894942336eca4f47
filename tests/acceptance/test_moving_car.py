"""The limits of braking into a turn, in motion against quasi-steady: docs/studies/moving_car.md.

The study holds the transient car at a station and raises the pedal until an axle is lost.
A small part of it is repeated here; what both cars are compared with is computed, never written.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

STUDIES = Path(__file__).resolve().parents[2] / "docs" / "studies"
MIDDLE, HAIRPIN, FAST = 3, 1, 2
pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def mc() -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(STUDIES))
        yield import_module("moving_car")


@pytest.fixture(scope="module")
def scene(mc: Any) -> Any:
    """Base car, names and stations of the four zones."""
    return mc.base_and_stations()


def nominal(mc: Any, scene: Any, coupling: str = "open") -> Any:
    return mc.study_car(scene[0], coupling, "0.1 g", *mc.SIDES[0])


@pytest.mark.parametrize("coupling", ["open", "spool"])
@pytest.mark.parametrize("share", [0.58, 0.66, 0.78])
def test_on_the_straight_the_held_car_lets_go_where_the_trim_says(mc, scene, coupling, share):
    """Within 1 % in pedal, in deceleration as well, and the same end.

    The pedal rises by 2 % a second; wheels that slip turn slower than the car and give up a little
    more (test_transient_limits.py).
    """
    car = nominal(mc, scene, coupling)
    for _, straight in scene[2]:
        found, still = mc.hold(car, share, straight), mc.quasi(car, share, straight)
        assert found[mc.AXLE_PEDAL] == pytest.approx(still[0], rel=0.01)
        assert found[mc.MOST] == pytest.approx(still[2], rel=0.01)
        assert found[mc.AXLE] == (0.0 if share > 0.75 else found[mc.AXLE])
        assert found[mc.AXLE] == (1.0 if share < 0.60 else found[mc.AXLE])


def test_trail_less_straight_is_the_quasi_steady_one_within_what_slip_angles_take(mc, scene):
    """Three points by the axle's limit and by the most deceleration, one and a half by the wheel's.

    A braked axle at a slip angle t loses t x braking force of its side force.  At t = 0.05, what
    these stations ask for, that is 0.05 of a limit at one axle and less at the other: share x
    (1 - share) x 0.05 = 1 point, twice that where the axle slides with one wheel.  Half a point
    for the grids of both.
    """
    car = nominal(mc, scene)
    for zone in (FAST, MIDDLE):
        still, moves, _ = mc.shifts(car, scene[2][zone : zone + 1])
        apart = np.abs(moves - still)[0]
        assert apart[[0, 2]].max() <= 3.0, scene[1][zone]
        assert apart[1] <= 1.5, scene[1][zone]
        assert (np.sign(moves) == np.sign(still))[0, [0, 2]].all()  # and the sign is the same


def test_without_slip_angles_and_load_across_both_cars_agree(mc, scene):
    """What is left is the grid of half a point, and the steered wheels of the hairpin.

    Its front wheels stand at wheelbase / radius, 0.05 rad, so that a twentieth of the front
    braking force points across: with 0.75 of the force in front, up to a point of share.
    """
    car = mc.upright(mc.small_angles(nominal(mc, scene)))
    for zone, most in ((HAIRPIN, 1.25), (FAST, 0.5), (MIDDLE, 0.5)):
        pair = mc.compare(car, scene[2][zone][0])
        apart = 100.0 * (pair.moves.share - pair.still.share)
        assert np.abs(apart).max() <= most, scene[1][zone]


def test_a_wheel_of_an_axle_is_past_its_peak_earlier_in_motion(mc, scene):
    """Both wheels share one slip angle, so the inside one has less than its peak along.

    At most (1 - (slip angle / that of the peak)^2)^0.5 of it; a few percent less still, because
    braking wheels at an angle ask for more side force.
    """
    car = nominal(mc, scene)
    for zone in (HAIRPIN, FAST, MIDDLE):
        trail = scene[2][zone][0]
        found, still = mc.hold(car, 0.78, trail), mc.quasi(car, 0.78, trail)
        assert found[mc.WHEEL] == 0.0  # inside front
        _, peak = mc.slip_tyre.peak_slips(car.table, 0, 0.1 * car.still[mc.at.MASS] * mc.G, 1.0)
        angle = np.tan(found[mc.SLIPS]) / peak
        part = found[mc.WHEEL_PEDAL] / still[1]
        assert np.sqrt(1.0 - angle**2) - 0.12 < part < np.sqrt(1.0 - angle**2)


def test_held_and_let_go_lose_the_same_axle_at_nearly_the_same_pedal(mc, scene):
    """A car that really slows holds on a little longer: an axle that is spent needs time to go.

    In half a second at a tenth of the limit a second the pedal rises by 5 %, and the other way
    3 % for what the speed loses in it.
    """
    car = nominal(mc, scene)
    for zone in (HAIRPIN, MIDDLE):
        trail = scene[2][zone][0]
        for share in (0.54, 0.62, 0.70, 0.78):
            free, which, held, other = mc.let_go(car, share, trail)
            assert which == other
            assert 0.97 < free / held < 1.08
