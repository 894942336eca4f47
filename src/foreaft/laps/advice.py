"""What to work on: where the time lies, what the best pass did otherwise, how even the driver is.

Plain numbers and words for a measure in, findings out; the sentences are made elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from foreaft.laps.events import Event
from foreaft.laps.match import Zone
from foreaft.laps.measure import Measured, best_passes
from foreaft.laps.series import Floats
from foreaft.laps.session import Session
from foreaft.track.stations import short_way

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


PLACES: Final = frozenset({"brake_s_m", "release_s_m", "low_s_m"})
"""Places along the lap: those on both sides of the start line lie close together."""


def spread_of(
    rows: Sequence[Measured], measure: str, length_m: float | None = None
) -> Spread | None:
    """Median and standard deviation of a measure over passes; None where no pass has it.

    Parameters
    ----------
    length_m : float, optional
        Of the circuit, for a place along it.
    """
    values = [getattr(row, measure) for row in rows]
    good = np.array([value for value in values if value is not None], dtype=np.float64)
    good = good[np.isfinite(good)]  # a place off the laps is none
    if len(good) == 0:
        return None
    if length_m is None or measure not in PLACES:
        return _spread(good)
    first = float(good[0])
    found = _spread(np.array([first + short_way(one, first, length_m) for one in good.tolist()]))
    return replace(found, middle=found.middle % length_m)


def _spread(values: Floats) -> Spread:
    sd = float(np.std(values, ddof=1)) if len(values) > 1 else None
    return Spread(float(np.median(values)), sd, len(values))


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


BY_RELEASE: Final = frozenset({"depth_frac", "brake_left_frac"})
"""Told only by a log with a brake channel: a deceleration shows a release too roughly."""

BY_ITSELF: Final = frozenset({"use_shown_frac"})
"""Measured against what the driver's own log showed: nothing to hold another driver's against."""


@dataclass(frozen=True)
class Finding:
    """One thing to work on in one zone."""

    zone_id: str
    slower_s: float
    """How much slower the usual pass is than the best one."""
    wrong_s: float
    """What goes wrong costs about so much a lap, by the table of what one event costs."""
    against: Literal["own", "other"]
    best_lap_id: str
    """The lap of the best pass: the driver's own, or the other driver's."""
    differences: tuple[Difference, ...]
    events: tuple[tuple[str, int, int], ...]
    """Kind, how often, of how many passes."""

    @property
    def gain_s(self) -> float:
        """What there is to gain: the larger of both, as they may be one and the same."""
        return max(self.slower_s, self.wrong_s)


def work_on(
    zones: Sequence[Zone],
    rows: Sequence[Measured],
    events: Sequence[Event],
    full: frozenset[str],
    length_m: float,
    other: Sequence[Measured] = (),
    most: int = 3,
    brake_known: bool = True,
) -> tuple[Finding, ...]:
    """The zones with the most to gain, and what the gain hangs on.

    What a zone has to give is what its middle pass loses against the best one, the other driver's
    where he is better; zones whose events cost more than that come by their events.

    Parameters
    ----------
    length_m : float
        Of the circuit. [m]
    other : sequence of Measured
        Passes of the other driver, of the laps of his that count.
    brake_known : bool
        Whether the logs have a brake channel.
    """
    theirs = best_passes(other, {row.lap_id for row in other})
    found = []
    for zone in zones:
        own = [row for row in usual_passes(rows, full, zone.zone_id) if row.time_s is not None]
        usual = spread_of(own, "time_s")
        best = best_passes(own, full).get(zone.zone_id)
        if len(own) < 2 or usual is None or best is None or best.time_s is None:
            continue
        against: Literal["own", "other"] = "own"
        better = theirs.get(zone.zone_id)
        if better is not None and (better.time_s or np.inf) < best.time_s:
            best, against = better, "other"
        wrong = _counted(zone, own, events)
        left_out = (BY_ITSELF if against == "other" else frozenset()) | (
            frozenset() if brake_known else BY_RELEASE
        )
        finding = Finding(
            zone.zone_id,
            max(usual.middle - (best.time_s or 0.0), 0.0),
            sum(EVENT_S[kind] * count / of for kind, count, of in wrong),
            against,
            best.lap_id,
            _differences(own, best, left_out, length_m),
            wrong,
        )
        if finding.gain_s >= GAIN_LEAST_S:
            found.append(finding)
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


def _differences(
    own: Sequence[Measured], best: Measured, left_out: frozenset[str], length_m: float
) -> tuple[Difference, ...]:
    """The measures by which the best pass differs from the middle one, the largest first."""
    found = []
    for measure, least in LEAST.items():
        if measure in left_out:
            continue
        usual, value = spread_of(own, measure, length_m), getattr(best, measure)
        if usual is None or value is None:
            continue
        if measure in PLACES:
            value = usual.middle + short_way(value, usual.middle, length_m)
        if abs(value - usual.middle) >= least:
            difference = Difference(measure, usual.middle, float(value))
            found.append((abs(value - usual.middle) / least, difference))
    found.sort(key=lambda pair: -pair[0])
    return tuple(difference for _, difference in found[:2])


# ---------------------------------------------------------------- release against setting


RELEASE_PLACES: Final = 9


def release_scatter(session: Session, zone: Zone) -> float | None:
    """Scatter of the brake from pass to pass while it is let off, over the usual peak. [-]

    At places from turn-in to the usual release the brake of each full pass is read; the scatter
    is the root mean square, over the places, of its standard deviation.
    None for fewer than three passes, a zone braked straight, or a log without a brake channel.
    """
    if session.series.brake_frac is None:
        return None
    own = [
        one
        for one in session.passes
        if one.zone_id == zone.zone_id and one.lap_id in (session.full or {one.lap_id})
    ]
    rows = {row.lap_id: row for row in session.rows if row.zone_id == zone.zone_id}
    length = session.placed.stations.length_m
    ends = [short_way(rows[one.lap_id].release_s_m, zone.turn_in_s_m, length) for one in own]
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
    mine: Sequence[Measured], theirs: Sequence[Measured], measure: str, length_m: float
) -> Compared | None:
    """Hold one measure of two drivers' passes of one zone against each other.

    Parameters
    ----------
    length_m : float
        Of the circuit, for places along it. [m]
    """
    a, b = spread_of(mine, measure, length_m), spread_of(theirs, measure, length_m)
    if a is None or b is None:
        return None
    difference = a.middle - b.middle
    if measure in PLACES:
        difference = short_way(a.middle, b.middle, length_m)
    error = None
    if a.sd is not None and b.sd is not None:
        error = SURE * float(np.sqrt(a.sd**2 / a.count + b.sd**2 / b.count))
    sure = error is not None and abs(difference) > error
    return Compared(measure, a.middle, b.middle, difference, error, sure)
