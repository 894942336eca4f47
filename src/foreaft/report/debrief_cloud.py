"""The use of grip in one zone: braking against cornering, sample by sample."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from foreaft.base.units import GRAVITY_MPS2
from foreaft.report import style
from foreaft.report.debrief_data import ZoneStrips
from foreaft.report.style import FIGURE_WIDTH, text
from foreaft.report.svg import Markup, document, el, group, num, path
from foreaft.report.words import format_percent

SIZE: Final = 262.0
LEFT: Final = 56.0
TOP: Final = 40.0
HEIGHT: Final = TOP + SIZE + 40.0
MOST_POINTS: Final = 600

Place = Callable[[float, float], tuple[float, float]]


def draw(zone: ZoneStrips, name: str) -> str:
    """Draw the cloud of one zone: straight braking upwards, cornering to the right."""
    top = _top(zone)

    def at(side: float, decel: float) -> tuple[float, float]:
        return (
            LEFT + SIZE * min(max(side / top, 0.0), 1.0),
            TOP + SIZE * (1.0 - min(max(decel / top, 0.0), 1.0)),
        )

    return document(
        FIGURE_WIDTH,
        HEIGHT,
        style.background(FIGURE_WIDTH, HEIGHT),
        _rings(top),
        _cloud(zone, at),
        _shown(zone, at),
        _best(zone, at),
        _legend(),
        name=name,
        title=f"{zone.name}: use of grip",
        desc=describe(zone),
    )


def describe(zone: ZoneStrips) -> str:
    """Say what the cloud shows in words."""
    if zone.use_shown_frac is None:
        return "Deceleration against lateral acceleration while braking."
    return (
        "Deceleration against lateral acceleration while braking. In the mean the driver used "
        f"{format_percent(zone.use_shown_frac)} of what the car has shown in that direction."
    )


def _top(zone: ZoneStrips) -> float:
    most = [float(np.nanmax(one)) for one in (zone.decel_mps2, zone.side_mps2) if len(one)]
    if len(zone.shown_mps2):
        most.append(float(np.nanmax(zone.shown_mps2)))
    return GRAVITY_MPS2 * float(np.ceil(2.1 * max([GRAVITY_MPS2, *most]) / GRAVITY_MPS2) / 2.0)


def _rings(top: float) -> Markup:
    parts = []
    base = TOP + SIZE
    steps = top / GRAVITY_MPS2
    every = 0.5 if steps <= 2.5 else 1.0
    for g in np.arange(every, steps + 1e-6, every):
        r = SIZE * g / steps
        parts.append(
            el(
                "path",
                d=f"M{num(LEFT)} {num(base - r)}A{num(r)} {num(r)} 0 0 1 "
                f"{num(LEFT + r)} {num(base)}",
                **style.stroke("rule", 0.6),
            )
        )
        label = f"{g:.1f}".removesuffix(".0")
        parts.append(text(LEFT - 4.0, base - r + 3.0, label, size=8.8, role="soft", anchor="end"))
        parts.append(text(LEFT + r, base + 12.0, label, size=8.8, role="soft", anchor="middle"))
    axes = path([(LEFT, TOP), (LEFT, base), (LEFT + SIZE, base)])
    parts.append(el("path", d=axes, **style.stroke("soft", 0.9)))
    parts.append(text(LEFT - 26.0, TOP - 13.0, "braking, g", size=8.8, role="soft"))
    parts.append(
        text(LEFT + SIZE, base + 25.0, "cornering, g", size=8.8, role="soft", anchor="end")
    )
    return group(*parts)


def _cloud(zone: ZoneStrips, at: Place) -> Markup:
    step = max(1, -(-len(zone.decel_mps2) // MOST_POINTS))
    dots = "".join(
        "M{} {}h0".format(*(num(v) for v in at(float(side), float(decel))))
        for side, decel in zip(zone.side_mps2[::step], zone.decel_mps2[::step], strict=True)
        if np.isfinite(side + decel) and decel > 0.0
    )
    if not dots:
        return Markup("")
    return el("path", d=dots, stroke_linecap="round", **style.stroke("rule", 2.4))


def _shown(zone: ZoneStrips, at: Place) -> Markup:
    count = len(zone.shown_mps2)
    if count < 2:
        return Markup("")
    angle = np.linspace(0.0, 0.5 * np.pi, count)
    line = [
        at(float(r * np.sin(a)), float(r * np.cos(a)))
        for r, a in zip(zone.shown_mps2, angle, strict=True)
        if np.isfinite(r)
    ]
    if len(line) < 2:
        return Markup("")
    return el("path", d=path(line), stroke_dasharray="6 3", **style.stroke("ink", 1.3))


def _best(zone: ZoneStrips, at: Place) -> Markup:
    line = [
        at(float(side), float(decel))
        for side, decel in zip(zone.best_side_mps2, zone.best_decel_mps2, strict=True)
        if np.isfinite(side + decel)
    ]
    if len(line) < 2:
        return Markup("")
    return el("path", d=path(line), stroke_linejoin="round", **style.stroke("ink", 2.0))


def _legend() -> Markup:
    y = 11.0
    parts = [el("path", d=path([(150.0, y), (168.0, y)]), **style.stroke("ink", 2.0))]
    parts.append(text(172.0, y + 3.5, "best pass", size=9.0))
    parts.append(
        el(
            "path",
            d=path([(228.0, y), (250.0, y)]),
            stroke_dasharray="6 3",
            **style.stroke("ink", 1.3),
        )
    )
    parts.append(text(254.0, y + 3.5, "what the car has shown", size=9.0))
    return group(*parts)
