"""How long the reference optimum takes: one zone cold, and every zone of the demo's lap.

Run: ``python benchmarks/optimum.py``.
Held against what is published for whole laps of minimum time by a general solver, "a few seconds
to a few minutes" (van den Eshof, van Kampen, Salazar, arXiv 2511.13522, abstract); there the line
is free as well, here it is given.
Processor time of one thread: the machine may be busy.
"""

from __future__ import annotations

import time

from common import header, situation

from foreaft.optimum.compare import Way, ways
from foreaft.optimum.zone import Collocation, Stretch, stretch
from foreaft.plan import cost as co

COLD_TARGET_S = 10.0
LAP_TARGET_S = 180.0
RANGE = 0.05
ZONE = 2  # the longest stop


def main() -> None:
    """Measure and print; exit with 1 where twice a target is not met."""
    header()
    given = situation(0)
    car, table = given.cars.vector[0], given.cars.table[0]
    middle = float(given.shares[len(given.shares) // 2])
    bands = [(middle, middle), (middle - RANGE, middle + RANGE), (0.0, 1.0)]

    def road(i: int, points: int) -> Stretch:
        z = given.zones
        apex = 0.97 * float(z.zones[i, co.APEX_SPEED])
        arguments = (z.s[i], z.roads[i], z.reach[i], apex, (middle,), points)
        return stretch(car, table, *arguments)

    road(ZONE, 50)  # kernels from disk
    began = time.process_time()
    one = Collocation(car, table, 200)
    built = time.process_time() - began
    first = one.solve(road(ZONE, 200), middle, middle)
    solved = time.process_time() - began - built
    print(
        f"one zone, 200 places, one share: build {built:.2f} s, solve {solved:.2f} s, "
        f"{first.status}"
    )
    began = time.process_time()
    ways(one, road(ZONE, 200), bands)
    cold = built + time.process_time() - began
    print(f"one zone, 200 places, three bands, all patterns of sliding: {cold:.2f} s")
    began = time.process_time()
    found: list[Way] = []
    coarse = Collocation(car, table, 100)
    for i in range(len(given.zones.zones)):
        found += ways(coarse, road(i, 100), bands)
    lap = time.process_time() - began
    failed = sum(way.solved is None for way in found)
    tries = sum(len(way.statuses) for way in found)
    print(
        f"lap of {len(found) // 3} zones, 100 places: {lap:.1f} s, {tries} solves, {failed} failed"
    )
    if cold > 2.0 * COLD_TARGET_S or lap > 2.0 * LAP_TARGET_S or failed:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
