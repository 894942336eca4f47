"""What the benchmarks share: the invented car on its circuit as arrays, and the clock.

The machine may be busy: the least of several repeats says most, and processor time more than the
clock on the wall wherever one thread works.
"""

from __future__ import annotations

import platform
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numba
import numpy as np

from foreaft.jobs.common import Notes
from foreaft.jobs.load import load_car, load_conditions, load_driver
from foreaft.jobs.situation import Lap, circuit_lap
from foreaft.model.car import CarArrays, draw, vectors
from foreaft.physics import motion
from foreaft.plan.arrange import ZoneArrays
from foreaft.plan.human import driver_row

SETTINGS = 40
SHARE_SPAN = 0.10
DEMO = Path(str(files("foreaft"))) / "data" / "demo"


@dataclass(frozen=True)
class Situation:
    """Cars (the nominal one first), shares of the settings, zones and driver."""

    cars: CarArrays
    shares: np.ndarray
    zones: ZoneArrays
    driver: np.ndarray
    lap: Lap


def situation(samples: int) -> Situation:
    """Load the demo; shares lie around the one at which both axles let go together."""
    car, _ = load_car(DEMO / "car.toml")
    conditions, _ = load_conditions(DEMO / "dry.toml")
    driver, _ = load_driver(DEMO / "driver.toml")
    lap = circuit_lap(DEMO / "brackwater.csv", car, conditions, driver, None, Notes())
    cars = vectors(car, draw(car, 1, samples), conditions)
    middle = motion.crossover_share(cars.vector[0], cars.table[0], 40.0)
    shares = np.linspace(middle - SHARE_SPAN, middle + SHARE_SPAN, SETTINGS)
    return Situation(cars, shares, lap.arrays, driver_row(driver), lap)


@dataclass(frozen=True)
class Taken:
    """Least and middle time of the repeats. [s]"""

    least: float
    middle: float

    def __str__(self) -> str:
        return f"least {1e3 * self.least:9.2f} ms, median {1e3 * self.middle:9.2f} ms"


def taken(
    work: Callable[[], object],
    repeats: int,
    clock: Callable[[], float] = time.process_time,
) -> Taken:
    """Time a call after one that does not count; processor time unless told otherwise."""
    work()
    times = []
    for _ in range(repeats):
        began = clock()
        work()
        times.append(clock() - began)
    return Taken(min(times), statistics.median(times))


def header() -> None:
    """Print what was measured on."""
    print(
        f"Python {platform.python_version()}, NumPy {np.__version__}, numba {numba.__version__}, "
        f"{platform.machine()}"
    )
