"""How fast one quasi-steady lap is, against a search for the corner speed alone in SciPy.

Run: ``python benchmarks/lap.py``.
The circuit is the invented one; times are told for 5 km at steps of 2 m.
"""

from __future__ import annotations

import numpy as np
from common import Situation, header, situation, taken
from scipy.optimize import brentq

from foreaft.jobs.situation import BRAKE_USE, SIDE_USE, station_roads
from foreaft.physics import motion
from foreaft.physics import trim as tr
from machine import slowness

LENGTH_M = 5000.0
TARGET_MS = 5.0
SAME_MPS = 1e-6


def corner_speeds(demo: Situation, roads: np.ndarray) -> np.ndarray:
    """Return the product's corner speed at every station. [m/s]"""
    scratch = np.zeros(tr.TRIM_SIZE)
    car, table = demo.cars.vector[0], demo.cars.table[0]
    return np.array(
        [motion.corner_speed(car, table, road.copy(), scratch, SIDE_USE) for road in roads]
    )


def by_brentq(demo: Situation, roads: np.ndarray) -> np.ndarray:
    """Return the same with SciPy's bracketing search over the product's margin. [m/s]"""
    scratch, spare = np.zeros(tr.TRIM_SIZE), 1.0 - SIDE_USE**2
    car, table = demo.cars.vector[0], demo.cars.table[0]
    found = []
    for road in roads:
        here = road.copy()

        def left(speed: float, here: np.ndarray = here) -> float:
            here[tr.SPEED] = speed
            return motion._side_margin(car, table, here, scratch) - spare

        free = here[tr.CURVATURE] <= 0.0 or left(motion.TOP_SPEED_MPS) >= 0.0
        slowest, fastest = motion.LOWEST_SPEED_MPS, motion.TOP_SPEED_MPS
        found.append(fastest if free else brentq(left, slowest, fastest, xtol=1e-9))
    return np.array(found)


def main() -> None:
    """Measure and print; exit with 1 where answers differ or twice the target is not met."""
    header()
    demo = situation(0)
    stations = demo.lap.stations
    assert stations is not None
    roads = station_roads(stations)
    step, speed = np.full(len(roads), stations.spacing_m), np.zeros(len(roads))
    arguments = (demo.cars.vector[0], demo.cars.table[0], float(demo.shares[20]))

    def drive() -> float:
        return motion.lap(*arguments, roads, step, stations.closed, BRAKE_USE, SIDE_USE, speed)

    lap = taken(drive, 30)
    scaled = 1e3 * lap.least * LENGTH_M / stations.length_m
    print(
        f"one lap of {stations.length_m:.0f} m, {len(roads)} stations, {drive():.2f} s of driving"
    )
    print(f"  compiled (product)    {lap}")
    print(f"  for {LENGTH_M:g} m         least {scaled:9.2f} ms   (target {TARGET_MS:g} ms)")
    few = roads[::10]
    away = np.abs(corner_speeds(demo, few) - by_brentq(demo, few)).max()
    one = taken(lambda: corner_speeds(demo, few), 5)
    two = taken(lambda: by_brentq(demo, few), 5)
    print(f"corner speed at {len(few)} stations, each called from Python")
    print(f"  product's search      {one}")
    print(f"  SciPy's brentq        {two}   ratio {two.least / one.least:.1f}")
    print(f"  apart: {away:.1e} m/s (target {SAME_MPS:g})")
    if scaled > 2.0 * slowness() * TARGET_MS or away > SAME_MPS:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
