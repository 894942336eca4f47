"""The ideal share through one zone, metre by metre, with the share the setting gives."""

from __future__ import annotations

from math import ceil, floor
from typing import Final, NamedTuple

from foreaft.model.answers import Axle, Plan, Profile, ZonePlan
from foreaft.report import style
from foreaft.report.measure import shorten, text_width
from foreaft.report.style import FIGURE_WIDTH, text
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.words import (
    Units,
    format_decel,
    format_setting,
    format_speed,
    length_number,
    length_unit,
)

LEFT: Final = 40.0
RIGHT: Final = 12.0
TOP: Final = 50.0
PLOT: Final = 130.0
STRIP_TOP: Final = 213.0
STRIP: Final = 44.0
HEIGHT: Final = 292.0
LEAST_SPAN_FRAC: Final = 0.06
FIRM_PEDAL_FRAC: Final = 0.4

Points = list[tuple[float, float]]


class Axes(NamedTuple):
    """Where metres and shares lie on the picture."""

    start_m: float
    end_m: float
    low: float
    high: float

    def x(self, s_m: float) -> float:
        """Place along the zone."""
        way = (s_m - self.start_m) / (self.end_m - self.start_m)
        return LEFT + way * (FIGURE_WIDTH - LEFT - RIGHT)

    def y(self, share: float) -> float:
        """Height of a share; what lies outside the plot is drawn at its edge."""
        part = (share - self.low) / (self.high - self.low)
        return TOP + PLOT * (1.0 - min(max(part, 0.0), 1.0))


def draw(plan: Plan, zone: ZonePlan, units: Units = "metric", name: str = "share") -> str:
    """Draw one zone of a plan."""
    if len(zone.profile.s_m) < 2 or zone.profile.s_m[-1] <= zone.profile.s_m[0]:
        return _too_short(plan, zone, name)
    axes = _axes(zone)
    profile = zone.profile
    return document(
        FIGURE_WIDTH,
        HEIGHT,
        el(
            "defs",
            style.hatch(f"{name}-front", "front"),
            style.hatch(f"{name}-rear", "rear", slope="down"),
        ),
        style.background(FIGURE_WIDTH, HEIGHT),
        _heading(plan, zone),
        _band(axes, profile),
        *_spent(axes, zone, name),
        _curve(axes, profile.s_m, profile.ideal_torque_share_frac),
        _setting_line(axes, plan, zone),
        _scale(axes),
        *_phases(axes, profile),
        _strip(axes, profile, units),
        _metres(axes, units),
        name=name,
        title=f"{zone.name}: ideal share and the share of the setting",
        desc=describe(plan, zone),
    )


def _too_short(plan: Plan, zone: ZonePlan, name: str) -> str:
    words = "Too little braking here to draw."
    return document(
        FIGURE_WIDTH,
        60.0,
        style.background(FIGURE_WIDTH, 60.0),
        _heading(plan, zone),
        text(4.0, 48.0, words, size=9.0),
        name=name,
        title=f"{zone.name}: ideal share and the share of the setting",
        desc=words,
    )


def describe(plan: Plan, zone: ZonePlan) -> str:
    """Say the picture in words."""
    ideal = [value for value in zone.profile.ideal_torque_share_frac if value is not None]
    shown = format_setting(zone.setting, plan.adjuster.step)
    has = f"At {shown} the front does {100 * zone.torque_share_frac:.1f} % of the braking torque."
    if not ideal:
        return f"{has} No ideal share is known in this zone."
    low, high = 100 * min(ideal), 100 * max(ideal)
    return f"{has} The ideal runs between {low:.1f} and {high:.1f} % from brake point to apex."


def phase_places(profile: Profile) -> list[tuple[str, float]]:
    """Find brake point, turn-in and release in a profile; the apex is its end.

    Turn-in is where the curvature first exceeds a tenth of its largest value.
    """
    braked = [s for s, pedal in zip(profile.s_m, profile.pedal_frac, strict=True) if pedal > 0]
    bend = [
        abs(a) / max(v, 1.0) ** 2
        for a, v in zip(profile.lateral_mps2, profile.speed_mps, strict=True)
    ]
    tenth = 0.1 * max(bend)
    turned = [s for s, k in zip(profile.s_m, bend, strict=True) if tenth > 0 and k > tenth]
    found = []
    if braked:
        found.append(("brake", braked[0]))
    if turned:
        found.append(("turn-in", turned[0]))
    if braked:
        found.append(("release", braked[-1]))
    return [*found, ("apex", profile.s_m[-1])]


def _axes(zone: ZonePlan) -> Axes:
    """Frame the setting and the ideal, in whole percent.

    Where the pedal is nearly up any share will do and the ideal runs off; that part does not set
    the frame, nor does the window.
    """
    profile = zone.profile
    pairs = zip(profile.ideal_torque_share_frac, profile.pedal_frac, strict=True)
    shares = [ideal for ideal, pedal in pairs if ideal is not None and pedal >= FIRM_PEDAL_FRAC]
    shares.append(zone.torque_share_frac)
    middle = (min(shares) + max(shares)) / 2.0
    half = max(0.5 * LEAST_SPAN_FRAC, 0.7 * (max(shares) - min(shares)))
    low, high = floor(100 * (middle - half)), ceil(100 * (middle + half))
    return Axes(profile.s_m[0], profile.s_m[-1], low / 100.0, high / 100.0)


def _heading(plan: Plan, zone: ZonePlan) -> Markup:
    shown = format_setting(zone.setting, plan.adjuster.step)
    name = shorten(zone.name, 200.0, 12.0, "bold")
    return group(
        text(4.0, 15.0, name, size=12.0, bold=True),
        text(FIGURE_WIDTH - RIGHT, 15.0, f"setting {shown}", size=12.0, bold=True, anchor="end"),
        text(4.0, 30.0, "front share of the braking torque, %", size=9.0, role="soft"),
    )


def _runs(xs: list[float], ys: list[float | None]) -> list[list[tuple[float, float]]]:
    """Split a curve where it has no value."""
    runs: list[list[tuple[float, float]]] = [[]]
    for x, y in zip(xs, ys, strict=True):
        if y is None:
            runs.append([])
        else:
            runs[-1].append((x, y))
    return [run for run in runs if len(run) > 1]


def _curve(axes: Axes, s_m: list[float], shares: list[float | None]) -> Markup:
    shares = [v if v is not None and axes.low <= v <= axes.high else None for v in shares]
    parts = []
    for run in _runs(s_m, shares):
        line = path([(axes.x(s), axes.y(v)) for s, v in run])
        parts.append(
            el(
                "path",
                d=line,
                stroke_linejoin="round",
                stroke_dasharray="1.5 3.5",
                stroke_linecap="round",
                **style.stroke("ink", 2.6),
            )
        )
    if parts:
        last = _runs(s_m, shares)[0][len(_runs(s_m, shares)[0]) // 3]
        parts.append(_tag(axes.x(last[0]), axes.y(last[1]) + 14.0, "ideal"))
    return group(*parts)


def _tag(x: float, y: float, words: str) -> Markup:
    width = text_width(words, 9.0, "bold")
    return group(
        el(
            "rect",
            x=x - 2.0,
            y=y - 9.0,
            width=width + 4.0,
            height=12.0,
            rx=2.0,
            **style.fill("paper"),
        ),
        text(x, y, words, size=9.0, bold=True),
    )


def _band(axes: Axes, profile: Profile) -> Markup:
    """Shade the window of shares that do the job."""
    low, high = profile.window_low_frac, profile.window_high_frac
    known = [a is not None and b is not None for a, b in zip(low, high, strict=True)]
    upper = _runs(profile.s_m, [v if k else None for v, k in zip(high, known, strict=True)])
    lower = _runs(profile.s_m, [v if k else None for v, k in zip(low, known, strict=True)])
    parts = []
    for top, bottom in zip(upper, lower, strict=True):
        edge = [(axes.x(s), axes.y(v)) for s, v in top]
        edge += [(axes.x(s), axes.y(v)) for s, v in reversed(bottom)]
        parts.append(el("path", d=path(edge, closed=True), **style.fill("field2")))
    return group(*parts)


def _spent(axes: Axes, zone: ZonePlan, name: str) -> list[Markup]:
    """Hatch where the setting lies outside the window, in the colour of the end that suffers."""
    share, profile = zone.torque_share_frac, zone.profile
    sides: list[tuple[Axle, list[float | None], bool]] = [
        ("front", profile.window_high_frac, True),
        ("rear", profile.window_low_frac, False),
    ]
    parts = []
    for axle, edge, above in sides:
        outside = [
            v if v is not None and (share > v) == above and share != v else None for v in edge
        ]
        for run in _runs(profile.s_m, outside):
            area = [(axes.x(s), axes.y(v)) for s, v in run]
            area += [(axes.x(run[-1][0]), axes.y(share)), (axes.x(run[0][0]), axes.y(share))]
            parts.append(el("path", d=path(area, closed=True), fill=f"url(#{name}-{axle})"))
    return parts


def _setting_line(axes: Axes, plan: Plan, zone: ZonePlan) -> Markup:
    y = axes.y(zone.torque_share_frac)
    words = f"at {format_setting(zone.setting, plan.adjuster.step)}"
    ends = [(LEFT, y), (FIGURE_WIDTH - RIGHT, y)]
    return group(
        el("path", d=path(ends), **style.stroke("ink", 2.6)),
        _tag(FIGURE_WIDTH - RIGHT - text_width(words, 9.0, "bold") - 4.0, y - 5.0, words),
        style.triangle(LEFT + 9.0, TOP + 8.0, 5.0, "front"),
        text(
            LEFT + 17.0,
            TOP + 11.5,
            "above the band the front goes first",
            size=9.0,
            role="front",
            bold=True,
        ),
        style.triangle(LEFT + 9.0, TOP + PLOT - 8.5, 5.0, "rear"),
        text(
            LEFT + 17.0,
            TOP + PLOT - 5.0,
            "below the band the rear goes first",
            size=9.0,
            role="rear",
            bold=True,
        ),
    )


def _scale(axes: Axes) -> Markup:
    low, high = round(100 * axes.low), round(100 * axes.high)
    every = next(n for n in (1, 2, 5, 10, 20, 50) if (high - low) / n <= 6)
    parts = [el("path", d=path([(LEFT, TOP), (LEFT, TOP + PLOT)]), **style.stroke("soft", 1.0))]
    for percent in range(low, high + 1):
        if percent % every == 0:
            y = axes.y(percent / 100.0)
            parts.append(
                el("path", d=path([(LEFT - 4.0, y), (LEFT, y)]), **style.stroke("soft", 1.0))
            )
            parts.append(
                text(LEFT - 7.0, y + 3.2, str(percent), size=9.0, role="soft", anchor="end")
            )
    return group(*parts)


def _phases(axes: Axes, profile: Profile) -> list[Markup]:
    parts, free = [], -1e9
    for words, s_m in phase_places(profile):
        x = axes.x(s_m)
        width = text_width(words, 9.0)
        at = min(max(x - width / 2, LEFT - 14.0), FIGURE_WIDTH - 4.0 - width)
        y = TOP - 5.0 if at > free else TOP + PLOT + 11.0
        free = at + width + 3.0 if y < TOP else free
        line = path([(x, TOP - 2.0), (x, STRIP_TOP + STRIP)])
        parts.append(el("path", d=line, stroke_dasharray="2 3", **style.stroke("soft", 0.9)))
        parts.append(text(at, y, words, size=9.0))
    return parts


def _strip(axes: Axes, profile: Profile, units: Units) -> Markup:
    """Draw speed as a line and deceleration as an area under the plot."""
    bottom, fast, hard = STRIP_TOP + STRIP, max(profile.speed_mps), max(profile.decel_mps2)
    slow = profile.speed_mps[-1]
    speed = [
        (axes.x(s), bottom - STRIP * v / max(fast, 1.0))
        for s, v in zip(profile.s_m, profile.speed_mps, strict=True)
    ]
    area = [
        (axes.x(s), bottom - STRIP * max(a, 0.0) / max(hard, 1.0))
        for s, a in zip(profile.s_m, profile.decel_mps2, strict=True)
    ]
    area = [(area[0][0], bottom), *area, (area[-1][0], bottom)]
    words = f"line: speed, {format_speed(profile.speed_mps[0], units)} to "
    words += f"{format_speed(slow, units)}; area: deceleration, up to {format_decel(hard)}"
    return group(
        el("path", d=path(area, closed=True), **style.both("field3", "rule", 0.8)),
        el("path", d=path(speed), **style.stroke("ink", 1.8)),
        text(
            LEFT,
            STRIP_TOP - 5.0,
            shorten(words, FIGURE_WIDTH - LEFT - 4.0, 8.5),
            size=8.5,
            role="soft",
        ),
    )


def _metres(axes: Axes, units: Units) -> Markup:
    """Mark the way to the apex in round numbers."""
    y = STRIP_TOP + STRIP
    whole = length_number(axes.end_m - axes.start_m, units)
    every = next(n for n in (10, 20, 25, 50, 100, 200, 500, 1000, 10**6) if whole / n <= 6)
    parts = [el("path", d=path([(LEFT, y), (FIGURE_WIDTH - RIGHT, y)]), **style.stroke("soft", 1))]
    for count in range(int(whole // every) + 1):
        left = count * every
        x = axes.x(axes.end_m - left / length_number(1.0, units))
        parts.append(el("path", d=path([(x, y), (x, y + 4.0)]), **style.stroke("soft", 1.0)))
        parts.append(text(x, y + 14.0, str(left), size=9.0, role="soft", anchor="middle"))
    unit = length_unit(units)
    parts.append(text(LEFT, y + 28.0, f"{unit} to the apex", size=9.0, role="soft"))
    return group(*parts)
