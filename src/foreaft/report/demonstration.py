"""The demonstration: driven runs side by side as a page that plays, and as a moving image.

The page is one file: nothing is fetched, its script and its few letters are inside.
What it plays is stored as whole numbers, each channel as its first value and its differences.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import numpy as np

from foreaft.drive.scene import Scene
from foreaft.drive.trace import Floats
from foreaft.files.atomic import write_file
from foreaft.report import demonstration_charts as charts
from foreaft.report import demonstration_look as look
from foreaft.report import demonstration_words as said
from foreaft.report import moving_image, words
from foreaft.report.demonstration_data import STANDING_MPS, Film, Reel, film, wheel_words
from foreaft.report.demonstration_frame import (
    LEFT_NAMED,
    Area,
    Box,
    Shape,
    Stroke,
    panel,
    wheel_shapes,
)
from foreaft.report.html import TEMPLATES, html_template
from foreaft.report.style import text
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.webfont import WEB_FAMILY, face_css

PAGE: Final = "show.html"
IMAGE: Final = "show.gif"
STILL: Final = Box(232.0, 200.0)
"""Size of one picture of the storyboard."""

Data = dict[str, Any]

LENGTH, ANGLE, SPEED, RATE, SHARE = 0.01, 0.001, 0.02, 0.002, 0.002
"""What one unit of a stored channel is worth: a centimetre, a thousandth of a radian, and so on."""


def write(folder: Path, scene: Scene, image: bool = True) -> list[Path]:
    """Write the page and, unless it is not wanted, the moving image into a folder that exists.

    Nothing is written before all is made; each file comes whole.

    Raises
    ------
    InputError
        If a run is too short or damaged, or the folder may not be written.
    MissingPart
        If the fonts or the library for images are not installed.
    """
    shown = film(scene)
    made = {PAGE: page(shown)}
    if image:
        made[IMAGE] = moving_image.make(shown)
    return [write_file(folder / name, data) for name, data in made.items()]


def page(shown: Film) -> bytes:
    """Make the page that plays."""
    scene = shown.scene
    shared = charts.scales(shown)
    runs = [_run(shown, index, shared) for index in range(len(shown.reels))]
    data: Data = {
        "title": scene.title,
        "who": _who(scene),
        "zone": scene.zone_name or "",
        "adjuster": said.adjuster(scene),
        "runs": runs,
        "states": list(enumerate(look.STATE_WORDS)),
        "signs": [_sign(state) for state in range(len(look.STATE_WORDS))],
        "edges": shown.road.left is not None,
        "duration": f"{shown.duration_s:.2f}",
        "step": f"{shown.reels[0].step_s:g}",
        "cautions": scene.cautions or tuple(words.cautions()),
        "scene": _json(_pack(shown, shared)),
        "light": look.variables(look.LIGHT),
        "dark": look.variables(look.DARK),
        "roles": sorted(look.LIGHT),
        "family": WEB_FAMILY,
        "script": (TEMPLATES / "demonstration.js").read_text("utf-8"),
        "style": (TEMPLATES / "demonstration.css").read_text("utf-8"),
    }
    html: str = html_template("demonstration").render(data)
    return html.replace("/*faces*/", face_css(html), 1).encode()


def _run(shown: Film, index: int, shared: charts.Scales) -> Data:
    reel = shown.reels[index]
    return {
        "label": reel.label,
        "sentence": reel.sentence,
        "happenings": [
            {"time": f"{one.start_s:.2f}", "words": said.happening(one)}
            for one in sorted(reel.happenings, key=lambda each: each.start_s)
            if 0.0 <= one.start_s <= reel.duration_s
        ][:12],
        "charts": charts.draw(shown, reel, shared, f"traces{index}"),
        "stills": [
            _still(shown, reel, one, f"still{index}-{number}")
            for number, one in enumerate(said.instants(shown, reel))
        ],
    }


def _who(scene: Scene) -> str:
    """Say what the title does not."""
    names = [scene.car_name, scene.circuit_name, scene.zone_name or ""]
    return " · ".join(one for one in names if one and one not in scene.title)


def _json(data: Data) -> str:
    """Write data so that no name inside can end the element it stands in."""
    shown = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return shown.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


# ---------------------------------------------------------------- numbers for the script


def _pack(shown: Film, shared: charts.Scales) -> Data:
    origin = shown.road.line.mean(axis=0)
    marks = [
        {
            "name": mark.name,
            "words": mark.words,
            "ends": [[round(float(v), 2) for v in np.array(e) - origin] for e in mark[3:]],
        }
        for mark in shown.marks
    ]
    whole, body = shown.whole, shown.body
    rounded = [float(v) for v in (whole.x_m - origin[0], whole.y_m - origin[1], *whole[2:])]
    return {
        "units": shown.scene.units,
        "duration": shown.duration_s,
        "pedal": round(shown.pedal_most, 3),
        "road": {
            side: [channel(edge[:, i] - origin[i], LENGTH) for i in (0, 1)]
            for side, edge in (
                ("line", shown.road.line),
                ("left", shown.road.left),
                ("right", shown.road.right),
            )
            if edge is not None
        },
        "marks": marks,
        "whole": [round(value, 3) for value in rounded],
        "body": {
            "hull": np.round(body.hull, 3).tolist(),
            "screen": np.round(body.screen, 3).tolist(),
            "wheels": np.round(body.wheels, 3).tolist(),
            "length": body.wheel_length_m,
            "width": body.wheel_width_m,
        },
        "look": {
            "follow": look.FOLLOW_HEIGHT_M,
            "place": look.FOLLOW_PLACE_FRAC,
            "close": look.CLOSE_FRAC,
            "carLength": look.CAR_LENGTH_FRAC,
            "carMiddle": look.CAR_MIDDLE_FRAC,
            "closeMost": look.CLOSE_MOST_PX,
            "enlarged": look.WHEEL_ENLARGED,
            "smallest": look.SMALLEST_CAR_PX,
            "push": look.PUSH_PX,
            "leftNamed": LEFT_NAMED,
            "standing": STANDING_MPS,
            "words": look.STATE_WORDS,
            "wheels": [wheel_words(i) for i in range(4)],
            "short": look.STATE_SHORT,
        },
        "chart": {
            "left": charts.LEFT,
            "right": charts.RIGHT,
            "width": charts.WIDTH,
            "low": shared.distance.low,
            "high": shared.distance.high,
        },
        "runs": [_pack_reel(reel, origin) for reel in shown.reels],
    }


def _pack_reel(reel: Reel, origin: Floats) -> Data:
    state = reel.state.astype(np.float64)
    wheels = {"state": (state, 1.0), "px": (reel.push_x, SHARE), "py": (reel.push_y, SHARE)}
    return {
        "step": round(reel.step_s, 6),
        "s": channel(reel.s_m, LENGTH),
        "x": channel(reel.x_m - origin[0], LENGTH),
        "y": channel(reel.y_m - origin[1], LENGTH),
        "heading": channel(reel.heading_rad, ANGLE),
        "slip": channel(reel.going_rad - reel.heading_rad, ANGLE),
        "up": channel(reel.up_rad, ANGLE),
        "shift": channel(reel.shift_m, LENGTH),
        "speed": channel(reel.speed_mps, SPEED),
        "steer": channel(reel.steer_rad, ANGLE),
        "pedal": channel(reel.pedal_frac, SHARE),
        "front": channel(reel.axle_use[:, 0], SHARE),
        "rear": channel(reel.axle_use[:, 1], SHARE),
        **{
            name: [channel(column, unit) for column in values.T]
            for name, (values, unit) in wheels.items()
        },
    }


def channel(values: Floats, unit: float) -> Data:
    """Store numbers as whole multiples of a unit: the first, then the differences.

    >>> channel(np.array([1.0, 1.02, 1.01]), 0.01)
    {'u': 0.01, 'd': [100, 2, -1]}
    """
    whole = np.round(values / unit).astype(np.int64)
    return {"u": unit, "d": [int(whole[0]), *np.diff(whole).tolist()]}


# ---------------------------------------------------------------- pictures that stand still


def _still(shown: Film, reel: Reel, one: said.Instant, name: str) -> Data:
    row = min(int(one.time_s / reel.step_s), len(reel.time_s) - 1)
    state = said.state_of(reel, row, shown.scene.units)
    heading = f"{one.time_s:.1f} s" + (f": {one.words}" if one.words else "")
    drawn = document(
        STILL.width,
        STILL.height,
        *shapes_svg(panel(shown, reel, one.time_s, STILL)),
        name=name,
        title=f"{reel.label}, {heading}",
        desc=state,
    )
    return {"picture": drawn, "heading": heading, "state": state}


def shapes_svg(shapes: list[Shape]) -> list[Markup]:
    """Write shapes as elements of a picture."""
    return [_shape_svg(one) for one in shapes]


def _shape_svg(one: Shape) -> Markup:
    if isinstance(one, Area):
        paint = {"fill": look.LIGHT[one.fill], "class_": f"f-{one.fill}"}
        if one.edge is not None:
            paint["class_"] += f" s-{one.edge}"
            paint["stroke"] = look.LIGHT[one.edge]
        width = one.width if one.edge is not None else None
        return el("path", d=path(_points(one), closed=True), stroke_width=width, **paint)
    if isinstance(one, Stroke):
        line = {"fill": "none", "stroke": look.LIGHT[one.role], "class_": f"s-{one.role}"}
        dash = None if one.dash is None else f"{one.dash[0]:g} {one.dash[1]:g}"
        return el(
            "path", d=path(_points(one)), stroke_width=one.width, stroke_dasharray=dash, **line
        )
    return text(
        one.x, one.y, one.text, size=one.size, role=one.role, bold=one.bold, anchor=one.anchor
    )


def _points(one: Area | Stroke) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in one.points]


def _sign(state: int) -> Markup:
    """Draw the sign of one state, for the key."""
    corners = np.array([[3.0, 3.0], [15.0, 3.0], [15.0, 25.0], [3.0, 25.0]])
    drawn = group(*shapes_svg(wheel_shapes(corners, state, 1.5)))
    return el("svg", drawn, viewBox="0 0 18 28", class_="sign", aria_hidden="true")
