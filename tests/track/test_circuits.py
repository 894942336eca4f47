"""Readers of circuits: what they take, what they refuse and how, and a fuzzer over all of them."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from foreaft.base.errors import InputError
from foreaft.files import circuits
from foreaft.files.circuits import MAX_BYTES, read_circuit, tangent_plane
from foreaft.track.stations import stations_from
from track import shapes

CENTRE = shapes.csv_text(shapes.CENTRE_HEADER, shapes.centre_rows(shapes.circle(80.0)))
DRIVEN = shapes.csv_text("x_m,y_m", shapes.circle(60.0))
EDGES = shapes.csv_text(
    shapes.EDGES_HEADER, shapes.banked_circle(60.0, 5.0, 0.3, np.zeros_like, count=80)
)
GEOJSON = shapes.geojson_text(shapes.lonlat_circle())
SAMPLES = {"centre.csv": CENTRE, "driven.csv": DRIVEN, "edges.csv": EDGES, "lap.geojson": GEOJSON}


def refused(path: Path, **more) -> InputError:
    """The refusal of a file, complete for a reader of it."""
    with pytest.raises(InputError) as caught:
        read_circuit(path, **more)
    error = caught.value
    assert error.file == str(path)
    assert error.message
    assert error.hint
    assert error.key
    assert error.allowed
    return error


def edited(text: str, line: int, new: str | None) -> str:
    """The text with one line, counted from 1, replaced or (None) deleted."""
    lines = text.splitlines()
    lines[line - 1 : line] = [] if new is None else [new]
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------- what is read


@pytest.mark.parametrize(
    ("name", "kind", "radius"),
    [
        ("centre.csv", "centreline_with_widths", 80.0),
        ("driven.csv", "driven_line", 60.0),
        ("edges.csv", "edges_3d", 60.0),
        ("lap.geojson", "lonlat", 200.0),
    ],
)
def test_each_kind_is_read(tmp_path: Path, name: str, kind: str, radius: float) -> None:
    raw = read_circuit(shapes.written(tmp_path, name, SAMPLES[name]))
    assert raw.kind == kind
    assert raw.closed
    road = stations_from(raw)
    # Smoothing may cut a circle by its tolerance: 0.25 m, and 2 m for degrees.
    cut = 2.0 if kind == "lonlat" else 0.25
    assert road.length_m == pytest.approx(2.0 * np.pi * radius, rel=cut / radius + 2e-3)


def test_columns_are_found_by_name(tmp_path: Path) -> None:
    rows = shapes.centre_rows(shapes.circle(80.0), 4.0, 6.0)
    path = shapes.written(
        tmp_path,
        "a.csv",
        shapes.csv_text("w_tr_left_m,y_m,w_tr_right_m,x_m", rows[:, [3, 1, 2, 0]]),
    )
    raw = read_circuit(path)
    np.testing.assert_allclose(raw.x_m, rows[:, 0], atol=1e-6)
    assert raw.width_left_m is not None
    np.testing.assert_allclose(raw.width_left_m, 6.0)


def test_header_may_be_a_comment_and_comments_are_skipped(tmp_path: Path) -> None:
    text = "\ufeff# " + CENTRE.replace("\n", "\r\n# a remark\r\n", 1)
    assert len(read_circuit(shapes.written(tmp_path, "a.csv", text)).x_m) == 101


def test_height_of_a_centre_line_is_used(tmp_path: Path) -> None:
    points = shapes.circle(80.0)
    rows = np.column_stack((shapes.centre_rows(points), 0.02 * points[:, 0]))
    text = shapes.csv_text(shapes.CENTRE_HEADER + ",z_m", rows)
    road = stations_from(read_circuit(shapes.written(tmp_path, "a.csv", text)))
    assert road.climb_m == pytest.approx(3.2, abs=0.25)


def test_closing_point_is_not_a_repeat(tmp_path: Path) -> None:
    points = shapes.circle(60.0)
    path = shapes.written(tmp_path, "a.csv", shapes.csv_text("x_m,y_m", [*points, points[0]]))
    raw = read_circuit(path)
    assert raw.closed
    assert len(raw.x_m) == len(points)


def test_open_road_is_open(tmp_path: Path) -> None:
    half = shapes.circle(100.0)[:60]
    path = shapes.written(tmp_path, "a.csv", shapes.csv_text("x_m,y_m", half))
    assert not read_circuit(path).closed
    assert not stations_from(read_circuit(path)).closed
    assert refused(path, closed=True).code == "circuit_gap"


def test_nearly_closed_road_must_be_stated(tmp_path: Path) -> None:
    path = shapes.written(tmp_path, "a.csv", shapes.csv_text("x_m,y_m", shapes.circle(100.0)[:-3]))
    error = refused(path)
    assert error.code == "circuit_closed_unclear"
    assert error.unit == "m"
    assert read_circuit(path, closed=True).closed
    assert not read_circuit(path, closed=False).closed


def test_figure_of_eight_is_allowed(tmp_path: Path) -> None:
    rows = shapes.centre_rows(shapes.figure_of_eight())
    path = shapes.written(tmp_path, "a.csv", shapes.csv_text(shapes.CENTRE_HEADER, rows))
    road = stations_from(read_circuit(path), line="min_curvature")
    assert abs(road.curvature_1pm.sum() * road.spacing_m) < 0.01


def test_coarse_geojson_is_resampled_within_its_tolerance(tmp_path: Path) -> None:
    coarse = shapes.lonlat_circle(radius=200.0, count=24)  # chords of 52 m, 1.7 m off the arc
    road = stations_from(
        read_circuit(shapes.written(tmp_path, "a.json", shapes.geojson_text(coarse)))
    )
    radius = np.hypot(road.x_m - road.x_m.mean(), road.y_m - road.y_m.mean())
    assert np.abs(radius - 200.0).max() < 1.7 + 2.0
    assert np.abs(road.curvature_1pm).max() < 2.0 / 200.0


@pytest.mark.parametrize(
    ("latitude", "east_km", "north_km"),
    [
        (0.0, 111.320, 110.574),
        (45.0, 78.847, 111.132),
        (60.0, 55.800, 111.412),
    ],
)
def test_length_of_a_degree(latitude: float, east_km: float, north_km: float) -> None:
    """Lengths of a degree on WGS 84, as printed in geographic tables (from memory)."""
    step = 1e-3
    places = np.array([[10.0 - step, latitude - step], [10.0 + step, latitude + step]])
    across = np.diff(tangent_plane(places), axis=0)[0] / (2.0 * step) / 1e3
    np.testing.assert_allclose(across, (east_km, north_km), atol=1e-3)


# ---------------------------------------------------------------- what is refused

ROW = "79.000000,5.000000,5.000000,5.000000"

BAD_ROWS = [
    ("text", "seven,1,5,5", "not_a_number", "x_m"),
    ("nan", "nan,1,5,5", "not_a_number", "x_m"),
    ("infinity", "79,inf,5,5", "not_a_number", "y_m"),
    ("empty cell", "79,,5,5", "not_a_number", "y_m"),
    ("thousands", "1_000,1,5,5", "not_a_number", "x_m"),
    ("unit", "79 m,1,5,5", "not_a_number", "x_m"),
    ("decimal comma", "79,1,5,1,5,2", "circuit_row", "row"),
    ("too few cells", "79,1,5", "circuit_row", "row"),
    ("negative width", "79,1,-5,5", "out_of_range", "w_tr_right_m"),
    ("width in millimetres", "79,1,5,5000", "out_of_range", "w_tr_left_m"),
    ("far away", "1e9,1,5,5", "out_of_range", "x_m"),
    ("jump", "400,1,5,5", "circuit_jump", "point 2 to 3"),
    ("hole", "130,10,5,5", "circuit_gap", "point 2 to 3"),
]


@pytest.mark.parametrize(
    ("row", "code", "key"), [b[1:] for b in BAD_ROWS], ids=[b[0] for b in BAD_ROWS]
)
def test_bad_row_is_named(tmp_path: Path, row: str, code: str, key: str) -> None:
    error = refused(shapes.written(tmp_path, "a.csv", edited(CENTRE, 4, row)))
    assert (error.code, error.key, error.line) == (code, key, 4)


def test_repeated_point_is_named(tmp_path: Path) -> None:
    text = edited(CENTRE, 5, CENTRE.splitlines()[3])
    error = refused(shapes.written(tmp_path, "a.csv", text))
    assert (error.code, error.line, error.key) == ("circuit_repeated_point", 5, "point 4")


def test_rows_out_of_order_are_refused(tmp_path: Path) -> None:
    lines = CENTRE.splitlines()
    lines[20], lines[21] = lines[21], lines[20]
    error = refused(shapes.written(tmp_path, "a.csv", "\n".join(lines)))
    assert (error.code, error.line, error.unit) == ("circuit_turns_back", 21, "deg")


def test_edges_that_cross_are_refused(tmp_path: Path) -> None:
    """A fold 6 m wide whose left edge, 20 m away, comes out beyond the right one."""
    angle = np.linspace(0.0, np.pi, 9)
    fold = np.column_stack((3.0 * np.sin(angle), 3.0 - 3.0 * np.cos(angle)))
    there = np.column_stack((np.arange(-60.0, 0.0, 2.0), np.zeros(30)))
    points = np.vstack((there, fold, there[::-1] + np.array((0.0, 6.0))))
    rows = shapes.centre_rows(points, 3.0, 20.0)
    path = shapes.written(tmp_path, "a.csv", shapes.csv_text(shapes.CENTRE_HEADER, rows))
    assert refused(path, closed=False).code == "edges_cross"


@pytest.mark.parametrize("rows", [slice(None), slice(30, 31)])
def test_swapped_edges_are_refused(tmp_path: Path, rows: slice) -> None:
    edges = shapes.banked_circle(60.0, 5.0, 0.3, np.zeros_like, count=80)
    edges[rows] = edges[rows][:, [3, 4, 5, 0, 1, 2]]
    error = refused(shapes.written(tmp_path, "a.csv", shapes.csv_text(shapes.EDGES_HEADER, edges)))
    assert error.code == ("edges_swapped" if rows == slice(None) else "edges_cross")
    assert error.line == (2 if rows == slice(None) else 32)


def test_height_jump_is_named(tmp_path: Path) -> None:
    edges = shapes.banked_circle(60.0, 5.0, 0.3, np.zeros_like, count=80)
    edges[40, 2] += 20.0
    error = refused(shapes.written(tmp_path, "a.csv", shapes.csv_text(shapes.EDGES_HEADER, edges)))
    assert (error.code, error.line) == ("height_jump", 42)


@pytest.mark.parametrize(
    "header",
    [
        "x,y,w_right,w_left",
        "x_ft,y_ft,w_tr_right_ft,w_tr_left_ft",
        "x_m,y_m,w_tr_right_m",
        "x_m;y_m;w_tr_right_m;w_tr_left_m",
        "x_m,x_m,w_tr_right_m,w_tr_left_m",
        "x_m,y_m,w_tr_right_m,w_tr_left_m,camber",
        "80.0,0.0,5.0,5.0",
        "X_M,Y_M,W_TR_RIGHT_M,W_TR_LEFT_M",
    ],
)
def test_unknown_header_is_refused(tmp_path: Path, header: str) -> None:
    error = refused(shapes.written(tmp_path, "a.csv", edited(CENTRE, 1, header)))
    assert (error.code, error.line, error.unit) == ("circuit_header", 1, "m")
    assert "w_tr_left_m" in (error.allowed or "")


@pytest.mark.parametrize("count", [0, 1, 2, 9])
def test_too_few_points_are_refused(tmp_path: Path, count: int) -> None:
    text = "\n".join(CENTRE.splitlines()[: count + 1])
    error = refused(shapes.written(tmp_path, "a.csv", text))
    assert (error.code, error.value) == ("circuit_too_few_points", count)


def test_degrees_in_a_file_of_metres_are_refused(tmp_path: Path) -> None:
    text = shapes.csv_text("x_m,y_m", shapes.circle(80.0)[:, :2] * 1e-3)
    error = refused(shapes.written(tmp_path, "a.csv", text))
    assert error.code == "circuit_length"
    assert "degrees" in error.hint


BAD_GEOJSON = [
    ("latitude", '{"type":"LineString","coordinates":[[10,91]]}', "geojson_position"),
    ("longitude", '{"type":"LineString","coordinates":[[181,1]]}', "geojson_position"),
    ("text", '{"type":"LineString","coordinates":[["10",1]]}', "geojson_position"),
    ("truth", '{"type":"LineString","coordinates":[[true,1]]}', "geojson_position"),
    ("nan", '{"type":"LineString","coordinates":[[NaN,1]]}', "not_a_number"),
    ("infinity", '{"type":"LineString","coordinates":[[1e999,1]]}', "geojson_position"),
    (
        "huge whole number",
        '{"type":"LineString","coordinates":[[1' + "0" * 400 + ",1]]}",
        "geojson_position",
    ),
    (
        "too many digits",
        '{"type":"LineString","coordinates":[[1' + "0" * 5000 + ",1]]}",
        "file_not_json",
    ),
    ("bare number", '{"type":"LineString","coordinates":[7]}', "geojson_position"),
    ("no coordinates", '{"type":"LineString"}', "geojson_shape"),
    ("polygon", '{"type":"Polygon","coordinates":[]}', "geojson_shape"),
    ("no feature", '{"type":"FeatureCollection","features":[]}', "geojson_shape"),
    ("feature without geometry", '{"type":"Feature","geometry":null}', "geojson_shape"),
    ("list", "[1, 2]", "geojson_shape"),
    ("not JSON", '{"type":', "file_not_json"),
    ("deep", "[" * 200_000, "file_not_json"),
    ("few points", '{"type":"LineString","coordinates":[]}', "circuit_too_few_points"),
    ("half the world", '{"type":"LineString","coordinates":[[0,0],[0,60]]}', "geojson_position"),
]


@pytest.mark.parametrize(
    ("text", "code"), [b[1:] for b in BAD_GEOJSON], ids=[b[0] for b in BAD_GEOJSON]
)
def test_bad_geojson_is_refused(tmp_path: Path, text: str, code: str) -> None:
    assert refused(shapes.written(tmp_path, "a.geojson", text)).code == code


def test_latitude_error_names_position_value_and_range(tmp_path: Path) -> None:
    degrees = shapes.lonlat_circle()
    degrees[7, 1] = 90.5
    error = refused(shapes.written(tmp_path, "a.geojson", shapes.geojson_text(degrees)))
    assert error.key == "coordinates[7] latitude"
    assert (error.value, error.allowed, error.unit) == ("90.5", "-90 to 90", "deg")


# ---------------------------------------------------------------- files that are no circuit


@pytest.mark.parametrize("suffix", [".csv", ".geojson"])
def test_binary_garbage_is_refused(tmp_path: Path, suffix: str) -> None:
    garbage = bytes(np.random.default_rng(3).integers(0, 256, 4096, dtype=np.uint8))
    assert refused(shapes.written(tmp_path, "a" + suffix, garbage)).code == "file_not_text"
    assert refused(shapes.written(tmp_path, "b" + suffix, b"x_m,y_m\n\0\0")).line == 2


def test_empty_blank_and_strange_files_are_refused(tmp_path: Path) -> None:
    assert refused(shapes.written(tmp_path, "a.csv", "")).code == "file_empty"
    assert refused(shapes.written(tmp_path, "b.csv", "\n  \n")).code == "file_empty"
    assert refused(shapes.written(tmp_path, "c.xlsx", "x")).code == "circuit_suffix"
    assert refused(tmp_path).code == "file_is_directory"
    assert refused(tmp_path / "missing.csv").code == "file_missing"
    assert refused(tmp_path / "nul\0.csv").code == "file_unreadable"
    os.mkfifo(tmp_path / "pipe.csv")
    assert refused(tmp_path / "pipe.csv").code == "file_not_regular"


def test_file_without_permission_is_refused(tmp_path: Path, monkeypatch) -> None:
    path = shapes.written(tmp_path, "a.csv", CENTRE)

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(circuits.Path, "open", denied)
    error = refused(path)
    assert error.code == "file_no_permission"


def test_two_gigabytes_are_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "big.csv"
    with path.open("wb") as stream:
        stream.truncate(2 * 1024**3)  # a hole: it takes no room
    begun = time.perf_counter()
    error = refused(path)
    assert time.perf_counter() - begun < 0.5
    assert (error.code, error.value, error.unit) == ("file_too_large", 2 * 1024**3, "bytes")
    assert str(MAX_BYTES) in (error.allowed or "")


# ---------------------------------------------------------------- fuzz

edits = st.lists(
    st.tuples(
        st.sampled_from(["set", "insert", "delete", "copy"]),
        st.integers(0, 10**6),
        st.integers(0, 255),
    ),
    min_size=1,
    max_size=12,
)


def mutated(data: bytes, changes: list[tuple[str, int, int]]) -> bytes:
    out = bytearray(data)
    for what, where, value in changes:
        at = where % max(1, len(out))
        if what == "set" and out:
            out[at] = value
        elif what == "insert":
            out.insert(at, value)
        elif what == "delete":
            del out[at : at + value % 40]
        else:
            out[at:at] = out[at : at + value]
    return bytes(out)


def survives(path: Path, line: str = "given") -> None:
    """A file is read and made into a road, or refused with an `InputError`; nothing else."""
    refusal = None
    try:
        road = stations_from(read_circuit(path), line=line, spacing_m=5.0)
    except InputError as error:
        refusal = error
    if refusal is None:
        assert np.isfinite(road.curvature_rate_1pm2).all()
    else:
        assert refusal.message
        assert refusal.as_dict()["code"]
        assert str(refusal)


@pytest.mark.parametrize("name", sorted(SAMPLES))
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=edits)
def test_mutated_files_are_read_or_refused(tmp_path: Path, name: str, changes) -> None:
    survives(shapes.written(tmp_path, name, mutated(SAMPLES[name].encode(), changes)))


@pytest.mark.parametrize("suffix", [".csv", ".geojson"])
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=400) | st.text(max_size=200).map(str.encode))
def test_any_bytes_are_refused(tmp_path: Path, suffix: str, data: bytes) -> None:
    survives(shapes.written(tmp_path, "fuzz" + suffix, data))


numbers = st.floats(-300.0, 300.0) | st.floats() | st.integers(-(10**6), 10**6)


@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(
        st.tuples(numbers, numbers, st.floats(0.5, 20.0), st.floats(0.5, 20.0)),
        min_size=10,
        max_size=40,
    )
)
def test_random_rows_are_read_or_refused(tmp_path: Path, rows) -> None:
    lines = [shapes.CENTRE_HEADER, *(",".join(repr(v) for v in row) for row in rows)]
    survives(shapes.written(tmp_path, "rows.csv", "\n".join(lines)))


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    steps=st.lists(st.tuples(st.floats(0.2, 24.0), st.floats(-2.5, 2.5)), min_size=10, max_size=60),
    height=st.floats(-0.9, 0.9),
)
def test_random_walks_are_made_into_roads_or_refused(tmp_path: Path, steps, height) -> None:
    """Open, knotted and jagged roads with height, through the smoothing and the line."""
    size, turn = np.array(steps).T
    heading = np.cumsum(turn)
    points = np.cumsum(size[:, None] * np.column_stack((np.cos(heading), np.sin(heading))), axis=0)
    z = height * size * (-1.0) ** np.arange(len(size))
    text = shapes.csv_text(
        shapes.CENTRE_HEADER + ",z_m", np.column_stack((shapes.centre_rows(points, 3.0, 3.0), z))
    )
    path = shapes.written(tmp_path, "walk.csv", text)
    survives(path)
    survives(path, line="min_curvature")


def test_every_truncation_is_read_or_refused(tmp_path: Path) -> None:
    for name, text in SAMPLES.items():
        for keep in range(0, len(text), 37):
            survives(shapes.written(tmp_path, name, text[:keep]))
