"""The minimum-curvature line inside a track, and smoothing of lines that were given.

The line is r(u) = c(u) + n(u) N(u): centre line, offset to the left, left normal.
n is a quintic B-spline, so the curvature of the line is exact everywhere, not a difference.
Each iteration linearises the curvature about the line reached so far and solves one quadratic
programme with the interior-point solver Clarabel [goulart2024]_.
The idea of the linearised curvature is that of [braghin2008]_ and [heilmeier2020]_.

References
----------
.. [goulart2024] Goulart, Chen: Clarabel, an interior-point solver for conic programs with
   quadratic objectives, arXiv 2405.12762.
.. [braghin2008] Braghin, Cheli, Melzi, Sabbioni: Race driver model, Computers and Structures
   86, 2008.
.. [heilmeier2020] Heilmeier et al.: Minimum curvature trajectory planning and control for an
   autonomous race car, Vehicle System Dynamics 58(10), 2020.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import sparse

from foreaft.base.errors import InputError
from foreaft.track.geometry import (
    CurvePoints,
    Floats,
    SmoothLine,
    UniformBasis,
    densified,
    sample_curve,
    smooth_values,
)

KNOT_STEP_M = 6.0
"""Knots of the offset: finer follows the noise of the widths, coarser misses a hairpin."""

FOLD_RESERVE = 0.1
"""The line keeps 1 - k n above this: beyond it the normals of the centre line cross."""

_SOLVED = ("Solved", "AlmostSolved")
_WALK_TOLERANCE_M = 0.01
"""The points found lie on a smooth curve: a tight fit adds no noise."""

_MAX_ITERATIONS = 25
_ENOUGH = 1e-5
_HALVINGS = 8


@dataclass(frozen=True, eq=False)
class MinimumCurvatureLine:
    """The line found, and how it was found.

    `points` are equally spaced along the new line, `offset_m` is the distance to the left of the
    centre line there and `centre_s_m` the place on the centre line.
    `bending_1pm` is the integral of the squared curvature along the line.
    `last_gain_frac` is the part of it the last iteration still gained.
    """

    points: CurvePoints
    offset_m: Floats
    centre_s_m: Floats
    bending_centre_1pm: float
    bending_1pm: float
    iterations: int
    last_gain_frac: float


class _Frame(NamedTuple):
    """The centre line's curvature and the offset's basis, at the collocation points."""

    k: Floats
    k_rate: Floats
    value: sparse.csr_array
    first: sparse.csr_array
    second: sparse.csr_array
    step: float


def smooth_resample(
    points: Floats,
    *,
    tolerance_m: float,
    spacing_m: float,
    closed: bool,
    knot_step_m: float = 5.0,
) -> SmoothLine:
    """The line of least change of curvature that stays within a tolerance of the points.

    Long chords are kept straight within the tolerance, as they were drawn.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        The line as given, even or not. [m]
    tolerance_m : float
        Largest distance between the answer and the drawn polygon. [m]
    spacing_m : float
        Step of the answer. [m]
    closed : bool
        Whether the last point goes on to the first.
    knot_step_m : float
        Finest detail wanted. [m]

    Raises
    ------
    InputError
        If no smooth line follows the points that closely.
    """
    u, dense, span = densified(points, closed=closed, longest=1.2 * knot_step_m)
    found = smooth_values(
        u, dense, span=span, closed=closed, tolerance=tolerance_m, knot_step=knot_step_m
    )
    if found is None:
        raise InputError(
            f"no smooth line stays within {tolerance_m:g} m of the points",
            code="line_not_smooth",
            key="tolerance_m",
            value=f"{tolerance_m:g}",
            allowed="a tolerance the points can be followed with",
            unit="m",
            hint="look for zigzags in the points, or allow a larger tolerance",
        )
    sampled = sample_curve(found.spline, span, closed=closed, spacing=spacing_m)
    return SmoothLine(sampled, found.deviation, span / found.basis.pieces, closed)


def corridor(
    curvature: Floats, left_m: Floats, right_m: Floats, *, vehicle_width_m: float, margin_m: float
) -> tuple[Floats, Floats]:
    """Lowest and highest offset of the car's middle, to the left of the centre line. [m]

    Raises
    ------
    InputError
        If the track is too narrow for the car and the margin.
    """
    keep = 0.5 * vehicle_width_m + margin_m
    low, high = keep - right_m, left_m - keep
    room = high - low
    if not np.all(room > 0.0):
        at = int(np.argmin(room))
        raise InputError(
            "the track is narrower than the car and its margin",
            code="track_too_narrow",
            key="w_tr_right_m, w_tr_left_m",
            value=f"{left_m[at] + right_m[at]:.2f} at station {at}",
            allowed=f"more than {2.0 * keep:.2f}",
            unit="m",
            hint="check the widths, or take a smaller margin",
        )
    fold = (1.0 - FOLD_RESERVE) / np.maximum(np.abs(curvature), 1e-9)
    low = np.where(curvature < 0.0, np.maximum(low, -fold), low)
    high = np.where(curvature > 0.0, np.minimum(high, fold), high)
    return low, high


def minimum_curvature_line(
    centre: CurvePoints,
    left_m: Floats,
    right_m: Floats,
    *,
    closed: bool,
    margin_m: float,
    vehicle_width_m: float,
    spacing_m: float = 2.0,
    knot_step_m: float = KNOT_STEP_M,
) -> MinimumCurvatureLine:
    """The line whose integral of squared curvature is least between the edges.

    Parameters
    ----------
    centre : CurvePoints
        Centre line at equal steps, smooth.
    left_m, right_m : ndarray, shape (n,)
        Distance from the centre line to either edge along its normal, > 0. [m]
    closed : bool
        A closed line joins itself smoothly; an open one is free at both ends.
    margin_m, vehicle_width_m : float
        The car's side stays `margin_m` inside the edge. [m]
    spacing_m : float
        Step of the answer. [m]

    Returns
    -------
    MinimumCurvatureLine

    Raises
    ------
    InputError
        If the track is too narrow, or the solver fails.

    Notes
    -----
    With a = 1 - k n and b = n': r' = a T + b N and
    curvature = (a (a k + b') - b (a' - k b)) / (a^2 + b^2)^(3/2).
    The objective is the sum of curvature^2 times the length of each step.
    """
    low, high = corridor(
        centre.curvature, left_m, right_m, vehicle_width_m=vehicle_width_m, margin_m=margin_m
    )
    basis = UniformBasis(centre.length, max(8, round(centre.length / knot_step_m)), closed)
    frame = _Frame(
        centre.curvature,
        centre.curvature_rate,
        basis.matrix(centre.s),
        basis.matrix(centre.s, 1),
        basis.matrix(centre.s, 2),
        float(centre.s[1]),
    )
    coefficients = _start(frame, low, high)
    bending_centre = _bending(frame, np.zeros(basis.size))
    bending, gain, iterations = _bending(frame, coefficients), 1.0, 0
    while gain > _ENOUGH and iterations < _MAX_ITERATIONS:
        coefficients, after = _improved(frame, coefficients, bending, low, high)
        gain = (bending - after) / max(bending, 1e-15)
        bending = after
        iterations += 1
    points, offset, centre_s = _walk(centre, basis, coefficients, closed, spacing_m)
    bending = float((points.curvature**2).mean() * points.length)
    return MinimumCurvatureLine(points, offset, centre_s, bending_centre, bending, iterations, gain)


def _start(frame: _Frame, low: Floats, high: Floats) -> Floats:
    """Begin in the middle of the corridor, which need not be the centre line."""
    size = frame.value.shape[1]
    normal = (frame.value.T @ frame.value + 1e-9 * sparse.eye_array(size)).tocsc()
    return np.asarray(sparse.linalg.spsolve(normal, frame.value.T @ (0.5 * (low + high))))


def _residual(frame: _Frame, coefficients: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Root of bending per step, and its slope in n, n' and n''."""
    n, n1, n2 = (m @ coefficients for m in (frame.value, frame.first, frame.second))
    k, a, b = frame.k, 1.0 - frame.k * n, n1
    a1 = -frame.k_rate * n - k * n1
    top = a * (a * k + n2) - b * (a1 - k * b)
    size = a * a + b * b
    scale = np.sqrt(frame.step) * size**-1.25
    by_size = -1.25 * top / size
    by_n = -2.0 * a * k * k - k * n2 + b * frame.k_rate + by_size * (-2.0 * a * k)
    by_n1 = -a1 + 3.0 * k * b + by_size * 2.0 * b
    return top * scale, by_n * scale, by_n1 * scale, a * scale


def _bending(frame: _Frame, coefficients: Floats) -> float:
    """Integral of the squared curvature along the line. [1/m]"""
    residual = _residual(frame, coefficients)[0]
    return float(residual @ residual)


def _improved(
    frame: _Frame, coefficients: Floats, bending: float, low: Floats, high: Floats
) -> tuple[Floats, float]:
    """One quadratic programme, then the longest of its halved steps that bends less."""
    wanted = _quadratic_step(frame, coefficients, low, high)
    share = 1.0
    for _ in range(_HALVINGS):
        trial = coefficients + share * wanted
        after = _bending(frame, trial)
        if after < bending:
            return trial, after
        share *= 0.5
    return coefficients, bending


def _quadratic_step(frame: _Frame, coefficients: Floats, low: Floats, high: Floats) -> Floats:
    """Least linearised bending inside the corridor, as a change of the coefficients."""
    import clarabel  # a compiled library that most commands do not need

    residual, by_n, by_n1, by_n2 = _residual(frame, coefficients)
    slope = (
        frame.value.multiply(by_n[:, None])
        + frame.first.multiply(by_n1[:, None])
        + frame.second.multiply(by_n2[:, None])
    ).tocsr()
    hessian = sparse.triu(slope.T @ slope + 1e-10 * sparse.eye_array(slope.shape[1]))
    offset = frame.value @ coefficients
    rows = sparse.csc_matrix(sparse.vstack((frame.value, -frame.value)))
    bounds = np.concatenate((high - offset, offset - low))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix(hessian),
        slope.T @ residual,
        rows,
        bounds,
        [clarabel.NonnegativeConeT(len(bounds))],
        settings,
    )
    solution = solver.solve()
    if str(solution.status) not in _SOLVED:
        raise InputError(
            f"the line solver stopped with {solution.status}",
            code="line_not_found",
            key="line",
            value="min_curvature",
            allowed="a track in which a smooth line fits",
            unit="",
            hint='look for jumps in the widths, or use line = "given"',
        )
    return np.asarray(solution.x, dtype=np.float64)


def _walk(
    centre: CurvePoints, basis: UniformBasis, coefficients: Floats, closed: bool, spacing_m: float
) -> tuple[CurvePoints, Floats, Floats]:
    """The line at equal steps of its own length, with offset and place on the centre line."""
    offset = basis.matrix(centre.s) @ coefficients
    normal = np.column_stack((-np.sin(centre.heading), np.cos(centre.heading)))
    points = np.column_stack((centre.x, centre.y)) + offset[:, None] * normal
    found = smooth_values(
        centre.s,
        points,
        span=centre.length,
        closed=closed,
        tolerance=_WALK_TOLERANCE_M,
        knot_step=2.0 * float(centre.s[1]),
    )
    if found is None:
        raise InputError(
            "the line found is not smooth",
            code="line_not_found",
            key="line",
            value="min_curvature",
            allowed="a track in which a smooth line fits",
            unit="",
            hint='look for jumps in the widths, or use line = "given"',
        )
    walked = sample_curve(found.spline, centre.length, closed=closed, spacing=spacing_m)
    there = basis.matrix(walked.parameter) @ coefficients
    return walked, np.asarray(there), walked.parameter
