"""The march back from the apex with every index checked and without the compiler."""

from __future__ import annotations

import numpy as np
import pytest

from checked_kernels import answers

ONE_WAY = """
import sys
sys.path.insert(0, sys.argv[1])
from foreaft.optimum.zone import steady_way
from optimum import roads
from physics import slow_car as slow

car = roads.WINGED
road = roads.corner(60.0, 20.0, 50.0, 150.0, 62.0, 25.5, 12)
way = steady_way(slow.vector(car), slow.table(car), road, 0.6, 0.7)
print(way.time_s, *way.rows[:, 0])
"""


@pytest.mark.slow
def test_with_bounds_checked_and_without_the_compiler():
    """The kernels' own tolerance (tests/physics): the compiler may round sums otherwise."""
    usual = answers(ONE_WAY)
    assert np.isfinite(usual).all()
    assert answers(ONE_WAY, NUMBA_BOUNDSCHECK="1") == pytest.approx(usual, rel=1e-12)
    assert answers(ONE_WAY, NUMBA_DISABLE_JIT="1") == pytest.approx(usual, rel=1e-7)
