"""How soon a moved slider has its answer: the demo, 12 zones, its own adjuster, everything warm.

Run: ``python benchmarks/live.py``.
Every request has a number of its own, so that no answer is ready before.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from common import DEMO, Taken, header

from foreaft.jobs.live import Desk, live
from foreaft.jobs.requests import LiveRequest
from machine import slowness

REPEATS = 40
CHANGES_TARGET_MS, OTHER_TARGET_MS = 5.0, 60.0
SLIDERS: dict[str, Callable[[int], dict[str, Any]]] = {
    "changes": lambda i: {"changes": i % 5},
    "boldness": lambda i: {"boldness": 0.5 + 0.02 * i},
    "scatter": lambda i: {"scatter_scale": 0.7 + 0.02 * i},
    "grip": lambda i: {"grip_scale": 0.7 + 0.01 * i},
    "fuel": lambda i: {"fuel_kg": 5.0 + i},
}


def request(moved: dict[str, Any]) -> LiveRequest:
    """Ask for the demo with some numbers moved."""
    files = {"car": "car.toml", "circuit": "brackwater.csv", "driver": "driver.toml"}
    named = {role: DEMO / file for role, file in files.items()}
    return LiveRequest(**named, conditions=DEMO / "dry.toml", **moved)


def times(slider: str, desk: Desk, clock: Callable[[], float]) -> Taken:
    """Move one slider from place to place."""
    found = []
    for i in range(REPEATS):
        asked = request(SLIDERS[slider](i))
        began = clock()
        live(asked, desk)
        found.append(clock() - began)
    return Taken(min(found), sorted(found)[REPEATS // 2])


def main() -> None:
    """Measure and print; exit with 1 where twice a target is missed."""
    header()
    desk, missed = Desk(), False
    answer = live(request({}), desk)
    print(f"an answer is {len(answer.model_dump_json(by_alias=True))} bytes of JSON")
    for slider in SLIDERS:
        target = CHANGES_TARGET_MS if slider == "changes" else OTHER_TARGET_MS
        wall = times(slider, desk, time.perf_counter)
        work = times(slider, Desk(), time.process_time)
        print(f"{slider:10} on the wall {wall}   (target {target:g} ms)")
        print(f"{'':10} processor   {work}")
        missed |= 1e3 * wall.least > 2.0 * slowness() * target
    if missed:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
