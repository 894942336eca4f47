"""The plan as a staircase: zones down, settings across, what each setting loses behind it."""

from __future__ import annotations

from itertools import groupby
from typing import Final, NamedTuple

from foreaft.model.answers import Axle, Cell, Plan, ZonePlan
from foreaft.report import style
from foreaft.report.changes import Change, changes, codes
from foreaft.report.measure import shorten, text_width
from foreaft.report.style import FIGURE_WIDTH, text
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.words import count_steps, format_setting

LEFT: Final = 92.0
TOP: Final = 62.0
ROW: Final = 26.0
LEGEND: Final = 64.0


class Grid(NamedTuple):
    """Where zones and settings lie on the picture."""

    plan: Plan
    low: float
    high: float
    cell: float
    end: float

    def x(self, setting: float) -> float:
        """Centre of a setting's column."""
        return LEFT + ((setting - self.low) / self.plan.adjuster.step + 0.5) * self.cell

    def y(self, row: int) -> float:
        """Top of a zone's row."""
        return TOP + row * ROW

    @property
    def bottom(self) -> float:
        return self.y(len(self.plan.zones))


def grid_of(plan: Plan) -> Grid:
    """Lay the grid over the settings that occur in any zone's field."""
    shown = [cell.setting for zone in plan.zones for cell in zone.field]
    low, high = min(shown), max(shown)
    count = round((high - low) / plan.adjuster.step) + 1
    end = FIGURE_WIDTH - _gutter(plan)
    return Grid(plan, low, high, (end - LEFT) / count, end)


def _gutter(plan: Plan) -> float:
    """Give the room that settings and steps need on the right."""
    shown = [format_setting(zone.setting, plan.adjuster.step) for zone in plan.zones]
    steps = [_step_words(change) for change in changes(plan)]
    settings = max(text_width(words, 12.0, "bold") for words in shown)
    return 10.0 + settings + max([8.0, *(17.0 + text_width(w, 9.0, "bold") for w in steps)])


def _step_words(change: Change) -> str:
    return f"{abs(change.steps)} {style.LETTER[change.axle]}"


def draw(plan: Plan, name: str = "staircase") -> str:
    """Draw the staircase of a plan."""
    grid = grid_of(plan)
    height = grid.bottom + LEGEND
    rows = [_row(grid, row, code) for row, code in enumerate(codes(plan))]
    return document(
        FIGURE_WIDTH,
        height,
        el("defs", style.hatch(f"{name}-no", "soft")),
        style.background(FIGURE_WIDTH, height),
        _ends(grid),
        _ticks(grid),
        *[_field(grid, row, f"{name}-no") for row in range(len(plan.zones))],
        _lap_setting(grid),
        _stairs(grid),
        *rows,
        _legend(grid, f"{name}-no"),
        name=name,
        title="The plan: zones down, settings across",
        desc=describe(plan),
    )


def describe(plan: Plan) -> str:
    """Say the staircase in words."""
    step = plan.adjuster.step
    said = [f"{z.name} {format_setting(z.setting, step)}" for z in plan.zones]
    lap = format_setting(plan.lap_setting.setting, step)
    return f"Settings in driving order: {', '.join(said)}. Lap setting {lap}."


def losses_s(zone: ZonePlan) -> list[float | None]:
    """Give the loss of every setting against the best of its zone; None where not possible."""
    best = min((c.cost_us for c in zone.field if c.feasible), default=0)
    return [(c.cost_us - best) / 1e6 if c.feasible else None for c in zone.field]


def _shade(cell: Cell, loss: float | None) -> int:
    return -1 if loss is None else style.field_shade(loss)


def _field(grid: Grid, row: int, no: str) -> Markup:
    zone, y, parts = grid.plan.zones[row], grid.y(row), []
    shaded = zip(zone.field, map(_shade, zone.field, losses_s(zone)), strict=True)
    for shade, run in groupby(shaded, key=lambda pair: pair[1]):
        cells = [cell for cell, _ in run]
        x0 = grid.x(cells[0].setting) - 0.5 * grid.cell
        width = grid.x(cells[-1].setting) + 0.5 * grid.cell - x0
        place = {"x": x0, "y": y + 0.5, "width": width, "height": ROW - 1.0}
        if shade < 0:
            parts.append(el("rect", **place, fill=f"url(#{no})"))
            continue
        parts.append(el("rect", **place, **style.fill(f"field{shade}")))
        label = _edge_label(shade)
        if shade and width > text_width(label, 7.0) + 5.0:
            parts.append(text(x0 + width / 2, y + ROW - 3.5, label, size=7.0, anchor="middle"))
    return group(*parts)


def _edge_label(shade: int) -> str:
    return f"{1000 * style.FIELD_EDGES_S[shade - 1]:.0f}" if shade else ""


def _ends(grid: Grid) -> Markup:
    left: Axle = "rear" if grid.plan.adjuster.higher_means == "front" else "front"
    right = grid.plan.adjuster.higher_means
    end, y = grid.end, 16.0
    return group(
        style.triangle(LEFT + 28.0, y - 3.5, 5.0, left),
        style.arrow(LEFT + 20.0, y - 3.5, 20.0, left, to_right=False),
        text(LEFT + 36.0, y, left.upper(), size=11.0, role=left, bold=True),
        style.triangle(end - 28.0, y - 3.5, 5.0, right),
        style.arrow(end - 20.0, y - 3.5, 20.0, right, to_right=True),
        text(end - 36.0, y, right.upper(), size=11.0, role=right, bold=True, anchor="end"),
    )


def _ticks(grid: Grid) -> Markup:
    step = grid.plan.adjuster.step
    label_width = text_width(format_setting(grid.high, step), 9.0) + 7.0
    every = next(n for n in (1, 2, 4, 5, 8, 10, 20, 40, 10**9) if n * grid.cell >= label_width)
    parts = []
    lap = grid.x(grid.plan.lap_setting.setting)
    for index in range(0, round((grid.high - grid.low) / step) + 1, every):
        setting = grid.low + index * step
        x = grid.x(setting)
        if abs(x - lap) > label_width / 2:
            shown = format_setting(setting, step)
            parts.append(text(x, TOP - 9.0, shown, size=9.0, role="soft", anchor="middle"))
        tick = path([(x, TOP - 6.0), (x, TOP - 1.0)])
        parts.append(el("path", d=tick, **style.stroke("soft", 1)))
    return group(*parts)


def _lap_setting(grid: Grid) -> Markup:
    lap = grid.plan.lap_setting.setting
    x = grid.x(lap)
    label = f"lap setting {format_setting(lap, grid.plan.adjuster.step)}"
    half = text_width(label, 9.0, "bold") / 2
    at = min(max(x, LEFT + half), grid.end - half)
    return group(
        el(
            "path",
            d=path([(x, TOP - 22.0), (x, grid.bottom + 4.0)]),
            stroke_dasharray="5 3",
            **style.stroke("ink", 1.4),
        ),
        text(at, TOP - 26.0, label, size=9.0, bold=True, anchor="middle"),
    )


def _stairs(grid: Grid) -> Markup:
    points = []
    for row, zone in enumerate(grid.plan.zones):
        x = grid.x(zone.setting)
        points += [(x, grid.y(row)), (x, grid.y(row + 1))]
    line = path(points)
    return group(
        el("path", d=line, stroke_linejoin="round", **style.stroke("paper", 6.0)),
        el("path", d=line, stroke_linejoin="round", **style.stroke("ink", 3.2)),
    )


def _row(grid: Grid, row: int, code: str) -> Markup:
    zone, y = grid.plan.zones[row], grid.y(row) + ROW / 2
    moved = {change.before: change for change in changes(grid.plan)}.get(row)
    name = shorten(zone.name, LEFT - 8.0, 8.0)
    shown = format_setting(zone.setting, grid.plan.adjuster.step)
    end = grid.end + 6.0
    parts = [
        text(4.0, y - 0.5, code, size=10.0, bold=True),
        text(4.0, y + 9.0, name, size=8.8, role="soft") if name.upper() != code else Markup(""),
        _band(grid, row),
        _marker(grid, zone, y, moved.axle if moved else None),
        text(end, y + 4.0, shown, size=12.0, bold=True),
    ]
    if moved:
        after = end + text_width(shown, 12.0, "bold") + 9.0
        parts.append(style.triangle(after, y, 4.5, moved.axle))
        words = _step_words(moved)
        parts.append(text(after + 6.5, y + 3.5, words, size=9.0, role=moved.axle, bold=True))
        parts.append(el("title", f"{count_steps(moved.steps)} to the {moved.axle}"))
    return group(*parts)


def _marker(grid: Grid, zone: ZonePlan, y: float, axle: Axle | None) -> Markup:
    x = grid.x(zone.setting)
    if zone.advice == "cannot_tell":
        return group(
            el("circle", cx=x, cy=y, r=7.5, **style.both("paper", "ink", 1.6)),
            text(x, y + 4.0, "?", size=11.0, bold=True, anchor="middle"),
        )
    ring = el("circle", cx=x, cy=y, r=7.0 if axle else 4.5, **style.both("paper", "ink", 2.0))
    return group(ring, style.triangle(x, y, 4.6, axle)) if axle else ring


def _band(grid: Grid, row: int) -> Markup:
    zone = grid.plan.zones[row]
    if zone.advice != "no_matter":
        return Markup("")
    x0 = grid.x(zone.flat_low) - 0.5 * grid.cell
    x1 = grid.x(zone.flat_high) + 0.5 * grid.cell
    y = grid.y(row) + 3.5
    bracket = path([(x0, y + 5.0), (x0, y), (x1, y), (x1, y + 5.0)])
    words = "does not matter here"
    width = text_width(words, 7.5)
    right = grid.x(zone.setting) + 10.0
    at = right if right + width < grid.end else right - 20.0 - width
    return group(
        el("path", d=bracket, **style.stroke("ink", 1.4)),
        el("rect", x=at - 2.0, y=y + 4.5, width=width + 4.0, height=10.0, **style.fill("field0")),
        text(at, y + 12.0, words, size=7.5, bold=False),
    )


def _legend(grid: Grid, no: str) -> Markup:
    y, x, size = grid.bottom + 28.0, 4.0, 30.0
    shades = len(style.FIELD_EDGES_S) + 1
    parts = [
        text(
            x,
            y - 6.0,
            "Lost against the zone's best setting, in thousandths of a second",
            size=8.8,
            role="soft",
        )
    ]
    for shade in range(shades):
        at = x + shade * size
        parts.append(
            el(
                "rect",
                x=at,
                y=y,
                width=size,
                height=10.0,
                **style.both(f"field{shade}", "rule", 0.5),
            )
        )
        if shade:
            parts.append(
                text(at, y + 20.0, _edge_label(shade), size=8.8, role="soft", anchor="middle")
            )
    at = x + shades * size + 12.0
    parts += [
        el("rect", x=at, y=y, width=18.0, height=10.0, fill=f"url(#{no})"),
        text(at + 22.0, y + 8.5, "not possible", size=8.8, role="soft"),
        el("circle", cx=at + 88.0, cy=y + 5.0, r=5.0, **style.both("paper", "ink", 1.4)),
        text(at + 88.0, y + 8.0, "?", size=8.8, bold=True, anchor="middle"),
        text(at + 97.0, y + 8.5, "cannot tell", size=8.8, role="soft"),
    ]
    return group(*parts)
