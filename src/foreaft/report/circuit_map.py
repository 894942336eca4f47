"""The circuit with its zones, the setting at each brake point, and where the hand moves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.model.answers import Outline, Plan, ZoneFace
from foreaft.report import style
from foreaft.report.changes import Change, changes, codes, short_codes
from foreaft.report.labels import LEADER_LEAST, Box, Sheet, nearest, place
from foreaft.report.measure import shorten, text_width
from foreaft.report.style import FIGURE_WIDTH, text
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.words import (
    Units,
    format_length,
    format_setting,
    format_speed,
    length_number,
)

Floats = NDArray[np.float64]

SIDE_MARGIN: Final = 44.0
TOP_MARGIN: Final = 28.0
KEY_HEIGHT: Final = 22.0
SPOT_PX: Final = 2.5
"""Lines are made of spots so far apart when labels look for a place."""

SIZES: Final = (1.0, 0.86, 0.72)
"""Of the room there is, a lap with many changes takes less, so that its labels find a place."""

LEAST_HEIGHT: Final = 150.0
TALLEST: Final = 330.0
HAND_PLACES_FRAC: Final = (0.45, 0.35, 0.55, 0.65, 0.25, 0.75, 0.85, 0.15)
"""Where on the way from the last apex to the brake point the mark of the hand may be put, the
first best."""

HAND_CLEAR_PX: Final = 14.0

NICE: Final = (1.0, 2.0, 5.0)


class Track(NamedTuple):
    """The outline on the picture: places by distance, and the scale."""

    outline: Outline
    x: Floats
    y: Floats
    px_per_m: float
    height: float
    round_m: Floats
    """Distances from the last point before the line to the first one after the lap (n + 2,)."""
    row: NDArray[np.intp]
    """Which point lies at each of them."""

    def at(self, s_m: float) -> tuple[float, float]:
        """Place on the picture of one distance along the lap."""
        [(x, y)] = self.all_at(np.array([s_m]))
        return x, y

    def all_at(self, s_m: Floats) -> list[tuple[float, float]]:
        """Places on the picture of many distances along the lap."""
        s = s_m % self.outline.length_m
        x, y = (np.interp(s, self.round_m, one[self.row]) for one in (self.x, self.y))
        return list(zip(x.tolist(), y.tolist(), strict=True))

    def stretch(self, start_m: float, end_m: float) -> list[tuple[float, float]]:
        """Points of the line from one distance to another, going forward."""
        way = (end_m - start_m) % self.outline.length_m
        count = max(2, int(way * self.px_per_m / 3.0) + 2)
        return self.all_at(start_m + way * np.arange(count) / (count - 1))

    def normal(self, s_m: float) -> tuple[float, float]:
        """Unit normal, to the left of travel as seen on the picture."""
        (x0, y0), (x1, y1) = self.at(s_m - 4.0), self.at(s_m + 4.0)
        length = float(np.hypot(x1 - x0, y1 - y0)) or 1.0
        return (y1 - y0) / length, -(x1 - x0) / length


def draw(plan: Plan, units: Units = "metric", name: str = "map", tallest: float = TALLEST) -> str:
    """Draw the circuit; a zone sheet without an outline becomes a strip of its zones.

    The picture is as wide as all others and at most ``tallest`` high, so that its letters keep
    their size wherever it is put.
    """
    if plan.outline is None or not _placed(plan):
        return _strip(plan, name, tallest)
    moved = changes(plan)
    track, hands, points, placed = _lay_out(plan, plan.outline, moved, tallest)
    return document(
        FIGURE_WIDTH,
        track.height,
        style.background(FIGURE_WIDTH, track.height),
        _road(track),
        *[_zone_stretch(track, zone) for zone in plan.zones],
        _start(track),
        *[_hand_mark(at, change) for at, change in zip(hands, moved, strict=True)],
        *_leaders(points, placed),
        *_zone_labels(_zone_words(plan), placed),
        *_hand_labels(plan, moved, placed[len(plan.zones) :]),
        _scale_bar(track, units),
        _key(track) if moved else _key_braking(track),
        name=name,
        title="Where to brake at which setting, and where the hand moves",
        desc=describe(plan),
    )


class _Layout(NamedTuple):
    """The circuit at its size, the marks of the hand, and the labels with their points."""

    track: Track
    hands: list[tuple[float, float]]
    points: list[tuple[float, float]]
    placed: list[Box]


def _lay_out(plan: Plan, outline: Outline, moved: list[Change], tallest: float) -> _Layout:
    """Draw the circuit as large as leaves every label a place of its own."""
    sizes = [_zone_size(*pair) for pair in _zone_words(plan)]
    sizes += [_flag_size(_hand_words(plan, change)) for change in moved]
    found: list[tuple[int, _Layout]] = []
    for size in SIZES:
        track = _fit(outline, tallest, size)
        hands = [track.at(hand_s_m(plan, change, track)) for change in moved]
        points = [track.at(_known(zone.brake_s_m)) for zone in plan.zones] + hands
        placed, hiding = place(sizes, points, _sheet(track, plan.zones, hands))
        found.append((hiding, _Layout(track, hands, points, placed)))
        if not hiding:
            break
    return min(found, key=lambda one: one[0])[1]


def zones_map(outline: Outline, zones: list[ZoneFace], units: Units = "metric") -> str:
    """Draw a circuit with its braking zones alone, before there is a plan.

    Raises
    ------
    ValueError
        If a zone has no place on the circuit.
    """
    track = _fit(outline, TALLEST)
    words = [(code, "") for code in short_codes([zone.name for zone in zones])]
    points = [track.at(_known(zone.brake_s_m)) for zone in zones]
    placed, _ = place([_zone_size(*pair) for pair in words], points, _sheet(track, zones, []))
    said = [f"{zone.name} from {format_speed(zone.approach_speed_mps, units)}" for zone in zones]
    return document(
        FIGURE_WIDTH,
        track.height,
        style.background(FIGURE_WIDTH, track.height),
        _road(track),
        *[_zone_stretch(track, zone) for zone in zones],
        _start(track),
        *_leaders(points, placed),
        *_zone_labels(words, placed),
        _scale_bar(track, units),
        _key_braking(track),
        name="zones",
        title="The braking zones of the circuit",
        desc=f"{len(zones)} zones in driving order: {'; '.join(said)}.",
    )


def describe(plan: Plan) -> str:
    """Say the changes in words."""
    step, short = plan.adjuster.step, codes(plan)
    said = [
        f"after {short[c.after]}, before {short[c.before]}: {format_setting(c.setting, step)}, "
        f"towards the {c.axle}"
        for c in changes(plan)
    ]
    return f"Changes in driving order: {'; '.join(said)}." if said else "No changes on this lap."


def _placed(plan: Plan) -> bool:
    return all(z.brake_s_m is not None and z.apex_s_m is not None for z in plan.zones)


def _fit(outline: Outline, tallest: float, size: float = 1.0) -> Track:
    """Scale the outline into the picture; north stays wherever the data had it."""
    x, y = np.asarray(outline.x_m), np.asarray(outline.y_m)
    wide, tall = max(float(np.ptp(x)), 1.0), max(float(np.ptp(y)), 1.0)
    around = 2.0 * TOP_MARGIN + KEY_HEIGHT
    scale = min((FIGURE_WIDTH - 2.0 * SIDE_MARGIN) / wide, (tallest - around) / tall)
    height = max(LEAST_HEIGHT, tall * scale + around)
    scale *= size
    left = (FIGURE_WIDTH - wide * scale) / 2.0
    top = (height - KEY_HEIGHT - tall * scale) / 2.0
    return Track(
        outline,
        left + (x - x.min()) * scale,
        top + (y.max() - y) * scale,
        scale,
        height,
        *_round(outline),
    )


def _round(outline: Outline) -> tuple[Floats, NDArray[np.intp]]:
    """Distances in order with one point beyond either end, and the row each belongs to."""
    s = np.asarray(outline.s_m) % outline.length_m
    row = np.argsort(s, kind="stable")
    before, after = s[row[-1:]] - outline.length_m, s[row[:1]] + outline.length_m
    return np.concatenate([before, s[row], after]), np.concatenate([row[-1:], row, row[:1]])


def _road(track: Track) -> Markup:
    points = list(zip(track.x.tolist(), track.y.tolist(), strict=True))
    line = path(points, closed=_is_closed(track))
    return group(
        el("path", d=line, stroke_linejoin="round", **style.stroke("rule", 7.0)),
        el("path", d=line, stroke_linejoin="round", **style.stroke("paper", 4.6)),
    )


def _is_closed(track: Track) -> bool:
    """Tell a lap from a hill: a lap's ends lie no further apart than its points do."""
    steps = np.hypot(np.diff(track.x), np.diff(track.y))
    gap = np.hypot(track.x[-1] - track.x[0], track.y[-1] - track.y[0])
    return bool(gap <= 3.0 * steps.max())


def _zone_stretch(track: Track, zone: ZoneFace) -> Markup:
    brake, apex = _known(zone.brake_s_m), _known(zone.apex_s_m)
    bar = _bar(track, brake, 6.5)
    ax, ay = track.at(apex)
    return group(
        el("path", d=path(track.stretch(brake, apex)), **style.stroke("ink", 4.0)),
        el("path", d=path(bar), **style.stroke("ink", 2.4)),
        el("circle", cx=ax, cy=ay, r=2.6, **style.both("paper", "ink", 1.3)),
    )


def _bar(track: Track, s_m: float, half: float) -> list[tuple[float, float]]:
    """Ends of a bar across the road."""
    (x, y), (nx, ny) = track.at(s_m), track.normal(s_m)
    return [(x - half * nx, y - half * ny), (x + half * nx, y + half * ny)]


def _known(value: float | None) -> float:
    if value is None:
        raise ValueError("a zone without a place cannot be drawn on a map")
    return value


def hand_s_m(plan: Plan, change: Change, track: Track) -> float:
    """Give the place of the mark of the hand: on the way from the last apex to the brake point.

    Where another mark stands in the middle of that way, or the road comes back close by, the mark
    moves along it.
    """
    start = _known(plan.zones[change.after].apex_s_m)
    way = (_known(plan.zones[change.before].brake_s_m) - start) % track.outline.length_m
    places = [start + part * (way or track.outline.length_m) for part in HAND_PLACES_FRAC]
    taken = [track.at(_known(s)) for zone in plan.zones for s in (zone.brake_s_m, zone.apex_s_m)]

    def room(s_m: float) -> float:
        x, y = track.at(s_m)
        return min(HAND_CLEAR_PX, *(float(np.hypot(x - tx, y - ty)) for tx, ty in taken))

    return max(places, key=room)


def _hand_mark(at: tuple[float, float], change: Change) -> Markup:
    return group(
        el("circle", cx=at[0], cy=at[1], r=7.0, **style.both("paper", change.axle, 2.4)),
        style.triangle(*at, 4.2, change.axle),
    )


def _start(track: Track) -> Markup:
    return group(
        el(
            "path",
            d=path(_bar(track, 0.0, 8.0)),
            stroke_dasharray="2.4 1.6",
            **style.stroke("ink", 3.2),
        ),
        _travel(track),
    )


def _travel(track: Track) -> Markup:
    """Draw an arrow beside the start, on the outside, the way the cars go."""
    line, head = _arrow(track)
    return group(
        el("path", d=path(line), **style.stroke("ink", 2.0)),
        el("path", d=path(head, closed=True), **style.fill("ink")),
    )


def _arrow(track: Track) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Shaft and head of the arrow of travel."""
    x, y = track.at(0.0)
    nx, ny = track.normal(0.0)
    middle = (float(track.x.mean()), float(track.y.mean()))
    side = 13.0 if (x - middle[0]) * nx + (y - middle[1]) * ny > 0 else -13.0
    tx, ty = -ny, nx
    x, y = x + side * nx, y + side * ny
    line = [(x - 13.0 * tx, y - 13.0 * ty), (x + 8.0 * tx, y + 8.0 * ty)]
    head = [
        (x + 15.0 * tx, y + 15.0 * ty),
        (x + 6.0 * tx + 4.5 * nx, y + 6.0 * ty + 4.5 * ny),
        (x + 6.0 * tx - 4.5 * nx, y + 6.0 * ty - 4.5 * ny),
    ]
    return line, head


def _sheet(track: Track, zones: Sequence[ZoneFace], hands: list[tuple[float, float]]) -> Sheet:
    """Gather all that labels must not cover: the road and every mark on it."""
    road = list(zip(track.x.tolist(), track.y.tolist(), strict=True))
    if _is_closed(track):
        road.append(road[0])
    line, head = _arrow(track)
    spots = [_spots(road, 3.5), _spots(line, 1.0), _spots([*head, head[0]], 1.5)]
    spots.append(_spots(_bar(track, 0.0, 8.0), 1.6))
    for zone in zones:
        spots.append(_spots(_bar(track, _known(zone.brake_s_m), 6.5), 1.2))
        spots.append(np.array([(*track.at(_known(zone.apex_s_m)), 3.3)]))
    spots.append(np.array([(*at, 8.2) for at in hands]).reshape(-1, 3))
    return Sheet(FIGURE_WIDTH, track.height - KEY_HEIGHT, np.vstack(spots))


def _spots(points: list[tuple[float, float]], radius: float) -> Floats:
    """Turn a line into discs close together."""
    corners = np.array(points)
    along = np.concatenate([[0.0], np.hypot(*np.diff(corners, axis=0).T).cumsum()])
    at = np.linspace(0.0, along[-1], max(2, int(along[-1] / SPOT_PX) + 2))
    x, y = (np.interp(at, along, values) for values in corners.T)
    return np.column_stack([x, y, np.full_like(x, radius)])


def _zone_words(plan: Plan) -> list[tuple[str, str]]:
    step = plan.adjuster.step
    shown = [
        format_setting(zone.setting, step) + ("?" if zone.advice == "cannot_tell" else "")
        for zone in plan.zones
    ]
    return list(zip(codes(plan), shown, strict=True))


def _hand_words(plan: Plan, change: Change) -> str:
    shown = format_setting(change.setting, plan.adjuster.step)
    return f"{shown} {style.LETTER[change.axle]}"


def _zone_size(code: str, shown: str) -> tuple[float, float]:
    width = text_width(f"{code} ", 8.5) + text_width(shown, 9.5, "bold")
    return width + 3.0, 11.0


def _flag_size(words: str) -> tuple[float, float]:
    return text_width(words, 12.0, "bold") + 20.0, 18.0


def _leaders(points: list[tuple[float, float]], placed: list[Box]) -> list[Markup]:
    lines = []
    for point, label in zip(points, placed, strict=True):
        end = nearest(label, point)
        if np.hypot(end[0] - point[0], end[1] - point[1]) > LEADER_LEAST:
            lines.append(el("path", d=path([point, end]), **style.stroke("soft", 0.8)))
    return lines


def _zone_labels(words: list[tuple[str, str]], placed: list[Box]) -> list[Markup]:
    parts = []
    for (code, shown), label in zip(words, placed, strict=False):
        x = label.x + 1.5 + text_width(f"{code} ", 8.5)
        parts.append(
            group(
                text(label.x + 1.5, label.y + 8.8, code, size=8.5, role="soft"),
                text(x, label.y + 8.8, shown, size=9.5, bold=True),
            )
        )
    return parts


def _hand_labels(plan: Plan, moved: list[Change], placed: list[Box]) -> list[Markup]:
    return [
        _flag(label.x, label.y, label.width, _hand_words(plan, change), change)
        for change, label in zip(moved, placed, strict=True)
    ]


def _flag(x: float, y: float, width: float, words: str, change: Change) -> Markup:
    return group(
        el("rect", x=x, y=y, width=width, height=18.0, rx=3.0, **style.fill(change.axle)),
        _paper_triangle(x + 9.0, y + 9.0, change),
        text(x + 17.0, y + 13.2, words, size=12.0, bold=True, role="paper"),
    )


def _paper_triangle(x: float, y: float, change: Change) -> Markup:
    up = -1.0 if change.axle == "front" else 1.0
    corners = [(x, y + up * 5.0), (x - 4.8, y - up * 3.6), (x + 4.8, y - up * 3.6)]
    return el("path", d=path(corners, closed=True), **style.fill("paper"))


def _scale_bar(track: Track, units: Units) -> Markup:
    per_unit = track.px_per_m / length_number(1.0, units)
    most = 0.25 * FIGURE_WIDTH / per_unit
    power = 10.0 ** np.floor(np.log10(most))
    shown = float(max(n * power for n in NICE if n * power <= most))
    length, y = shown * per_unit, track.height - 9.0
    x = FIGURE_WIDTH - 8.0 - length
    bar = [(x, y - 4.0), (x, y), (x + length, y), (x + length, y - 4.0)]
    words = format_length(shown / length_number(1.0, units), units)
    return group(
        el("path", d=path(bar), **style.stroke("ink", 1.2)),
        text(x - 4.0, y + 1.0, words, size=8.8, role="soft", anchor="end"),
    )


def _key_braking(track: Track) -> Markup:
    y = track.height - 8.0
    return group(
        el("path", d=path([(8.0, y - 3.0), (22.0, y - 3.0)]), **style.stroke("ink", 4.0)),
        el("path", d=path([(8.0, y - 8.5), (8.0, y + 2.5)]), **style.stroke("ink", 2.0)),
        text(27.0, y, "braking", size=8.8, role="soft"),
    )


def _key(track: Track) -> Markup:
    y = track.height - 8.0
    return group(
        _key_braking(track),
        el("circle", cx=78.0, cy=y - 3.0, r=5.5, **style.both("paper", "front", 1.8)),
        style.triangle(78.0, y - 3.0, 3.4, "front"),
        el("circle", cx=92.0, cy=y - 3.0, r=5.5, **style.both("paper", "rear", 1.8)),
        style.triangle(92.0, y - 3.0, 3.4, "rear"),
        text(101.0, y, "the hand moves: F front, R rear", size=8.8, role="soft"),
    )


PER_ROW: Final = (4, 6)
BOX_HEIGHT: Final = 48.0
ROW_HEIGHT: Final = 74.0
STRIP_KEY: Final = 34.0


def _strip(plan: Plan, name: str, tallest: float) -> str:
    """Draw the zones in driving order, row by row, where nothing is known of their places."""
    count = len(plan.zones)
    fitting = [n for n in PER_ROW if -(-count // n) * ROW_HEIGHT + STRIP_KEY <= tallest]
    per_row = fitting[0] if fitting else PER_ROW[-1]
    height = -(-count // per_row) * ROW_HEIGHT + STRIP_KEY
    moved = {change.before: change for change in changes(plan)}
    boxes = [
        _box(plan, index, per_row, words, moved.get(index))
        for index, words in enumerate(_zone_words(plan))
    ]
    return document(
        FIGURE_WIDTH,
        height,
        style.background(FIGURE_WIDTH, height),
        *boxes,
        *([_strip_key(height)] if moved else []),
        name=name,
        title="Zones in driving order, their settings, and where the hand moves",
        desc=describe(plan),
    )


def _box(
    plan: Plan, index: int, per_row: int, words: tuple[str, str], moved: Change | None
) -> Markup:
    zone, pitch = plan.zones[index], (FIGURE_WIDTH - 10.0) / per_row
    x, y = 14.0 + (index % per_row) * pitch, 26.0 + (index // per_row) * ROW_HEIGHT
    wide = pitch - 14.0
    side = {"left": "‹ ", "right": "› ", "none": ""}[zone.direction]
    edge = style.both("field1", "ink", 2.4 if moved else 0.8)
    parts = [
        el("path", d=path([(x - 13.0, y + 24.0), (x, y + 24.0)]), **style.stroke("rule", 5.0)),
        el("rect", x=x, y=y, width=wide, height=BOX_HEIGHT, rx=4.0, **edge),
        text(x + 5.0, y + 14.0, side + words[0], size=10.0, bold=True),
        text(x + wide - 5.0, y + 31.0, words[1], size=15.0, bold=True, anchor="end"),
    ]
    if zone.name.upper() != words[0]:
        name = shorten(zone.name, wide - 9.0, 8.8)
        parts.append(text(x + 5.0, y + 44.0, name, size=8.8, role="soft"))
    if moved:
        shown = _hand_words(plan, moved)
        wide, _ = _flag_size(shown)
        parts.append(_flag(x - 10.0, y - 19.0, wide, shown, moved))
    return group(*parts)


def _strip_key(height: float) -> Markup:
    words = "A flag stands where the hand moves: on the way to the zone below it."
    return text(14.0, height - 8.0, words, size=8.8, role="soft")
