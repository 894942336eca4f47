"""The look: colours by role, for paper and for a dark screen, and the signs of the two ends.

Every shape is written with its colour for paper and a class; a page may repaint by class.
Front and rear differ in colour, in shape (triangle up, triangle down) and in letter.
"""

from __future__ import annotations

from typing import Final, Literal

from foreaft.model.answers import Axle
from foreaft.report.svg import Markup, Value, el, group, path

FIGURE_WIDTH: Final = 390.0
"""All pictures are drawn for a phone's width and grow from there. [px]"""

FIELD_EDGES_S: Final = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5)
"""Between these losses the cost field changes its shade; the last shade is open-ended. [s]"""

LIGHT: Final[dict[str, str]] = {
    "paper": "#ffffff",
    "ink": "#14202b",
    "soft": "#4a5661",
    "rule": "#b9bfc2",
    "front": "#00609c",
    "rear": "#a84300",
    "field0": "#fffdf6",
    "field1": "#f4eedd",
    "field2": "#e6dfcb",
    "field3": "#d5cdb7",
    "field4": "#c2b9a3",
    "field5": "#aea58f",
    "field6": "#9a917c",
}

DARK: Final[dict[str, str]] = {
    "paper": "#11171c",
    "ink": "#f1f3f1",
    "soft": "#b4bdc4",
    "rule": "#56616a",
    "front": "#7cc0f5",
    "rear": "#ffab6b",
    "field0": "#171e24",
    "field1": "#222a2f",
    "field2": "#2d3538",
    "field3": "#394041",
    "field4": "#454b4a",
    "field5": "#525653",
    "field6": "#60625d",
}

Role = str
LETTER: Final[dict[Axle, str]] = {"front": "F", "rear": "R"}


def fill(role: Role) -> dict[str, Value]:
    """Attributes of an area or a text."""
    return {"fill": LIGHT[role], "class_": f"f-{role}"}


def stroke(role: Role, width: float) -> dict[str, Value]:
    """Attributes of a line."""
    return {
        "fill": "none",
        "stroke": LIGHT[role],
        "stroke_width": width,
        "class_": f"s-{role}",
    }


def both(inside: Role, edge: Role, width: float) -> dict[str, Value]:
    """Attributes of an area with an edge."""
    return {
        "fill": LIGHT[inside],
        "stroke": LIGHT[edge],
        "stroke_width": width,
        "class_": f"f-{inside} s-{edge}",
    }


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 10.0,
    role: Role = "ink",
    bold: bool = False,
    anchor: Literal["start", "middle", "end"] = "start",
) -> Markup:
    """Write one line of text, its baseline at ``y``."""
    return el(
        "text",
        words,
        x=x,
        y=y,
        font_size=size,
        font_weight="700" if bold else None,
        text_anchor=None if anchor == "start" else anchor,
        **fill(role),
    )


def triangle(x: float, y: float, radius: float, axle: Axle, *, hollow: bool = False) -> Markup:
    """Draw the sign of an end: up for the front, down for the rear."""
    up = -1.0 if axle == "front" else 1.0
    corners = [
        (x, y + up * radius),
        (x - 0.95 * radius, y - up * 0.7 * radius),
        (x + 0.95 * radius, y - up * 0.7 * radius),
    ]
    paint = both("paper", axle, 0.28 * radius + 0.4) if hollow else fill(axle)
    return el("path", d=path(corners, closed=True), **paint)


def hatch(name: str, role: Role, *, slope: Literal["up", "down"] = "up") -> Markup:
    """Define a hatching to be used as ``url(#name)``; up for the front, down for the rear."""
    gap = 4.0
    turn = 45 if slope == "up" else -45
    return el(
        "pattern",
        el("line", x1=0.0, y1=0.0, x2=0.0, y2=gap, **stroke(role, 1.0)),
        id=name,
        width=gap,
        height=gap,
        patternUnits="userSpaceOnUse",
        patternTransform=f"rotate({turn})",
    )


def background(width: float, height: float) -> Markup:
    """Paint the sheet."""
    return el("rect", width=width, height=height, **fill("paper"))


def arrow(x: float, y: float, length: float, axle: Axle, *, to_right: bool) -> Markup:
    """Draw an arrow along the axis of settings towards one end."""
    tip = x + length if to_right else x - length
    back = tip - 6.0 if to_right else tip + 6.0
    head = [(tip, y), (back, y - 3.5), (back, y + 3.5)]
    return group(
        el("path", d=path([(x, y), (back, y)]), **stroke(axle, 1.6)),
        el("path", d=path(head, closed=True), **fill(axle)),
    )


def field_shade(loss_s: float) -> int:
    """Give the shade, 0 for the best, of a loss against the zone's best setting."""
    return sum(loss_s >= edge for edge in FIELD_EDGES_S)


def colour_css(colours: dict[str, str]) -> str:
    """Write the rules that repaint every picture by class."""
    return "\n".join(
        f".f-{role}{{fill:{colour}}}.s-{role}{{stroke:{colour}}}"
        for role, colour in colours.items()
    )
