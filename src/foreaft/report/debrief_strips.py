"""Passes of one zone laid over each other: speed above, brake below, by distance to the apex."""

from __future__ import annotations

from typing import Final

import numpy as np

from foreaft.base.units import kmh_from_mps, mph_from_mps
from foreaft.report import debrief_words as words
from foreaft.report import style
from foreaft.report.debrief_data import Floats, Mark, PassStrip, ZoneStrips
from foreaft.report.style import FIGURE_WIDTH, text
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.words import Units, format_length, format_speed, length_number, length_unit

LEFT: Final = 40.0
RIGHT: Final = 10.0
TOP: Final = 40.0
SPEED_HIGH: Final = 122.0
BRAKE_HIGH: Final = 58.0
GAP: Final = 14.0
HEIGHT: Final = TOP + SPEED_HIGH + GAP + BRAKE_HIGH + 34.0
TURN_IN_ROOM: Final = 34.0
WIDE: Final = FIGURE_WIDTH - LEFT - RIGHT


def draw(zone: ZoneStrips, units: Units, name: str) -> str:
    """Draw the strips of one zone."""
    frame = _Frame(zone, units)
    order = {"usual": 0, "other": 1, "best": 2}
    passes = sorted(zone.passes, key=lambda one: order[one.role])
    return document(
        FIGURE_WIDTH,
        HEIGHT,
        style.background(FIGURE_WIDTH, HEIGHT),
        _legend(zone),
        frame.axes(),
        frame.places(),
        *(frame.lines(one) for one in passes),
        *(frame.mark(one) for one in zone.marks),
        name=name,
        title=f"{zone.name}: passes laid over each other",
        desc=describe(zone, units),
    )


def describe(zone: ZoneStrips, units: Units) -> str:
    """Say what the strips show in words."""
    best = next((one for one in zone.passes if one.role == "best"), None)
    said = [
        f"{len(zone.passes)} of {zone.passes_all} passes by distance to the apex. "
        f"The middle brake point lies {format_length(-zone.brake_s_m, units)} before it."
    ]
    if best is not None:
        lowest = float(np.nanmin(best.speed_mps))
        said.append(f"The best pass, {best.lap_id}, comes down to {format_speed(lowest, units)}.")
    for mark in zone.marks:
        place = format_length(abs(mark.s_m), units)
        said.append(f"{words.EVENTS[mark.kind][1]} {place} {'before' if mark.s_m < 0 else 'past'}")
    return " ".join(said)


class _Frame:
    """Where distance, speed and brake lie on the sheet."""

    def __init__(self, zone: ZoneStrips, units: Units) -> None:
        self.zone, self.units = zone, units
        self.low, self.high = float(zone.s_m[0]), float(zone.s_m[-1])
        speeds = np.concatenate([self.shown(one.speed_mps) for one in zone.passes])
        good = speeds[np.isfinite(speeds)]
        self.step = 20.0 if float(np.ptp(good)) < 90.0 else 50.0
        self.bottom = float(np.floor(good.min() / self.step) * self.step)
        self.top = float(np.ceil(good.max() / self.step) * self.step)

    def shown(self, speed: Floats) -> Floats:
        """Speed in the unit people read."""
        return kmh_from_mps(speed) if self.units == "metric" else mph_from_mps(speed)

    def x(self, s_m: float) -> float:
        """Place of a distance."""
        return LEFT + WIDE * (s_m - self.low) / (self.high - self.low)

    def y(self, shown: float) -> float:
        """Place of a speed."""
        return TOP + SPEED_HIGH * (1.0 - (shown - self.bottom) / (self.top - self.bottom))

    @property
    def brake_top(self) -> float:
        return TOP + SPEED_HIGH + GAP

    def y_brake(self, part: float) -> float:
        """Place of a brake from 0 to 1."""
        return self.brake_top + BRAKE_HIGH * (1.0 - min(max(part, 0.0), 1.0))

    def axes(self) -> Markup:
        parts: list[Markup] = []
        for value in np.arange(self.bottom, self.top + 1.0, self.step):
            y = self.y(float(value))
            parts.append(
                el("path", d=path([(LEFT, y), (LEFT + WIDE, y)]), **style.stroke("rule", 0.6))
            )
            parts.append(
                text(LEFT - 4.0, y + 3.0, f"{value:.0f}", size=8.8, role="soft", anchor="end")
            )
        unit = "km/h" if self.units == "metric" else "mph"
        parts.append(text(LEFT, TOP - 6.0, unit, size=8.8, role="soft", anchor="end"))
        base = self.y_brake(0.0)
        for part, label in ((0.0, "0"), (1.0, "full")):
            y = self.y_brake(part)
            parts.append(
                el("path", d=path([(LEFT, y), (LEFT + WIDE, y)]), **style.stroke("rule", 0.6))
            )
            parts.append(text(LEFT - 4.0, y + 3.0, label, size=8.8, role="soft", anchor="end"))
        what = "brake" if self.zone.brake_known else "slowing"
        middle = self.y_brake(0.5) + 3.0
        parts.append(text(LEFT - 4.0, middle, what, size=8.8, role="soft", anchor="end"))
        every = _every(length_number(self.high - self.low, self.units))
        first = np.ceil(length_number(self.low, self.units) / every) * every
        for shown in np.arange(first, length_number(self.high, self.units), every):
            x = self.x(float(shown) / length_number(1.0, self.units))
            parts.append(
                el("path", d=path([(x, base), (x, base + 3.0)]), **style.stroke("soft", 0.8))
            )
            label = "apex" if shown == 0 else f"{shown:.0f}"
            parts.append(text(x, base + 13.0, label, size=8.8, role="soft", anchor="middle"))
        parts.append(
            text(
                LEFT + WIDE,
                base + 26.0,
                f"{length_unit(self.units)} to the apex",
                size=8.8,
                role="soft",
                anchor="end",
            )
        )
        return group(*parts)

    def places(self) -> Markup:
        """Turn-in and apex, and the plan's brake point."""
        base = self.y_brake(0.0)
        parts = []
        for s, dashes in ((self.zone.turn_in_s_m, "2 3"), (0.0, None)):
            if self.low < s < self.high:
                line = path([(self.x(s), TOP), (self.x(s), base)])
                parts.append(
                    el("path", d=line, stroke_dasharray=dashes, **style.stroke("soft", 0.8))
                )
        plan = self.zone.plan_brake_s_m
        if self.low < self.zone.turn_in_s_m < -0.06 * (self.high - self.low):
            x = self.x(self.zone.turn_in_s_m)
            crowded = plan is not None and 0.0 < self.x(plan) - x < TURN_IN_ROOM
            parts.append(
                text(
                    x - 3.0 if crowded else x + 3.0,
                    self.brake_top - 4.0,
                    "turn-in",
                    size=8.5,
                    role="soft",
                    anchor="end" if crowded else "start",
                )
            )
        if plan is not None and self.low < plan < self.high:
            x = self.x(plan)
            parts.append(
                el(
                    "path",
                    d=path([(x, TOP), (x, base)]),
                    stroke_dasharray="7 3",
                    **style.stroke("ink", 1.2),
                )
            )
            parts.append(text(x, TOP - 4.0, "plan", size=8.5, bold=True, anchor="middle"))
        return group(*parts)

    def lines(self, one: PassStrip) -> Markup:
        """Speed and brake of one pass."""
        shown = self.shown(one.speed_mps)
        speed = [
            (self.x(float(s)), self.y(float(v)))
            for s, v in zip(self.zone.s_m, shown, strict=True)
            if np.isfinite(v)
        ]
        brake = [
            (self.x(float(s)), self.y_brake(float(v)))
            for s, v in zip(self.zone.s_m, one.brake_frac, strict=True)
            if np.isfinite(v)
        ]
        role, width, dashes = {
            "usual": ("soft", 0.5, None),
            "best": ("ink", 2.0, None),
            "other": ("ink", 1.4, "5 2.5"),
        }[one.role]
        return group(
            *(
                el(
                    "path",
                    d=path(points),
                    stroke_linejoin="round",
                    stroke_dasharray=dashes,
                    **style.stroke(role, width),
                )
                for points in (speed, brake)
                if len(points) > 1
            )
        )

    def mark(self, mark: Mark) -> Markup:
        """A sign where something went wrong; which end by shape and colour."""
        shown = float(self.shown(np.array([mark.speed_mps]))[0])
        x, y = self.x(mark.s_m), self.y(min(max(shown, self.bottom), self.top))
        if not LEFT <= x <= LEFT + WIDE:
            return Markup("")
        if mark.axle is None:
            return el("circle", cx=x, cy=y, r=3.0, **style.both("paper", "ink", 1.4))
        return style.triangle(x, y, 4.0, mark.axle, hollow=mark.kind == "wide")


def _every(span: float) -> float:
    """A round step that gives four to eight numbers over a span."""
    return next((n for n in (10, 20, 50, 100, 200, 500) if span / n <= 8), 1000.0)


def _legend(zone: ZoneStrips) -> Markup:
    best = next((one.lap_id for one in zone.passes if one.role == "best"), None)
    parts = [el("path", d=path([(4.0, 11.0), (22.0, 11.0)]), **style.stroke("ink", 2.0))]
    parts.append(text(26.0, 14.5, f"best, {best}" if best else "best", size=9.0))
    parts.append(el("path", d=path([(98.0, 11.0), (116.0, 11.0)]), **style.stroke("soft", 0.6)))
    parts.append(text(120.0, 14.5, "the others", size=9.0, role="soft"))
    if zone.other_name and any(one.role == "other" for one in zone.passes):
        parts.append(
            el(
                "path",
                d=path([(182.0, 11.0), (204.0, 11.0)]),
                stroke_dasharray="5 2.5",
                **style.stroke("ink", 1.4),
            )
        )
        parts.append(text(208.0, 14.5, f"{zone.other_name}, best"[:34], size=9.0))
    return group(*parts)
