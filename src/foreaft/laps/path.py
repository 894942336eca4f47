"""Where the car was: the path of a log, the circuit made from it, and the place along a line.

A path comes from position, or is drawn from speed and yaw rate (or lateral acceleration), and then
does not quite close: the gap after one lap is stated, and spread over the lap before a circuit is
made from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import CannotTell, InputError
from foreaft.base.kernel import kernel
from foreaft.laps.series import MOVING_MPS, Floats, Series, bridged, smoothed
from foreaft.track.stations import RawCircuit, Stations, stations_from

SPACING_M: Final = 2.0
TOLERANCES_M: Final = (0.25, 0.5, 1.0, 2.0)
"""How far the circuit made from a log may lie from its points: the smallest that works."""

NEAR_M: Final = 25.0
"""A path that keeps this close to a line in the median is in the line's own coordinates."""

SIGNATURE_POINTS: Final = 1024
SIGNATURE_LEAST: Final = 0.5
"""Two laps whose curvatures correlate less than this are not of the same circuit (assumption)."""

WARP_REACH_M: Final = 60.0
WARP_WINDOW_M: Final = 90.0
WARP_STEP_M: Final = 1.0
WARP_LEAST: Final = 0.8
WARP_PULL: Final = 0.5
"""How far a corner may lie from where the distance puts it, and how much road tells it,
how alike the two must be, and how much a far shift has to be more alike than none: a long bend
looks the same wherever it is laid."""


@dataclass(frozen=True)
class Closure:
    """How far a path is from its start after one lap, and over which length."""

    gap_m: float
    heading_gap_rad: float
    length_m: float


@dataclass(frozen=True, eq=False)
class Path:
    """The path of a session, shape (n,); drawn paths drift, positions do not."""

    x_m: Floats
    y_m: Floats
    drawn: bool


def path_of(series: Series) -> Path:
    """The path of a session: from position, else drawn from speed and curvature.

    Raises
    ------
    CannotTell
        If the log has neither position nor yaw rate nor lateral acceleration.
    """
    if series.x_m is not None and series.y_m is not None:
        return Path(bridged(series.x_m), bridged(series.y_m), False)
    if series.curvature_1pm is None:
        raise CannotTell(
            "where the car was",
            because="the log has no position, no yaw rate and no lateral acceleration",
            would_settle="record GPS position, or a yaw rate or lateral acceleration sensor; or "
            "give the circuit, if the log counts its laps at the start line",
        )
    turned = bridged(series.curvature_1pm) * series.speed_mps
    heading = np.concatenate(([0.0], np.cumsum(0.5 * (turned[1:] + turned[:-1]) / series.rate_hz)))
    middle = 0.5 * (heading[1:] + heading[:-1])
    step = np.diff(series.distance_m)
    x = np.concatenate(([0.0], np.cumsum(step * np.cos(middle))))
    y = np.concatenate(([0.0], np.cumsum(step * np.sin(middle))))
    return Path(x, y, True)


def closure(path: Path, series: Series, first: int, last: int) -> Closure:
    """How well one lap, from one sample to another, comes back to where it began."""
    x, y = path.x_m, path.y_m

    def heading(at: int) -> float:
        reach = max(2, round(0.2 * series.rate_hz))
        a, b = max(at - reach, 0), min(at + reach, len(x) - 1)
        return float(np.arctan2(y[b] - y[a], x[b] - x[a]))

    turned = heading(last) - heading(first)
    return Closure(
        gap_m=float(np.hypot(x[last] - x[first], y[last] - y[first])),
        heading_gap_rad=float((turned + np.pi) % (2.0 * np.pi) - np.pi),
        length_m=float(series.distance_m[last] - series.distance_m[first]),
    )


def circuit_from(path: Path, series: Series, first: int, last: int) -> tuple[Stations, Closure]:
    """The circuit one lap drives, its closing gap spread evenly over the lap.

    Raises
    ------
    CannotTell
        If no smooth closed line follows the lap.
    """
    gap = closure(path, series, first, last)
    s = series.distance_m[first : last + 1] - series.distance_m[first]
    points = np.column_stack((path.x_m[first : last + 1], path.y_m[first : last + 1]))
    if path.drawn:
        points = _turned_shut(series, first, last, gap.heading_gap_rad)
    part = (s / s[-1])[:, None]
    points = points - part * (points[-1] - points[0])
    steps = max(16, round(s[-1] / SPACING_M))
    even = s[-1] / steps * np.arange(steps)
    rising = np.concatenate(([True], np.diff(s) > 1e-6))
    x, y = (np.interp(even, s[rising], one[rising]) for one in points.T)
    raw = RawCircuit("driven_line", True, "the log", x, y)
    for tolerance in TOLERANCES_M:
        try:
            return stations_from(raw, spacing_m=SPACING_M, tolerance_m=tolerance), gap
        except InputError:  # no line so close to the points: their noise is larger than that
            continue
    raise CannotTell(
        "the circuit from this log",
        because="no smooth closed line follows its best lap",
        would_settle="a circuit file, or a log with a better position",
    )


def _turned_shut(series: Series, first: int, last: int, heading_gap: float) -> Floats:
    """Draw one lap again with the gap of the heading spread over its distance."""
    part = slice(first, last + 1)
    kappa = bridged(np.zeros(0) if series.curvature_1pm is None else series.curvature_1pm)[part]
    s = series.distance_m[part] - series.distance_m[first]
    kappa = kappa - heading_gap / s[-1]
    step = np.diff(s)
    heading = np.concatenate(([0.0], np.cumsum(0.5 * (kappa[1:] + kappa[:-1]) * step)))
    middle = 0.5 * (heading[1:] + heading[:-1])
    x = np.concatenate(([0.0], np.cumsum(step * np.cos(middle))))
    y = np.concatenate(([0.0], np.cumsum(step * np.sin(middle))))
    return np.column_stack((x, y))


# ---------------------------------------------------------------- the signature of a lap


def signature(series: Series, first: int, last: int, points: int = SIGNATURE_POINTS) -> Floats:
    """Curvature of one lap at equal parts of its distance, shape (points,). [1/m]"""
    if series.curvature_1pm is None:
        return np.zeros(points)
    part = slice(first, last + 1)
    s = series.distance_m[part] - series.distance_m[first]
    rough = bridged(series.curvature_1pm)[part]
    return np.asarray(np.interp((np.arange(points) + 0.5) / points * s[-1], s, rough))


def reference_signature(stations: Stations, points: int = SIGNATURE_POINTS) -> Floats:
    """The same of a circuit. [1/m]"""
    s = (np.arange(points) + 0.5) / points * stations.length_m
    return np.interp(s, stations.s_m, stations.curvature_1pm, period=stations.length_m)


def phase(lap: Floats, reference: Floats) -> tuple[float, float]:
    """Where on the reference a lap begins, as a part of the lap, and how alike they are there.

    By the circular cross-correlation of two signatures of equal length.
    """
    a, b = lap - lap.mean(), reference - reference.mean()
    size = float(np.linalg.norm(a) * np.linalg.norm(b))
    if size == 0.0:
        return 0.0, 0.0
    match = np.fft.irfft(np.fft.rfft(b) * np.conj(np.fft.rfft(a)), len(a)) / size
    at = int(np.argmax(match))
    return at / len(a), float(match[at])


# ---------------------------------------------------------------- one frame for log and circuit


@dataclass(frozen=True, eq=False)
class Frame:
    """A turn and a shift that lay a path onto a circuit, and how well they do."""

    turn: NDArray[np.float64]
    shift: Floats
    off_m: float

    def apply(self, path: Path) -> Path:
        """The path in the circuit's coordinates."""
        moved = np.column_stack((path.x_m, path.y_m)) @ self.turn.T + self.shift
        return Path(moved[:, 0].copy(), moved[:, 1].copy(), path.drawn)


def lies_on(path: Path, series: Series, stations: Stations) -> bool:
    """Whether a path already is in the circuit's coordinates."""
    from scipy.spatial import cKDTree

    moving = np.flatnonzero(series.speed_mps > MOVING_MPS)[:: max(1, len(path.x_m) // 2000)]
    if len(moving) == 0:
        return False
    tree = cKDTree(np.column_stack((stations.x_m, stations.y_m)))
    far, _ = tree.query(np.column_stack((path.x_m[moving], path.y_m[moving])))
    return bool(np.median(far) < NEAR_M)


def register(
    path: Path, series: Series, stations: Stations, laps: Sequence[tuple[int, int]]
) -> Frame | None:
    """Lay a path onto the circuit by its laps; None where their curvatures do not match.

    The signature says which place belongs to which; a turn and a shift (no stretch) then follow
    by least squares (Kabsch), and again from the nearest places.
    Several laps average out how far a receiver wanders in one.

    Parameters
    ----------
    laps : sequence of (int, int)
        First and last sample of whole laps.
    """
    from scipy.spatial import cKDTree

    loop = np.append(stations.s_m, stations.length_m)
    line = np.column_stack((stations.x_m, stations.y_m))
    closed = np.vstack((line, line[:1]))
    reference = reference_signature(stations)
    part = np.arange(REGISTER_POINTS) / REGISTER_POINTS
    here, there = [], []
    for first, last in laps[:REGISTER_LAPS]:
        began, alike = phase(signature(series, first, last), reference)
        if alike < SIGNATURE_LEAST:
            continue
        s = series.distance_m[first : last + 1] - series.distance_m[first]
        own = [np.interp(part * s[-1], s, one[first : last + 1]) for one in (path.x_m, path.y_m)]
        wanted = (began + part) % 1.0 * stations.length_m
        here.append(np.column_stack(own))
        there.append(np.column_stack([np.interp(wanted, loop, one) for one in closed.T]))
    if not here:
        return None
    points = np.vstack(here)
    turn, shift = _kabsch(points, np.vstack(there))
    tree, far = cKDTree(line), np.zeros(len(points))
    for _ in range(10):
        far, nearest = tree.query(points @ turn.T + shift)
        turn, shift = _kabsch(points, line[nearest])
    off = float(np.median(far))
    return Frame(turn, shift, off) if off < NEAR_M else None


REGISTER_LAPS: Final = 8
REGISTER_POINTS: Final = 400


def _kabsch(here: Floats, there: Floats) -> tuple[Floats, Floats]:
    """The turn and shift that bring one set of points closest to another."""
    a, b = here.mean(axis=0), there.mean(axis=0)
    u, _, vt = np.linalg.svd((here - a).T @ (there - b))
    flip = np.diag([1.0, np.sign(np.linalg.det(vt.T @ u.T))])
    turn = vt.T @ flip @ u.T
    return turn, b - turn @ a


# ---------------------------------------------------------------- the place along a line

LOST_M: Final = 60.0
"""A car further than this from where it was followed to has to be looked for all round the lap."""


@kernel
def _follow(
    x: Floats, y: Floats, line: Floats, closed: bool, ahead: int, s: Floats, offset: Floats
) -> None:
    """Fill place along and distance to the left of a line; see `follow`."""
    count = line.shape[0]
    pieces = count if closed else count - 1
    at = -1
    for i in range(len(x)):
        best, low, high = np.inf, at - 2, at + ahead
        if at < 0:
            low, high = 0, pieces - 1
        for _ in range(2):
            for j in range(low, high + 1):
                k = j % count if closed else min(max(j, 0), pieces - 1)
                dx, dy = x[i] - line[k, 1], y[i] - line[k, 2]
                far = dx * dx + dy * dy
                if far < best:
                    best, at = far, k
            if best < LOST_M * LOST_M or (low == 0 and high == pieces - 1):
                break
            best, low, high = np.inf, 0, pieces - 1
        least = np.inf
        for j in range(at - 1, at + 1):
            k = j % count if closed else min(max(j, 0), pieces - 1)
            following = (k + 1) % count
            ax, ay = line[k, 1], line[k, 2]
            ex, ey = line[following, 1] - ax, line[following, 2] - ay
            size = ex * ex + ey * ey
            part = ((x[i] - ax) * ex + (y[i] - ay) * ey) / size
            part = min(max(part, 0.0), 1.0)
            ox, oy = x[i] - ax - part * ex, y[i] - ay - part * ey
            far = ox * ox + oy * oy
            if far < least:
                least = far
                s[i] = line[k, 0] + part * line[k, 3]
                offset[i] = (ex * oy - ey * ox) / np.sqrt(size)


def follow(path: Path, stations: Stations) -> tuple[Floats, Floats]:
    """Place along the line and distance to its left at every sample, shape (n,). [m]

    The nearest place is looked for near the last one, so that a bridge does not confuse.
    """
    line = np.zeros((len(stations.s_m), 4))
    line[:, 0], line[:, 1], line[:, 2] = stations.s_m, stations.x_m, stations.y_m
    line[:, 3] = stations.spacing_m
    s, offset = np.zeros(len(path.x_m)), np.zeros(len(path.x_m))
    ahead = max(8, round(30.0 / stations.spacing_m))
    _follow(path.x_m, path.y_m, line, stations.closed, ahead, s, offset)
    return s, offset


def along_by_signature(
    series: Series,
    stations: Stations,
    first: int,
    last: int,
    began_frac: float,
    part: float = 1.0,
) -> Floats:
    """Place along the line at the samples of one whole lap, without position. [m]

    The lap's own distance is stretched to the circuit's length; then each corner is moved to where
    the curvature says it is, and what lies between is moved in proportion.

    Parameters
    ----------
    first, last : int
        Samples of one lap.
    began_frac : float
        Where on the circuit the lap begins, as a part of its length.
    part : float
        How much of the lap it is.

    Returns
    -------
    ndarray, shape (last - first + 1,)
        Rising; may pass the circuit's length.
    """
    length = stations.length_m
    start, end = series.distance_m[first], series.distance_m[last]

    def rough(distance: Floats) -> Floats:
        return np.asarray(began_frac * length + (distance - start) / (end - start) * part * length)

    here = rough(series.distance_m[first : last + 1])
    bend = path_curvature(series)
    if bend is None:
        return here
    # The road just before and after the lap helps to place the corners at its ends.
    around = WARP_WINDOW_M + 2.0 * WARP_REACH_M
    a, b = np.searchsorted(series.distance_m, (start - around, end + around))
    distance = series.distance_m[a:b]
    rising = np.concatenate(([True], np.diff(distance) > 1e-6))
    places = rough(distance[rising])
    grid = np.arange(places[0], places[-1], WARP_STEP_M)
    kappa = smoothed(bend[a:b], series.window(0.1))[rising]
    lap = np.interp(grid, places, kappa)
    line = np.interp(grid % length, stations.s_m, stations.curvature_1pm, period=length)
    at, by = _moves(grid, lap, line, stations)
    if len(at) == 0:
        return here
    return np.asarray(np.maximum.accumulate(here + np.interp(here, at, by)))


def _moves(grid: Floats, lap: Floats, line: Floats, stations: Stations) -> tuple[Floats, Floats]:
    """Where the lap has each corner, in order, and how far that is from where it belongs."""
    half, reach = round(0.5 * WARP_WINDOW_M / WARP_STEP_M), round(WARP_REACH_M / WARP_STEP_M)
    length = stations.length_m
    places, moves = [], []
    for apex in _landmarks(stations):
        turns = np.arange(np.ceil((grid[0] - apex) / length), (grid[-1] - apex) // length + 1)
        for s in apex + turns * length:
            middle = round((s - grid[0]) / WARP_STEP_M)
            low, high = middle - half - reach, middle + half + reach
            if low < 0 or high >= len(grid):
                continue
            wanted = line[middle - half : middle + half + 1]
            pool = lap[low : high + 1]
            square = np.convolve(pool**2, np.ones(len(wanted)), mode="valid")
            match = np.correlate(pool, wanted, mode="valid")
            match = match / (np.sqrt(np.maximum(square, 1e-12)) * np.linalg.norm(wanted))
            moved = (np.arange(len(match)) - reach) * WARP_STEP_M
            match = match - WARP_PULL * (moved / WARP_REACH_M) ** 2
            best = int(np.argmax(match))
            if match[best] < WARP_LEAST:
                continue
            there = grid[0] + WARP_STEP_M * (low + _peak(match, best) + half)
            places.append(float(there))
            moves.append(float(s - there))
    order = np.argsort(places)
    return np.array(places)[order], np.array(moves)[order]


def path_curvature(series: Series) -> Floats | None:
    """Curvature of the path itself, where it was measured, not of the way the car points. [1/m]"""
    if series.lateral_mps2 is not None and series.sources["lateral"] == ("accel_y_mps2",):
        return np.asarray(
            bridged(series.lateral_mps2) / np.maximum(series.speed_mps, MOVING_MPS) ** 2
        )
    return series.curvature_1pm


def _landmarks(stations: Stations) -> list[float]:
    """Apexes that stand apart: of corners closer than the window the tightest."""
    from foreaft.track.cut import corners

    kept: list[float] = []
    for corner in sorted(corners(stations), key=lambda one: one.radius_m):
        gaps = [
            abs(
                (corner.apex_s_m - one + 0.5 * stations.length_m) % stations.length_m
                - 0.5 * stations.length_m
            )
            for one in kept
        ]
        if all(gap > WARP_WINDOW_M for gap in gaps):
            kept.append(corner.apex_s_m)
    return kept


def _peak(values: Floats, at: int) -> float:
    """The top of the parabola through the largest of some values and its neighbours."""
    if not 0 < at < len(values) - 1:
        return float(at)
    a, b, c = values[at - 1 : at + 2]
    bend = a - 2.0 * b + c
    return float(at) if bend >= 0.0 else at + 0.5 * (a - c) / bend
