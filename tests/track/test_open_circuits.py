"""Real circuits of the open data against published lengths and heights; and how long it takes.

Circuits: TUMFTM racetrack-database at e59595d1 (LGPL-3.0, from OpenStreetMap, ODbL);
bacinger f1-circuits (MIT); the hilly one: TUM race-track data (LGPL-3.0).
"""

from __future__ import annotations

import json
import time

import numpy as np
import pytest

from foreaft.files.circuits import read_circuit
from foreaft.track.stations import stations_from
from machine import slowness

pytestmark = pytest.mark.open_data

FLAT = ["BrandsHatch", "Hockenheim", "Norisring", "Oschersleben", "Zandvoort"]
HILLY = "circuits/mount_panorama_3d/mount_panorama_bounds_3d.csv"


@pytest.mark.parametrize("name", ["hu-1986", "jp-1962", "za-1961"])
def test_length_of_a_coarse_lap_is_the_one_in_its_file(open_data, name: str) -> None:
    """The files state the official length; the drawn line cuts corners by up to 2 m."""
    path = open_data(f"circuits/geojson/{name}.geojson")
    stated = json.loads(path.read_text("utf-8"))["features"][0]["properties"]["length"]
    road = stations_from(read_circuit(path))
    assert road.closed
    assert road.length_m == pytest.approx(stated, rel=0.006)


@pytest.mark.parametrize(
    ("name", "official_m"),
    [
        ("BrandsHatch", 3916.0),
        ("Hockenheim", 4574.0),
        ("Norisring", 2300.0),
        ("Oschersleben", 3696.0),
        ("Zandvoort", 4307.0),
    ],
)
def test_length_of_a_centre_line(open_data, name: str, official_m: float) -> None:
    """Official lengths (from memory)."""
    road = stations_from(read_circuit(open_data(f"circuits/tumftm/{name}.csv")))
    assert road.length_m == pytest.approx(official_m, rel=0.005)


def test_hilly_circuit_has_its_length_height_and_grade(open_data) -> None:
    """6213 m, 174 m from lowest to highest, steepest 1 in 6.13 (from memory)."""
    road = stations_from(read_circuit(open_data(HILLY)))
    assert road.length_m == pytest.approx(6213.0, rel=0.005)
    assert road.climb_m == pytest.approx(174.0, abs=3.0)
    steepest = np.tan(np.abs(road.grade_rad)).max()
    assert steepest == pytest.approx(1.0 / 6.13, rel=0.1)
    assert np.abs(road.vertical_curvature_1pm).max() < 0.005
    # Descending and climbing cancel over a lap.
    assert abs(np.tan(road.grade_rad).sum() * road.spacing_m) < 0.5


def test_hilly_circuit_leans_into_most_of_its_corners(open_data) -> None:
    road = stations_from(read_circuit(open_data(HILLY)))
    tight = np.abs(road.curvature_1pm) > 0.01
    helps = np.sign(road.bank_rad[tight]) == np.sign(road.curvature_1pm[tight])
    assert helps.mean() > 0.8


@pytest.mark.parametrize("name", FLAT)
def test_least_curvature_bends_far_less_and_stays_inside(open_data, name: str) -> None:
    raw = read_circuit(open_data(f"circuits/tumftm/{name}.csv"))
    given = stations_from(raw)
    found = stations_from(raw, line="min_curvature", vehicle_width_m=1.9, margin_m=0.3)
    bends = [float((r.curvature_1pm**2).mean() * r.length_m) for r in (given, found)]
    assert 0.4 < bends[1] / bends[0] < 0.8
    assert found.length_m == pytest.approx(given.length_m, rel=0.01)
    # The car's side keeps 0.3 m; 5 cm for the spline between the places it is held at.
    assert min(found.width_left_m.min(), found.width_right_m.min()) > 0.95 + 0.3 - 0.05
    turned = found.curvature_1pm.sum() * found.spacing_m / (2.0 * np.pi)
    assert abs(turned) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.timing
@pytest.mark.parametrize("name", ["BrandsHatch", "Zandvoort"])
def test_reading_and_line_of_a_4_km_circuit_take_under_a_second(open_data, name: str) -> None:
    path = open_data(f"circuits/tumftm/{name}.csv")
    stations_from(read_circuit(path), line="min_curvature")  # imports, once
    begun = time.perf_counter()
    stations_from(read_circuit(path), line="min_curvature")
    assert time.perf_counter() - begun < 2.0 * slowness()  # twice the target
