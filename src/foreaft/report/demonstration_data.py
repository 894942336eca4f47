"""A scene made ready to be shown: checked, thinned to what the eye needs, turned into reels.

Whoever draws, in the page, on paper or into an image, draws from this and looks at nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.drive.scene import CarSize, Run, Scene, Spot
from foreaft.drive.trace import LOCKED, ROLLING, WHEELS, Floats, Happening, Trace, Whole

STEP_S: Final = 0.02
"""What is shown is stored this often: finer than a screen draws, coarser than the run is driven."""
MOST_SAMPLES: Final = 10_000
"""Over all runs; longer ones are stored at wider steps, so that the page stays small."""
SHORTEST_S: Final = 0.1
MOST_RUNS: Final = 13
"""The planned setting and twelve others; more cannot be compared by eye."""
ROAD_STEP_M: Final = 1.5
SMOOTH_M: Final = 16.0
"""The camera turns with the road as it runs over this length."""
CURVE_M: Final = 6.0
"""Curvature of the line is taken over this length, so that its points do not rattle."""
SHIFT_FRAC, SHIFT_MOST_M = 0.7, 4.5
"""The camera looks so far from the car towards the middle of the road, and no farther. [m]"""
HALF_ROAD_M: Final = 5.0
"""How far a mark reaches to each side where the edges are not known (assumption, drawing only)."""
STANDING_MPS: Final = 1.0
"""Below this speed a direction of travel means nothing."""

SPOT_WORDS: Final = {
    "brake": "brake",
    "turn_in": "turn-in",
    "release": "release",
    "apex": "apex",
}
_NOT_SHOWN: Final = {"setting"}

Pairs = NDArray[np.float64]
"""Places, shape (n, 2). [m]"""


class Mark(NamedTuple):
    """A place of the planned run, as a line across the road from its left to its right side."""

    name: str
    words: str
    s_m: float
    left: tuple[float, float]
    right: tuple[float, float]


class Frame(NamedTuple):
    """The fixed view of everything: its middle, what points up in it, and its size. [m], [rad]"""

    x_m: float
    y_m: float
    up_rad: float
    width_m: float
    height_m: float


@dataclass(frozen=True, eq=False)
class Road:
    """The line and the edges; no edges where they are not known."""

    line: Pairs
    left: Pairs | None
    right: Pairs | None


@dataclass(frozen=True, eq=False)
class Body:
    """The car from above, x forward and y left of its centre of gravity. [m]"""

    hull: Pairs
    screen: Pairs
    wheels: Pairs
    """Middle of each wheel, in the order of WHEELS."""
    wheel_length_m: float
    wheel_width_m: float


@dataclass(frozen=True, eq=False)
class Reel:
    """One run, ready to be shown: equal steps from 0 s; wheels in the order of WHEELS."""

    label: str
    sentence: str
    happenings: tuple[Happening, ...]
    """Their times count from the first sample of the reel."""
    step_s: float
    time_s: Floats
    s_m: Floats
    x_m: Floats
    y_m: Floats
    heading_rad: Floats
    going_rad: Floats
    """Where the centre of gravity travels to."""
    up_rad: Floats
    """The direction of the road, for the camera."""
    shift_m: Floats
    """How far to the left of the car the camera looks, so that the road stays in view."""
    speed_mps: Floats
    yaw_rate_radps: Floats
    road_rate_radps: Floats
    """The yaw rate that would follow the line at this speed."""
    steer_rad: Floats
    pedal_frac: Floats
    """Of the most of the first run."""
    axle_use: Floats
    """Use of grip front and rear, the wheels weighted by their load, shape (n, 2)."""
    use_frac: Floats
    state: Whole
    push_x: Floats
    """Forces in the wheel's axes over a quarter of the car's weight, shape (n, 4)."""
    push_y: Floats

    @property
    def duration_s(self) -> float:
        """Time of the last sample."""
        return float(self.time_s[-1])

    def reaches(self, s_m: float) -> float | None:
        """Time at which a distance along the line is first reached; None if it never is."""
        farthest = np.maximum.accumulate(self.s_m)
        if not farthest[0] <= s_m <= farthest[-1]:
            return None
        return float(self.time_s[int(np.searchsorted(farthest, s_m))])


@dataclass(frozen=True, eq=False)
class Film:
    """Everything that is shown."""

    scene: Scene
    road: Road
    marks: tuple[Mark, ...]
    body: Body
    whole: Frame
    reels: tuple[Reel, ...]

    @property
    def duration_s(self) -> float:
        """Time of the longest run."""
        return max(reel.duration_s for reel in self.reels)

    @property
    def pedal_most(self) -> float:
        """The hardest any run presses, as ``Reel.pedal_frac`` counts it; at least 1."""
        return max(1.0, *(float(np.max(reel.pedal_frac)) for reel in self.reels))


def film(scene: Scene) -> Film:
    """Check a scene and thin it.

    Raises
    ------
    InputError
        If a run or the road is too short, or holds what is not a number: nothing is mended.
    """
    _check_scene(scene)
    line = _Line.of(scene)
    longest = sum(float(run.trace.time_s[-1] - run.trace.time_s[0]) for run in scene.runs)
    step_s = STEP_S
    while longest / step_s > MOST_SAMPLES:
        step_s *= 2.0
    most = max(float(np.max(scene.runs[0].trace.pedal_N)), 1.0)
    reels = tuple(_reel(run, line, step_s, most) for run in scene.runs)
    road = _road(scene, line.closed)
    marks = tuple(
        _mark(name, spot, line, scene)
        for name in SPOT_WORDS
        if (spot := getattr(scene, name)) is not None
    )
    return Film(scene, road, marks, body(scene.size), _whole(scene, reels, marks, line), reels)


# ---------------------------------------------------------------- what is refused


def _check_scene(scene: Scene) -> None:
    if not 1 <= len(scene.runs) <= MOST_RUNS:
        raise _refused(
            "Too few or too many runs to be shown side by side.",
            "scene_runs",
            "runs",
            len(scene.runs),
            f"1 to {MOST_RUNS}",
        )
    for run in scene.runs:
        _check_trace(run.trace, run.label)
    edges = [scene.left_x_m, scene.left_y_m, scene.right_x_m, scene.right_y_m]
    known = [one for one in edges if one is not None]
    line = [scene.line_s_m, scene.line_x_m, scene.line_y_m]
    count = len(scene.line_s_m)
    whole = count >= 2 and len(known) in {0, 4}
    whole = whole and all(len(one) == count and np.all(np.isfinite(one)) for one in line + known)
    if not whole or not np.all(np.diff(scene.line_s_m) > 0.0):
        allowed = "a line of points in order, with both edges or none, all finite numbers"
        raise _refused(
            "The road of this scene cannot be drawn.",
            "scene_road",
            "road",
            f"{count} points",
            allowed,
        )
    for name in ("wheelbase_m", "track_front_m", "track_rear_m"):
        value = getattr(scene.size, name)
        if not 0.5 <= value <= 10.0:
            raise _refused(
                "No car of this size can be drawn.", "scene_size", name, value, "0.5 to 10"
            )


def _check_trace(trace: Trace, label: str) -> None:
    time = trace.time_s
    if len(time) < 2 or not time[-1] - time[0] >= SHORTEST_S:
        allowed = f"at least {SHORTEST_S:g} s of driving"
        raise _refused(
            "A run is too short to be shown.", "trace_short", label, f"{len(time)} samples", allowed
        )
    for name in trace.__dataclass_fields__:
        values = getattr(trace, name)
        if name not in _NOT_SHOWN and not np.all(np.isfinite(values)):
            place = f"sample {int(np.argwhere(~np.isfinite(values))[0][0])}"
            key = f"{label}: {name}"
            raise _refused(
                "A run holds what is not a number; it is damaged.",
                "trace_not_a_number",
                key,
                place,
                "finite numbers",
            )
    if not np.all(np.diff(time) > 0.0):
        raise _refused(
            "The times of a run do not rise; it is damaged.",
            "trace_not_in_order",
            f"{label}: time_s",
            "falling",
            "rising times",
        )
    if np.min(trace.wheel_state) < ROLLING or np.max(trace.wheel_state) > LOCKED:
        raise _refused(
            "A run holds a state no wheel can be in; it is damaged.",
            "trace_not_a_state",
            f"{label}: wheel_state",
            "unknown",
            "0 to 3",
        )


def _refused(message: str, code: str, key: str, value: object, allowed: str) -> InputError:
    return InputError(
        f"{message} Nothing was written.",
        code=code,
        key=key,
        value=value,
        allowed=allowed,
        unit="",
        hint="Drive the runs again, then show them.",
    )


# ---------------------------------------------------------------- the road


class _Line(NamedTuple):
    """The line with its direction and its curvature; length and closing where it is a lap."""

    s: Floats
    x: Floats
    y: Floats
    heading: Floats
    smooth: Floats
    curvature: Floats
    middle: Floats
    """Of the road, to the left of the line; 0 where the edges are not known. [m]"""
    closed: bool
    length: float

    @staticmethod
    def of(scene: Scene) -> _Line:
        s, x, y = scene.line_s_m, scene.line_x_m, scene.line_y_m
        gap = float(np.hypot(x[0] - x[-1], y[0] - y[-1]))
        spacing = float(np.max(np.diff(s)))
        closed = len(s) > 10 and gap <= 2.0 * spacing and s[-1] - s[0] > 20.0 * spacing
        heading = np.unwrap(np.arctan2(np.gradient(y), np.gradient(x)))
        smooth = _mean_over(s, heading, SMOOTH_M)
        curvature = np.gradient(_mean_over(s, heading, CURVE_M), s)
        middle = np.zeros(len(s))
        if scene.left_x_m is not None:
            left, right = _edges(scene)
            off = 0.5 * (left + right) - np.column_stack([x, y])
            middle = off[:, 1] * np.cos(heading) - off[:, 0] * np.sin(heading)
        length = float(s[-1] - s[0]) + gap
        return _Line(s, x, y, heading, smooth, curvature, middle, closed, length)

    def place(self, s: Floats) -> Floats:
        """Bring distances onto the line; those before its start or past its end stay at it."""
        if self.closed:
            wrapped: Floats = self.s[0] + np.mod(s - self.s[0], self.length)
            return wrapped
        return np.clip(s, self.s[0], self.s[-1])


def _mean_over(s: Floats, values: Floats, length: float) -> Floats:
    """Mean of what is given along the line, over a length about each point."""
    steps = np.diff(s)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * steps)])
    low = np.clip(s - 0.5 * length, s[0], s[-1])
    high = np.clip(s + 0.5 * length, s[0], s[-1])
    mean: Floats = (np.interp(high, s, total) - np.interp(low, s, total)) / (high - low)
    return mean


def _road(scene: Scene, closed: bool) -> Road:
    s = scene.line_s_m
    kept = [0]
    for index in range(1, len(s)):
        if s[index] - s[kept[-1]] >= ROAD_STEP_M or index == len(s) - 1:
            kept.append(index)
    if closed:
        kept.append(0)
    rows = np.array(kept)
    line = np.column_stack([scene.line_x_m, scene.line_y_m])[rows]
    if scene.left_x_m is None:
        return Road(line, None, None)
    left, right = _edges(scene)
    return Road(line, left[rows], right[rows])


def _edges(scene: Scene) -> tuple[Pairs, Pairs]:
    pairs = [(scene.left_x_m, scene.left_y_m), (scene.right_x_m, scene.right_y_m)]
    left, right = (np.column_stack([np.asarray(x), np.asarray(y)]) for x, y in pairs)
    return left, right


def _mark(name: str, spot: Spot, line: _Line, scene: Scene) -> Mark:
    """Lay a mark across the road; where the edges are not known, a little to each side."""
    s = float(line.place(np.array([spot.s_m]))[0])
    if scene.left_x_m is None:
        heading = float(np.interp(s, line.s, line.heading))
        left = (-np.sin(heading) * HALF_ROAD_M, np.cos(heading) * HALF_ROAD_M)
        ends = ((spot.x_m + left[0], spot.y_m + left[1]), (spot.x_m - left[0], spot.y_m - left[1]))
    else:
        sides = [
            tuple(float(np.interp(s, line.s, side[:, column])) for column in (0, 1))
            for side in _edges(scene)
        ]
        ends = ((sides[0][0], sides[0][1]), (sides[1][0], sides[1][1]))
    return Mark(name, SPOT_WORDS[name], spot.s_m, *ends)


def _whole(scene: Scene, reels: Sequence[Reel], marks: Sequence[Mark], line: _Line) -> Frame:
    """Frame all runs: the approach points up; a whole lap lies as on the map."""
    up = 0.5 * pi if line.closed and scene.brake is None else float(reels[0].up_rad[0])
    x = np.concatenate([reel.x_m for reel in reels] + [[m.left[0], m.right[0]] for m in marks])
    y = np.concatenate([reel.y_m for reel in reels] + [[m.left[1], m.right[1]] for m in marks])
    across = x * np.sin(up) - y * np.cos(up)
    along = x * np.cos(up) + y * np.sin(up)
    middle = [0.5 * float(np.min(one) + np.max(one)) for one in (across, along)]
    return Frame(
        x_m=float(middle[0] * np.sin(up) + middle[1] * np.cos(up)),
        y_m=float(-middle[0] * np.cos(up) + middle[1] * np.sin(up)),
        up_rad=up,
        width_m=float(np.ptp(across)) + 2.0 * HALF_ROAD_M,
        height_m=float(np.ptp(along)) + 2.0 * HALF_ROAD_M,
    )


# ---------------------------------------------------------------- the car

WHEEL_LENGTH_M: Final = 0.64
WHEEL_WIDTH_M: Final = 0.27
NOSE_FRAC, TAIL_FRAC, SIDE_M = 0.30, 0.26, 0.16
"""Overhangs over the wheelbase, and what the body stands out past the tracks.

Assumptions: no car file gives them, and nothing but the drawing uses them.
"""


def body(size: CarSize) -> Body:
    """Draw a car from its wheelbase and tracks."""
    ahead = (1.0 - size.front_weight_frac) * size.wheelbase_m
    behind = size.front_weight_frac * size.wheelbase_m
    half = 0.5 * max(size.track_front_m, size.track_rear_m) + SIDE_M
    nose, tail = ahead + NOSE_FRAC * size.wheelbase_m, behind + TAIL_FRAC * size.wheelbase_m
    side = [
        (nose, 0.0),
        (nose - 0.06, 0.45 * half),
        (nose - 0.28, 0.78 * half),
        (nose - 0.75, 0.94 * half),
        (ahead, half),
        (0.15 * size.wheelbase_m, 0.93 * half),
        (-behind, half),
        (-tail + 0.3, 0.95 * half),
        (-tail, 0.78 * half),
    ]
    hull = [*side, *((x, -y) for x, y in reversed(side[1:]))]
    front, rear = 0.5 * size.track_front_m, 0.5 * size.track_rear_m
    glass = ahead - 0.32 * size.wheelbase_m
    screen = [(glass, 0.66 * half), (glass + 0.22, 0.3 * half)]
    screen += [(x, -y) for x, y in reversed(screen)]
    wheels = [(ahead, front), (ahead, -front), (-behind, rear), (-behind, -rear)]
    return Body(
        hull=np.array(hull),
        screen=np.array(screen),
        wheels=np.array(wheels),
        wheel_length_m=WHEEL_LENGTH_M,
        wheel_width_m=WHEEL_WIDTH_M,
    )


# ---------------------------------------------------------------- the runs


def _reel(run: Run, line: _Line, step_s: float, most_pedal_N: float) -> Reel:
    trace = run.trace
    start = float(trace.time_s[0])
    own = trace.time_s - start
    time: Floats = step_s * np.arange(int(own[-1] / step_s + 1e-6) + 1, dtype=np.float64)
    if len(time) < 2:
        time = np.array([0.0, float(own[-1])])

    def at(values: Floats) -> Floats:
        if values.ndim == 1:
            return np.interp(time, own, values)
        return np.column_stack([np.interp(time, own, column) for column in values.T])

    vx, vy = at(trace.speed_mps), at(trace.side_speed_mps)
    heading, s = at(trace.heading_rad), at(trace.s_m)
    speed = np.hypot(vx, vy)
    slip = np.where(speed > STANDING_MPS, np.arctan2(vy, vx), 0.0)
    place = line.place(s)
    quarter = max(0.25 * float(np.sum(trace.load_N[0])), 1.0)
    return Reel(
        label=run.label,
        sentence=run.outcome.sentence,
        happenings=tuple(
            replace(one, start_s=one.start_s - start) for one in run.outcome.happenings
        ),
        step_s=float(time[1] - time[0]),
        time_s=time,
        s_m=s,
        x_m=at(trace.x_m),
        y_m=at(trace.y_m),
        heading_rad=heading,
        going_rad=heading + np.unwrap(slip),
        up_rad=np.unwrap(np.interp(place, line.s, line.smooth)),
        shift_m=np.clip(
            SHIFT_FRAC * (np.interp(place, line.s, line.middle) - at(trace.offset_m)),
            -SHIFT_MOST_M,
            SHIFT_MOST_M,
        ),
        speed_mps=speed,
        yaw_rate_radps=at(trace.yaw_rate_radps),
        road_rate_radps=speed * np.interp(place, line.s, line.curvature),
        steer_rad=at(trace.steer_rad),
        pedal_frac=at(trace.pedal_N) / most_pedal_N,
        axle_use=_axle_use(at(trace.use_frac), at(trace.load_N)),
        use_frac=at(trace.use_frac),
        state=_worst(trace.wheel_state, own, time),
        push_x=at(trace.force_x_N) / quarter,
        push_y=at(trace.force_y_N) / quarter,
    )


def _axle_use(use: Floats, load: Floats) -> Floats:
    """Use of grip of each axle: the mean of its wheels, the heavier one counting for more."""
    weight = np.maximum(load, 1.0)
    share = use * weight
    return np.column_stack(
        [
            (share[:, low] + share[:, low + 1]) / (weight[:, low] + weight[:, low + 1])
            for low in (0, 2)
        ]
    )


def _worst(state: Whole, own: Floats, time: Floats) -> Whole:
    """Keep the worst state of each step, so that a short lock is not thinned away."""
    first = np.searchsorted(own, time - 1e-9)
    first = np.minimum(first, len(own) - 1)
    kept = np.maximum.reduceat(state, first, axis=0)
    return kept.astype(np.int8)


def wheel_words(index: int) -> str:
    """Name one wheel for people."""
    return WHEELS[index].replace("_", " ")
