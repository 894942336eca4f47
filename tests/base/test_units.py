"""Constants and conversions against published values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from foreaft.base import units


def test_published_constants() -> None:
    # NIST SP 811 (2008), appendix B.8: standard acceleration of free fall; bar; mile.
    assert units.GRAVITY_MPS2 == 9.80665
    assert units.PA_PER_BAR == 1e5
    assert units.METRES_PER_MILE == 1609.344


def test_air_density_follows_from_the_standard_atmosphere() -> None:
    # ISO 2533:1975: 101325 Pa, 288.15 K, R = 287.05287 J/(kg K); its table prints 1.225.
    assert round(101325.0 / (287.05287 * 288.15), 3) == units.AIR_DENSITY_KGPM3


def test_printed_conversions() -> None:
    # NIST SP 811 (2008), appendix B.8: 1 km/h = 0.2777778 m/s, 1 mi/h = 0.44704 m/s,
    # 1 degree = 0.01745329 rad.
    assert units.mps_from_kmh(1.0) == pytest.approx(0.2777778, abs=5e-8)
    assert 1.0 / units.mph_from_mps(1.0) == pytest.approx(0.44704, abs=1e-12)
    assert units.rad_from_degrees(1.0) == pytest.approx(0.01745329, abs=5e-9)


PAIRS = [
    (units.mps_from_kmh, units.kmh_from_mps),
    (units.pa_from_bar, units.bar_from_pa),
    (units.rad_from_degrees, units.degrees_from_rad),
    (units.mps2_from_g, units.g_from_mps2),
]


@pytest.mark.parametrize(("there", "back"), PAIRS)
def test_round_trips(there: object, back: object) -> None:
    values = np.array([-3.0, 0.0, 0.5, 300.0])
    assert callable(there)
    assert callable(back)
    np.testing.assert_allclose(back(there(values)), values, rtol=1e-15)


def test_half_a_turn() -> None:
    assert units.rad_from_degrees(180.0) == math.pi
