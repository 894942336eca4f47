"""The optimisation: finer places, other starts, wider bands, and the way without a solver."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from foreaft.optimum import symbols as sy
from foreaft.optimum.compare import ways
from foreaft.optimum.zone import steady_way
from foreaft.physics import trim as tr
from optimum import roads
from physics import slow_car as slow

FIXED, BAND, ANY = (0.66, 0.66), (0.60, 0.74), (0.0, 1.0)


def entry(points):
    """A corner braked deep into: 50 m of spiral, 20 m of arc of 60 m radius, apex at 92 km/h."""
    return roads.corner(60.0, 20.0, 50.0, 150.0, 62.0, 25.5, points)


@cache
def built(points):
    return roads.collocation(roads.WINGED, points)


@cache
def found(points):
    return ways(built(points), entry(points), [FIXED, (0.62, 0.62), BAND, ANY])


def test_every_band_is_solved():
    for way in found(100):
        assert way.solved is not None, way.statuses
        assert way.solved.over_frac < 1e-6


def test_a_wider_band_is_never_slower():
    one, two, band, any_ = (way.solved.time_s for way in found(100))
    assert any_ <= band <= min(one, two)


@pytest.mark.slow
def test_finer_places_converge():
    """Second order: 100 places lie within a millisecond of 400, and 200 nearer than 100."""
    times = {
        points: [way.solved.time_s for way in found(points)[::2]] for points in (100, 200, 400)
    }
    coarse, fine = (np.abs(np.subtract(times[n], times[400])) for n in (100, 200))
    assert coarse.max() < 1e-3
    assert fine.max() < 5e-4
    gaps = [one - band for one, band in times.values()]
    assert np.ptp(gaps) < 1e-3  # what a setting leaves hardly hangs on the places


@pytest.mark.parametrize("band", [FIXED, BAND])
def test_two_starts_end_alike(band):
    """A start that knows no tyre, and the state of the quasi-steady way; all wheels rolling."""
    one, road = built(100), entry(100)
    way = steady_way(one.car, one.table, road, *band)
    plain = one.solve(road, *band, start=one.plain_start(road, 0.7))
    steady = one.solve(road, *band, start=one.steady_start(road, way))
    assert plain.ok
    assert steady.ok
    assert plain.time_s == pytest.approx(steady.time_s, abs=1e-6)
    assert plain.speed_mps == pytest.approx(steady.speed_mps, abs=1e-3)


def test_it_is_the_same_every_time():
    again = built(100).solve(entry(100), *BAND)
    assert built(100).solve(entry(100), *BAND).state.tobytes() == again.state.tobytes()


def test_never_slower_than_the_quasi_steady_way_of_any_share_inside():
    """But for the error of the places, a thousandth of a second at most (see above)."""
    one, road = built(100), entry(100)
    band = found(100)[2].solved.time_s
    for share in np.linspace(*BAND, 8):
        way = steady_way(one.car, one.table, road, float(share), float(share))
        assert band <= way.time_s + 1e-3


@pytest.mark.parametrize("which", range(4))
def test_the_quasi_steady_way_agrees(which):
    """Both under the same rules: within two thousandths of the time of the zone."""
    way = found(100)[which]
    assert way.solved.time_s == pytest.approx(way.steady.time_s, rel=2e-3)


def test_sliding_inside_wheels_are_worth_having():
    """All wheels rolling is a narrower rule than the trim's: slower than what may slide."""
    one, road = built(100), entry(100)
    way = steady_way(one.car, one.table, road, *FIXED)
    assert way.sliding.any()
    rolling = one.solve(road, *FIXED)
    sliding = one.solve(road, *FIXED, sliding=way.sliding)
    assert sliding.ok
    assert sliding.time_s < rolling.time_s


def test_the_trim_bears_out_every_place():
    """The kernel's trim at the solved pedal: same deceleration, both axles inside their grip."""
    one, road = built(100), entry(100)
    solved = one.solve(road, *BAND)
    weight = one.car[0] * 9.80665
    out = np.zeros(tr.TRIM_SIZE)
    braked = np.flatnonzero(solved.speed_mps < 0.999 * road.reach_mps)
    for k in braked:
        row = road.roads[k].copy()
        row[tr.SPEED] = solved.speed_mps[k]
        pedal = solved.state[sy.PEDAL_FRONT : sy.PEDAL_REAR + 1, k].sum() * weight
        tr.trim(one.car, one.table, float(solved.share_frac[k]), pedal, row, out)
        assert out[tr.DECEL] == pytest.approx(solved.decel_mps2[k], abs=0.02)
        assert min(out[tr.FRONT_MARGIN], out[tr.REAR_MARGIN]) > -0.01
    assert len(braked) > 60


def test_share_stays_inside_the_band():
    share = found(100)[2].solved.share_frac
    known = share[np.isfinite(share)]
    assert known.min() >= BAND[0] - 1e-6
    assert known.max() <= BAND[1] + 1e-6
    assert np.ptp(known) > 0.02  # and it does move


def test_a_corner_too_fast_says_how_much_grip_is_missing():
    road = roads.corner(60.0, 20.0, 50.0, 150.0, 62.0, 36.0, 60)
    solved = roads.collocation(roads.WINGED, 60).solve(road, *ANY)
    assert not solved.ok or solved.over_frac > 0.05


def test_a_solver_that_gives_up_is_no_answer(monkeypatch):
    monkeypatch.setattr("foreaft.optimum.zone.MOST_ITERATIONS", 3)
    stopped = roads.collocation(roads.WINGED, 60)
    way = ways(stopped, entry(60), [FIXED])[0]
    assert way.solved is None
    assert set(way.statuses) == {"Maximum_Iterations_Exceeded"}


def test_nothing_is_printed(capfd):
    roads.collocation(slow.Car(), 40).solve(roads.straight(80.0, 40.0, 20.0, 40), 0.7, 0.7)
    said = capfd.readouterr()
    assert said.out == ""
    assert said.err == ""
