"""What each pass of a zone was like: where, how hard, how deep, how long.

Definitions, and where each comes from, stand in docs/theory/laps.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from foreaft.laps.brakings import Braking, coasting_mps2
from foreaft.laps.match import Pass, Placed, Zone
from foreaft.laps.series import Flags, Floats, Series, bridged, smoothed
from foreaft.physics.regulation import MFDD_FROM_FRAC, MFDD_TO_FRAC
from foreaft.track.stations import short_way

PEAK_S: Final = 0.2
"""The peak deceleration is a mean over this time: a kerb is no braking (assumption)."""

PLATEAU: Final = 0.9
"""The release begins where the brake last stood at this part of its hardest in the zone."""

RELEASE_LEAST_S: Final = 0.15
BUILD_UP_S: Final = 0.3
"""Before this the brake is still being pressed (assumption): nothing of it is left yet."""

BRIDGED_S: Final = 0.3
"""A brake channel that falls silent for longer is not drawn straight on; the deceleration shows."""

PRESSURE_LEAST: Final = 0.2
"""Pressure shares are read above this part of the hardest braking: below, offsets decide."""


@dataclass(frozen=True)
class Measured:
    """One pass in numbers; None where the channels or the pass do not give it.

    `brake_left_frac` is the brake left at turn-in over its peak; `release_shape_frac` is the mean
    brake during the release over the brake at its beginning: 0.5 is a straight line down, less is
    dropped early, more is held and dropped late.
    `slip_difference_frac` is front minus rear slip at 1 g in the straight part; `steer_excess_rad`
    the steer beyond what the bend needs where it is braked into the turn (foreaft.laps.ends).
    `depth_frac` is 0 for a release at turn-in, 1 at the apex; it may pass 1.
    In a spoilt pass a wheel locked, the tail came out or the nose ran wide.
    """

    lap_id: str
    zone_id: str
    brake_s_m: float
    release_s_m: float
    low_s_m: float
    approach_speed_mps: float
    min_speed_mps: float
    brake_distance_m: float
    mean_decel_mps2: float
    peak_decel_mps2: float
    depth_frac: float
    brake_nominal_m: float | None = None
    mfdd_mps2: float | None = None
    brake_left_frac: float | None = None
    release_shape_frac: float | None = None
    release_s: float | None = None
    pressure_share_frac: float | None = None
    setting: float | None = None
    use_shown_frac: float | None = None
    use_front_frac: float | None = None
    use_rear_frac: float | None = None
    time_s: float | None = None
    lost_s: float | None = None
    slip_difference_frac: float | None = None
    steer_excess_rad: float | None = None
    spoilt: bool = False

    @property
    def use_model_frac(self) -> float | None:
        """Use of grip of the axle that is used more, by the model, mean over the braking."""
        if self.use_front_frac is None or self.use_rear_frac is None:
            return None
        return max(self.use_front_frac, self.use_rear_frac)


def measured(
    placed: Placed,
    zones: Sequence[Zone],
    passes: Sequence[Pass],
    use_shown: Floats | None = None,
    use_axles: tuple[Floats, Floats] | None = None,
) -> tuple[Measured, ...]:
    """Measure every pass.

    Parameters
    ----------
    use_shown : ndarray, shape (n,), optional
        Use of grip of each sample against what the car showed.
    use_axles : two ndarrays, shape (n,), optional
        Use of grip of front and rear axle of each sample, by the model.
    """
    by_id = {zone.zone_id: zone for zone in zones}
    level = brake_level(placed)
    decel = -smoothed(placed.series.along_mps2, placed.series.window(PEAK_S))
    rows = [_one(placed, by_id[one.zone_id], one, level, decel) for one in passes]
    times = _times(placed, [by_id[one.zone_id] for one in passes], passes)
    full = {lap.lap_id for lap in placed.split.full}
    rows = [
        replace(
            row,
            time_s=time,
            use_shown_frac=_mean(use_shown, one.braking),
            use_front_frac=_mean(use_axles[0], one.braking) if use_axles else None,
            use_rear_frac=_mean(use_axles[1], one.braking) if use_axles else None,
        )
        for row, time, one in zip(rows, times, passes, strict=True)
    ]
    return tuple(_with_nominal(rows, full))


def brake_level(placed: Placed) -> Floats:
    """The brake from 0 to about 1: its channel, or deceleration beyond coasting over its most."""
    series = placed.series
    if series.brake_frac is None:
        return _beyond_coasting(series)
    gone = np.where(np.isfinite(series.brake_frac), 0.0, 1.0)
    size = series.window(BRIDGED_S)
    silent = maximum_filter1d(minimum_filter1d(gone, size), size) > 0.5
    level = bridged(series.brake_frac)
    return np.where(silent, _beyond_coasting(series), level) if silent.any() else level


def _beyond_coasting(series: Series) -> Floats:
    """Deceleration beyond coasting, over its most."""
    excess = -smoothed(series.along_mps2, series.window(0.1)) - coasting_mps2(series)
    return np.asarray(np.maximum(excess, 0.0) / max(float(np.percentile(excess, 99.5)), 1e-6))


def best_passes(rows: Sequence[Measured], full: frozenset[str] | set[str]) -> dict[str, Measured]:
    """The pass of each zone that is worth copying: the fastest in which nothing went wrong.

    Of full laps before others; a spoilt pass only where all are: it was fast by a mistake, and pays
    on the way out.
    """

    def rank(row: Measured) -> tuple[bool, bool, float]:
        return row.lap_id not in full, row.spoilt, row.time_s or 0.0

    best: dict[str, Measured] = {}
    for row in rows:
        if row.time_s is None:
            continue
        if row.zone_id not in best or rank(row) < rank(best[row.zone_id]):
            best[row.zone_id] = row
    return best


def against_best(rows: Sequence[Measured], full: frozenset[str] | set[str]) -> tuple[Measured, ...]:
    """Passes with what they lose against the best one of their zone; less than nothing where a
    spoilt pass was faster."""
    best = {zone_id: row.time_s or 0.0 for zone_id, row in best_passes(rows, full).items()}
    return tuple(
        replace(row, lost_s=None if row.time_s is None else row.time_s - best[row.zone_id])
        for row in rows
    )


def mean_fully_developed(speed_mps: Floats, distance_m: Floats, end_mps: float) -> float | None:
    """Deceleration averaged over distance from 0.8 of the first speed to 0.1 of it. [m/s^2]

    A zone seldom goes down to a tenth: it ends at its lowest speed then.
    None where the zone takes less than a fifth of the speed off.

    References
    ----------
    [unr13], annex 4, paragraph 1.1.2.
    """
    high = MFDD_FROM_FRAC * float(speed_mps[0])
    low = max(MFDD_TO_FRAC * float(speed_mps[0]), end_mps)
    if low >= 0.97 * high:
        return None
    where = [_distance_at(level, speed_mps, distance_m) for level in (high, low)]
    run = where[1] - where[0]
    return (high**2 - low**2) / (2.0 * run) if run > 0.0 else None


def _distance_at(level: float, speed: Floats, distance: Floats) -> float:
    """Where the speed first falls to a level; v^2 is linear in distance between samples."""
    at = int(np.argmax(speed <= level))
    if at == 0:
        return float(distance[0] if speed[0] <= level else distance[-1])
    a, b = speed[at - 1] ** 2, speed[at] ** 2
    part = (a - level**2) / (a - b)
    return float(distance[at - 1] + part * (distance[at] - distance[at - 1]))


def corrected_to(
    distance_m: float, speeds_mps: tuple[float, float], nominal_mps: tuple[float, float]
) -> float:
    """A braking distance corrected to nominal first and last speeds. [m]

    Down to standstill this is the correction of [iso21994], s (v_nom / v)^2; both ways exact only
    for a deceleration that does not depend on speed.
    """
    (v0, v1), (n0, n1) = speeds_mps, nominal_mps
    return distance_m * (n0**2 - n1**2) / (v0**2 - v1**2)


def _one(placed: Placed, zone: Zone, one: Pass, level: Floats, decel: Floats) -> Measured:
    series, braking = placed.series, one.braking
    first, low = int(braking.start), braking.low
    at = np.arange(first, min(max(low, int(braking.release)) + 2, len(series.time_s)))
    start_m = float(np.interp(braking.start, at, series.distance_m[at]))
    low_m = float(series.distance_m[low])
    v0 = float(np.interp(braking.start, at, series.speed_mps[at]))
    end = float(series.speed_mps[low])
    length = placed.stations.length_m
    brake, release = placed.place(braking.start), placed.place(braking.release)
    entry_length = max(_ahead(zone.turn_in_s_m, zone.apex_s_m, length), 1.0)
    depth = short_way(release, zone.turn_in_s_m, length) / entry_length
    run = low_m - start_m
    part = level[first : max(int(braking.release), first) + 1]
    shape, seconds = _release(part, series.step_s)
    return Measured(
        lap_id=one.lap_id,
        zone_id=one.zone_id,
        brake_s_m=brake,
        release_s_m=release,
        low_s_m=placed.place(low),
        approach_speed_mps=v0,
        min_speed_mps=braking.min_mps,
        brake_distance_m=float(run),
        mean_decel_mps2=(v0**2 - end**2) / (2.0 * run) if run > 0.0 else 0.0,
        peak_decel_mps2=float(decel[first : low + 1].max()),
        depth_frac=float(np.maximum(depth, 0.0)),
        mfdd_mps2=mean_fully_developed(
            np.concatenate(([v0], series.speed_mps[first + 1 : low + 1])),
            np.concatenate(([start_m], series.distance_m[first + 1 : low + 1])),
            end,
        ),
        brake_left_frac=_left_at_turn_in(placed, zone, braking, level),
        release_shape_frac=shape,
        release_s=seconds,
        pressure_share_frac=_pressure_share(placed, braking),
        setting=_setting(placed, braking),
    )


def _ahead(a: float, b: float, length: float) -> float:
    """From a forward to b. [m]"""
    return (b - a) % length


def _left_at_turn_in(placed: Placed, zone: Zone, braking: Braking, level: Floats) -> float | None:
    """Brake left where the zone turns in, over the pass's peak."""
    first, last = int(braking.start), braking.low
    s = placed.s_m[first : last + 1]
    if not np.all(np.isfinite(s)):
        return None
    ahead = short_way(zone.turn_in_s_m, float(s[0]), placed.stations.length_m)
    at = int(np.searchsorted(np.maximum.accumulate(s), s[0] + ahead))
    if ahead <= 0.0 or at * placed.series.step_s < BUILD_UP_S:
        return None  # the brake is pressed past the turn-in, or not yet whole there
    peak = float(level[first : last + 1].max())
    here = min(first + at, len(level) - 1)
    return float(np.clip(level[here] / peak, 0.0, 1.0)) if peak > 0.0 else None


def _release(level: Floats, step_s: float) -> tuple[float | None, float | None]:
    """Shape and length in time of the release; None where it is too short to have one."""
    top = float(level.max()) if len(level) else 0.0
    if len(level) < 4 or top <= 0.0:
        return None, None
    high = np.flatnonzero(level >= PLATEAU * top)
    part = level[high[-1] :]
    seconds = (len(part) - 1) * step_s
    if seconds < RELEASE_LEAST_S:
        return None, None
    return float(np.mean(np.clip(part / part[0], 0.0, 1.0))), seconds


def _pressure_share(placed: Placed, braking: Braking) -> float | None:
    series = placed.series
    front, rear = series.pressure_front_Pa, series.pressure_rear_Pa
    if front is None or rear is None or series.brake_frac is None:
        return None
    part = slice(int(braking.start), int(braking.release) + 1)
    firm = series.brake_frac[part] > PRESSURE_LEAST
    if firm.sum() < 3:
        return None
    both = float(np.nansum(front[part][firm]) + np.nansum(rear[part][firm]))
    return float(np.nansum(front[part][firm])) / both if both > 0.0 else None


def _setting(placed: Placed, braking: Braking) -> float | None:
    if placed.series.setting is None:
        return None
    value = float(placed.series.setting[int(braking.start)])
    return value if np.isfinite(value) else None


def _mean(values: Floats | None, braking: Braking) -> float | None:
    if values is None:
        return None
    part = values[int(braking.start) : int(braking.release) + 1]
    good = part[np.isfinite(part)]
    return float(good.mean()) if len(good) else None


def _times(placed: Placed, zones: Sequence[Zone], passes: Sequence[Pass]) -> list[float | None]:
    """Seconds from the entry of the zone to its exit, pass by pass."""
    if not passes:
        return []
    s = placed.s_m
    rising = np.fmax.accumulate(s)
    good: Flags = np.isfinite(rising)
    length = placed.stations.length_m
    anchor = np.array([s[one.braking.low] for one in passes])
    entry = np.array(
        [-_ahead(z.entry_s_m, a % length, length) for z, a in zip(zones, anchor, strict=True)]
    )
    leave = np.array(
        [short_way(z.exit_s_m, a % length, length) for z, a in zip(zones, anchor, strict=True)]
    )
    time = placed.series.time_s
    start = np.interp(anchor + entry, rising[good], time[good], left=np.nan, right=np.nan)
    end = np.interp(anchor + leave, rising[good], time[good], left=np.nan, right=np.nan)
    # A lap without place in between (no position, a piece) has no time.
    lost = np.concatenate(([0], np.cumsum(~np.isfinite(s))))
    found: list[float | None] = []
    for a, b in zip(start, end, strict=True):
        if not (np.isfinite(a) and np.isfinite(b)) or b <= a:
            found.append(None)
            continue
        i, j = (int(placed.series.index(t)) for t in (a, b))
        found.append(float(b - a) if lost[j + 1] == lost[i] else None)
    return found


def _with_nominal(rows: Sequence[Measured], full: set[str]) -> list[Measured]:
    """Rows with the distance at the zone's nominal speeds."""
    nominal: dict[str, tuple[float, float]] = {}
    for zone_id in {row.zone_id for row in rows}:
        own = [row for row in rows if row.zone_id == zone_id]
        usual = [row for row in own if row.lap_id in full] or own
        nominal[zone_id] = (
            float(np.median([row.approach_speed_mps for row in usual])),
            float(np.median([row.min_speed_mps for row in usual])),
        )
    return [
        replace(
            row,
            brake_nominal_m=corrected_to(
                row.brake_distance_m,
                (row.approach_speed_mps, row.min_speed_mps),
                nominal[row.zone_id],
            ),
        )
        for row in rows
    ]
