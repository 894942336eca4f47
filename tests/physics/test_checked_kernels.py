"""The kernels once with every index checked and once without the compiler.

Out of bounds a compiled kernel reads rubbish silently; with the check on it raises.
"""

import numpy as np
import pytest

from checked_kernels import answers

ONE_OF_EACH = """
import sys
sys.path.insert(0, sys.argv[1])
import numpy as np
from foreaft.physics import ideal, motion, stability, trim
from foreaft.plan import cost as co
from physics import slow_car as slow
from plan import slow_zone as sz
from plan.test_cost import cells, driver, profile

car, zone, share = sz.variants()[7]
vector, table = slow.vector(car), slow.table(car)
cell = cells(car, zone, [0.66, share], driver(rotation=0.05, gross=0.01))[1]
print(*cell)
print(profile(car, zone, share, (0.9, 0.8)).brake_m)
row = np.zeros(ideal.IDEAL_SIZE)
ideal.ideal_share(vector, table, slow.Road(30.0, 0.006).row(), 9.0, row)
print(*row)
row = np.zeros(motion.STOP_SIZE)
motion.stop(vector, table, share, 60.0, 20.0, 0.9, row)
print(*row)
road, out = slow.Road(250.0, 0.006).row(), np.zeros(trim.TRIM_SIZE)  # faster than any knot
print(stability.growth_rate(vector, table, share, 6000.0, road, out))
roads = np.array([slow.Road(0.0, 1e-9 if i % 40 else 0.02).row() for i in range(80)])
speed = np.zeros(80)
print(motion.lap(vector, table, share, roads, np.full(80, 8.0), True, 0.9, 0.97, speed))
print(motion.crossover_share(vector, table, 30.0))
print(motion.mid_corner_difference(vector, table, 30.0, 0.9))
from physics.driving import Bench
bench = Bench(vector, table, 40.0, share).set(STEER=0.05, PEDAL=30000.0)
bench.run(0.1, dt=0.002)
print(*bench.state, *bench.out, *bench.work)
"""


@pytest.mark.slow
def test_with_bounds_checked_and_without_the_compiler():
    usual = answers(ONE_OF_EACH)
    assert np.isfinite(usual).all()
    assert answers(ONE_OF_EACH, NUMBA_BOUNDSCHECK="1") == pytest.approx(usual, rel=1e-12)
    assert answers(ONE_OF_EACH, NUMBA_DISABLE_JIT="1") == pytest.approx(usual, rel=1e-7)
