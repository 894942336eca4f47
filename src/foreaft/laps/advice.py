"""What to work on: where the time lies, what the best pass did otherwise, how even the driver is.

Plain numbers and words for a measure in, findings out; the sentences are made elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from foreaft.laps.events import Event
from foreaft.laps.match import Zone
from foreaft.laps.measure import Measured
from foreaft.laps.session import Session

Measure = Literal[
    "brake_s_m",
    "approach_speed_mps",
    "min_speed_mps",
    "brake_nominal_m",
    "peak_decel_mps2",
    "mean_decel_mps2",
    "mfdd_mps2",
    "depth_frac",
    "brake_left_frac",
    "release_shape_frac",
    "pressure_share_frac",
    "use_shown_frac",
    "use_model_frac",
    "time_s",
]

MEASURES: Final[tuple[Measure, ...]] = Measure.__args__  # type: ignore[attr-defined]

LEAST: Final[dict[str, float]] = {
    "brake_s_m": 2.0,
    "min_speed_mps": 0.4,
    "peak_decel_mps2": 0.3,
    "depth_frac": 0.08,
    "brake_left_frac": 0.08,
    "use_shown_frac": 0.03,
}
"""A smaller difference is none a coach would speak of (assumptions)."""

GAIN_LEAST_S: Final = 0.02
OFTEN_FRAC: Final = 0.25
EVENT_S: Final[dict[str, float]] = {
    "lock_up": 0.10,
    "rotation": 0.40,
    "wide": 0.15,
    "unused": 0.05,
    "double_stab": 0.05,
}
"""What one event costs on the day: the lower middle of trade.md 2. Common practice, no source."""

SURE: Final = 2.0
"""Two means differ where they lie this many standard errors apart."""


@dataclass(frozen=True)
class Spread:
    """Middle and scatter of a measure over passes; the scatter is None for a single one."""

    middle: float
    sd: float | None
    count: int


def spread_of(rows: Sequence[Measured], measure: str) -> Spread | None:
    """Median and standard deviation of a measure over passes; None where no pass has it."""
    values = [getattr(row, measure) for row in rows]
    good = np.array([value for value in values if value is not None], dtype=np.float64)
    good = good[np.isfinite(good)]  # a place off the laps is none
    if len(good) == 0:
        return None
    sd = float(np.std(good, ddof=1)) if len(good) > 1 else None
    return Spread(float(np.median(good)), sd, len(good))


def usual_passes(rows: Sequence[Measured], full: frozenset[str], zone_id: str) -> list[Measured]:
    """The passes of a zone that count: of full laps, or of any where no lap is full."""
    own = [row for row in rows if row.zone_id == zone_id]
    return [row for row in own if row.lap_id in full] or own


@dataclass(frozen=True)
class Difference:
    """What the best pass of a zone did otherwise than the usual one."""

    measure: str
    usual: float
    best: float


@dataclass(frozen=True)
class Finding:
    """One thing to work on in one zone."""

    zone_id: str
    gain_s: float
    """What the usual pass loses against the driver's own best, or against the other driver."""
    against: Literal["own", "other"]
    differences: tuple[Difference, ...]
    events: tuple[tuple[str, int, int], ...]
    """Kind, how often, of how many passes."""


def work_on(
    zones: Sequence[Zone],
    rows: Sequence[Measured],
    events: Sequence[Event],
    full: frozenset[str],
    other: Sequence[Measured] = (),
    most: int = 3,
) -> tuple[Finding, ...]:
    """The zones with the most to gain, and what the gain hangs on.

    What a zone has to give is what its middle pass loses against the best one, the other driver's
    where he is better; zones whose events cost more than that come by their events.
    """
    found = []
    for zone in zones:
        own = [row for row in usual_passes(rows, full, zone.zone_id) if row.time_s is not None]
        if len(own) < 2:
            continue
        best = min(own, key=lambda row: row.time_s or np.inf)
        against: Literal["own", "other"] = "own"
        theirs = [row for row in other if row.zone_id == zone.zone_id and row.time_s is not None]
        if theirs:
            fastest = min(theirs, key=lambda row: row.time_s or np.inf)
            if (fastest.time_s or np.inf) < (best.time_s or np.inf):
                best, against = fastest, "other"
        usual = spread_of(own, "time_s")
        if usual is None or best.time_s is None:
            continue
        gone_wrong = _counted(zone, own, events)
        costly = sum(EVENT_S[kind] * count / of for kind, count, of in gone_wrong)
        gain = max(usual.middle - best.time_s, 0.0)
        if max(gain, costly) < GAIN_LEAST_S:
            continue
        found.append(
            Finding(zone.zone_id, max(gain, costly), against, _differences(own, best), gone_wrong)
        )
    found.sort(key=lambda one: -one.gain_s)
    return tuple(found[:most])


def _counted(
    zone: Zone, own: Sequence[Measured], events: Sequence[Event]
) -> tuple[tuple[str, int, int], ...]:
    """How many of the passes had each kind of event, the costliest first."""
    laps = {row.lap_id for row in own}
    counted = []
    for kind in EVENT_S:
        hit = {
            event.lap_id
            for event in events
            if event.kind == kind and event.zone_id == zone.zone_id and event.lap_id in laps
        }
        if hit:
            counted.append((kind, len(hit), len(laps)))
    counted.sort(key=lambda one: -EVENT_S[one[0]] * one[1])
    return tuple(counted)


def _differences(own: Sequence[Measured], best: Measured) -> tuple[Difference, ...]:
    """The measures by which the best pass differs from the middle one, the largest first."""
    found = []
    for measure, least in LEAST.items():
        usual, value = spread_of(own, measure), getattr(best, measure)
        if usual is None or value is None or abs(value - usual.middle) < least:
            continue
        found.append(
            (abs(value - usual.middle) / least, Difference(measure, usual.middle, float(value)))
        )
    found.sort(key=lambda pair: -pair[0])
    return tuple(difference for _, difference in found[:2])


# ---------------------------------------------------------------- release against setting


RELEASE_PLACES: Final = 9


def release_scatter(session: Session, zone: Zone) -> float | None:
    """Scatter of the brake from pass to pass while it is let off, over the usual peak. [-]

    At places from turn-in to the usual release the brake of each full pass is read; the scatter
    is the root mean square, over the places, of its standard deviation.
    None for fewer than three passes, or a zone braked straight.
    """
    own = [
        one
        for one in session.passes
        if one.zone_id == zone.zone_id and one.lap_id in (session.full or {one.lap_id})
    ]
    rows = {row.lap_id: row for row in session.rows if row.zone_id == zone.zone_id}
    length = session.placed.stations.length_m
    ends = [_ahead(rows[one.lap_id].release_s_m, zone.turn_in_s_m, length) for one in own]
    if len(own) < 3 or float(np.median(ends)) < 3.0:
        return None
    places = np.linspace(0.0, float(np.median(ends)), RELEASE_PLACES)
    table, peaks = [], []
    for one in own:
        part = slice(int(one.braking.start), one.braking.low + round(session.series.rate_hz))
        s = session.placed.s_m[part]
        level = session.evidence.level[part]
        if not np.isfinite(s).all() or len(s) < 4:
            continue
        here = (s[0] - zone.turn_in_s_m) % length
        since = np.maximum.accumulate(s - s[0]) + here - (length if here > 0.5 * length else 0.0)
        table.append(np.interp(places, since, level, left=np.nan, right=0.0))
        peaks.append(float(level.max()))
    if len(table) < 3:
        return None
    with np.errstate(invalid="ignore"):
        scatter = np.std(np.array(table), axis=0, ddof=1)
    good = scatter[np.isfinite(scatter)]
    if len(good) == 0:
        return None
    return float(np.sqrt(np.mean(good**2)) / np.median(peaks))


def _ahead(a: float, b: float, length: float) -> float:
    return (a - b + 0.5 * length) % length - 0.5 * length


# ---------------------------------------------------------------- two drivers


@dataclass(frozen=True)
class Compared:
    """One measure of one zone, one driver against another; mine less theirs."""

    measure: str
    mine: float
    theirs: float
    difference: float
    give_or_take: float | None
    """Two standard errors of the difference; None where one of them has a single pass."""
    sure: bool


def compared(
    mine: Sequence[Measured], theirs: Sequence[Measured], measure: str, wrap_m: float | None = None
) -> Compared | None:
    """Hold one measure of two drivers' passes of one zone against each other.

    Parameters
    ----------
    wrap_m : float, optional
        Length of the circuit, for places along it.
    """
    a, b = spread_of(mine, measure), spread_of(theirs, measure)
    if a is None or b is None:
        return None
    difference = a.middle - b.middle
    if wrap_m is not None:
        difference = _ahead(a.middle, b.middle, wrap_m)
    error = None
    if a.sd is not None and b.sd is not None:
        error = SURE * float(np.sqrt(a.sd**2 / a.count + b.sd**2 / b.count))
    sure = error is not None and abs(difference) > error
    return Compared(measure, a.middle, b.middle, difference, error, sure)
