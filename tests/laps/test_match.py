"""Braking zones against the truth of the session: 3 m, with and without brake and position.

The bound is the one set for the product (zones within 3 m of the truth).
"""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.laps.brakings import brakings
from foreaft.laps.match import Known, passes_of, place_along
from foreaft.laps.path import circuit_from, path_of
from foreaft.laps.series import series_of
from foreaft.laps.split import split
from laps.driven import Driven, session, without

USES = (0.9, 0.8, 0.95, 0.9, 0.85, 0.9, 0.9)
BRAKE = ("pressure_front_Pa", "pressure_rear_Pa")
POSITION = ("position_x_m", "position_y_m", "distance_m")
WITHIN_M = 3.0


def reference(driven: Driven):
    series = series_of(driven.recording)
    path = path_of(series)
    lap = split(series, path).full[0]
    return circuit_from(path, series, int(series.index(lap.start_s)), int(series.index(lap.end_s)))[
        0
    ]


def found_in(driven: Driven, recording):
    series = series_of(recording)
    path = path_of(series)
    placed = place_along(series, path, split(series, path), reference(driven))
    return placed, *passes_of(placed, brakings(series, lag_s=0.0), lag_s=0.0)  # torque at once


@pytest.mark.parametrize("rate", [100.0, 25.0])
@pytest.mark.parametrize(
    "dropped",
    [(), BRAKE, (*BRAKE, "accel_x_mps2"), POSITION, (*BRAKE, *POSITION)],
    ids=["all", "no brake", "speed only", "no position", "neither"],
)
def test_brake_points_lie_within_three_metres(rate: float, dropped: tuple[str, ...]) -> None:
    driven = session(5, rate, USES, start_s_m=300.0, extra_s_m=400.0, noise=0.5)
    placed, zones, passes = found_in(driven, without(driven, *dropped))
    assert len(zones) == 4
    off, full = [], {lap.lap_id for lap in placed.split.full}
    for number, zone in enumerate(zones):
        for one in passes:
            if one.zone_id == zone.zone_id and one.lap_id in full:
                lap = int(one.lap_id[1:]) - 1
                truth = driven.brake_s_m[lap, number]
                off.append(placed.place(one.braking.start) - truth)
    assert len(off) == 16
    assert np.abs(off).max() < WITHIN_M


def test_zones_keep_known_ids_and_names() -> None:
    driven = session(3)
    series = series_of(driven.recording)
    path = path_of(series)
    placed = place_along(series, path, split(series, path), reference(driven))
    own, _ = passes_of(placed, brakings(series))
    apex = own[1].apex_s_m + 20.0
    face = Known("mill", "Mill", apex, own[1].turn_in_s_m - 5.0)
    zones, passes = passes_of(placed, brakings(series), [face])
    assert [zone.zone_id for zone in zones].count("mill") == 1
    assert zones[1].name == "Mill"
    assert zones[1].turn_in_s_m == face.turn_in_s_m
    assert {one.zone_id for one in passes} == {zone.zone_id for zone in zones}


def test_another_session_is_matched_to_the_same_zones() -> None:
    one, other = session(3, uses=0.9), session(3, uses=0.8)
    placed, zones, _ = found_in(one, one.recording)
    series = series_of(other.recording)
    path = path_of(series)
    theirs = place_along(series, path, split(series, path), placed.stations)
    again, passes = passes_of(theirs, brakings(series), zones=zones)
    assert again == zones
    assert {p.zone_id for p in passes} == {z.zone_id for z in zones}


def test_two_stabs_are_one_braking() -> None:
    driven = session(2)
    recording = driven.recording
    first = brakings(series_of(recording))[0]
    middle = int(0.5 * (first.start + first.release))
    for name in BRAKE:
        channel = recording[name]
        held = channel.value.copy()
        held[middle : middle + 20] = 0.0
        object.__setattr__(channel, "value", held)
    again = brakings(series_of(recording))[0]
    assert len(again.stabs) == 2
    assert again.start == pytest.approx(first.start, abs=1.0)
