"""How slow the machine is just now: what is judged against the clock is judged in its terms.

A throttled or shared machine takes three times as long for everything; that is no fault of ours.
"""

from __future__ import annotations

import subprocess
import sys
import time
from typing import Final

QUIET_S: Final = 0.060
"""A million turns of the loop below on a quiet machine of docs/performance.md, about."""

LIBRARIES: Final = "import numba, pydantic, scipy.interpolate, scipy.sparse.linalg"
"""What every plan stands on, and no code of ours."""

LOADED_S: Final = 0.6
"""Loading them in a new process, on that machine, about."""


def slowness() -> float:
    """Times slower than that machine; 1 where this one is as fast or faster."""
    return max(1.0, min(_loop_s() for _ in range(5)) / QUIET_S)


def _loop_s() -> float:
    begun, total = time.perf_counter(), 0
    for turn in range(1_000_000):
        total += turn
    return time.perf_counter() - begun


def slow_to_start() -> float:
    """Times slower at loading libraries: that waits for memory and disk, which a loop does not."""
    return max(slowness(), min(_loading_s() for _ in range(3)) / LOADED_S)


def _loading_s() -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", LIBRARIES], check=True)
    return time.perf_counter() - begun
