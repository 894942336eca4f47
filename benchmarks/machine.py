"""How slow the machine is just now: what is judged against the clock is judged in its terms.

A throttled or shared machine takes three times as long for everything; that is no fault of ours.
"""

from __future__ import annotations

import time
from typing import Final

QUIET_S: Final = 0.060
"""A million turns of the loop below on a quiet machine of docs/performance.md, about."""


def slowness() -> float:
    """Times slower than that machine; 1 where this one is as fast or faster."""
    return max(1.0, min(_loop_s() for _ in range(5)) / QUIET_S)


def _loop_s() -> float:
    begun, total = time.perf_counter(), 0
    for turn in range(1_000_000):
        total += turn
    return time.perf_counter() - begun
