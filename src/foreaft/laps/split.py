"""Laps out of a session, whatever the log has to tell them by.

======== ============================================================================
by       what marks a new lap
======== ============================================================================
counter  the logger's own count goes up
distance the logged distance falls back to zero
line     the path crosses the start line of the circuit
loop     the path crosses a line across it where most passes are fastest: any place will do
signature the curvature over the distance repeats itself; for logs without position
======== ============================================================================

Full laps are told from the way out, the way in, slow laps and pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from foreaft.base.errors import CannotTell
from foreaft.laps.path import SIGNATURE_LEAST, Path, reference_signature
from foreaft.laps.series import Floats, Series, bridged
from foreaft.track.stations import Stations

Kind = Literal["full", "in", "out", "slow", "partial"]
Method = Literal["counter", "distance", "line", "loop", "signature"]

SLOW_FRAC: Final = 1.07
"""Laps longer than this part of the best one are slow. Common practice: the 107 % rule."""

STOPPED_MPS: Final = 3.0
STOPPED_S: Final = 2.0
LENGTH_FRAC: Final = 0.04
"""A lap whose distance differs this much from the usual one left the circuit, or two were one."""

SHORTEST_S: Final = 12.0
SHORTEST_M: Final = 300.0
"""No circuit is shorter; what recurs sooner is noise."""

LONGEST_M: Final = 30_000.0
GATE_HALF_M: Final = 30.0
SIGNATURE_STEP_M: Final = 3.0
SEARCH_FRAC: Final = 0.06
TURNS_OFF: Final = 0.15
"""Over a whole lap the heading comes back to itself, within drift: half a lap of an oval does not.
"""

OVERLAP_FRAC: Final = 0.7
"""Of a session shorter than three halves of a lap nothing repeats for long enough to be told."""


@dataclass(frozen=True)
class Lap:
    """One lap or piece of one; times from the start of the session."""

    lap_id: str
    start_s: float
    end_s: float
    kind: Kind

    @property
    def duration_s(self) -> float:
        """How long it took. [s]"""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Gate:
    """A line across the road that is crossed forwards."""

    x_m: float
    y_m: float
    heading_rad: float
    half_m: float = GATE_HALF_M


@dataclass(frozen=True)
class Split:
    """The laps of a session, and how they were told."""

    laps: tuple[Lap, ...]
    method: Method
    length_m: float

    @property
    def full(self) -> tuple[Lap, ...]:
        """Laps at full pace from line to line."""
        return tuple(lap for lap in self.laps if lap.kind == "full")

    @property
    def whole(self) -> tuple[Lap, ...]:
        """Full and slow laps: the ones that went round."""
        return tuple(lap for lap in self.laps if lap.kind in ("full", "slow"))


def split(
    series: Series,
    path: Path | None,
    gate: Gate | None = None,
    by: Method | None = None,
    reference: Stations | None = None,
) -> Split:
    """Cut a session into laps by the best that the log has.

    Parameters
    ----------
    series : Series
    path : Path, optional
        In the coordinates of the gate; None, or a drawn path, where there is no position.
    gate : Gate, optional
        Start line of the circuit.
    by : str, optional
        One way and no other.
    reference : Stations, optional
        The circuit, so that laps told by their signature begin at its start line.

    Raises
    ------
    CannotTell
        If nothing in the log marks a lap, or no lap is whole.
    """
    placed = path is not None and not path.drawn
    pieces: Split | None = None
    for way in ("counter", "distance", "line", "loop", "signature") if by is None else (by,):
        marks: Floats | None = None
        if way == "counter":
            marks = with_ends(series, path, by_counter(series))
        elif way == "distance":
            marks = with_ends(series, path, by_distance(series))
        elif way == "line" and placed and gate is not None:
            marks = with_ends(series, path, by_line(series, path, gate), gate)
        elif pieces is not None:
            break  # one crossing of the start line is worth more than two of any place
        elif way == "loop" and placed:
            marks = by_loop(series, path)
        elif way == "signature":
            marks = by_signature(series, reference)
        if marks is not None and len(marks) >= 2:
            return _laps(series, marks, way, reference)
        if marks is not None and len(marks) == 1 and reference is not None and way != "loop":
            pieces = _laps(series, marks, way, reference)
    if pieces is not None:
        return pieces
    if placed and reference is not None:
        return _laps(series, np.zeros(0), "line", reference)
    raise CannotTell(
        "the laps of this log",
        because="it has no lap counter, no position that comes back to where it was, no distance "
        "that starts again and no curvature that repeats",
        would_settle="a log of at least two laps with a lap counter, GPS position, or speed and "
        "yaw rate",
    )


# ---------------------------------------------------------------- marks


def by_counter(series: Series) -> Floats | None:
    """Times at which the lap counter goes up."""
    if series.lap_count is None:
        return None
    count = series.lap_count
    good = np.flatnonzero(np.isfinite(count))
    if len(good) < 2:
        return None
    ups = good[1:][np.diff(count[good]) >= 1.0]
    return _apart(series.time_s[ups])


def by_distance(series: Series) -> Floats | None:
    """Times at which the logged distance starts again."""
    return None if series.anew_s is None else _apart(np.array(series.anew_s))


def by_line(series: Series, path: Path | None, gate: Gate) -> Floats | None:
    """Times at which the path crosses a gate forwards."""
    if path is None:
        return None
    c, s = np.cos(gate.heading_rad), np.sin(gate.heading_rad)
    dx, dy = path.x_m - gate.x_m, path.y_m - gate.y_m
    ahead, beside = c * dx + s * dy, -s * dx + c * dy
    crossed = (ahead[:-1] < 0.0) & (ahead[1:] >= 0.0)
    crossed &= np.abs(beside[:-1]) < gate.half_m
    crossed &= (ahead[1:] - ahead[:-1]) < 0.5 * SHORTEST_M  # no jump of the position
    at = np.flatnonzero(crossed)
    part = -ahead[at] / (ahead[at + 1] - ahead[at])
    return _apart(series.time_s[at] + part * series.step_s)


def by_loop(series: Series, path: Path | None) -> Floats | None:
    """Times at which the path comes back across a line of its own choice.

    The line lies where the car is fastest in the middle of the session: a straight, where every
    lap passes and none begins or ends in a braking zone for long.
    A log cut from line to line, or hardly longer than a lap, has more laps from where it begins.
    """
    if path is None:
        return None
    n = len(series.time_s)
    middle = slice(n // 4, max(3 * n // 4, n // 4 + 2))
    at = middle.start + int(np.argmax(series.speed_mps[middle]))
    back = max(0, at - round(1.5 * series.rate_hz))  # before the brake, not at it
    found = by_line(series, path, _gate_at(series, path, back))
    if found is None or series.speed_mps[0] < ROLLING_MPS:
        return found
    begin = _gate_at(series, path, 0)
    other = with_ends(series, path, by_line(series, path, begin), begin)
    return other if other is not None and len(other) > max(len(found), 1) else found


ROLLING_MPS: Final = 10.0
"""A log that begins slower than this begins in the pits, not on a lap (assumption)."""


def _gate_at(series: Series, path: Path, at: int) -> Gate:
    """A line across the path where it is at a sample."""
    reach = max(1, round(0.2 * series.rate_hz))
    a, b = max(at - reach, 0), min(at + reach, len(path.x_m) - 1)
    heading = float(np.arctan2(path.y_m[b] - path.y_m[a], path.x_m[b] - path.x_m[a]))
    return Gate(float(path.x_m[at]), float(path.y_m[at]), heading)


ON_LINE_M: Final = 4.0
ON_LINE_STEPS: Final = 1.5
"""So near to the line, by a receiver's wander and by its samples, a log is cut at the line
(assumption); the time of such a lap is known to a tenth of a second or so."""


def with_ends(
    series: Series, path: Path | None, marks: Floats | None, gate: Gate | None = None
) -> Floats | None:
    """Add the log's own beginning and end to the marks where they lie on the line.

    Loggers hand out laps cut from line to line: such a log has no mark at its ends, and its first
    and last lap are whole all the same.

    Parameters
    ----------
    gate : Gate, optional
        The line; where the path is at the first mark if None.
    """
    if marks is None or path is None or path.drawn or series.x_m is None:
        return marks
    if gate is None:
        if len(marks) == 0:
            return marks
        gate = _gate_at(series, path, int(series.index(float(marks[0]))))
    known = np.flatnonzero(np.isfinite(series.x_m))
    last = len(series.time_s) - 1
    begin, end = (
        series.time_s[at : at + 1] if _lies_on(gate, series, path, at, int(near)) else ()
        for at, near in ((0, known[0]), (last, known[-1]))
    )
    return _apart(np.concatenate((begin, marks, end)))


def _lies_on(gate: Gate, series: Series, path: Path, at: int, near: int) -> bool:
    """Whether the car is on a line at a sample, by the nearest sample whose place is known.

    A receiver taken as late as it is has no place for the last tenth of a second: the way driven
    since then has.
    """
    speed = float(series.speed_mps[at])
    c, s = np.cos(gate.heading_rad), np.sin(gate.heading_rad)
    dx, dy = path.x_m[near] - gate.x_m, path.y_m[near] - gate.y_m
    ahead = c * dx + s * dy + float(series.distance_m[at] - series.distance_m[near])
    close = abs(ahead) < ON_LINE_M + ON_LINE_STEPS * series.step_s * speed
    close = close and abs(c * dy - s * dx) < gate.half_m and speed > ROLLING_MPS
    return bool(close and np.cos(_gate_at(series, path, near).heading_rad - gate.heading_rad) > 0.0)


def by_signature(series: Series, reference: Stations | None = None) -> Floats | None:
    """Times at which the curvature begins to repeat itself.

    The lap's length is the shortest shift at which the curvature over distance matches itself
    almost as well as at the best shift and the car has turned a whole number of times; then one
    lap, of the session or of the circuit, is slid along the session.
    """
    if series.curvature_1pm is None:
        return None
    total = float(series.distance_m[-1])
    grid = np.arange(0.0, total, SIGNATURE_STEP_M)
    moving = np.concatenate(([True], np.diff(series.distance_m) > 1e-6))
    kappa = np.interp(grid, series.distance_m[moving], bridged(series.curvature_1pm)[moving])
    lag = _lap_lag(kappa)
    if lag is None:
        return None
    model = None if reference is None else reference_signature(reference, lag)
    starts = _repeats(kappa, lag, model)
    if len(starts) < 2:
        return None
    places = np.asarray(starts) * SIGNATURE_STEP_M
    at = np.interp(places, series.distance_m[moving], series.time_s[moving])
    return _apart(at)


def _lap_lag(kappa: Floats) -> int | None:
    """The lag of one lap, from the autocorrelation normalised by what overlaps."""
    n = len(kappa)
    k = kappa - kappa.mean()
    size = 1 << (2 * n - 1).bit_length()
    both = np.fft.irfft(np.abs(np.fft.rfft(k, size)) ** 2, size)[:n]
    square = np.concatenate(([0.0], np.cumsum(k**2)))
    lags = np.arange(n)
    head, tail = square[n - lags], square[n] - square[lags]
    alike = both / np.sqrt(np.maximum(head * tail, 1e-12))
    low = round(SHORTEST_M / SIGNATURE_STEP_M)
    high = min(round(LONGEST_M / SIGNATURE_STEP_M), round(OVERLAP_FRAC * n))
    if high <= low + 2:
        return None
    turns = kappa.mean() * SIGNATURE_STEP_M * lags[low:high] / (2.0 * np.pi)
    window = np.where(np.abs(turns - np.round(turns)) < TURNS_OFF, alike[low:high], 0.0)
    best = float(window.max())
    if best < SIGNATURE_LEAST:
        return None
    tops = np.flatnonzero(
        (window[1:-1] >= window[:-2]) & (window[1:-1] >= window[2:]) & (window[1:-1] > 0.85 * best)
    )
    return None if len(tops) == 0 else low + 1 + int(tops[0])


def _repeats(kappa: Floats, lag: int, model: Floats | None) -> list[float]:
    """Where one lap of curvature is found again and again.

    The model is a lap of the circuit, or one taken from the middle of the session.
    """
    n = len(kappa)
    first = min(max(0, (n // (2 * lag)) * lag), n - lag)
    if model is None:
        model = kappa[first : first + lag]
    model = (model - model.mean()) / max(float(np.std(model)), 1e-12)
    anywhere = _best_shift(kappa, model, first, lag)
    if anywhere is None:
        return []
    reach = max(2, round(SEARCH_FRAC * lag))
    found = [anywhere]
    for way in (1, -1):
        at = anywhere
        for _ in range(n // lag + 2):
            fine = _best_shift(kappa, model, round(at) + way * lag, reach)
            if fine is None:
                break
            at = fine
            found.append(at)
    ordered = sorted(found)
    end = ordered[-1] + lag  # the last lap found is whole: it ends one lap further
    if end < n:
        ordered.append(end)
    return ordered


def _best_shift(kappa: Floats, model: Floats, guess: int, reach: int) -> float | None:
    lag, n = len(model), len(kappa)
    low, high = max(guess - reach, 0), min(guess + reach, n - lag)
    if high < low:
        return None
    scores = np.empty(high - low + 1)
    for i, start in enumerate(range(low, high + 1)):
        part = kappa[start : start + lag]
        scores[i] = float((part - part.mean()) @ model) / (lag * max(float(np.std(part)), 1e-12))
    best = int(np.argmax(scores))
    return None if scores[best] < SIGNATURE_LEAST else float(low + best)


def _apart(times: Floats) -> Floats:
    """Marks that lie closer together than any lap lasts are one mark: the first."""
    kept: list[float] = []
    for one in times:
        if not kept or one - kept[-1] >= SHORTEST_S:
            kept.append(float(one))
    return np.array(kept)


# ---------------------------------------------------------------- kinds


SLIVER_S: Final = 1.0
"""A shorter piece before the first crossing or after the last is no lap of its own."""


def _laps(series: Series, marks: Floats, method: Method, reference: Stations | None) -> Split:
    """Laps between marks, with the pieces before the first and after the last.

    With a circuit a session of less than two crossings is pieces, not nothing.
    """
    end = float(series.time_s[-1])
    borders = [0.0, *marks.tolist(), end]
    pieces: list[tuple[float, float, bool]] = []
    for i, (a, b) in enumerate(pairwise(borders)):
        inside = 0 < i < len(borders) - 2
        if b - a > (series.step_s if inside or len(marks) < 2 else max(SLIVER_S, series.step_s)):
            pieces.append((a, b, inside))
    lengths = np.array([_length(series, a, b) for a, b, whole in pieces if whole])
    known = 0.0 if reference is None else reference.length_m
    usual = float(np.median(lengths)) if len(lengths) else known
    kinds: list[Kind] = [
        _kind(series, a, b, whole and abs(_length(series, a, b) - usual) < LENGTH_FRAC * usual)
        for a, b, whole in pieces
    ]
    laps = [
        Lap(f"L{number:02d}", a, b, kind)
        for number, ((a, b, _), kind) in enumerate(zip(pieces, kinds, strict=True), 1)
    ]
    return Split(_slow_ones(laps), method, usual)


def _kind(series: Series, start: float, end: float, whole: bool) -> Kind:
    """What a piece is but for its pace: where the car stood still tells the way out and in."""
    part = slice(int(series.index(start)), int(series.index(end)) + 1)
    stood = series.speed_mps[part] < STOPPED_MPS
    if stood.sum() * series.step_s >= STOPPED_S:
        at = float(np.flatnonzero(stood).mean()) / len(stood)
        if not whole or abs(at - 0.5) > 0.2:
            return "out" if at < 0.5 else "in"
    elif not whole and stood[:1].any():
        return "out"
    return "full" if whole else "partial"


def _length(series: Series, start: float, end: float) -> float:
    at = np.interp([start, end], series.time_s, series.distance_m)
    return float(at[1] - at[0])


def _slow_ones(laps: Sequence[Lap]) -> tuple[Lap, ...]:
    times = [lap.duration_s for lap in laps if lap.kind == "full"]
    if not times:
        return tuple(laps)
    limit = SLOW_FRAC * min(times)
    return tuple(
        replace(lap, kind="slow") if lap.kind == "full" and lap.duration_s > limit else lap
        for lap in laps
    )
