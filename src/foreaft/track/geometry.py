"""Plane curves as smooth splines: length, curvature and its rate, without differencing noise.

Everything here is a function of arrays in SI units.
The curve is a uniform quintic B-spline, periodic for a closed lap.
Its curvature and the rate of curvature come from the spline's own derivatives.
Of all such curves within a stated distance of the points, the one whose curvature changes least
is wanted: the penalty is on third differences, as in P-splines [eilers1996]_.

References
----------
.. [eilers1996] Eilers, Marx: Flexible smoothing with B-splines and penalties,
   Statistical Science 11(2), 1996.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.integrate import cumulative_simpson
from scipy.interpolate import BSpline, make_interp_spline
from scipy.sparse.linalg import splu

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]

DEGREE = 5
"""Quintic: the rate of curvature is then still smooth."""

_PENALTY_ORDER = 3
_STIFFEST, _SOFTEST = 9.0, -6.0  # powers of ten of the smoothing weight
_WEIGHT_STEPS = 18
_MAX_REFINEMENTS = 6


class UniformBasis(NamedTuple):
    """A uniform B-spline basis on [0, span] with `pieces` equal intervals."""

    span: float
    pieces: int
    closed: bool

    @property
    def size(self) -> int:
        """Number of free coefficients."""
        return self.pieces if self.closed else self.pieces + DEGREE

    def knots(self) -> Floats:
        """All knots, `DEGREE` of them beyond either end."""
        step = self.span / self.pieces
        return step * np.arange(-DEGREE, self.pieces + DEGREE + 1, dtype=np.float64)

    def wrap(self) -> sparse.csr_array:
        """Matrix from free coefficients to the full set (a closed curve repeats its first)."""
        full = self.pieces + DEGREE
        columns = np.arange(full) % self.size
        return sparse.csr_array(
            (np.ones(full), (np.arange(full), columns)), shape=(full, self.size)
        )

    def matrix(self, u: Floats, derivative: int = 0) -> sparse.csr_array:
        """Rows: the given parameters. Columns: free coefficients. Value: that derivative."""
        knots = self.knots()
        step = self.span / self.pieces
        chain = self.wrap()
        for _ in range(derivative):
            rows = chain.shape[0]
            chain = (chain[1:rows] - chain[: rows - 1]) / step
        inner = knots[derivative : len(knots) - derivative]
        last = inner[len(inner) - 1 - (DEGREE - derivative)]
        inside = np.clip(u, 0.0, last)  # rounding only: callers stay within the span
        design = BSpline.design_matrix(inside, inner, DEGREE - derivative)
        return sparse.csr_array(design @ chain)

    def spline(self, coefficients: Floats) -> BSpline:
        """The spline with these free coefficients, shape (size,) or (size, d)."""
        return BSpline(self.knots(), self.wrap() @ coefficients, DEGREE)


class Smoothed(NamedTuple):
    """A smoothing spline and the largest distance between it and its points."""

    spline: BSpline
    basis: UniformBasis
    deviation: float


def smooth_values(
    u: Floats, values: Floats, *, span: float, closed: bool, tolerance: float, knot_step: float
) -> Smoothed | None:
    """The smoothest spline that stays within `tolerance` of every value.

    Parameters
    ----------
    u : ndarray, shape (n,)
        Parameter of each value, rising, within [0, span).
    values : ndarray, shape (n, d)
        What to follow; the distance is Euclidean over the d columns.
    span, closed
        Parameter range, and whether its end joins its start.
    tolerance : float
        Largest distance allowed, > 0, in the unit of the values.
    knot_step : float
        Wanted distance of the knots; halved where the tolerance needs it.

    Returns
    -------
    Smoothed or None
        None where no refinement meets the tolerance.
    """
    for halving in range(_MAX_REFINEMENTS):
        pieces = max(8, round(span / knot_step * 2**halving))
        basis = UniformBasis(span, pieces, closed)
        found = _stiffest_within(basis, u, values, tolerance)
        if found is not None:
            return found
    return None


def _stiffest_within(
    basis: UniformBasis, u: Floats, values: Floats, tolerance: float
) -> Smoothed | None:
    """Bisect the weight of the penalty for the stiffest spline within the tolerance."""
    design = basis.matrix(u)
    normal = (design.T @ design).tocsc()
    penalty = _penalty(basis)
    right = design.T @ values

    def fit(power: float) -> tuple[Floats, float]:
        weight = 10.0**power * len(u) / basis.size
        coefficients = splu((normal + weight * penalty).tocsc()).solve(right)
        off = design @ coefficients - values
        return coefficients, float(np.sqrt((off**2).sum(axis=1).max()))

    low, high = _SOFTEST, _STIFFEST
    best, deviation = fit(low)
    if not deviation <= tolerance:
        return None
    for _ in range(_WEIGHT_STEPS):
        middle = 0.5 * (low + high)
        trial, off = fit(middle)
        if off <= tolerance:
            low, best, deviation = middle, trial, off
        else:
            high = middle
        if off <= tolerance and off > 0.97 * tolerance:
            break
    return Smoothed(basis.spline(best), basis, deviation)


def _penalty(basis: UniformBasis) -> Any:
    """Squared third differences of the coefficients, round the lap where it is closed."""
    chain = basis.wrap()
    for _ in range(_PENALTY_ORDER):
        rows = chain.shape[0]
        chain = chain[1:rows] - chain[: rows - 1]
    if basis.closed:  # the wrapped rows would count the seam twice
        chain = chain[: basis.size]
    return (chain.T @ chain).tocsc()


class CurvePoints(NamedTuple):
    """A curve at equal steps of its length, arrays of shape (n,)."""

    s: Floats
    x: Floats
    y: Floats
    heading: Floats
    curvature: Floats
    curvature_rate: Floats
    parameter: Floats
    length: float


def sample_curve(spline: BSpline, span: float, *, closed: bool, spacing: float) -> CurvePoints:
    """Walk along a plane spline at equal steps of length.

    Parameters
    ----------
    spline : BSpline, values of shape (2,)
        x and y over the parameter. [m]
    span : float
        The parameter runs over [0, span].
    closed : bool
        A closed curve does not repeat its first point; an open one has both ends.
    spacing : float
        Wanted step; the step used divides the length. [m]

    Notes
    -----
    Curvature k = (x' y'' - y' x'') / v^3 with v = |r'|, positive to the left;
    dk/ds = ((x' y''' - y' x''') / v^3 - 3 k (r' . r'') / v^2) / v.
    """
    parameter, length = _equal_steps(spline, span, closed=closed, spacing=spacing)
    r = spline(parameter)
    d1, d2, d3 = (spline.derivative(order)(parameter) for order in (1, 2, 3))
    speed = np.hypot(d1[:, 0], d1[:, 1])
    curvature = (d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0]) / speed**3
    third = (d1[:, 0] * d3[:, 1] - d1[:, 1] * d3[:, 0]) / speed**3
    along = (d1 * d2).sum(axis=1) / speed**2
    rate = (third - 3.0 * curvature * along) / speed
    steps = len(parameter) if closed else len(parameter) - 1
    s = length / steps * np.arange(len(parameter), dtype=np.float64)
    heading = np.arctan2(d1[:, 1], d1[:, 0])
    return CurvePoints(s, r[:, 0], r[:, 1], heading, curvature, rate, parameter, length)


def _equal_steps(
    spline: BSpline, span: float, *, closed: bool, spacing: float
) -> tuple[Floats, float]:
    """Parameters at equal steps of length, and the length."""
    fine = np.linspace(0.0, span, max(64, int(2.0 * span / spacing)) + 1)
    tangent = spline.derivative()(fine)
    travelled = cumulative_simpson(np.hypot(tangent[:, 0], tangent[:, 1]), x=fine, initial=0.0)
    length = float(travelled[-1])
    steps = max(4, round(length / spacing))
    wanted = length / steps * np.arange(steps if closed else steps + 1)
    inverse = make_interp_spline(travelled, fine, k=3)
    return np.clip(inverse(wanted), 0.0, span), length


@dataclass(frozen=True, eq=False)
class SmoothLine:
    """A resampled plane curve and how far it strays from what was given."""

    points: CurvePoints
    deviation_m: float
    knot_step_m: float
    closed: bool


def chord_lengths(points: Floats, *, closed: bool) -> Floats:
    """Length of each chord, shape (n,) for a closed polygon, (n - 1,) for an open one. [m]"""
    following = np.roll(points, -1, axis=0) if closed else points[1:]
    step = following - points[: len(following)]
    return np.asarray(np.hypot(step[:, 0], step[:, 1]), dtype=np.float64)


def densified(points: Floats, *, closed: bool, longest: float) -> tuple[Floats, Floats, float]:
    """Points put on long chords so that none is longer than `longest`.

    Returns
    -------
    u, points, span
        Chord length from the first point, the points, and the total chord length. [m]
    """
    chords = chord_lengths(points, closed=closed)
    corners = np.concatenate(([0.0], np.cumsum(chords)))
    parts = np.maximum(1, np.ceil(chords / longest).astype(int))
    start = np.repeat(corners[:-1], parts)
    within = np.concatenate([np.arange(p) / p for p in parts])
    u = start + within * np.repeat(chords, parts)
    if not closed:
        u = np.append(u, corners[-1])
    looped = np.vstack((points, points[:1])) if closed else points
    dense = np.column_stack([np.interp(u, corners, column) for column in looped.T])
    return u, dense, float(corners[-1])


def edge_crossings(right: Floats, left: Floats, *, closed: bool, window_m: float) -> Indices:
    """Where the two edges cross each other within `window_m` along the lap.

    An edge far along the lap may be crossed: that is a bridge.

    Parameters
    ----------
    right, left : ndarray, shape (n, 2)
        Edges, point by point. [m]

    Returns
    -------
    ndarray of int, shape (k,)
        Index of the right-edge piece of each crossing.
    """
    middle = 0.5 * (right + left)
    chords = chord_lengths(middle, closed=closed)
    pieces = len(chords)
    along = np.concatenate(([0.0], np.cumsum(chords)))
    index = np.arange(pieces)
    a, b = right[index], right[(index + 1) % len(right)]
    reach = min(pieces - 1, int(np.ceil(window_m / max(np.median(chords), 1e-9))) + 1)
    hits: list[Indices] = []
    for shift in range(-reach, reach + 1):
        other = index + shift
        valid = np.ones(pieces, dtype=bool) if closed else (other >= 0) & (other < pieces)
        other = other % pieces
        apart = np.abs(along[index] - along[other])
        apart = np.minimum(apart, along[-1] - apart) if closed else apart
        valid &= apart < window_m
        c, d = left[other], left[(other + 1) % len(left)]
        hits.append(index[valid & _segments_cross(a, b, c, d)])
    return np.unique(np.concatenate(hits))


def _segments_cross(a: Floats, b: Floats, c: Floats, d: Floats) -> npt.NDArray[np.bool_]:
    """Whether the open segments ab and cd cross, row by row."""

    def side(p: Floats, q: Floats, r: Floats) -> Floats:
        return (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])

    return (side(a, b, c) * side(a, b, d) < 0.0) & (side(c, d, a) * side(c, d, b) < 0.0)


def tangents(points: Floats, *, closed: bool) -> Floats:
    """Unit direction of travel at each point of a polygon, by central chords, shape (n, 2)."""
    if closed:
        along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    else:
        along = np.gradient(points, axis=0)
    size = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
    return np.asarray(along / size[:, None], dtype=np.float64)
