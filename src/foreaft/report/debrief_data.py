"""What the pictures of a debrief are drawn from: passes of a zone at equal steps, and their cloud.

Plain arrays; places count from the apex, negative before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Role = Literal["usual", "best", "other"]
Axle = Literal["front", "rear"]


@dataclass(frozen=True, eq=False)
class PassStrip:
    """One pass along a zone, arrays of shape (n,), NaN where it is not known."""

    lap_id: str
    role: Role
    speed_mps: Floats
    brake_frac: Floats
    """Of the hardest braking of the session."""


@dataclass(frozen=True)
class Mark:
    """Something that went wrong at a place."""

    s_m: float
    speed_mps: float
    kind: str
    axle: Axle | None


@dataclass(frozen=True, eq=False)
class ZoneStrips:
    """All that is drawn of one zone."""

    zone_id: str
    name: str
    s_m: Floats
    """Shape (n,), from the apex. [m]"""
    passes: tuple[PassStrip, ...]
    passes_all: int
    """How many there are; only some are drawn."""
    brake_s_m: float
    """Middle brake point, from the apex."""
    turn_in_s_m: float
    plan_brake_s_m: float | None
    marks: tuple[Mark, ...]
    decel_mps2: Floats
    """Samples of all full laps while braking, shape (m,)."""
    side_mps2: Floats
    best_decel_mps2: Floats
    """Of the best pass alone, in order."""
    best_side_mps2: Floats
    shown_mps2: Floats
    """What the car showed, by direction: from straight braking to pure cornering, shape (k,)."""
    use_shown_frac: float | None
    brake_known: bool
    other_name: str | None
