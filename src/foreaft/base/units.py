"""Constants with their sources, and the few conversions between SI and what people read and type.

Inside the package everything is SI and radians; these functions stand at its edges.
Each conversion is written once, here.
"""

from __future__ import annotations

from math import pi
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

GRAVITY_MPS2: Final = 9.80665
"""Standard acceleration of free fall, exact. CGPM 1901; BIPM, SI Brochure, 9th ed. [m/s^2]"""

AIR_DENSITY_KGPM3: Final = 1.225
"""Dry air at sea level, 15 degC and 101325 Pa. ISO 2533:1975, Standard Atmosphere. [kg/m^3]"""

KMH_PER_MPS: Final = 3.6
"""Exact: 3600 s to the hour, 1000 m to the kilometre. [(km/h)/(m/s)]"""

PA_PER_BAR: Final = 1e5
"""Exact. BIPM, SI Brochure, 8th ed., table 8. [Pa/bar]"""

METRES_PER_MILE: Final = 1609.344
"""International mile, exact, from the yard of 0.9144 m agreed in 1959. [m/mi]"""

RAD_PER_DEGREE: Final = pi / 180.0
"""Exact by definition of the degree. [rad/deg]"""

T = TypeVar("T", float, NDArray[np.float64])


def mps_from_kmh(speed_kmh: T) -> T:
    """Metres per second from kilometres per hour."""
    return speed_kmh / KMH_PER_MPS


def kmh_from_mps(speed_mps: T) -> T:
    """Kilometres per hour from metres per second."""
    return speed_mps * KMH_PER_MPS


def mph_from_mps(speed_mps: T) -> T:
    """Miles per hour from metres per second."""
    return speed_mps * (3600.0 / METRES_PER_MILE)


def pa_from_bar(pressure_bar: T) -> T:
    """Pascal from bar."""
    return pressure_bar * PA_PER_BAR


def bar_from_pa(pressure_pa: T) -> T:
    """Bar from pascal."""
    return pressure_pa / PA_PER_BAR


def rad_from_degrees(angle_deg: T) -> T:
    """Radians from degrees."""
    return angle_deg * RAD_PER_DEGREE


def degrees_from_rad(angle_rad: T) -> T:
    """Degrees from radians."""
    return angle_rad / RAD_PER_DEGREE


def mps2_from_g(acceleration_g: T) -> T:
    """Metres per second squared from multiples of standard gravity."""
    return acceleration_g * GRAVITY_MPS2


def g_from_mps2(acceleration_mps2: T) -> T:
    """Multiples of standard gravity from metres per second squared."""
    return acceleration_mps2 / GRAVITY_MPS2
