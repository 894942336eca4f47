"""The laps of a debrief metre by metre, for whoever draws them: speed, brake and time by place.

JSON, schema ``foreaft.traces/1``: SI, one list per channel, ``null`` where nothing is known.
Value ``k`` of a list lies at ``first_s_m + k * step_m`` along the circuit's line; lists begin
before the start line and end past it, so that a zone across it is whole.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final, Literal

import numpy as np

from foreaft.jobs.debrief import Looked
from foreaft.laps.session import Session
from foreaft.laps.split import Lap
from foreaft.report.debrief_data import Floats

STEP_M: Final = 1.0
BEYOND_M: Final = 400.0
LAPS_MOST: Final = 30
"""So many laps of each driver, the fastest; more lines over each other nobody reads."""

Whose = Literal["driver", "other"]


def traces(looked: Looked) -> str:
    """Give the full laps of both drivers as JSON text."""
    first = looked.sessions[0].placed.stations.length_m
    drawn = [
        *_laps(looked.sessions, "driver", first),
        *_laps(looked.others, "other", first),
    ]
    told = {
        "schema": "foreaft.traces/1",
        "length_m": first,
        "first_s_m": -BEYOND_M,
        "step_m": STEP_M,
        "laps": drawn,
    }
    return json.dumps(told, allow_nan=False, separators=(",", ":"))


def _laps(sessions: Sequence[Session], whose: Whose, length: float) -> list[dict[str, Any]]:
    found = [
        (number, session, lap)
        for number, session in enumerate(sessions)
        for lap in session.split.full
    ]
    fastest = sorted(found, key=lambda one: one[2].duration_s)[:LAPS_MOST]
    kept = [one for one in found if one in fastest]
    return [
        {
            "lap_id": lap.lap_id if number == 0 else f"R{number + 1}-{lap.lap_id}",
            "whose": whose,
            "duration_s": round(lap.duration_s, 3),
            **_along(session, lap, length),
        }
        for number, session, lap in kept
    ]


def _along(session: Session, lap: Lap, length: float) -> dict[str, list[float | None]]:
    """One lap at equal steps of place."""
    series, s = session.series, session.placed.s_m
    start, end = (int(series.index(at)) for at in (lap.start_s, lap.end_s))
    turn = np.round(np.nanmedian(s[start : end + 1]) / length - 0.5)
    here = s - turn * length
    grid = np.arange(-BEYOND_M, length + BEYOND_M, STEP_M)
    good = np.flatnonzero(np.isfinite(here) & (here >= grid[0]) & (here <= grid[-1]))
    rising = np.maximum.accumulate(here[good])

    def along(values: Floats, decimals: int) -> list[float | None]:
        if len(rising) < 2:
            return [None] * len(grid)
        known = np.interp(grid, rising, values[good], left=np.nan, right=np.nan)
        return [float(one) if np.isfinite(one) else None for one in known.round(decimals)]

    return {
        "speed_mps": along(series.speed_mps, 2),
        "brake_frac": along(session.evidence.level, 3),
        "time_s": along(series.time_s - lap.start_s, 3),
    }
