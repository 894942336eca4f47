"""The traces of one run as a picture: speed, pedal, use of grip, turning, and the wheels' states.

Each is drawn twice, over time and over distance; the page shows one of the two.
A line marks the moment shown; the page moves it.
"""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, floor, log10
from typing import Final, Literal, NamedTuple

import numpy as np

from foreaft.base.units import kmh_from_mps, mph_from_mps
from foreaft.drive.trace import ROLLING, WHEELS, Floats
from foreaft.report import demonstration_look as look
from foreaft.report import style
from foreaft.report.demonstration_data import Film, Reel
from foreaft.report.measure import text_width
from foreaft.report.style import text
from foreaft.report.svg import Markup, document, el, group, num, path
from foreaft.report.words import Units, length_number, length_unit

Axis = Literal["time", "distance"]

WIDTH: Final = style.FIGURE_WIDTH
LEFT: Final = 34.0
RIGHT: Final = WIDTH - 8.0
TOP: Final = 26.0
"""Room for the names of the marks."""
GAP: Final = 22.0
POINTS_MOST: Final = 220
"""More points than this do not show at this width."""
ROW: Final = 11.0
SHORT: Final = ("FL", "FR", "RL", "RR")


class Band(NamedTuple):
    """One chart of the stack: its place and its scale."""

    top: float
    bottom: float
    low: float
    high: float

    def y(self, value: float) -> float:
        """Height of a value on the picture."""
        part = (value - self.low) / (self.high - self.low)
        return self.bottom - part * (self.bottom - self.top)


class Ruler(NamedTuple):
    """One axis along the charts."""

    axis: Axis
    low: float
    high: float

    def x(self, value: float) -> float:
        """Place of a value on the picture."""
        return LEFT + (value - self.low) / (self.high - self.low) * (RIGHT - LEFT)


class Scales(NamedTuple):
    """What all runs of a film share, so that their charts can be compared."""

    time: Ruler
    distance: Ruler
    speed: Band
    pedal: Band
    use: Band
    turn: Band
    wheels: float
    """Top of the rows of the wheels."""
    height: float


def scales(film: Film) -> Scales:
    """Measure all runs."""
    reels, units = film.reels, film.scene.units
    s_low = min(float(np.min(reel.s_m)) for reel in reels)
    s_high = max(float(np.max(reel.s_m)) for reel in reels)
    fastest = max(float(np.max(speed_number(reel.speed_mps, units))) for reel in reels)
    rates = [np.concatenate([reel.yaw_rate_radps, reel.road_rate_radps]) for reel in reels]
    turning = np.degrees(np.concatenate(rates))
    low, high = min(float(np.min(turning)), 0.0), max(float(np.max(turning)), 0.0)
    low, high = 10.0 * floor(low / 10.0), 10.0 * ceil(high / 10.0)
    if high - low < 10.0:
        high = low + 10.0
    tops = [TOP + GAP]
    for height in (70.0, 40.0, 52.0, 56.0):
        tops.append(tops[-1] + height + GAP)
    return Scales(
        time=Ruler("time", 0.0, film.duration_s),
        distance=Ruler("distance", s_low, max(s_high, s_low + 1.0)),
        speed=Band(tops[0], tops[1] - GAP, 0.0, 50.0 * ceil(max(fastest, 1.0) / 50.0)),
        pedal=Band(tops[1], tops[2] - GAP, 0.0, 0.1 * ceil(10.0 * film.pedal_most - 1e-6)),
        use=Band(tops[2], tops[3] - GAP, 0.0, 1.0),
        turn=Band(tops[3], tops[4] - GAP, low, high),
        wheels=tops[4],
        height=tops[4] + len(WHEELS) * ROW + 22.0,
    )


def speed_number(speed_mps: Floats, units: Units) -> Floats:
    """Convert speeds to the user's unit."""
    return kmh_from_mps(speed_mps) if units == "metric" else mph_from_mps(speed_mps)


def draw(film: Film, reel: Reel, shared: Scales, name: str) -> str:
    """Draw the charts of one run; ``name`` prefixes the identities inside."""
    both = [_stack(film, reel, shared, ruler) for ruler in (shared.time, shared.distance)]
    return document(
        WIDTH,
        shared.height,
        style.background(WIDTH, shared.height),
        _frames(film, reel, shared),
        *both,
        el(
            "line",
            x1=LEFT,
            y1=TOP,
            x2=LEFT,
            y2=shared.height - 18.0,
            **{**style.stroke("ink", 1.4), "class_": "s-ink now"},
        ),
        name=name,
        title=f"Traces of {reel.label}",
        desc=_describe(reel),
    )


def _describe(reel: Reel) -> str:
    most = [f"{axle} {100.0 * float(np.max(reel.axle_use[:, i])):.0f} %" for i, axle in _AXLES]
    worst = [
        f"{wheel.replace('_', ' ')} {look.STATE_WORDS[int(np.max(reel.state[:, i]))]}"
        for i, wheel in enumerate(WHEELS)
    ]
    return (
        f"Speed, pedal, use of grip, turning and wheels over {reel.duration_s:.1f} s. "
        f"Most grip used: {', '.join(most)}. Worst of each wheel: {', '.join(worst)}. "
        f"{reel.sentence}"
    )


_AXLES: Final = ((0, "front"), (1, "rear"))


# ---------------------------------------------------------------- what does not move


def _frames(film: Film, reel: Reel, shared: Scales) -> Markup:
    units = film.scene.units
    planned = film.reels[0]
    unit = "km/h" if units == "metric" else "mph"
    dashed = [] if reel is planned else [("ink", "dashed: as planned")]
    parts = [
        *_frame(shared.speed, f"speed, {unit}", dashed, [0.0, shared.speed.high], "{:.0f}"),
        *_frame(shared.pedal, "pedal, % of the planned run's most", [], [0.0, 1.0], "{:.0%}"),
        *_frame(
            shared.use,
            "grip used, %",
            [("front", "▲ front"), ("rear", "▼ rear, dashed")],
            [0.0, 1.0],
            "{:.0%}",
        ),
        *_frame(
            shared.turn,
            "turning, °/s",
            [("ink", "car"), ("soft", "dashed: what the line asks")],
            sorted({shared.turn.low, 0.0, shared.turn.high}),
            "{:.0f}",
        ),
    ]
    parts.append(text(LEFT, shared.wheels - 6.0, "wheels", size=10.0, bold=True))
    for row, word in enumerate(SHORT):
        y = shared.wheels + row * ROW
        role = look.AXLE_ROLES[row]
        parts.append(text(LEFT - 5.0, y + 9.0, word, size=9.5, role=role, anchor="end"))
        parts.append(
            el(
                "line",
                x1=LEFT,
                x2=RIGHT,
                y1=y + 0.5 * ROW,
                y2=y + 0.5 * ROW,
                **style.stroke("rule", 0.8),
            )
        )
    return group(*parts)


def _frame(
    band: Band, title: str, key: list[tuple[str, str]], ticks: list[float], shown: str
) -> list[Markup]:
    parts = [text(LEFT, band.top - 6.0, title, size=10.0, bold=True)]
    x = LEFT + text_width(title, 10.0, "bold") + 12.0
    for role, words in key:
        parts.append(text(x, band.top - 6.0, words, size=10.0, role=role))
        x += text_width(words, 10.0) + 12.0
    for tick in ticks:
        y, word = band.y(tick), shown.format(tick).rstrip("%")
        line = {"x1": LEFT, "x2": RIGHT, "y1": y, "y2": y}
        parts.append(el("line", **line, **style.stroke("rule", 0.8)))
        parts.append(text(LEFT - 5.0, y + 3.5, word, size=9.5, role="soft", anchor="end"))
    return parts


# ---------------------------------------------------------------- what is drawn over an axis


def _stack(film: Film, reel: Reel, shared: Scales, ruler: Ruler) -> Markup:
    units = film.scene.units
    planned = film.reels[0]
    kept = _thin(reel)
    along = _along(reel, ruler)

    def curve(band: Band, values: Floats, role: str, width: float, dash: str = "") -> Markup:
        points = [(ruler.x(along[i]), band.y(float(values[i]))) for i in kept]
        line = style.stroke(role, width)
        return el(
            "path", d=path(points), stroke_linejoin="round", stroke_dasharray=dash or None, **line
        )

    parts = _mark_lines(film, reel, ruler, shared)
    if reel is not planned:
        parts += _beside(planned, ruler, shared, units)
    front, rear = reel.axle_use[:, 0], reel.axle_use[:, 1]
    parts += [
        curve(shared.speed, speed_number(reel.speed_mps, units), "ink", 1.7),
        curve(shared.pedal, np.maximum(reel.pedal_frac, 0.0), "ink", 1.7),
        curve(shared.use, np.minimum(front, 1.0), "front", 1.7),
        curve(shared.use, np.minimum(rear, 1.0), "rear", 1.7, "5 2"),
        curve(shared.turn, np.degrees(reel.road_rate_radps), "soft", 1.3, "3 3"),
        curve(shared.turn, np.degrees(reel.yaw_rate_radps), "ink", 1.7),
        *_wheel_rows(reel, along, ruler, shared),
        _foot(ruler, shared, units),
    ]
    hidden = "none" if ruler.axis == "distance" else None
    return group(*parts, class_=f"over-{ruler.axis}", display=hidden)


def _along(reel: Reel, ruler: Ruler) -> Floats:
    return reel.time_s if ruler.axis == "time" else np.maximum.accumulate(reel.s_m)


def _thin(reel: Reel) -> list[int]:
    last = len(reel.time_s) - 1
    step = max(1, ceil(last / POINTS_MOST))
    return [*range(0, last, step), last]


def _beside(planned: Reel, ruler: Ruler, shared: Scales, units: Units) -> list[Markup]:
    """Draw the planned run's speed and pedal thinly, to be compared with."""
    along, kept = _along(planned, ruler), _thin(planned)
    pairs: list[tuple[Band, Floats]] = [
        (shared.speed, speed_number(planned.speed_mps, units)),
        (shared.pedal, planned.pedal_frac),
    ]
    return [
        el(
            "path",
            d=path([(ruler.x(along[i]), band.y(max(float(values[i]), 0.0))) for i in kept]),
            stroke_dasharray="2 2",
            **style.stroke("soft", 1.0),
        )
        for band, values in pairs
    ]


def _mark_lines(film: Film, reel: Reel, ruler: Ruler, shared: Scales) -> list[Markup]:
    """Draw where the marks are passed; their names stand in two rows so as not to meet."""
    parts: list[Markup] = []
    ends = [LEFT - 99.0, LEFT - 99.0]
    bands = [(TOP + 2.0, TOP + 7.0), (shared.wheels, shared.wheels + len(WHEELS) * ROW)]
    bands += [one[:2] for one in (shared.speed, shared.pedal, shared.use, shared.turn)]
    for mark in film.marks:
        time = reel.reaches(mark.s_m)
        if time is None:
            continue
        x = ruler.x(time if ruler.axis == "time" else mark.s_m)
        drawn = "".join(f"M{num(x)} {num(top)}V{num(end)}" for top, end in bands)
        parts.append(el("path", d=drawn, **style.stroke("rule", 1.0)))
        half = 0.5 * text_width(mark.words, 9.5)
        middle = min(max(x, LEFT + half), RIGHT - half)
        row = 0 if middle - half >= ends[0] + 3.0 else 1
        ends[row] = middle + half
        y = TOP - 1.0 - 11.0 * row
        parts.append(text(middle, y, mark.words, size=9.5, role="soft", anchor="middle"))
    return parts


def _wheel_rows(reel: Reel, along: Floats, ruler: Ruler, shared: Scales) -> list[Markup]:
    """Draw when each wheel was near its limit, sliding or locked, as bars with the state's sign."""
    parts: list[Markup] = []
    for wheel in range(len(WHEELS)):
        state = reel.state[:, wheel]
        y = shared.wheels + wheel * ROW
        starts = [0, *(int(i) + 1 for i in np.flatnonzero(np.diff(state)))]
        for first, after in zip(starts, [*starts[1:], len(state) - 1], strict=True):
            kind = int(state[first])
            if kind == ROLLING or after <= first:
                continue
            x0, x1 = ruler.x(along[first]), ruler.x(along[after])
            parts += _state_bar(x0, max(x1 - x0, 1.0), y, kind)
    return parts


def _state_bar(x: float, width: float, y: float, kind: int) -> list[Markup]:
    """Low and plain for near the limit, higher and striped for sliding, full for locked."""
    height = (0.0, 4.0, 6.5, 9.0)[kind]
    top = y + 0.5 * (ROW - height)
    bar = el("rect", x=x, y=top, width=width, height=height, **_paint(f"wheel{kind}"))
    if kind != 2 or width < 3.0:
        return [bar]
    stripes = "".join(
        f"M{num(x + i)} {num(top)}V{num(top + height)}" for i in np.arange(2.0, width, 4.0)
    )
    line = {"fill": "none", "stroke": look.LIGHT["sign2"], "class_": "s-sign2"}
    return [bar, el("path", d=stripes, stroke_width=1.2, **line)]


def _paint(role: str) -> dict[str, str]:
    return {"fill": look.LIGHT[role], "class_": f"f-{role}"}


def _foot(ruler: Ruler, shared: Scales, units: Units) -> Markup:
    """Write the numbers along the axis."""
    y = shared.wheels + len(WHEELS) * ROW + 12.0
    convert: Callable[[float], float] = float
    unit, start = "s", 0.0
    if ruler.axis == "distance":
        unit, start = length_unit(units), ruler.low

        def convert(value: float) -> float:
            return length_number(value, units)

    span = convert(ruler.high - start)
    step = _nice(span / 5.0)
    parts: list[Markup] = []
    for i in range(floor(span / step) + 1):
        value = i * step
        x = ruler.x(start + value * (ruler.high - start) / span)
        words = f"{value:g} {unit}" if i == 0 else f"{value:g}"
        anchor: Literal["start", "middle"] = "start" if i == 0 else "middle"
        parts.append(text(x, y, words, size=9.5, role="soft", anchor=anchor))
    return group(*parts)


def _nice(least: float) -> float:
    """Give the next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** floor(log10(least))
    return next(one * power for one in (1.0, 2.0, 5.0, 10.0) if one * power >= least * 0.999)
