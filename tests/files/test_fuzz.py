"""Whatever the bytes, a reader answers with a model or an InputError that names its file."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from foreaft.base.errors import InputError
from foreaft.files import templates, toml
from foreaft.files.classes import class_text, demo_folder
from foreaft.files.sheet import (
    dump_marks,
    dump_sheet,
    parse_marks,
    parse_sheet,
    read_zone_sheet,
    read_zones,
)
from foreaft.model.car import Car, assumptions, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.zone import SheetRow, ZoneSheet
from model.car_text import HARDWARE, PLAIN

SEEDS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "car": ((demo_folder() / "car.toml").read_text("utf-8"), toml.read_car),
    "class": (class_text("club-formula"), toml.read_any),
    "template": (templates.template("car"), toml.read_any),
    "driver": ((demo_folder() / "driver.toml").read_text("utf-8"), toml.read_driver),
    "conditions": ((demo_folder() / "wet.toml").read_text("utf-8"), toml.read_conditions),
    "sheet": ((demo_folder() / "sheet.csv").read_text("utf-8"), read_zone_sheet),
    "zones": ((demo_folder() / "zones.csv").read_text("utf-8"), read_zones),
}

ODD = [
    "-1",
    "0",
    "1",
    "1e308",
    "-0.0",
    "nan",
    "inf",
    "-inf",
    "true",
    '"x"',
    "''",
    "[]",
    "[[]]",
    "{}",
    "[{}]",
    "{ low = 2, high = 1 }",
    "{ low = 1 }",
    "{ value = 1, low = 1, high = 2 }",
    "{ value = 1, sd = 0 }",
    "{ source = 1 }",
    "1979-05-27",
    "07:32:00",
    "0xff",
    "1" + "0" * 400,
    "1" + "0" * 5000,
    '"spool"',
    '"\\u0000"',
    '"""',
    "[" * 2000,
    "{ a = { b = { c = 1 } } }",
]


def outcome(reader: Callable[[Path], object], file: Path) -> InputError | None:
    try:
        reader(file)
    except InputError as caught:
        error = caught
    else:
        return None
    assert error.file == str(file)
    assert error.key is not None
    assert error.allowed
    assert error.unit is not None
    assert error.hint
    assert str(error)
    assert error.as_dict()["code"] == error.code
    return error


@pytest.mark.parametrize("name", SEEDS)
def test_bytes_changed_at_random(name: str, tmp_path: Path) -> None:
    text, reader = SEEDS[name]
    rng = np.random.default_rng(7)
    refused = 0
    for turn in range(400):
        data = bytearray(text.encode())
        for _ in range(int(rng.integers(1, 6))):
            at, kind = int(rng.integers(len(data))), int(rng.integers(4))
            if kind == 0:
                data[at] = int(rng.integers(256))
            elif kind == 1:
                del data[at : at + int(rng.integers(1, 40))]
            elif kind == 2:
                data[at:at] = bytes(rng.choice(list(b'",;[]{}=#.\n-e0\\')) for _ in range(3))
            else:
                data[at:at] = data[int(rng.integers(len(data))) :][: int(rng.integers(1, 60))]
        file = tmp_path / f"{turn % 3}.x"
        file.write_bytes(data)
        refused += outcome(reader, file) is not None
    assert refused > 40, "the changes hardly ever matter: this test sees nothing"


@pytest.mark.parametrize("name", ["car", "class", "template", "driver", "conditions"])
def test_every_value_replaced_by_every_odd_one(name: str, tmp_path: Path) -> None:
    text, reader = SEEDS[name]
    lines = text.splitlines()
    places = [i for i, line in enumerate(lines) if re.match(r"\w+ = ", line)]
    rng = np.random.default_rng(11)
    for i in places:
        for odd in rng.choice(np.array(ODD, dtype=object), 8, replace=False):
            key = lines[i].split(" = ")[0]
            file = tmp_path / "x.toml"
            file.write_text("\n".join([*lines[:i], f"{key} = {odd}", *lines[i + 1 :]]), "utf-8")
            error = outcome(reader, file)
            if error is not None:
                assert error.line is not None


@given(st.binary(max_size=300))
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "x"
    file.write_bytes(data)
    for _, reader in SEEDS.values():
        assert outcome(reader, file) is not None


TEXT = st.text(st.characters(codec="utf-8"), max_size=200)


@given(TEXT)
@settings(max_examples=200)
def test_any_text_after_a_good_beginning(text: str) -> None:
    for parse in (
        lambda t: toml.parse(PLAIN + t, Car),
        lambda t: parse_sheet(
            "name,approach_kmh,min_kmh,radius_m,depth_frac,direction,hand_time_s\n" + t, "x"
        ),
        lambda t: parse_marks("zone_id,name,apex_s_m\n" + t),
    ):
        with contextlib.suppress(InputError):
            parse(text)


SIZES = st.floats(allow_nan=False, allow_infinity=False, width=64)


@given(
    st.lists(
        st.sampled_from(
            [
                "mass_kg",
                "front_weight_frac",
                "cg_height_m",
                "wheelbase_m",
                "mu_x",
                "radius_front_m",
                "power_W",
                "engine_brake_N",
                "min",
                "max",
                "step",
                "reference_setting",
            ]
        ),
        max_size=4,
    ),
    SIZES,
    st.booleans(),
)
@settings(max_examples=200)
def test_a_car_that_is_accepted_can_be_drawn_and_used(
    keys: list[str], size: float, hardware: bool
) -> None:
    """Where the file passes, the arrays are finite and every share lies inside 0 to 1."""
    text = PLAIN
    for key in keys:
        old = re.search(rf"^{key} = (.*)$", text, re.M)
        assert old is not None
        near = float(old[1]) * (1.0 + (abs(size) % 1.0 if size % 2 else 0.0))
        text = text.replace(old[0], f"{key} = {near!r}")
    if hardware:
        text = text.replace("front_share_frac = 0.7\n", "").replace(
            "[adjuster]", HARDWARE + "[adjuster]"
        )
    try:
        car = toml.parse(text, Car)
    except InputError:
        return
    got = vectors(car, draw(car, 1, 3), Conditions())
    assert np.all((got.share > 0.0) & (got.share < 1.0))
    assert not np.isnan(got.vector).any()
    assert np.isfinite(got.table).all()
    assert assumptions(car)


TURNS = st.one_of(
    st.builds(dict, direction=st.sampled_from(["left", "right"]), radius_m=st.floats(3, 5000)),
    st.just({"direction": "none"}),
)

ROWS = st.builds(
    lambda turn, **rest: turn | rest,
    TURNS,
    name=st.text(
        st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=20
    ).filter(lambda t: not t.startswith("#")),
    approach_kmh=st.floats(200, 400),
    min_kmh=st.floats(5, 199),
    depth_frac=st.floats(0, 1),
    hand_time_s=st.floats(0, 120),
    gear=st.none() | st.integers(1, 12),
    run_off=st.none() | st.sampled_from(["open", "gravel", "wall"]),
)

STRAIGHT_ROW = {
    "direction": "none",
    "approach_kmh": 200.0,
    "min_kmh": 50.0,
    "depth_frac": 0.0,
    "hand_time_s": 1.0,
}


@example([STRAIGHT_ROW | {"name": "0.0"}, STRAIGHT_ROW | {"name": ".0"}])
@given(st.lists(ROWS, min_size=1, max_size=8))
def test_any_sheet_comes_back_as_written(rows: list[dict[str, object]]) -> None:
    sheet = ZoneSheet(id="x", name="x", rows=tuple(SheetRow(**row) for row in rows))
    assert parse_sheet(dump_sheet(sheet), "x") == sheet


def test_marks_survive_too() -> None:
    marks = parse_marks("zone_id,name,apex_s_m\nz01,A,10\n")
    assert parse_marks(dump_marks(marks)) == marks
