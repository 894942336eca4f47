"""Stations: equal steps along the line driven, with all the physics needs of the road there.

Axes follow ISO 8855: x forward, y to the left, z up, so curvature is positive in a left turn.
Grade is positive uphill.
Bank is positive where the road leans into a left turn, that is where its left side is the lower
one: a bank of the same sign as the curvature helps the car round.
(As a rotation about the forward axis it is minus the roll angle of ISO 8855.)
Vertical curvature is positive in a compression and negative over a crest.
`s_m` is length in plan: on a grade of one in six the road is 1.4 % longer than that.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

import numpy as np
from scipy.interpolate import BSpline, CubicSpline

from foreaft.base.errors import InputError
from foreaft.track.geometry import (
    CurvePoints,
    Floats,
    chord_lengths,
    smooth_values,
)
from foreaft.track.line import minimum_curvature_line, smooth_resample

Kind = Literal["centreline_with_widths", "driven_line", "edges_3d", "lonlat"]
LineKind = Literal["given", "driven", "min_curvature"]

TOLERANCE_M: dict[Kind, float] = {
    "centreline_with_widths": 0.25,
    "driven_line": 0.25,
    "edges_3d": 0.25,
    "lonlat": 2.0,
}
"""Largest distance between the smooth line and what was given.

Assumptions: a surveyed or map-made centre line is good to a quarter of a metre in shape, a logged
line likewise after filtering, and a coarse polyline is off by 2 m between its points: a chord of
20 m on a radius of 25 m misses its arc by chord^2 / (8 radius) = 2 m.
"""

HEIGHT_TOLERANCE_M = 0.10
LINE_HEIGHT_TOLERANCE_M = 0.05
HEIGHT_KNOTS_M = 25.0
"""A car follows waves of the road longer than itself; shorter ones are noise or roughness here."""

WIDTH_UNKNOWN_M = 0.0
"""Stands for both widths where the circuit has none."""

TIGHTEST_RADIUS_M = 3.0
"""Below the turning radius of any car (assumption; road cars need 4.5 to 6 m)."""

_CENTRE_STEP_M = 3.0


@dataclass(frozen=True, eq=False)
class RawCircuit:
    """A circuit as read, checked but not yet smoothed.

    Arrays have shape (n,) and are read-only; a closed circuit does not repeat its first point.
    For `edges_3d`, x, y and z are the middle of the road and the widths are half of it each.
    For `lonlat`, x points east and y north from the middle of the points.
    """

    kind: Kind
    closed: bool
    file: str
    x_m: Floats
    y_m: Floats
    z_m: Floats | None = None
    width_right_m: Floats | None = None
    width_left_m: Floats | None = None
    bank_rad: Floats | None = None

    def __post_init__(self) -> None:
        _freeze(self)


@dataclass(frozen=True, eq=False)
class Stations:
    """The road under the line, at equal steps; arrays of shape (n,), float64, read-only.

    A closed lap has n steps and does not repeat its first station; an open road has n - 1.
    `climb_m` is the height between the lowest and the highest station.
    """

    s_m: Floats
    x_m: Floats
    y_m: Floats
    curvature_1pm: Floats
    curvature_rate_1pm2: Floats
    grade_rad: Floats
    bank_rad: Floats
    vertical_curvature_1pm: Floats
    width_left_m: Floats
    width_right_m: Floats
    length_m: float
    closed: bool
    line: LineKind
    climb_m: float

    def __post_init__(self) -> None:
        _freeze(self)
        lengths = {len(getattr(self, name)) for name in _ARRAYS}
        if len(lengths) != 1:
            raise ValueError(f"arrays of unequal length: {sorted(lengths)}")

    @property
    def spacing_m(self) -> float:
        """Distance between two stations. [m]"""
        return float(self.s_m[1] - self.s_m[0])

    def resampled(self, spacing_m: float) -> Stations:
        """The same road at another step; the curvature rate stays the slope of the curvature."""
        steps = max(4, round(self.length_m / spacing_m))
        count = steps if self.closed else steps + 1
        s = self.length_m / steps * np.arange(count, dtype=np.float64)
        changed: dict[str, Floats] = {"s_m": s}
        for name in _ARRAYS[1:]:
            changed[name] = self._curve(getattr(self, name))(s)
        changed["curvature_rate_1pm2"] = self._curve(self.curvature_1pm).derivative()(s)
        return replace(self, **changed)  # type: ignore[arg-type]

    def mirrored(self) -> Stations:
        """The road seen in a mirror along the x axis: left becomes right."""
        return replace(
            self,
            y_m=-self.y_m,
            curvature_1pm=-self.curvature_1pm,
            curvature_rate_1pm2=-self.curvature_rate_1pm2,
            bank_rad=-self.bank_rad,
            width_left_m=self.width_right_m,
            width_right_m=self.width_left_m,
        )

    def started_at(self, s_m: float) -> Stations:
        """The same lap counted from the station nearest to `s_m`: values move, none changes.

        Raises
        ------
        InputError
            If the road is open or the place is not on the lap.
        """
        if not self.closed:
            raise InputError(
                "an open road has only one start",
                code="circuit_open",
                key="closed",
                value="false",
                allowed="true",
                unit="",
                hint="use a closed circuit",
            )
        if not 0.0 <= s_m < self.length_m:
            raise InputError(
                "the start is not on the lap",
                code="start_off_lap",
                key="s_m",
                value=f"{s_m:g}",
                allowed=f"0 to {self.length_m:.1f}",
                unit="m",
                hint="count from the present start line",
            )
        shift = round(s_m / self.spacing_m) % len(self.s_m)
        moved = {name: np.roll(getattr(self, name), -shift) for name in _ARRAYS[1:]}
        return replace(self, **moved)

    def _curve(self, values: Floats) -> CubicSpline:
        if not self.closed:
            return CubicSpline(self.s_m, values)
        s = np.append(self.s_m, self.length_m)
        return CubicSpline(s, np.append(values, values[0]), bc_type="periodic")


_ARRAYS = tuple(
    f.name
    for f in fields(Stations)
    if f.name.endswith(("_m", "_1pm", "_1pm2", "_rad")) and f.name not in ("length_m", "climb_m")
)


def _freeze(thing: object) -> None:
    """Make every array of a frozen dataclass its own, finite, float64 and read-only."""
    for field in fields(thing):  # type: ignore[arg-type]
        value = getattr(thing, field.name)
        if not isinstance(value, np.ndarray):
            continue
        own = np.array(value, dtype=np.float64)
        if own.ndim != 1 or not np.all(np.isfinite(own)):
            raise ValueError(f"{field.name} must be one row of finite numbers")
        own.flags.writeable = False
        object.__setattr__(thing, field.name, own)


def stations_from(
    raw: RawCircuit,
    *,
    line: Literal["given", "min_curvature"] = "given",
    spacing_m: float = 2.0,
    vehicle_width_m: float = 1.9,
    margin_m: float = 0.3,
    tolerance_m: float | None = None,
) -> Stations:
    """Smooth a circuit, choose the line, and put stations on it.

    Parameters
    ----------
    raw : RawCircuit
        A checked circuit.
    line : "given" or "min_curvature"
        The line of the file (centre line, driven line), or the line of least curvature.
    spacing_m : float
        Wanted step, 0.5 to 20; the step used divides the length. [m]
    vehicle_width_m, margin_m : float
        Only for the line of least curvature: the car's side stays this far inside. [m]
    tolerance_m : float, optional
        Largest distance from the given line; by kind of circuit where None. [m]

    Raises
    ------
    InputError
        If a number is out of range, no line fits, or the circuit has no widths.
    """
    _check_request(raw, line, spacing_m, vehicle_width_m, margin_m, tolerance_m)
    tolerance = TOLERANCE_M[raw.kind] if tolerance_m is None else tolerance_m
    points = np.column_stack((raw.x_m, raw.y_m))
    wanted = spacing_m if line == "given" else _CENTRE_STEP_M
    smooth = smooth_resample(points, tolerance_m=tolerance, spacing_m=wanted, closed=raw.closed)
    centre = smooth.points
    chords = chord_lengths(points, closed=raw.closed)
    along = np.concatenate(([0.0], np.cumsum(chords)))
    road = _Road(raw, along, centre)
    if line == "given":
        kind: LineKind = "driven" if raw.kind == "driven_line" else "given"
        _check_radius(raw, centre)
        return road.stations(centre, np.zeros_like(centre.s), centre.s, kind)
    left, right = road.widths(centre.s)
    found = minimum_curvature_line(
        centre,
        left,
        right,
        closed=raw.closed,
        margin_m=margin_m,
        vehicle_width_m=vehicle_width_m,
        spacing_m=spacing_m,
    )
    _check_radius(raw, found.points)
    return road.stations(found.points, found.offset_m, found.centre_s_m, "min_curvature")


class _Road:
    """What lies beside and under the centre line, by place on the smooth centre line."""

    def __init__(self, raw: RawCircuit, along: Floats, centre: CurvePoints) -> None:
        self.raw = raw
        self.along = along
        self.span = float(along[-1])
        self.centre = centre
        self.height = self._smooth(raw.z_m, HEIGHT_TOLERANCE_M)
        cross = None if raw.bank_rad is None else np.tan(raw.bank_rad)
        self.cross_slope = self._smooth(cross, _CROSS_TOLERANCE)

    def _smooth(self, values: Floats | None, tolerance: float) -> BSpline | None:
        """A smooth function of the chord length, or None where there is nothing."""
        if values is None:
            return None
        found = smooth_values(
            self.along[: len(values)],
            values[:, None],
            span=self.span,
            closed=self.raw.closed,
            tolerance=tolerance,
            knot_step=HEIGHT_KNOTS_M,
        )
        if found is None:
            raise InputError(
                "the heights along the lap jump",
                code="height_not_smooth",
                file=self.raw.file,
                key="z",
                allowed=f"heights a smooth road follows within {tolerance:g}",
                unit="m",
                hint="look for steps in the heights",
            )
        return found.spline

    def _chord(self, centre_s: Floats) -> Floats:
        """Chord length of the given polygon at places on the smooth centre line."""
        s, u = self.centre.s, self.centre.parameter
        if self.raw.closed:
            s, u = np.append(s, self.centre.length), np.append(u, self.span)
        # A kink in this map would be a kink in the road: hence a spline, not straight pieces.
        return np.asarray(np.clip(CubicSpline(s, u)(centre_s), 0.0, self.span))

    def widths(self, centre_s: Floats) -> tuple[Floats, Floats]:
        """Room to the left and to the right of the centre line. [m]"""
        raw = self.raw
        if raw.width_left_m is None or raw.width_right_m is None:
            zero = np.full_like(centre_s, WIDTH_UNKNOWN_M)
            return zero, zero.copy()
        u = self._chord(centre_s)
        both = []
        for width in (raw.width_left_m, raw.width_right_m):
            ends = np.append(width, width[0]) if raw.closed else width
            both.append(np.interp(u, self.along, ends))
        return both[0], both[1]

    def stations(
        self, points: CurvePoints, offset: Floats, centre_s: Floats, kind: LineKind
    ) -> Stations:
        """Stations on a line that lies `offset` to the left of the centre line."""
        u = self._chord(centre_s)
        left, right = self.widths(centre_s)
        known = self.raw.width_left_m is not None
        height, cross = self._heights(u, offset)
        grade, vertical = _slopes(points, height, self.raw.closed)
        return Stations(
            s_m=points.s,
            x_m=points.x,
            y_m=points.y,
            curvature_1pm=points.curvature,
            curvature_rate_1pm2=points.curvature_rate,
            grade_rad=grade,
            bank_rad=np.arctan(cross),
            vertical_curvature_1pm=vertical,
            width_left_m=left - offset if known else left,
            width_right_m=right + offset if known else right,
            length_m=points.length,
            closed=self.raw.closed,
            line=kind,
            climb_m=float(height.max() - height.min()),
        )

    def _heights(self, u: Floats, offset: Floats) -> tuple[Floats, Floats]:
        """Height of the line, and how fast the road falls to its left."""
        flat = np.zeros_like(u)
        cross = flat if self.cross_slope is None else self.cross_slope(u)[:, 0]
        height = flat if self.height is None else self.height(u)[:, 0]
        return height - offset * cross, cross


_CROSS_TOLERANCE = 0.015
"""Cross fall, metres per metre: 15 cm over 10 m of road, the height tolerance at both edges."""


def _slopes(points: CurvePoints, height: Floats, closed: bool) -> tuple[Floats, Floats]:
    """Grade angle and vertical curvature of the height along the line.

    The line's own height is smoothed once more: crossing a banked road adds short waves.
    """
    if not np.any(height):
        return np.zeros_like(height), np.zeros_like(height)
    found = smooth_values(
        points.s,
        height[:, None],
        span=points.length,
        closed=closed,
        tolerance=LINE_HEIGHT_TOLERANCE_M,
        knot_step=HEIGHT_KNOTS_M,
    )
    if found is None:
        raise InputError(
            "the height along the line jumps",
            code="height_not_smooth",
            key="z",
            allowed=f"a height a smooth road follows within {LINE_HEIGHT_TOLERANCE_M:g}",
            unit="m",
            hint="look for steps in the heights or in the cross fall",
        )
    slope = found.spline.derivative()(points.s)[:, 0]
    bend = found.spline.derivative(2)(points.s)[:, 0]
    return np.arctan(slope), bend / (1.0 + slope**2) ** 1.5


def _check_radius(raw: RawCircuit, points: CurvePoints) -> None:
    """Refuse a line no car could follow: a zigzag that survived the smoothing."""
    at = int(np.argmax(np.abs(points.curvature)))
    radius = 1.0 / max(abs(float(points.curvature[at])), 1e-12)
    if radius < TIGHTEST_RADIUS_M:
        raise InputError(
            "the line turns tighter than a car can",
            code="line_too_tight",
            file=raw.file,
            key="x_m, y_m",
            value=f"{radius:.2f} at {points.x[at]:.1f}, {points.y[at]:.1f}",
            allowed=f"{TIGHTEST_RADIUS_M:g} or more",
            unit="m",
            hint="look for a zigzag there, or allow a larger tolerance",
        )


def _check_request(
    raw: RawCircuit,
    line: str,
    spacing_m: float,
    vehicle_width_m: float,
    margin_m: float,
    tolerance_m: float | None,
) -> None:
    """Refuse numbers out of range and a line the circuit cannot give."""
    _within("spacing_m", spacing_m, 0.5, 20.0)
    _within("vehicle_width_m", vehicle_width_m, 0.5, 4.0)
    _within("margin_m", margin_m, 0.0, 5.0)
    if tolerance_m is not None:
        _within("tolerance_m", tolerance_m, 0.01, 20.0)
    if line not in ("given", "min_curvature"):
        raise InputError(
            "unknown line",
            code="line_unknown",
            file=raw.file,
            key="line",
            value=str(line),
            allowed="given, min_curvature",
            unit="",
            hint="choose one of the two",
        )
    if line == "min_curvature" and raw.width_left_m is None:
        raise InputError(
            "a line of least curvature needs the edges of the track",
            code="circuit_no_widths",
            file=raw.file,
            key="line",
            value="min_curvature",
            allowed="given",
            unit="",
            hint="give a centre line with widths, or both edges",
        )


def _within(key: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise InputError(
            f"{key} is out of range",
            code="out_of_range",
            key=key,
            value=f"{value:g}",
            allowed=f"{low:g} to {high:g}",
            unit="m",
            hint="",
        )


def short_way(a_s_m: float, b_s_m: float, length_m: float) -> float:
    """From b to a along a lap, the short way round. [m]"""
    return float((a_s_m - b_s_m + 0.5 * length_m) % length_m - 0.5 * length_m)
