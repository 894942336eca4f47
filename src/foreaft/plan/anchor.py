"""Advice relative to the setting run today, for a car whose share nobody knows.

The absolute share of an unknown car is worth about four points; which end lets go first in a
straight stop at today's setting is worth more, because it ties the adjuster to the crossover.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import CannotTell
from foreaft.model.car import Car, CarArrays
from foreaft.model.conditions import Conditions
from foreaft.physics import motion

Floats = NDArray[np.float64]

AWAY_SD_FRAC: Final = 0.015
"""How far from the crossover drivers run when one end clearly lets go first (half-normal).

Common practice, no source: two or three points is a setting people complain about.
"""

TOGETHER_SD_FRAC: Final = 0.005
"""How near the crossover it is when both ends let go together. Common practice, no source."""

LIKELY_AWAY: Final = AWAY_SD_FRAC * 0.6745
"""Median of the half-normal, used for the nominal car."""

SEEN_ON: Final = Conditions()
"""The day an anchor was seen on: dry, standard air, fuel and tyres as the car file has them.

Whatever day is planned for, what the adjuster's numbers mean stays what it was on that one.
"""

SEED_PART: Final = 0x616E63  # keeps these draws apart from the car's numbers


def straight_crossover(vectors: Floats, tables: Floats, speed_mps: float) -> Floats:
    """Share of the brakes at which both axles let go together in a straight stop, shape (cars,)."""
    return np.array(
        [
            motion.crossover_share(vector, table, speed_mps)
            for vector, table in zip(vectors, tables, strict=True)
        ]
    )


def anchored_shares(
    car: Car, arrays: CarArrays, draws: dict[str, Floats], crossover: Floats, seed: int
) -> Floats:
    """Share of the brakes per car and setting when only the anchor ties the adjuster down.

    Returns
    -------
    ndarray, shape (cars, settings)

    Raises
    ------
    CannotTell
        If nobody said which way the adjuster counts.
    """
    anchor, adjuster = car.anchor, car.adjuster
    if anchor is None or adjuster is None or adjuster.higher_means is None:
        raise CannotTell(
            "which way to turn the adjuster",
            because="nobody has said whether a bigger number means more front or more rear",
            would_settle="turn it one way on an empty straight: adjuster.higher_means",
        )
    rng = np.random.default_rng([seed, SEED_PART])
    away = _away(anchor.first_to_let_go, rng, len(crossover))
    sign = 1.0 if adjuster.higher_means == "front" else -1.0
    per_unit = np.abs(draws["adjuster.share_per_unit_frac"])
    steps = arrays.settings - anchor.setting
    return (crossover + away)[:, None] + sign * per_unit[:, None] * steps[None, :]


def _away(first: str, rng: np.random.Generator, cars: int) -> Floats:
    if first == "together":
        away = rng.normal(0.0, TOGETHER_SD_FRAC, cars)
        away[0] = 0.0
        return away
    away = np.abs(rng.normal(0.0, AWAY_SD_FRAC, cars))
    away[0] = LIKELY_AWAY
    return away if first == "front" else -away
