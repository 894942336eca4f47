"""Shapes with known curvature, and files of them. Nothing here is taken from the product."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np


def circle(radius: float = 100.0, spacing: float = 5.0, *, left: bool = True) -> np.ndarray:
    """Points of a closed circle, driven to the left or to the right, not repeating the first."""
    count = round(2.0 * np.pi * radius / spacing)
    angle = 2.0 * np.pi * np.arange(count) / count * (1.0 if left else -1.0)
    return radius * np.column_stack((np.cos(angle), np.sin(angle)))


def rounded_rectangle(
    length: float, width: float, radius: float, spacing: float = 2.0
) -> np.ndarray:
    """Points of a rectangle with straight sides and round corners, driven to the left."""
    pieces = []
    sides = ((length, 0.0), (width, 90.0), (length, 180.0), (width, 270.0))
    at = np.zeros(2)
    for side, heading in sides:
        turn = np.radians(heading)
        ahead, inwards = (np.array([np.cos(a), np.sin(a)]) for a in (turn, turn + np.pi / 2))
        steps = max(1, round(side / spacing))
        pieces.append(at + side / steps * np.arange(steps)[:, None] * ahead)
        at = at + side * ahead
        arc = max(4, round(0.5 * np.pi * radius / spacing))
        angle = (0.5 * np.pi / arc * np.arange(arc))[:, None]
        pieces.append(at + radius * (np.sin(angle) * ahead + (1.0 - np.cos(angle)) * inwards))
        at = at + radius * (ahead + inwards)
    return np.vstack(pieces)


def figure_of_eight(size: float = 200.0, count: int = 300) -> np.ndarray:
    """Points of a Gerono lemniscate, which crosses itself once."""
    t = 2.0 * np.pi * np.arange(count) / count
    return size * np.column_stack((np.cos(t), np.sin(t) * np.cos(t)))


def csv_text(header: str, rows: np.ndarray) -> str:
    """A CSV as somebody would write it."""
    lines = [header, *(",".join(f"{value:.6f}" for value in row) for row in rows)]
    return "\n".join(lines) + "\n"


CENTRE_HEADER = "x_m,y_m,w_tr_right_m,w_tr_left_m"
EDGES_HEADER = "right_x_m,right_y_m,right_z_m,left_x_m,left_y_m,left_z_m"


def centre_rows(points: np.ndarray, right: float = 5.0, left: float = 5.0) -> np.ndarray:
    """Rows of a centre line with constant widths."""
    return np.column_stack((points, np.full(len(points), right), np.full(len(points), left)))


def banked_circle(
    radius: float, half_width: float, drop: float, height, *, count: int = 400
) -> np.ndarray:
    """Rows of both edges of a left-hand circle; the left edge is `drop` lower than the right."""
    angle = 2.0 * np.pi * np.arange(count) / count
    out = np.column_stack((np.cos(angle), np.sin(angle)))
    z = height(angle)
    return np.column_stack(
        (
            (radius + half_width) * out,
            z + 0.5 * drop,
            (radius - half_width) * out,
            z - 0.5 * drop,
        )
    )


def geojson_text(degrees: np.ndarray) -> str:
    """A GeoJSON with one LineString."""
    geometry = {"type": "LineString", "coordinates": np.round(degrees, 7).tolist()}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


def lonlat_circle(radius: float = 200.0, count: int = 60, latitude: float = 45.0) -> np.ndarray:
    """A circle in degrees, closed by repeating the first point, on a sphere of 6371 km."""
    angle = 2.0 * np.pi * np.arange(count + 1) / count
    degree = np.degrees(1.0 / 6.371e6)
    east = radius * np.cos(angle) * degree / np.cos(np.radians(latitude))
    return np.column_stack((10.0 + east, latitude + radius * np.sin(angle) * degree))


def written(folder: Path, name: str, text: str | bytes) -> Path:
    """Put a file into a folder."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path
