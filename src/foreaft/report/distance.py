"""What each setting adds to the braking distance, zone by zone, and which wheel locks first."""

from __future__ import annotations

from typing import Final, NamedTuple

from foreaft.model.answers import Axle, Cell, Plan, Wheel, ZonePlan
from foreaft.report import style
from foreaft.report.changes import codes
from foreaft.report.measure import shorten, text_width
from foreaft.report.staircase import grid_of
from foreaft.report.style import FIGURE_WIDTH, text
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.words import (
    Units,
    cell_at,
    format_length,
    format_setting,
    length_number,
    length_unit,
)

COLUMNS: Final = 2
LEFT: Final = 30.0
PANEL: Final = (FIGURE_WIDTH / COLUMNS, 124.0)
TOP: Final = 62.0
PLOT: Final = (150.0, 78.0)
SIGN_GAP: Final = 6.2
LEAST_SPAN_M: Final = 1.0

WHEELS: Final[dict[Wheel, str]] = {
    "front_inside": "front, inside",
    "front_outside": "front, outside",
    "rear_inside": "rear, inside",
    "rear_outside": "rear, outside",
    "none": "none locks",
}


class Panel(NamedTuple):
    """Where settings and extra metres lie in one zone's panel."""

    x0: float
    y0: float
    low: float
    high: float
    best_m: float
    span_m: float

    def at(self, cell: Cell) -> tuple[float, float]:
        """Place of one setting."""
        way = (cell.setting - self.low) / max(self.high - self.low, 1e-9)
        extra = (cell.brake_distance_m - self.best_m) / self.span_m
        return self.x0 + way * PLOT[0], self.y0 + PLOT[1] * (1.0 - extra)


def draw(plan: Plan, units: Units = "metric", name: str = "distance") -> str:
    """Draw every zone of a plan at one scale, so that panels can be compared."""
    span = max([LEAST_SPAN_M, *(_span(zone) for zone in plan.zones)])
    rows = -(-len(plan.zones) // COLUMNS)
    height = TOP + rows * PANEL[1] + 4.0
    panels = [_panel(plan, index, code, span, units) for index, code in enumerate(codes(plan))]
    return document(
        FIGURE_WIDTH,
        height,
        style.background(FIGURE_WIDTH, height),
        _legend(units),
        *panels,
        name=name,
        title="Braking distance per setting: what each adds to the zone's shortest",
        desc=describe(plan, units),
    )


def describe(plan: Plan, units: Units) -> str:
    """Say the shortest stop of every zone in words."""
    said = []
    for zone in plan.zones:
        possible = [cell for cell in zone.field if cell.feasible]
        if possible:
            best = min(possible, key=lambda cell: cell.brake_distance_m)
            shown = format_setting(best.setting, plan.adjuster.step)
            said.append(f"{zone.name}: {format_length(best.brake_distance_m, units)} at {shown}")
    return f"Shortest braking by zone. {'; '.join(said)}."


def _span(zone: ZonePlan) -> float:
    metres = [cell.brake_distance_m for cell in zone.field if cell.feasible]
    return max(metres) - min(metres) if metres else 0.0


def _panel(plan: Plan, index: int, code: str, span: float, units: Units) -> Markup:
    zone = plan.zones[index]
    x = (index % COLUMNS) * PANEL[0] + LEFT
    y = TOP + (index // COLUMNS) * PANEL[1] + 20.0
    possible = [cell for cell in zone.field if cell.feasible]
    heading = shorten(
        f"{code}  {zone.name}" if zone.name.upper() != code else code, PLOT[0] - 34.0, 9.5, "bold"
    )
    parts = [
        text(x, y - 7.0, heading, size=9.5, bold=True),
        _frame(x, y, span, units),
    ]
    if not possible:
        return group(*parts, text(x + 6.0, y + 40.0, "no setting is possible", size=9.0))
    grid = grid_of(plan)
    best = min(cell.brake_distance_m for cell in possible)
    panel = Panel(x, y, grid.low, grid.high, best, span)
    line = path([panel.at(cell) for cell in possible])
    parts += [
        text(x + PLOT[0], y - 7.0, format_length(best, units), size=9.0, role="soft", anchor="end"),
        el("path", d=line, stroke_linejoin="round", **style.stroke("ink", 1.4)),
        _chosen(plan, panel, zone),
        *_signs(panel, possible),
        _chosen_label(plan, panel, zone),
        *_ends(plan, panel),
    ]
    return group(*parts)


def _frame(x: float, y: float, span: float, units: Units) -> Markup:
    bottom = y + PLOT[1]
    most = length_number(span, units)
    every = next(n for n in (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 10**6) if most / n <= 3)
    parts = [
        el(
            "path",
            d=path([(x, y), (x, bottom), (x + PLOT[0], bottom)]),
            **style.stroke("soft", 0.9),
        )
    ]
    for count in range(int(most / every) + 1):
        at = bottom - PLOT[1] * count * every / most
        parts.append(el("path", d=path([(x - 3.0, at), (x, at)]), **style.stroke("soft", 0.9)))
        label = f"+{count * every:g}" if count else "0"
        parts.append(text(x - 5.0, at + 3.0, label, size=8.8, role="soft", anchor="end"))
    return group(*parts)


def _signs(panel: Panel, cells: list[Cell]) -> list[Markup]:
    """Put a sign on a setting only where the last one leaves room, or where the wheel changes."""
    parts, last_x, last_wheel = [], -1e9, None
    for cell in cells:
        x, y = panel.at(cell)
        if x - last_x >= SIGN_GAP or (cell.first_lock_wheel != last_wheel and x - last_x > 3.0):
            parts.append(wheel_sign(x, y, cell.first_lock_wheel))
            last_x, last_wheel = x, cell.first_lock_wheel
    return parts


def wheel_sign(x: float, y: float, wheel: Wheel) -> Markup:
    """Draw which wheel locks first: up front, down rear; hollow inside, solid outside."""
    if wheel == "none":
        return el("circle", cx=x, cy=y, r=2.2, **style.fill("ink"))
    hollow = wheel.endswith("inside")
    axle: Axle = "front" if wheel.startswith("front") else "rear"
    return style.triangle(x, y, 3.2, axle, hollow=hollow)


def _chosen(plan: Plan, panel: Panel, zone: ZonePlan) -> Markup:
    cell = cell_at(zone, zone.setting, plan.adjuster.step)
    if cell is None or not cell.feasible:
        return Markup("")
    x, y = panel.at(cell)
    return group(
        el("path", d=path([(x, y), (x, panel.y0 + PLOT[1])]), **style.stroke("ink", 0.9)),
        el("circle", cx=x, cy=y, r=6.5, **style.both("paper", "ink", 1.8)),
    )


def _chosen_label(plan: Plan, panel: Panel, zone: ZonePlan) -> Markup:
    cell = cell_at(zone, zone.setting, plan.adjuster.step)
    if cell is None or not cell.feasible:
        return Markup("")
    x, y = panel.at(cell)
    words = format_setting(zone.setting, plan.adjuster.step)
    up = y - 12.0 if y - 22.0 > panel.y0 else y + 18.0
    half = text_width(words, 9.0, "bold") / 2.0 + 1.5
    return group(
        el("rect", x=x - half, y=up - 8.0, width=2 * half, height=10.0, **style.fill("paper")),
        text(x, up, words, size=9.0, bold=True, anchor="middle"),
    )


def _ends(plan: Plan, panel: Panel) -> list[Markup]:
    step, y = plan.adjuster.step, panel.y0 + PLOT[1] + 11.0
    low, high = format_setting(panel.low, step), format_setting(panel.high, step)
    more = plan.adjuster.higher_means.upper()
    return [
        text(panel.x0, y, low, size=8.8, role="soft"),
        text(panel.x0 + PLOT[0], y, f"{high}, more {more}", size=8.8, role="soft", anchor="end"),
    ]


def _legend(units: Units) -> Markup:
    words = "Braking distance added to the zone's shortest (named at the right), "
    words += length_unit(units)
    parts = [text(4.0, 14.0, words, size=9.0, role="soft")]
    parts.append(text(4.0, 32.0, "first to lock:", size=9.0, role="soft"))
    x = 64.0
    for wheel, said in WHEELS.items():
        parts.append(wheel_sign(x, 29.0, wheel))
        parts.append(text(x + 6.0, 32.0, said, size=8.5))
        x += text_width(said, 8.5) + 14.0
    parts.append(el("circle", cx=10.0, cy=46.0, r=5.0, **style.both("paper", "ink", 1.6)))
    parts.append(
        text(
            20.0,
            49.5,
            "the plan's setting; where no sign stands, no stop is possible",
            size=9.0,
            role="soft",
        )
    )
    return group(*parts)
