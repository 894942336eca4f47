"""One moment of one run as a list of shapes, for whoever can fill a polygon and set a text.

The page draws the same on a canvas of its own (``templates/demonstration.js``).
Places in a panel are counted in pixels from its upper left corner, y downward.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.drive.trace import LOCKED, NEAR_LIMIT, ROLLING, SLIDING, WHEELS, Floats
from foreaft.report import demonstration_look as look
from foreaft.report.demonstration_data import STANDING_MPS, Film, Mark, Reel
from foreaft.report.measure import text_width
from foreaft.report.words import Units, format_speed

Places = NDArray[np.float64]
"""Shape (n, 2)."""


@dataclass(frozen=True, eq=False)
class Area:
    """A filled polygon, with an edge or without."""

    points: Places
    fill: str
    edge: str | None = None
    width: float = 1.0


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line through points."""

    points: Places
    role: str
    width: float
    dash: tuple[float, float] | None = None


@dataclass(frozen=True)
class Words:
    """One line of text on its baseline."""

    x: float
    y: float
    text: str
    size: float
    role: str = "ink"
    bold: bool = False
    anchor: Literal["start", "middle", "end"] = "start"


Shape = Area | Stroke | Words


class Box(NamedTuple):
    """Size of a panel, and the width of its part for the road. [px]"""

    width: float
    height: float

    @property
    def road_width(self) -> float:
        """Width of the part where the road is."""
        return self.width - min(look.CLOSE_FRAC * self.width, look.CLOSE_MOST_PX)


class Camera(NamedTuple):
    """What a panel looks at: the place that stands at (at_x, at_y), and what points up."""

    x_m: float
    y_m: float
    up_rad: float
    px_per_m: float
    at_x: float
    at_y: float

    def see(self, points: Places) -> Places:
        """Bring places of the plane, shape (n, 2), into the panel."""
        dx, dy = points[:, 0] - self.x_m, points[:, 1] - self.y_m
        sin, cos = np.sin(self.up_rad), np.cos(self.up_rad)
        across, along = dx * sin - dy * cos, dx * cos + dy * sin
        return np.column_stack(
            [self.at_x + self.px_per_m * across, self.at_y - self.px_per_m * along]
        )


class Moment(NamedTuple):
    """The car of one run at one time."""

    row: int
    """Last sample at or before this time."""
    x_m: float
    y_m: float
    heading_rad: float
    slip_rad: float
    up_rad: float
    shift_m: float
    steer_rad: float
    speed_mps: float
    pedal_frac: float
    axle_use: tuple[float, float]
    state: tuple[int, ...]
    push: Places
    """Forward and left, in each wheel's axes, shape (4, 2)."""


def moment(reel: Reel, time_s: float) -> Moment:
    """Look up a run at one time; before its start and after its end it stands at them."""
    time_s = min(max(time_s, 0.0), reel.duration_s)
    row = min(int(time_s / reel.step_s + 1e-6), len(reel.time_s) - 1)

    def at(values: Floats) -> float:
        return float(np.interp(time_s, reel.time_s, values))

    return Moment(
        row=row,
        x_m=at(reel.x_m),
        y_m=at(reel.y_m),
        heading_rad=at(reel.heading_rad),
        slip_rad=at(reel.going_rad - reel.heading_rad),
        up_rad=at(reel.up_rad),
        shift_m=at(reel.shift_m),
        steer_rad=at(reel.steer_rad),
        speed_mps=at(reel.speed_mps),
        pedal_frac=at(reel.pedal_frac),
        axle_use=(at(reel.axle_use[:, 0]), at(reel.axle_use[:, 1])),
        state=tuple(int(one) for one in reel.state[row]),
        push=np.column_stack([reel.push_x[row], reel.push_y[row]]),
    )


def follow(box: Box, now: Moment) -> Camera:
    """Look at the car, the road ahead pointing up, a little towards the middle of the road."""
    scale = box.height / look.FOLLOW_HEIGHT_M
    middle = (0.5 * box.road_width, look.FOLLOW_PLACE_FRAC * box.height)
    x = now.x_m - now.shift_m * float(np.sin(now.up_rad))
    y = now.y_m + now.shift_m * float(np.cos(now.up_rad))
    return Camera(x, y, now.up_rad, scale, *middle)


def panel(film: Film, reel: Reel, time_s: float, box: Box) -> list[Shape]:
    """Draw one run at one time: the road from above, and the car close up beside it."""
    now = moment(reel, time_s)
    units = film.scene.units
    return [
        *road_view(film, reel, now, time_s, box),
        *close_up(film, now, box, units),
    ]


# ---------------------------------------------------------------- the road from above


def road_view(film: Film, reel: Reel, now: Moment, time_s: float, box: Box) -> list[Shape]:
    """Draw road, marks, path and car as seen by the camera that follows it."""
    camera = follow(box, now)
    corners = np.array([[0, 0], [box.road_width, 0], [box.road_width, box.height], [0, box.height]])
    planned = film.reels[0]
    shapes: list[Shape] = [Area(corners.astype(np.float64), "verge")]
    shapes += _road(film, box, camera)
    shapes += [shape for mark in film.marks for shape in _mark(mark, box, camera)]
    shapes += _path(film, reel, now, box, camera)
    if reel is not planned:
        ghost = moment(planned, time_s)
        hull = camera.see(_placed(film.body.hull, ghost))
        shapes.append(Stroke(np.vstack([hull, hull[:1]]), "soft", 1.2, (3.0, 3.0)))
    return [*shapes, *_car(film, now, camera)]


def _road(film: Film, box: Box, camera: Camera) -> list[Shape]:
    road = film.road
    shapes: list[Shape] = []
    for rows in _stretches(_near(road.line, box, camera)):
        line = camera.see(road.line[rows])
        if road.left is not None and road.right is not None:
            left, right = camera.see(road.left[rows]), camera.see(road.right[rows])
            shapes.append(Area(np.vstack([left, right[::-1]]), "road"))
            shapes += [Stroke(left, "edge", 1.6), Stroke(right, "edge", 1.6)]
        shapes.append(Stroke(line, "edge", 1.0, (5.0, 5.0)))
    return shapes


def _near(places: Places, box: Box, camera: Camera) -> NDArray[np.bool_]:
    """Tell which places a panel may show."""
    reach = 0.75 * float(np.hypot(box.width, box.height)) / camera.px_per_m
    away = np.hypot(places[:, 0] - camera.x_m, places[:, 1] - camera.y_m)
    return np.asarray(away < reach, dtype=np.bool_)


def _stretches(near: NDArray[np.bool_]) -> Iterator[slice]:
    """Give the runs of points in view, one more at each end, two at least."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(np.int8)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        rows = slice(max(int(first) - 1, 0), min(int(last) + 1, len(near)))
        if rows.stop - rows.start >= 2:
            yield rows


def _mark(mark: Mark, box: Box, camera: Camera) -> list[Shape]:
    """Draw a mark across the road, its name beyond one end so that nothing runs over it."""
    ends = camera.see(np.array([mark.left, mark.right]))
    end, other = ends if mark.name in LEFT_NAMED else ends[::-1]
    way = (end - other) / max(float(np.hypot(*(end - other))), 1e-9)
    x, y = (float(one) for one in end + np.array([5.0, 9.0]) * way)
    room = text_width(mark.words, 11.0) + 3.0
    anchor: Literal["start", "end"] = "end" if way[0] < 0.0 else "start"
    if 0.0 < end[0] < box.road_width:
        x = max(x, room) if anchor == "end" else min(x, box.road_width - room)
    return [Stroke(ends, "ink", 1.4), Words(x, y + 4.0, mark.words, 11.0, anchor=anchor)]


LEFT_NAMED: Final = ("brake", "release")
"""Marks named at their left end; the others at their right, so that neighbours do not meet."""


MARK_WIDTH_M: Final = 0.24


def _path(film: Film, reel: Reel, now: Moment, box: Box, camera: Camera) -> list[Shape]:
    """Draw the path behind the car, and what locked and sliding wheels left on the road."""
    rows = slice(0, now.row + 1)
    centre = np.column_stack([reel.x_m, reel.y_m])[rows]
    near = _near(centre, box, camera)
    shapes: list[Shape] = [
        Stroke(camera.see(centre[part]), "soft", 1.0) for part in _stretches(near)
    ]
    cos, sin = np.cos(reel.heading_rad[rows]), np.sin(reel.heading_rad[rows])
    for wheel in range(len(WHEELS)):
        fx, fy = film.body.wheels[wheel]
        places = centre + np.column_stack([fx * cos - fy * sin, fx * sin + fy * cos])
        state = reel.state[rows, wheel]
        for kind in (SLIDING, LOCKED):
            width = MARK_WIDTH_M * camera.px_per_m
            for part in _stretches(near & (state == kind)):
                dash = (2.0, 3.0) if kind == SLIDING else None
                weight = width if kind == LOCKED else 0.6 * width
                shapes.append(Stroke(camera.see(places[part]), "ink", weight, dash))
    return shapes


def _placed(points: Places, now: Moment, scale: float = 1.0) -> Places:
    """Bring places on the car into the plane."""
    cos, sin = np.cos(now.heading_rad), np.sin(now.heading_rad)
    x, y = scale * points[:, 0], scale * points[:, 1]
    return np.column_stack([now.x_m + x * cos - y * sin, now.y_m + x * sin + y * cos])


def _car(film: Film, now: Moment, camera: Camera) -> list[Shape]:
    body = film.body
    shapes: list[Shape] = []
    for wheel, state in enumerate(now.state):
        turn = now.steer_rad if wheel < 2 else 0.0
        outline = _wheel_outline(body.wheel_length_m, body.wheel_width_m, turn)
        tyre = camera.see(_placed(outline + body.wheels[wheel], now))
        shapes += wheel_shapes(tyre, state, 1.0)
    shapes.insert(0, Area(camera.see(_placed(body.hull, now)), "body", "ink", 1.3))
    shapes.insert(1, Area(camera.see(_placed(body.screen, now)), "edge"))
    return shapes


def _wheel_outline(length: float, width: float, turn_rad: float) -> Places:
    """Corners of a wheel about its middle, front left first, going round by the right."""
    half, side = 0.5 * length, 0.5 * width
    corners = np.array([[half, side], [half, -side], [-half, -side], [-half, side]])
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    turned: Places = corners @ np.array([[cos, sin], [-sin, cos]])
    return turned


def wheel_shapes(corners: Places, state: int, weight: float) -> list[Shape]:
    """Draw a wheel with the sign of its state; corners as on the panel, front left first."""
    tyre = Area(corners, f"wheel{state}", "ink", weight)
    if state == ROLLING:
        return [tyre]
    along, across = corners[3] - corners[0], corners[1] - corners[0]

    def bar(*ends: tuple[float, float]) -> Stroke:
        points = np.array([corners[0] + a * along + b * across for a, b in ends])
        return Stroke(points, f"sign{state}", weight)

    if state == NEAR_LIMIT:
        return [tyre, bar((0.5, 0.0), (0.5, 1.0))]
    if state == SLIDING:
        return [tyre, *(bar((a, 0.0), (a + 0.22, 1.0)) for a in (0.12, 0.39, 0.66))]
    return [tyre, bar((0.12, 0.08), (0.88, 0.92)), bar((0.12, 0.92), (0.88, 0.08))]


# ---------------------------------------------------------------- the car close up

BARS_FROM_PX: Final = 280.0
"""A lower panel has no room for the bars below and above the car."""
BAR_HEIGHT: Final = 7.0


def close_up(film: Film, now: Moment, box: Box, units: Units) -> list[Shape]:
    """Draw the car pointing up, its wheels with their states, and what it is doing in numbers."""
    left = box.road_width
    wide = box.width - left
    field = np.array([[left, 0.0], [box.width, 0.0], [box.width, box.height], [left, box.height]])
    number, unit = format_speed(now.speed_mps, units).split(" ")
    x = left + 10.0
    shapes: list[Shape] = [
        Area(field, "paper"),
        Words(x, 30.0, number, 26.0, bold=True),
        Words(x + text_width(number, 26.0, "bold") + 4.0, 30.0, unit, 12.0, "soft"),
    ]
    shapes += _close_car(film, now, left + 0.5 * wide, box)
    if box.height < BARS_FROM_PX:
        return shapes
    shapes += _bar(x, 52.0, wide - 20.0, "pedal", now.pedal_frac / film.pedal_most, "ink")
    base = box.height - 52.0
    shapes.append(Words(x, base - 8.0, "grip used", 11.0, "soft"))
    for row, (axle, use) in enumerate(zip(("front", "rear"), now.axle_use, strict=True)):
        y = base + 12.0 + 24.0 * row
        shapes += _bar(x, y, wide - 20.0, axle, min(use, 1.0), axle)
    return shapes


def _bar(x: float, y: float, width: float, words: str, part: float, role: str) -> list[Shape]:
    """Draw a short word and a bar below it; the frame is the whole."""
    label = 36.0
    x0, x1 = x + label, x + width
    end = x0 + (x1 - x0) * max(part, 0.0)
    frame = _rectangle(x0, y - BAR_HEIGHT, x1, y)
    shapes: list[Shape] = [
        Words(x, y, words, 11.0, role),
        Area(frame, "field1", "edge", 0.8),
    ]
    if end > x0 + 0.5:
        shapes.append(Area(_rectangle(x0, y - BAR_HEIGHT, end, y), role))
    return shapes


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> Places:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _close_car(film: Film, now: Moment, middle_x: float, box: Box) -> list[Shape]:
    body = film.body
    length = float(np.ptp(body.hull[:, 0]))
    alone = box.height < BARS_FROM_PX
    part = look.CAR_LENGTH_ALONE_FRAC if alone else look.CAR_LENGTH_FRAC
    scale = part * box.height / length
    middle = 0.5 * float(np.max(body.hull[:, 0]) + np.min(body.hull[:, 0]))
    at_y = (0.58 if alone else look.CAR_MIDDLE_FRAC) * box.height
    camera = Camera(middle, 0.0, 0.0, scale, middle_x, at_y)
    shapes: list[Shape] = [
        Area(camera.see(body.hull), "body", "edge", 1.3),
        Area(camera.see(body.screen), "edge"),
    ]
    for first in (0, 2):
        ends = camera.see(body.wheels[first : first + 2])
        shapes.append(Stroke(ends, look.AXLE_ROLES[first], 3.0))
    if now.speed_mps > STANDING_MPS:
        way = now.slip_rad
        tip = np.array([[0.0, 0.0], [0.42 * length * np.cos(way), 0.42 * length * np.sin(way)]])
        shapes.append(Stroke(camera.see(tip), "ink", 1.6, (4.0, 3.0)))
    for wheel in range(len(WHEELS)):
        shapes += _close_wheel(film, now, wheel, camera)
    return shapes


def _close_wheel(film: Film, now: Moment, wheel: int, camera: Camera) -> list[Shape]:
    body, state = film.body, now.state[wheel]
    turn = now.steer_rad if wheel < 2 else 0.0
    long, wide = (look.WHEEL_ENLARGED * one for one in (body.wheel_length_m, body.wheel_width_m))
    middle = body.wheels[wheel]
    corners = camera.see(_wheel_outline(long, wide, turn) + middle)
    centre = camera.see(middle[None, :])[0]
    shapes = wheel_shapes(corners, state, 1.5)
    role = look.AXLE_ROLES[wheel]
    along, across = now.push[wheel]
    ahead = along * np.cos(turn) - across * np.sin(turn)
    left = along * np.sin(turn) + across * np.cos(turn)
    shapes += arrow(centre, look.PUSH_PX * np.array([-left, -ahead]), role)
    if state != ROLLING:
        hull = camera.see(body.hull)[:, 1]
        y = float(np.min(hull)) - 6.0 if wheel < 2 else float(np.max(hull)) + 14.0
        shapes.append(
            Words(float(centre[0]), y, look.STATE_SHORT[state], 11.0, bold=True, anchor="middle")
        )
    return shapes


def arrow(start: Places, way: Places, role: str) -> list[Shape]:
    """Draw an arrow; none where it would be shorter than its head."""
    length = float(np.hypot(*way))
    if length < 5.0:
        return []
    ahead = way / length
    side = np.array([-ahead[1], ahead[0]])
    tip = start + way
    back = tip - 5.0 * ahead
    head = np.array([tip, back + 3.0 * side, back - 3.0 * side])
    return [Stroke(np.array([start, back]), role, 2.0), Area(head, role)]
