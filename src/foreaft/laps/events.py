"""What went wrong, where, and how sure that is: from the channels a log has, each by its own rule.

=========== =======================================================================
lock_up     a wheel turns at less than half the speed of the ground under it
rotation    the rear axle moves about ten degrees beside its wheels
wide        the car leaves its usual line outwards while its front has let go
unused      the straight part of a stop uses much less than the car showed elsewhere
double_stab the brake is let go and pressed again within one zone
=========== =======================================================================

Thresholds of the first three are close to those by which a driven run is judged
(`foreaft.drive.outcome`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from foreaft.laps.match import Pass, Placed, Zone
from foreaft.laps.path import path_curvature
from foreaft.laps.series import WHEELS, Flags, Floats, Series, bridged, smoothed
from foreaft.laps.slip import AxleSlip, WheelSlip
from foreaft.track.stations import short_way

Kind = Literal["lock_up", "rotation", "wide", "unused", "double_stab"]
Axle = Literal["front", "rear"]

LOCKED: Final = 0.5
LOCK_S: Final = 0.05
MERGE_S: Final = 0.15
WALKING_MPS: Final = 2.0
ROTATION_RAD: Final = 0.16
"""A driven run is judged by 0.17; sensors are smoothed and feel a short swing a little less. Set on
the tuning block of tests/laps/event_block.py."""

ROTATION_S: Final = 0.10
ROTATION_NOISE_RAD: Final = 0.01
"""Scatter of the rear slip drawn from sensors; measured on logs with truth, docs/theory/laps.md."""

ROUND_RAD: Final = 0.5
WIDE_M: Final = 1.5
WIDE_S: Final = 0.3
PLACE_NOISE_M: Final = 0.3
SATELLITE_NOISE_M: Final = 0.4
"""Scatter of the place across the road, without and with a receiver's wander; measured on logs with
truth, docs/theory/laps.md."""

ANSWER_S: Final = 1.2

AFTER_S: Final = 3.0
"""A pass is over so long after its lowest speed."""

BEFORE_S: Final = 0.2
COUNTER_YAW_RADPS: Final = 0.15
COUNTER_S: Final = 0.15
ANSWERS_LESS: Final = 0.02
FRONT_OVER: Final = 0.9
"""The front has let go where a wheel slips more than so many times what its tyre peaks at."""

UNUSED_FRAC: Final = 0.8
UNUSED_S: Final = 0.5
BUILD_UP_S: Final = 0.3
LET_GO: Final = 0.5
AGAIN: Final = 0.2
STAB_S: Final = 0.1

SURE: Final = 0.99
SURE_LEAST: Final[dict[str, float]] = {"wide": 0.55, "unused": 0.6, "double_stab": 0.6}
"""What is less sure than this is not told; else what is rather so than not."""


@dataclass(frozen=True)
class Event:
    """One thing that went wrong; times from the start of the session.

    `confidence_frac` is how far the evidence lies beyond the threshold against its noise, and
    whether other channels bear it out: 0.5 is a coin, 0.99 as sure as a log can be.
    """

    lap_id: str
    zone_id: str
    kind: Kind
    start_s: float
    duration_s: float
    confidence_frac: float
    channels: tuple[str, ...]
    axle: Axle | None = None
    wheel: str | None = None


@dataclass(frozen=True, eq=False)
class Evidence:
    """What events are judged by; None where the channels do not give it."""

    wheels: WheelSlip | None
    axles: AxleSlip
    front_over: Floats | None
    """See `slip.front_over`."""
    use_shown: Floats
    level: Floats
    outward_m: Floats | None
    """How far outside its usual line the car is at each sample, NaN off the zones."""
    outward_by: tuple[str, ...] = ()
    counter: Floats | None = None
    """1 where the wheel is turned against the way the car turns, see `countersteer`."""
    anti_lock: bool = False


def events_of(
    placed: Placed, zones: Sequence[Zone], passes: Sequence[Pass], evidence: Evidence
) -> tuple[Event, ...]:
    """Everything that went wrong in the passes, in order of time."""
    by_id = {zone.zone_id: zone for zone in zones}
    found: list[Event] = []
    spans = _spans(placed, passes)
    for one, part in zip(passes, spans, strict=True):
        zone = by_id[one.zone_id]
        if evidence.wheels is not None and not evidence.anti_lock:
            found += _lock_ups(placed, one, part, evidence.wheels, evidence.axles.rear_rad)
        found += _rotations(placed, one, part, evidence)
        found += _wide(placed, one, part, evidence)
        found += _unused(placed, zone, one, evidence)
        found += _double_stabs(placed, one, evidence.level)
    sure = [event for event in found if event.confidence_frac >= SURE_LEAST.get(event.kind, 0.5)]
    return tuple(sorted(sure, key=lambda event: event.start_s))


def _spans(placed: Placed, passes: Sequence[Pass]) -> list[slice]:
    """Samples in which each pass's events are looked for: until the next one begins."""
    parts = [window(placed, one) for one in passes]
    starts = np.sort([part.start for part in parts])
    ends = [*starts[1:], len(placed.s_m)] if parts else []
    until = dict(zip(starts.tolist(), ends, strict=True))
    return [slice(part.start, max(int(until[part.start]), part.start + 1)) for part in parts]


def window(placed: Placed, one: Pass) -> slice:
    """Samples of a pass: from just before its brake point to shortly after its lowest speed."""
    rate = placed.series.rate_hz
    first = max(int(one.braking.start) - round(BEFORE_S * rate), 0)
    last = min(one.braking.low + round(AFTER_S * rate), len(placed.s_m) - 1)
    return slice(first, last + 1)


def stretches(
    values: Floats, level: float, step_s: float, least_s: float, merge_s: float = MERGE_S
) -> Iterator[tuple[float, float]]:
    """Where values lie above a level for at least a time, short pauses closed.

    Beginnings and ends are found between the samples, so that a coarse log does not lose what is
    shorter than two of its steps.

    Yields
    ------
    first, last : float
        In samples.
    """
    with np.errstate(invalid="ignore"):
        above: Flags = values > level
    edge = np.flatnonzero(np.diff(np.concatenate(([False], above, [False])).astype(np.int8)))
    runs: list[list[float]] = []
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        first = _between(values, int(a) - 1, level) if a > 0 else 0.0
        last = _between(values, int(b) - 1, level) if b < len(values) else float(b - 1)
        if runs and (first - runs[-1][1]) * step_s < merge_s:
            runs[-1][1] = last
        else:
            runs.append([first, last])
    for first, last in runs:
        if (last - first) * step_s >= least_s:
            yield first, last


def _between(values: Floats, at: int, level: float) -> float:
    a, b = values[at], values[at + 1]
    if not np.isfinite(a + b) or a == b:
        return float(at)
    return at + float(np.clip((level - a) / (b - a), 0.0, 1.0))


def _surely(beyond: float, noise: float) -> float:
    """Confidence of a value so far beyond its threshold, given the scatter of the value."""
    from math import erf, sqrt

    return float(min(0.5 * (1.0 + erf(beyond / (sqrt(2.0) * max(noise, 1e-9)))), SURE))


# ---------------------------------------------------------------- wheels


def _lock_ups(
    placed: Placed, one: Pass, part: slice, wheels: WheelSlip, rear_rad: Floats | None
) -> list[Event]:
    series = placed.series
    found = []
    fast = series.speed_mps[part] > WALKING_MPS
    if rear_rad is not None:  # wheels of a car that has turned round are part of the spin
        fast &= ~np.maximum.accumulate(np.abs(rear_rad[part]) > ROUND_RAD)
    seen = np.nan_to_num(wheels.slip[part], nan=1.0).min(axis=1)
    all_four = np.where(np.isfinite(wheels.slip[part]).any(axis=1), seen, 0.0)
    for k, wheel in enumerate(WHEELS):
        slip = np.where(fast, wheels.slip[part, k], 0.0)
        if np.isnan(wheels.noise[k]):
            continue
        for first, last in stretches(slip, LOCKED, series.step_s, LOCK_S):
            a, b = int(np.ceil(first)), int(last) + 1
            peak = float(np.nanmax(slip[a:b])) if b > a else LOCKED
            # All four standing at once is rather a fault of the speed than of the wheels.
            doubt = 0.3 if all_four[a:b].max(initial=0.0) > LOCKED else 0.0
            sure = _surely(peak - LOCKED, max(3.0 * float(wheels.noise[k]), 0.05))
            found.append(
                Event(
                    lap_id=one.lap_id,
                    zone_id=one.zone_id,
                    kind="lock_up",
                    start_s=float(series.time_s[part.start]) + first * series.step_s,
                    duration_s=(last - first) * series.step_s,
                    confidence_frac=max(sure - doubt, 0.5),
                    channels=(f"wheel_speed_{wheel}_radps", *series.sources["speed"]),
                    axle="front" if k < 2 else "rear",
                    wheel=wheel,
                )
            )
    return found


# ---------------------------------------------------------------- axles


def _rotations(placed: Placed, one: Pass, part: slice, evidence: Evidence) -> list[Event]:
    series = placed.series
    counter = None if evidence.counter is None else evidence.counter[part]
    if evidence.axles.rear_rad is None:
        return _by_countersteer(placed, one, part, counter)
    rear = np.abs(evidence.axles.rear_rad[part])
    rear = np.where(series.speed_mps[part] > WALKING_MPS, rear, 0.0)
    found = []
    for first, last in stretches(rear, ROTATION_RAD, series.step_s, ROTATION_S):
        a, b = int(np.ceil(first)), int(last) + 1
        borne_out = counter is not None and bool(counter[max(a - 2, 0) : b + 2].any())
        sure = _surely(float(rear[a:b].max()) - ROTATION_RAD, ROTATION_NOISE_RAD)
        channels = ["accel_y_mps2", *series.sources["yaw"], *series.sources["speed"]]
        if borne_out:
            channels += series.sources["steer"]
            sure = min(0.5 * (sure + 1.0), SURE)
        found.append(_event(placed, one, part, "rotation", (first, last), sure, channels, "rear"))
    return found


def countersteer(series: Series) -> Floats | None:
    """1 where the wheel is turned against the way the car turns, and the car turns in earnest."""
    if series.steer_rad is None or series.yaw_rate_radps is None:
        return None
    steer = bridged(series.steer_rad) - float(np.nanmedian(series.steer_rad))
    yaw = bridged(series.yaw_rate_radps)
    return np.where((steer * yaw < 0.0) & (np.abs(yaw) > COUNTER_YAW_RADPS), 1.0, 0.0)


def _by_countersteer(placed: Placed, one: Pass, part: slice, counter: Floats | None) -> list[Event]:
    if counter is None:
        return []
    series = placed.series
    channels = [*series.sources["steer"], *series.sources["yaw"]]
    return [
        _event(placed, one, part, "rotation", run, 0.7, channels, "rear")
        for run in stretches(counter, 0.5, series.step_s, COUNTER_S)
    ]


def _wide(placed: Placed, one: Pass, part: slice, evidence: Evidence) -> list[Event]:
    """The car outside its usual line, a front wheel past its peak shortly before, its tail not."""
    if evidence.outward_m is None or evidence.front_over is None:
        return []
    series = placed.series
    outward = np.nan_to_num(evidence.outward_m[part], nan=0.0)
    back = max(1, round(ANSWER_S * series.rate_hz))
    gone = evidence.front_over[part] > FRONT_OVER
    recent = np.convolve(gone, np.ones(back))[: len(gone)] > 0.5
    value = np.where(recent, outward, 0.0)
    rear = evidence.axles.rear_rad
    if rear is not None:
        value[after_tail(outward, np.abs(rear[part]) > ROTATION_RAD, series.step_s, back)] = 0.0
    channels = [*evidence.outward_by, *series.sources["speed"]]
    if evidence.axles.front_rad is not None:
        channels += series.sources["steer"]
    wanders = "latitude_deg" in evidence.outward_by
    noise = SATELLITE_NOISE_M if wanders else PLACE_NOISE_M
    found = []
    for first, last in stretches(value, WIDE_M, series.step_s, WIDE_S, ANSWER_S):
        peak = float(value[int(np.ceil(first)) : int(last) + 1].max())
        sure = _surely(peak - WIDE_M, noise)
        found.append(_event(placed, one, part, "wide", (first, last), sure, channels, "front"))
    return found


def after_tail(outward: Floats, tail: Flags, step_s: float, back: int) -> Flags:
    """What of each excursion comes after its tail was out, in it or so many samples before.

    From there on the car goes wide because it comes round, not because its front lets go.
    """
    after = np.zeros(len(outward), bool)
    for first, last in stretches(outward, WIDE_M, step_s, 0.0, ANSWER_S):
        start, end = max(int(np.ceil(first)) - back, 0), int(last) + 1
        out = np.flatnonzero(tail[start:end])
        if len(out):
            after[start + out[0] : end] = True
    return after


# ---------------------------------------------------------------- the foot


def _unused(placed: Placed, zone: Zone, one: Pass, evidence: Evidence) -> list[Event]:
    """The straight part of a stop that uses much less than the car showed elsewhere."""
    series, braking = placed.series, one.braking
    first = int(braking.start) + round(BUILD_UP_S * series.rate_hz)
    last = braking.low
    s = placed.s_m[int(braking.start) : last + 1]
    if np.isfinite(s).all():
        room = short_way(zone.turn_in_s_m, float(s[0]), placed.stations.length_m)
        last = int(braking.start) + int(np.searchsorted(np.maximum.accumulate(s), s[0] + room))
    last = min(last, int(braking.release))
    if (last - first) * series.step_s < UNUSED_S:
        return []
    part = slice(first, last + 1)
    left = 1.0 - evidence.use_shown[part]
    channels = sorted({*series.sources["along"], *series.sources.get("lateral", ())})
    found = []
    for a, b in stretches(left, 1.0 - UNUSED_FRAC, series.step_s, UNUSED_S):
        mean = float(np.nanmean(left[int(a) : int(b) + 1]))
        sure = _surely(mean - (1.0 - UNUSED_FRAC), 0.05)
        found.append(_event(placed, one, part, "unused", (a, b), sure, channels, None))
    return found[:1]


def _double_stabs(placed: Placed, one: Pass, level: Floats) -> list[Event]:
    """The brake let go to half of what it was and pressed again."""
    series, braking = placed.series, one.braking
    part = slice(int(braking.start), int(braking.release) + 1)
    values = smoothed(level, series.window(0.05))[part] if len(level) < 3 else level[part]
    if len(values) < 5:
        return []
    peak = np.maximum.accumulate(values)
    after = np.maximum.accumulate(values[::-1])[::-1]
    top = float(values.max())
    dip = np.where((values < LET_GO * peak) & (after > values + AGAIN * top), 1.0, 0.0)
    sources = series.sources.get("brake", series.sources["along"])
    found = []
    for a, b in stretches(dip, 0.5, series.step_s, STAB_S):
        inside = slice(int(a), int(b) + 1)
        depth = float(after[inside].max() - values[inside].min()) / top
        noise = 0.05 if "brake" in series.sources else 0.12
        sure = _surely(depth - AGAIN, noise)
        found.append(_event(placed, one, part, "double_stab", (a, b), sure, list(sources), None))
    return found[:1]


def _event(
    placed: Placed,
    one: Pass,
    part: slice,
    kind: Kind,
    run: tuple[float, float],
    sure: float,
    channels: Sequence[str],
    axle: Axle | None,
) -> Event:
    series = placed.series
    return Event(
        lap_id=one.lap_id,
        zone_id=one.zone_id,
        kind=kind,
        start_s=float(series.time_s[part.start]) + run[0] * series.step_s,
        duration_s=(run[1] - run[0]) * series.step_s,
        confidence_frac=sure,
        channels=tuple(dict.fromkeys(channels)),
        axle=axle,
    )


# ---------------------------------------------------------------- the usual line

GRID_M: Final = 2.0
PASSES_LEAST: Final = 3
USUAL_PERCENT: Final = 30.0
"""The usual line is rather the inner one: a driver who runs wide every third lap has not got a
wider line (assumption)."""

ON_LINE_M: Final = 0.75
"""A session whose middle offset is smaller was driven on the circuit's own line."""

TURNING_MPS2: Final = 1.0
"""Below this cornering a road has no outside."""


def outward_of(
    placed: Placed,
    zones: Sequence[Zone],
    passes: Sequence[Pass],
    keeps_line: bool | None = None,
) -> tuple[Floats | None, bool]:
    """How far outside its usual line the car is in each bend. [m]

    With position by the offset from the circuit's line where the session keeps to that, else from
    the inner third of its own laps; without position by the path's curvature summed twice from
    the brake point, against the same of the other passes.
    None without curvature, or with fewer than three passes of every zone.

    Parameters
    ----------
    keeps_line : bool, optional
        Whether this car is driven on the circuit's line, where that is known: of another session,
        or because the line is that of one lap of this log.

    Returns
    -------
    outward, keeps_line
        The second says what this session shows of it.
    """
    beside = placed.offset_m
    if beside is not None:
        there = [beside[window(placed, one)] for one in passes]
        off = np.concatenate(there) if there else np.zeros(0)
        off = off[np.isfinite(off)]
        keeps = keeps_line
        if keeps is None:
            keeps = len(off) > 0 and bool(np.median(np.abs(off)) < ON_LINE_M)
        return _beside_usual(placed, beside, keeps), keeps
    bend = path_curvature(placed.series)
    if bend is None:
        return None, False
    found = np.full(len(placed.s_m), np.nan)
    for zone in zones:
        own = [one for one in passes if one.zone_id == zone.zone_id]
        if len(own) >= PASSES_LEAST:
            _fill_outward(placed, zone, own, bend, found)
    return (None if np.isnan(found).all() else found), False


def _beside_usual(placed: Placed, beside: Floats, keeps: bool) -> Floats | None:
    """How far outside its usual line the car is in every bend; nothing where it hardly turns."""
    stations = placed.stations
    s = placed.s_m % stations.length_m
    kappa = np.interp(s, stations.s_m, stations.curvature_1pm, period=stations.length_m)
    side = kappa * placed.series.speed_mps**2
    outward = np.where(np.abs(side) < TURNING_MPS2, np.nan, -np.sign(side) * beside)
    if keeps:
        return outward
    count = max(1, round(stations.length_m / GRID_M))
    good = np.isfinite(outward) & np.isfinite(s)
    bins = np.minimum((s[good] / stations.length_m * count).astype(int), count - 1)
    laps = np.floor_divide(placed.s_m[good], stations.length_m)
    table: dict[int, dict[float, float]] = {}
    for k, lap, value in zip(bins.tolist(), laps.tolist(), outward[good].tolist(), strict=True):
        table.setdefault(k, {})[lap] = value
    usual = np.full(count, np.nan)
    for k, values in table.items():
        if len(values) >= PASSES_LEAST:
            usual[k] = np.percentile(list(values.values()), USUAL_PERCENT)
    if np.isnan(usual).all():
        return None
    outward[good] -= usual[bins]
    return outward


def _fill_outward(
    placed: Placed, zone: Zone, own: Sequence[Pass], bend: Floats, found: Floats
) -> None:
    """Fill the passes of one zone from the path's curvature alone; see `outward_of`."""
    length = placed.stations.length_m
    out = -1.0 if zone.direction == "left" else 1.0
    grid = np.arange(-300.0, 200.0, GRID_M)
    parts = [window(placed, one) for one in own]
    places, rows = [], []
    for one, part in zip(own, parts, strict=True):
        turns = np.round((placed.s_m[one.braking.low] - zone.apex_s_m) / length)
        s = placed.s_m[part] - zone.apex_s_m - turns * length
        places.append(s)
        good = np.isfinite(s) & np.isfinite(bend[part])
        if good.sum() < 5:
            rows.append(np.full(len(grid), np.nan))
            continue
        rising = np.maximum.accumulate(s[good])
        rows.append(np.interp(grid, rising, bend[part][good], left=np.nan, right=np.nan))
    table = out * np.array(rows)
    beside = np.nan_to_num(table - _per_column(table, 50.0), nan=0.0)
    table = np.cumsum(np.cumsum(beside, axis=1), axis=1) * GRID_M**2
    usual = _per_column(table, USUAL_PERCENT)
    for part, s, row in zip(parts, places, table, strict=True):
        found[part] = np.interp(s, grid, np.nan_to_num(row - usual, nan=0.0))


def _per_column(table: Floats, percent: float) -> Floats:
    """A percentile of each column over the rows that reach it; NaN where fewer than three do."""
    found = np.full(table.shape[1], np.nan)
    for k, column in enumerate(table.T):
        good = column[np.isfinite(column)]
        if len(good) >= PASSES_LEAST:
            found[k] = np.percentile(good, percent)
    return found
