"""Measures of a pass against published stops and against what the session was driven with."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from foreaft.laps.advice import spread_of
from foreaft.laps.brakings import brakings, pressed
from foreaft.laps.grip import bulged, use_shown
from foreaft.laps.match import Placed, passes_of, place_along
from foreaft.laps.measure import (
    against_best,
    best_passes,
    corrected_to,
    mean_fully_developed,
    measured,
)
from foreaft.laps.path import circuit_from, path_of
from foreaft.laps.series import series_of
from foreaft.laps.split import split
from foreaft.logs.recording import Recording
from foreaft.physics.regulation import mfdd
from laps.driven import session, without


def test_a_zone_down_to_standstill_is_the_regulation_s_stop() -> None:
    """UN R13 annex 4, 1.1.2: 0.8 to 0.1 of the first speed, mean over distance."""
    speed = np.linspace(100.0 / 3.6, 0.0, 400)
    decel = 6.0 + 3.0 * np.sin(np.linspace(0.0, 3.0, 399))
    distance = np.concatenate(([0.0], np.cumsum((speed[:-1] ** 2 - speed[1:] ** 2) / 2.0 / decel)))
    found = mean_fully_developed(speed, distance, 0.0)
    assert found == pytest.approx(mfdd(speed, distance), rel=1e-12)


def test_the_limits_of_the_regulation_come_out() -> None:
    """R13-H annex 3: s <= 0.1 v + 0.0060 v^2 and d_m >= 6.43 are one limit (checks.md 1.3)."""
    v = 100.0 / 3.6
    distance = np.linspace(0.0, 0.0060 * 100.0**2, 2000)
    speed = np.sqrt(np.maximum(v**2 * (1.0 - distance / distance[-1]), 0.0))
    assert mean_fully_developed(speed, distance, 0.0) == pytest.approx(6.43, abs=0.005)


def test_a_stop_is_corrected_to_its_nominal_speed() -> None:
    """ISO 21994 (from memory): s (v_nom / v)^2; 38.90 m from 101.3 km/h (checks.md 1.4)."""
    nominal = 100.0 / 3.6
    found = corrected_to(38.90, (101.3 / 3.6, 0.0), (nominal, 0.0))
    assert found == pytest.approx(37.90799, abs=5e-6)


def test_a_correction_of_constant_braking_is_exact() -> None:
    """Between any two speeds s = (v0^2 - v1^2) / 2 a, whatever the measured ones were."""
    assert corrected_to((60**2 - 22**2) / 20.0, (60.0, 22.0), (58.0, 20.0)) == pytest.approx(
        (58**2 - 20**2) / 20.0
    )


def placed_of(recording: Recording) -> Placed:
    """A session laid onto the circuit its first full lap makes."""
    series = series_of(recording)
    path = path_of(series)
    laps = split(series, path)
    lap = laps.full[0]
    first, last = int(series.index(lap.start_s)), int(series.index(lap.end_s))
    return place_along(series, path, laps, circuit_from(path, series, first, last)[0])


@pytest.fixture(scope="module")
def rows():
    uses = (0.9, 0.8, 0.95, 0.9, 0.85, 0.9, 0.9)
    driven = session(5, uses=uses, noise=0.3)
    placed = placed_of(driven.recording)
    series, laps = placed.series, placed.split
    zones, passes = passes_of(placed, brakings(series))
    shown, _ = use_shown(series, pressed(series))
    return driven, uses, laps, zones, measured(placed, zones, passes, use_shown=shown)


def of(rows, lap_id: str):
    return [row for row in rows if row.lap_id == lap_id]


def test_the_lap_that_brakes_hardest_stops_shortest(rows) -> None:
    _, uses, laps, _, found = rows
    full = [lap.lap_id for lap in laps.full]
    nominal = {i: np.mean([r.brake_nominal_m for r in of(found, i)]) for i in full}
    used = {i: uses[int(i[1:]) - 1] for i in full}
    order = sorted(full, key=lambda i: nominal[i])
    assert used[order[0]] == max(used.values())
    assert used[order[-1]] == min(used.values())
    # Distance goes with one over the deceleration: 0.8 against 0.95, drag and trail aside.
    assert nominal[order[-1]] / nominal[order[0]] == pytest.approx(0.95 / 0.80, rel=0.05)


def test_decelerations_are_those_driven(rows) -> None:
    _, uses, laps, _, found = rows
    for lap in laps.full:
        use = uses[int(lap.lap_id[1:]) - 1]
        peaks = [row.peak_decel_mps2 for row in of(found, lap.lap_id)]
        assert np.mean(peaks) == pytest.approx(use * 1.3 * 9.81, rel=0.03)


def test_shares_and_losses(rows) -> None:
    *_, found = rows
    assert all(row.pressure_share_frac == pytest.approx(0.625, abs=0.005) for row in found)
    found = against_best(found, {row.lap_id for row in found})
    for zone in {row.zone_id for row in found}:
        assert min(r.lost_s for r in found if r.zone_id == zone and r.lost_s is not None) == 0.0


def test_a_pass_that_went_wrong_is_nobody_s_best(rows) -> None:
    """Who locks a wheel and runs off the road arrives early, and pays behind the zone."""
    *_, found = rows
    own = [row for row in found if row.zone_id == found[0].zone_id and row.time_s is not None]
    full = {row.lap_id for row in own}
    fastest = min(own, key=lambda row: row.time_s)
    spoilt = [replace(row, spoilt=row is fastest) for row in own]
    best = best_passes(spoilt, full)[fastest.zone_id]
    assert best.time_s == sorted(row.time_s for row in own)[1]
    lost = {row.lap_id: row.lost_s for row in against_best(spoilt, full)}
    assert lost[fastest.lap_id] < 0.0
    assert lost[best.lap_id] == 0.0
    every = [replace(row, spoilt=True) for row in own]
    assert best_passes(every, full)[fastest.zone_id].lap_id == fastest.lap_id
    part = {one for one in full if one != fastest.lap_id}
    assert best_passes(own, part)[fastest.zone_id].lap_id != fastest.lap_id


def test_use_against_what_was_shown_ranks_the_laps(rows) -> None:
    _, uses, laps, _, found = rows
    mean = {
        lap.lap_id: np.mean([r.use_shown_frac for r in of(found, lap.lap_id)]) for lap in laps.full
    }
    order = sorted(mean, key=lambda i: mean[i])
    used = {lap.lap_id: uses[int(lap.lap_id[1:]) - 1] for lap in laps.full}
    assert used[order[0]] == 0.8
    assert used[order[-1]] == 0.95
    assert 0.9 < mean[order[-1]] < 1.05


def test_release_shape_of_a_straight_line_is_a_half() -> None:
    from foreaft.laps.measure import _release

    hold, down = np.ones(50), np.linspace(1.0, 0.0, 101)
    shape, _ = _release(np.concatenate((hold, down)), 0.01)
    assert shape == pytest.approx(0.5, abs=0.02)
    early, _ = _release(np.concatenate((hold, down**3)), 0.01)
    assert early is not None
    assert early < 0.35


def test_a_brake_channel_silent_through_a_braking_leaves_its_measures() -> None:
    """A logger that loses its pressures for one zone still has the deceleration there."""
    driven = session(3, noise=0.3)
    time = driven.recording.channels["speed_mps"].time_s
    whole, cut = driven.recording, without(driven)
    at = None
    found = {}
    for name, recording in (("whole", whole), ("cut", cut)):
        if at is not None:
            gone = (time > at - 1.0) & (time < at + 7.0)
            for channel in ("pressure_front_Pa", "pressure_rear_Pa"):
                one = recording.channels[channel]
                value = np.where(gone, np.nan, one.value - 1e3)  # an offset, drawn on below nothing
                recording.channels[channel] = replace(one, value=value)
        placed = placed_of(recording)
        series = placed.series
        zones, passes = passes_of(placed, brakings(series))
        found[name] = measured(placed, zones, passes)
        if at is None:
            at = float(series.time_s[int(passes[5].braking.start)])
    before, after = found["whole"][5], found["cut"][5]
    assert (after.lap_id, after.zone_id) == (before.lap_id, before.zone_id)
    assert after.release_shape_frac == pytest.approx(before.release_shape_frac, abs=0.1)
    assert after.brake_left_frac == pytest.approx(before.brake_left_frac, abs=0.1)


def test_a_brake_point_on_both_sides_of_the_start_line_has_a_middle(rows) -> None:
    """Three passes at -6, 2 and 4 m of a lap of 2000 m."""
    *_, found = rows
    three = [replace(found[0], brake_s_m=s) for s in (1994.0, 2.0, 4.0)]
    spread = spread_of(three, "brake_s_m", 2000.0)
    assert spread is not None
    assert spread.middle == pytest.approx(2.0)
    assert spread.sd == pytest.approx(np.std([-6.0, 2.0, 4.0], ddof=1))


def test_who_can_do_two_things_at_once_can_do_each_alone() -> None:
    """1.6 g sideways beside 0.4 g of braking: 1.6 g of cornering alone is there too."""
    angles = np.radians([5.0, 45.0, 76.0, 88.0])
    shown = np.array([1.0, 1.0, np.hypot(1.6, 0.4), 0.9])
    hull = bulged(shown, angles)
    assert hull[-1] * np.sin(angles[-1]) >= 1.6 - 1e-9
    assert hull[0] == 1.0  # nothing showed more of braking than that
    assert hull[2] == shown[2]


def test_no_brake_is_left_while_it_is_still_being_pressed(rows) -> None:
    """Turned in a tenth of a second after the brake point, or well after it."""
    driven, _, laps, zones, _ = rows
    series = series_of(driven.recording)
    path = path_of(series)
    first, last = (int(series.index(t)) for t in (laps.full[0].start_s, laps.full[0].end_s))
    placed = place_along(series, path, laps, circuit_from(path, series, first, last)[0])
    zones, passes = passes_of(placed, brakings(series))
    one = next(each for each in passes if each.lap_id == laps.full[1].lap_id)
    zone = next(each for each in zones if each.zone_id == one.zone_id)
    start = one.braking.start
    for after_s, known in ((0.1, False), (0.8, True)):
        turned = replace(zone, turn_in_s_m=placed.place(start + after_s * series.rate_hz))
        (row,) = measured(placed, [turned], [one])
        assert (row.brake_left_frac is not None) == known
