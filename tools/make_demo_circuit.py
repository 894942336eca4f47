"""Draw the invented demo circuit: straights and bends with eased ends, closed by two straights.

Writes ``brackwater.csv`` (centre line and widths every 5 m) into the folder given.
A bend's curvature rises, stays and falls linearly (a clothoid, an arc, a clothoid), so its heading
changes by exactly the angle asked for; the lengths of two straights follow from closing the lap.
Every number is invented.

Usage: python tools/make_demo_circuit.py FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

STEP_M = 5.0
FINE_M = 0.25
Floats = NDArray[np.float64]

LAP: list[tuple[object, ...]] = [
    # kind, then length [m] of a straight, or the name of one that follows from closing the lap;
    # angle [degrees, left positive], radius [m] and easing at either end [m] of a bend
    ("straight", 430),
    ("bend", -75, 95, 50),
    ("straight", 150),
    ("bend", 60, 80, 40),
    ("straight", 400),
    ("bend", -165, 17, 14),
    ("straight", 310),
    ("bend", 48, 34, 14),
    ("straight", 25),
    ("bend", -48, 34, 14),
    ("straight", 350),
    ("bend", 80, 58, 30),
    ("straight", 260),
    ("bend", -60, 90, 45),
    ("straight", 450),
    ("bend", -150, 15, 12),
    ("straight", 400),
    ("bend", 60, 75, 38),
    ("straight", 170),
    ("bend", -55, 62, 30),
    ("straight", 60),
    ("bend", 55, 85, 40),
    ("straight", "north"),
    ("bend", -110, 50, 26),
    ("straight", "east"),
]


def bend(angle_deg: float, radius_m: float, ease_m: float) -> Floats:
    """Return the curvature of a bend, every FINE_M. [1/m]"""
    angle = np.radians(abs(angle_deg))
    arc = radius_m * angle - ease_m  # each easing turns by ease / (2 radius)
    if arc < 0.0:
        raise SystemExit(f"a bend of {angle_deg} degrees is shorter than its easing")
    s = np.arange(0.0, arc + 2.0 * ease_m, FINE_M) + 0.5 * FINE_M
    shape = np.minimum(np.minimum(s / ease_m, 1.0), (arc + 2.0 * ease_m - s) / ease_m)
    shape = np.maximum(shape, 0.0)
    return np.sign(angle_deg) * shape * angle / (shape.sum() * FINE_M)


def pieces(unknown: dict[str, float]) -> list[Floats]:
    """Return the curvature of every piece of the lap."""
    out = []
    for kind, *numbers in LAP:
        if kind == "straight":
            length = unknown.get(str(numbers[0]), numbers[0])
            out.append(np.zeros(round(float(length) / FINE_M)))  # type: ignore[arg-type]
        else:
            out.append(bend(*numbers))  # type: ignore[arg-type]
    return out


def walk(curvature: Floats) -> Floats:
    """Return the points reached, shape (n + 1, 2), from the origin along x. [m]"""
    heading = np.concatenate([[0.0], np.cumsum(curvature) * FINE_M])
    middle = 0.5 * (heading[1:] + heading[:-1])
    steps = FINE_M * np.column_stack([np.cos(middle), np.sin(middle)])
    return np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])


def closed_lap() -> tuple[dict[str, float], Floats]:
    """Return the lengths that close the lap, and its points every FINE_M, shape (n, 2). [m]

    The end of the lap is linear in the two lengths, along the headings of their straights.
    """
    lengths = {"north": 200.0, "east": 100.0}
    for _ in range(3):  # lengths are whole steps of FINE_M: the last millimetres are spread below
        curvature = np.concatenate(pieces(lengths))
        end = walk(curvature)[-1]
        headings = _headings()
        along = np.column_stack([[np.cos(headings[n]), np.sin(headings[n])] for n in lengths])
        for name, more in zip(lengths, np.linalg.solve(along, -end), strict=True):
            lengths[name] += float(more)
    points = walk(np.concatenate(pieces(lengths)))
    gap = points[-1] - points[0]
    part = np.linspace(0.0, 1.0, len(points))[:, None]
    return lengths, (points - part * gap)[:-1]


def _headings() -> dict[str, float]:
    heading, found = 0.0, {}
    for kind, first, *_ in LAP:
        if kind == "bend":
            heading += float(np.radians(float(first)))  # type: ignore[arg-type]
        elif isinstance(first, str):
            found[first] = heading
    return found


def widths(count: int) -> tuple[Floats, Floats]:
    """Return right and left half widths: 5 to 6.5 m, changing slowly round the lap. [m]"""
    turn = 2.0 * np.pi * np.arange(count) / count
    return 5.7 + 0.6 * np.sin(2.0 * turn + 0.4), 5.7 + 0.7 * np.cos(3.0 * turn)


def main() -> None:
    """Write brackwater.csv into the folder named on the command line."""
    lengths, fine = closed_lap()
    short = {name: round(length) for name, length in lengths.items() if length < 50.0}
    if short:
        raise SystemExit(f"these straights come out too short: {short} m")
    round_lap = np.vstack([fine, fine[:1]])
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(round_lap, axis=0).T))])
    count = round(s[-1] / STEP_M)
    at = np.arange(count) * s[-1] / count
    x, y = (np.interp(at, s, column) for column in round_lap.T)
    right, left = widths(count)
    lines = ["x_m,y_m,w_tr_right_m,w_tr_left_m"]
    lines += [
        f"{a:.3f},{b:.3f},{c:.2f},{d:.2f}" for a, b, c, d in zip(x, y, right, left, strict=True)
    ]
    (Path(sys.argv[1]) / "brackwater.csv").write_text("\n".join(lines) + "\n", "utf-8")
    straights = {name: round(length) for name, length in lengths.items()}
    print(f"{s[-1]:.0f} m, {count} points, straights {straights}")


if __name__ == "__main__":
    main()
