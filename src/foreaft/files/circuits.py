"""Reading a circuit: four layouts in, one checked `RawCircuit` out.

======================  ========================================================  ===========
kind                    columns                                                   file
======================  ========================================================  ===========
centreline_with_widths  x_m, y_m, w_tr_right_m, w_tr_left_m and perhaps z_m        CSV
driven_line             x_m, y_m and perhaps z_m                                   CSV
edges_3d                right_x_m, right_y_m, right_z_m, left_x_m, left_y_m,       CSV
                        left_z_m, or right_bound_x ... left_bound_z in metres
lonlat                  one LineString of [longitude, latitude], degrees           GeoJSON
======================  ========================================================  ===========

A circuit is something people edit: it is refused where it is wrong, never repaired.
Only the last point is dropped where it repeats the first: that is how a file says "closed".
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import numpy as np

from foreaft.base.errors import InputError
from foreaft.files.circuit_shape import (
    check_edges,
    check_heights,
    check_sides,
    checked_shape,
    rows_of,
)
from foreaft.files.read import read_text
from foreaft.track.geometry import Floats, tangents
from foreaft.track.stations import Kind, RawCircuit

SUFFIXES = (".csv", ".geojson", ".json")
MAX_BYTES = 64 * 1024 * 1024
"""Largest circuit file read: a million rows; a real one has a few thousand."""

WIDTH_RANGE_M = (0.5, 100.0)
MAX_COORDINATE_M = 1e7
MAX_DEGREES_SPAN = 1.0

WGS84_A_M = 6378137.0
"""Semi-major axis of WGS 84 (NIMA TR8350.2, third edition, table 3.1)."""
WGS84_F = 1.0 / 298.257223563
"""Flattening of WGS 84 (same table)."""

_CENTRE = ("x_m", "y_m", "w_tr_right_m", "w_tr_left_m")
_EDGES = ("right_x_m", "right_y_m", "right_z_m", "left_x_m", "left_y_m", "left_z_m")
_EDGES_OPEN_DATA = (
    "right_bound_x",
    "right_bound_y",
    "right_bound_z",
    "left_bound_x",
    "left_bound_y",
    "left_bound_z",
)
_LAYOUTS: tuple[tuple[Kind, tuple[str, ...], tuple[str, ...]], ...] = (
    ("centreline_with_widths", _CENTRE, ("z_m",)),
    ("driven_line", ("x_m", "y_m"), ("z_m",)),
    ("edges_3d", _EDGES, ()),
    ("edges_3d", _EDGES_OPEN_DATA, ()),
)
_LAYOUT_TEXT = "; or ".join(",".join(names) for _, names, _ in _LAYOUTS[:3])


class _Table(NamedTuple):
    """A CSV as columns, with the file's line of every row."""

    kind: Kind
    columns: dict[str, Floats]
    rows: list[int]


def read_circuit(path: str | os.PathLike[str], *, closed: bool | None = None) -> RawCircuit:
    """Read and check a circuit file.

    Parameters
    ----------
    path : path
        A `.csv`, `.geojson` or `.json` file of at most 64 MiB.
    closed : bool, optional
        Say that the road is a lap, or that it is not.
        Where None, a road whose ends lie within twice the median spacing is a lap, one whose
        ends lie far apart is open, and anything between is refused.

    Raises
    ------
    InputError
        For everything that is wrong, with file, line, key, value, allowed range, unit and hint.
    """
    file = Path(path)
    suffix = file.suffix.lower()
    if suffix not in SUFFIXES and file.is_file():
        raise InputError(
            "this is not a kind of file a circuit is read from",
            code="circuit_suffix",
            file=file,
            key="file name",
            value=file.suffix,
            allowed=", ".join(SUFFIXES),
            unit="",
            hint="give the file the ending that says what is in it",
        )
    text = read_text(file, MAX_BYTES)
    if suffix == ".csv":
        return _from_table(file, _table(file, text), closed)
    return _from_lonlat(file, text, closed)


# ---------------------------------------------------------------- CSV


def _table(file: Path, text: str) -> _Table:
    """Split a CSV into checked columns; the header may stand in a comment."""
    lines = text.splitlines()
    header_at = next((i for i, line in enumerate(lines) if line.strip()), None)
    if header_at is None:
        raise InputError(
            "the file holds nothing but blank lines",
            code="file_empty",
            file=file,
            line=1,
            key="header",
            value="",
            allowed=_LAYOUT_TEXT,
            unit="",
            hint="write a header and points",
        )
    names = [n.strip() for n in lines[header_at].strip().lstrip("#").split(",")]
    kind = _layout(file, header_at + 1, names)
    values, rows = _numbers(file, lines, header_at + 1, names)
    array = np.array(values, dtype=np.float64).reshape(len(rows), len(names))
    return _Table(kind, {name: array[:, i] for i, name in enumerate(names)}, rows)


def _layout(file: Path, line: int, names: Sequence[str]) -> Kind:
    """The kind of circuit these columns make; the order does not matter, the names do."""
    for kind, needed, optional in _LAYOUTS:
        missing = set(needed) - set(names)
        if not missing and set(names) <= {*needed, *optional} and len(set(names)) == len(names):
            return kind
    raise InputError(
        "these columns do not make a circuit",
        code="circuit_header",
        file=file,
        line=line,
        key="header",
        value=_short(",".join(names)),
        allowed=_LAYOUT_TEXT,
        unit="m",
        hint="the first line names the columns, each with its unit; use commas and metres",
    )


def _numbers(
    file: Path, lines: Sequence[str], first: int, names: Sequence[str]
) -> tuple[list[list[float]], list[int]]:
    values: list[list[float]] = []
    rows: list[int] = []
    for number, line in enumerate(lines[first:], start=first + 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        cells = line.split(",")
        if len(cells) != len(names):
            raise InputError(
                "this row has another number of cells than the header",
                code="circuit_row",
                file=file,
                line=number,
                key="row",
                value=len(cells),
                allowed=str(len(names)),
                unit="cells",
                hint="separate cells by commas, and use a point for decimals",
            )
        values.append(
            [
                _number(file, number, name, cell.strip())
                for name, cell in zip(names, cells, strict=True)
            ]
        )
        rows.append(number)
    return values, rows


def _number(file: Path, line: int, key: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
        plain = False
    else:
        plain = cell.isascii() and "_" not in cell and math.isfinite(value)
    if not plain:
        raise InputError(
            "a finite number belongs here",
            code="not_a_number",
            file=file,
            line=line,
            key=key,
            value=_short(cell),
            allowed="a finite number",
            unit=_unit(key),
            hint="write plain digits with a decimal point, no unit and no thousands mark",
        )
    _inside(file, line, key, value)
    return value


def _unit(key: str) -> str:
    return "m" if key.endswith("_m") or "_bound_" in key else ""


def _inside(file: Path, line: int, key: str, value: float) -> None:
    """Refuse a width or a coordinate no circuit has."""
    low, high = WIDTH_RANGE_M if key.startswith("w_tr") else (-MAX_COORDINATE_M, MAX_COORDINATE_M)
    if low <= value <= high:
        return
    raise InputError(
        f"{key} is out of range",
        code="out_of_range",
        file=file,
        line=line,
        key=key,
        value=value,
        allowed=f"{low:g} to {high:g}",
        unit="m",
        hint="widths run from the centre line to either edge; everything is in metres",
    )


def _short(text: str) -> str:
    """A value as shown in an error: at most 60 characters."""
    return text if len(text) <= 60 else text[:57] + "..."


def _from_table(file: Path, table: _Table, closed: bool | None) -> RawCircuit:
    if table.kind == "edges_3d":
        return _from_edges(file, table, closed)
    points = np.column_stack([table.columns[n] for n in ("x_m", "y_m")])
    where = rows_of(table.rows)
    shut, keep = checked_shape(file, points, where, closed, coarse=False)
    column = {name: values[:keep] for name, values in table.columns.items()}
    check_heights(file, column.get("z_m"), points[:keep], where)
    raw = RawCircuit(
        table.kind,
        shut,
        str(file),
        column["x_m"],
        column["y_m"],
        column.get("z_m"),
        column.get("w_tr_right_m"),
        column.get("w_tr_left_m"),
    )
    if raw.width_left_m is not None and raw.width_right_m is not None:
        along = tangents(points[:keep], closed=shut)
        left = np.column_stack((-along[:, 1], along[:, 0]))
        check_edges(
            file,
            points[:keep] - left * raw.width_right_m[:, None],
            points[:keep] + left * raw.width_left_m[:, None],
            where,
            shut,
        )
    return raw


def _from_edges(file: Path, table: _Table, closed: bool | None) -> RawCircuit:
    names = _EDGES if _EDGES[0] in table.columns else _EDGES_OPEN_DATA
    both = np.column_stack([table.columns[name] for name in names])
    middle = 0.5 * (both[:, :3] + both[:, 3:])
    where = rows_of(table.rows)
    shut, keep = checked_shape(file, middle[:, :2], where, closed, coarse=False)
    right, left, middle = both[:keep, :3], both[:keep, 3:], middle[:keep]
    across = left - right
    check_sides(file, across[:, :2], tangents(middle[:, :2], closed=shut), where)
    check_edges(file, right[:, :2], left[:, :2], where, shut)
    for side in (right, left):
        check_heights(file, side[:, 2], middle[:, :2], where)
    width = np.hypot(across[:, 0], across[:, 1])
    for row, value in enumerate(width):
        if not WIDTH_RANGE_M[0] <= 0.5 * value <= WIDTH_RANGE_M[1]:
            _refuse_width(file, where(row), float(value))
    return RawCircuit(
        "edges_3d",
        shut,
        str(file),
        middle[:, 0],
        middle[:, 1],
        middle[:, 2],
        0.5 * width,
        0.5 * width,
        np.arctan2(-across[:, 2], width),
    )


def _refuse_width(file: Path, line: int | None, value: float) -> NoReturn:
    raise InputError(
        "the edges lie too near or too far from each other",
        code="out_of_range",
        file=file,
        line=line,
        key="track width",
        value=round(value, 3),
        allowed=f"{2 * WIDTH_RANGE_M[0]:g} to {2 * WIDTH_RANGE_M[1]:g}",
        unit="m",
        hint="each row holds the two edges at the same place of the lap, in metres",
    )


# ---------------------------------------------------------------- GeoJSON


def _from_lonlat(file: Path, text: str, closed: bool | None) -> RawCircuit:
    """Read the one LineString of a GeoJSON (RFC 7946) and lay it on a plane."""
    degrees = _degrees(file, _coordinates(file, _json(file, text)))
    points = tangent_plane(degrees)

    def where(row: int) -> int | None:
        return None  # GeoJSON has no lines worth naming: the key says which position

    shut, keep = checked_shape(file, points, where, closed, coarse=True)
    return RawCircuit("lonlat", shut, str(file), points[:keep, 0], points[:keep, 1])


def _json(file: Path, text: str) -> Any:
    def constant(word: str) -> NoReturn:
        raise InputError(
            "a finite number belongs here",
            code="not_a_number",
            file=file,
            key="coordinates",
            value=word,
            allowed="a finite number",
            unit="deg",
            hint="GeoJSON knows no such number",
        )

    try:
        return json.loads(text, parse_constant=constant)
    except json.JSONDecodeError as error:
        raise InputError(
            f"this is not JSON: {error.msg}",
            code="file_not_json",
            file=file,
            line=error.lineno,
            key="JSON",
            value=_short(text[error.pos : error.pos + 20]),
            allowed="GeoJSON",
            unit="",
            hint="export the line again as GeoJSON",
        ) from error
    except (RecursionError, ValueError) as error:  # too deep, or a number of too many digits
        raise InputError(
            "this JSON cannot be read",
            code="file_not_json",
            file=file,
            key="JSON",
            value=_short(str(error)),
            allowed="GeoJSON",
            unit="",
            hint="export the line again as GeoJSON",
        ) from error


def _coordinates(file: Path, document: Any) -> list[Any]:
    """The positions of the only LineString in a geometry, a feature or a collection."""
    kind = document.get("type") if isinstance(document, dict) else None
    if kind == "FeatureCollection":
        features = document.get("features")
        if isinstance(features, list) and len(features) == 1:
            return _coordinates(file, features[0])
        _refuse_geojson(file, "features", "not exactly one feature")
    if kind == "Feature":
        geometry = document.get("geometry")
        if isinstance(geometry, dict) and geometry.get("type") == "LineString":
            return _coordinates(file, geometry)
        _refuse_geojson(file, "geometry", "not a LineString")
    if kind != "LineString" or not isinstance(document.get("coordinates"), list):
        _refuse_geojson(file, "type", _short(str(kind)))
    return list(document["coordinates"])


def _refuse_geojson(file: Path, key: str, value: str) -> NoReturn:
    raise InputError(
        "one line of longitude and latitude belongs here",
        code="geojson_shape",
        file=file,
        key=key,
        value=value,
        allowed="one LineString, alone or as the only feature",
        unit="",
        hint="keep the one line that is the lap, and delete other features",
    )


def _degrees(file: Path, positions: list[Any]) -> Floats:
    """Longitude and latitude of every position, checked, shape (n, 2). [deg]"""
    out = np.empty((len(positions), 2))
    for row, position in enumerate(positions):
        if not isinstance(position, list) or not 2 <= len(position) <= 4:
            _refuse_degree(file, f"coordinates[{row}]", position, "[longitude, latitude]")
        for column, (name, limit) in enumerate((("longitude", 180.0), ("latitude", 90.0))):
            value = position[column]
            key = f"coordinates[{row}] {name}"
            number = isinstance(value, int | float) and not isinstance(value, bool)
            if not number or not -limit <= value <= limit:
                _refuse_degree(file, key, value, f"{-limit:g} to {limit:g}")
            out[row, column] = value
    if len(out) and np.ptp(out, axis=0).max() > MAX_DEGREES_SPAN:
        _refuse_degree(
            file,
            "coordinates",
            f"{np.ptp(out, axis=0).max():.3f} across",
            f"at most {MAX_DEGREES_SPAN:g} across",
        )
    return out


def _refuse_degree(file: Path, key: str, value: object, allowed: str) -> NoReturn:
    raise InputError(
        "this is not a place on a circuit",
        code="geojson_position",
        file=file,
        key=key,
        value=_short(str(value)),
        allowed=allowed,
        unit="deg",
        hint="GeoJSON writes longitude first, then latitude, in degrees",
    )


def tangent_plane(degrees: Floats) -> Floats:
    """Metres east and north of the middle of some places on the WGS-84 ellipsoid.

    Parameters
    ----------
    degrees : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    ndarray, shape (n, 2)
        East and north. [m]

    Notes
    -----
    Radii of curvature at the mean latitude p: in the meridian M = a (1 - e2) / w^3, across it
    N = a / w, with w = sqrt(1 - e2 sin(p)^2); east = N cos(p) dlon, north = M dlat.
    Over 3 km the plane is off by less than a millimetre in length but by up to
    dlat tan(p) / 2 in scale across, 0.02 % at 60 degrees.
    """
    middle = np.radians(degrees.mean(axis=0)) if len(degrees) else np.zeros(2)
    squared = WGS84_F * (2.0 - WGS84_F)
    w = math.sqrt(1.0 - squared * math.sin(middle[1]) ** 2)
    across = WGS84_A_M / w * math.cos(middle[1])
    meridian = WGS84_A_M * (1.0 - squared) / w**3
    return np.asarray((np.radians(degrees) - middle) * (across, meridian))
