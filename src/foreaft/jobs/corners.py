"""Corners of a zone sheet that are typed faster than the car can take them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from foreaft.base.errors import InputError
from foreaft.base.units import KMH_PER_MPS
from foreaft.jobs.plan import Work
from foreaft.physics import motion
from foreaft.physics import trim as tr
from foreaft.plan import cost as co

TOO_FAST: Final = 1.001
"""A corner typed this much faster than the car can go is refused."""


def refuse_too_fast(work: Work, rows: Iterable[int], pace_frac: float = 1.0) -> None:
    """Refuse corners of a sheet that are typed faster than the car can take them.

    Parameters
    ----------
    work : Work
    rows : iterable of int
        Zones that are driven; on a circuit the speeds are the car's own and nothing is refused.
    pace_frac : float
        Part of the typed speed that is gone for.

    Raises
    ------
    InputError
        If one of them is too fast.
    """
    if work.lap.stations is not None:
        return
    told = []
    for i in rows:
        able, asked = fastest(work, i, 1.0), float(work.lap.arrays.zones[i, co.APEX_SPEED])
        if pace_frac * asked > TOO_FAST * able:
            told.append((work.lap.faces[i].name, KMH_PER_MPS * asked, KMH_PER_MPS * able))
    if not told:
        return
    name, asked, able = told[0]
    more = "" if len(told) == 1 else f", and so are {', '.join(one[0] for one in told[1:])}"
    raise InputError(
        f"{name} is too fast for this car{more}",
        code="corner_too_fast",
        key=name,
        value=round(asked, 1),
        allowed=f"up to {able:.1f}",
        unit="km/h",
        hint="check speed and radius of the corner, then the grip and the downforce of the car",
    )


def fastest(work: Work, row: int, side_use: float) -> float:
    """Return the speed at which the car takes the apex of a zone with a part of its grip. [m/s]"""
    cars = work.cars.arrays
    road, scratch = work.lap.arrays.roads[row][0].copy(), np.zeros(tr.TRIM_SIZE)
    return float(motion.corner_speed(cars.vector[0], cars.table[0], road, scratch, side_use))
