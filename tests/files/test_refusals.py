"""What bad input gets: an error with file, line, key, value, allowed, unit and hint."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from foreaft.base.errors import InputError
from foreaft.files import toml
from foreaft.files.sheet import read_zone_sheet
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from model.car_text import changed


def refused(text: str, tmp_path: Path) -> InputError:
    file = tmp_path / "car.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        toml.read_car(file)
    error = caught.value
    assert error.file == str(file)
    assert error.exit_code == 2
    for name in ("line", "key", "allowed", "unit", "hint"):
        assert getattr(error, name) is not None, f"{name} is missing: {error}"
    assert error.allowed
    assert error.hint
    assert "[/" not in error.message, "no pydantic phrases"
    return error


CASES = [
    # what, (old, new), code, key, line (None: anywhere), value
    (
        "unknown key",
        ("mass_kg = 1200", "mass_kg = 1200\nwheels = 4"),
        "unknown_key",
        "wheels",
        5,
        4,
    ),
    ("missing key", ("mass_kg = 1200\n", ""), "missing_key", "mass_kg", 1, None),
    (
        "missing key in a table",
        ("radius_rear_m = 0.340\n", ""),
        "missing_key",
        "wheel.radius_rear_m",
        17,
        None,
    ),
    ("wrong unit", ("mass_kg = 1200", "mass_lb = 2650"), "unknown_key", "mass_lb", 4, 2650),
    (
        "text for a number",
        ("mass_kg = 1200", 'mass_kg = "heavy"'),
        "wrong_type",
        "mass_kg",
        4,
        "heavy",
    ),
    ("number as text", ("mass_kg = 1200", 'mass_kg = "1200"'), "wrong_type", "mass_kg", 4, "1200"),
    ("truth for a number", ("mass_kg = 1200", "mass_kg = true"), "wrong_type", "mass_kg", 4, True),
    ("list for a number", ("mass_kg = 1200", "mass_kg = [1]"), "wrong_type", "mass_kg", 4, "[1]"),
    ("number for text", ('name = "Plain"', "name = 5"), "wrong_type", "name", 3, 5),
    (
        "table for a number",
        ("mass_kg = 1200", "mass_kg = {}"),
        "bad_number",
        "mass_kg.low",
        4,
        None,
    ),
    ("NaN", ("mass_kg = 1200", "mass_kg = nan"), "not_finite", "mass_kg", 4, "nan"),
    ("infinity", ("mass_kg = 1200", "mass_kg = inf"), "not_finite", "mass_kg", 4, "inf"),
    (
        "NaN in a range",
        ("mass_kg = 1200", "mass_kg = {low = nan, high = 3}"),
        "not_finite",
        "mass_kg.low",
        4,
        "nan",
    ),
    (
        "too long a number",
        ("mass_kg = 1200", "mass_kg = 1" + 400 * "0"),
        "not_finite",
        "mass_kg",
        4,
        "inf",
    ),
    ("negative mass", ("mass_kg = 1200", "mass_kg = -1200"), "out_of_range", "mass_kg", 4, -1200),
    (
        "CG outside the wheelbase",
        ("front_weight_frac = 0.5", "front_weight_frac = 1.2"),
        "out_of_range",
        "front_weight_frac",
        5,
        1.2,
    ),
    (
        "CG above the wheelbase",
        ("cg_height_m = 0.5\nwheelbase_m = 2.5", "cg_height_m = 1.5\nwheelbase_m = 1.2"),
        "out_of_range",
        "cg_height_m",
        6,
        1.5,
    ),
    (
        "minimum above maximum",
        ("min = 50", "min = 70"),
        "range_upside_down",
        "adjuster.min",
        27,
        70,
    ),
    (
        "step that does not divide",
        ("step = 0.5", "step = 0.3"),
        "step_does_not_divide",
        "adjuster.step",
        29,
        0.3,
    ),
    (
        "range upside down",
        ("cg_height_m = 0.5", "cg_height_m = {low = 0.6, high = 0.4}"),
        "bad_number",
        "cg_height_m.low",
        6,
        0.6,
    ),
    (
        "negative spread",
        ("mass_kg = 1200", "mass_kg = {value = 1200, sd = -1}"),
        "bad_number",
        "mass_kg.sd",
        4,
        -1,
    ),
    (
        "unknown part",
        ("mass_kg = 1200", "mass_kg = {value = 1200, std = 1}"),
        "unknown_key",
        "mass_kg.std",
        4,
        1,
    ),
    (
        "range past the limits",
        ("mu_x = 1.2", "mu_x = {low = 1, high = 9}"),
        "out_of_range",
        "tyre.mu_x.high",
        16,
        9,
    ),
    (
        "share of everything",
        ("front_share_frac = 0.7", "front_share_frac = 1.0"),
        "out_of_range",
        "brakes.front_share_frac",
        25,
        1.0,
    ),
    ("unknown word", ('axle = "rear"', 'axle = "back"'), "not_allowed", "drive.axle", 22, "back"),
    ("id with blanks", ('id = "plain"', 'id = "My Car"'), "not_allowed", "id", 2, "My Car"),
    (
        "electric braking",
        ('axle = "rear"', 'axle = "rear"\nelectric_braking = "rear"'),
        "electric_braking",
        "drive.electric_braking",
        23,
        "rear",
    ),
    (
        "two engine brakes",
        (
            "engine_brake_N = 800",
            "engine_brake_N = 800\n[[drive.engine_brake]]\n"
            "speed_kmh = 80\nforce_N = 5\n[[drive.engine_brake]]\nspeed_kmh = 90\nforce_N = 5",
        ),
        "contradiction",
        "drive.engine_brake_N",
        23,
        None,
    ),
    (
        "no engine brake",
        ("engine_brake_N = 800\n", ""),
        "missing_key",
        "drive.engine_brake_N",
        20,
        None,
    ),
    (
        "a setting it never shows",
        ("reference_setting = 55", "reference_setting = 65"),
        "out_of_range",
        "adjuster.reference_setting",
        32,
        65,
    ),
    (
        "anchor between the steps",
        (
            "reference_setting = 55",
            'reference_setting = 55\n[anchor]\nsetting = 55.2\nfirst_to_let_go = "front"',
        ),
        "out_of_range",
        "anchor.setting",
        34,
        55.2,
    ),
    (
        "share against its own direction",
        ('higher_means = "front"', 'higher_means = "rear"'),
        "contradiction",
        "adjuster.higher_means",
        31,
        "rear",
    ),
    ("newer schema", ("foreaft.car/1", "foreaft.car/2"), "schema", "schema", 1, "foreaft.car/2"),
    (
        "another kind",
        ("foreaft.car/1", "foreaft.driver/1"),
        "schema",
        "schema",
        1,
        "foreaft.driver/1",
    ),
    ("no schema", ('schema = "foreaft.car/1"\n', ""), "schema", "schema", 1, "absent"),
    ("not TOML", ("mass_kg = 1200", "mass_kg 1200"), "not_toml", "TOML", 4, "mass_kg 1200"),
    ("a key twice", ("mass_kg = 1200", "mass_kg = 1200\nmass_kg = 5"), "not_toml", "TOML", 5, None),
]


@pytest.mark.parametrize(
    ("pair", "code", "key", "line", "value"),
    [case[1:] for case in CASES],
    ids=[case[0].replace(" ", "_") for case in CASES],
)
def test_a_car_file_is_refused(
    pair: tuple[str, str], code: str, key: str, line: int, value: object, tmp_path: Path
) -> None:
    error = refused(changed(pair), tmp_path)
    assert (error.code, error.key, error.line) == (code, key, line)
    if value is not None:
        assert error.value == value


def test_unknown_key_hints_at_the_near_one(tmp_path: Path) -> None:
    error = refused(changed(("wheelbase_m", "weelbase_m")), tmp_path)
    assert error.hint == "Did you mean wheelbase_m?"


def test_wrong_unit_hints_at_the_right_one(tmp_path: Path) -> None:
    error = refused(changed(("mass_kg = 1200", "mass_lb = 2650")), tmp_path)
    assert "mass_kg" in error.hint
    assert "0.453592" in error.hint


def test_key_under_the_wrong_table_is_told_where_it_belongs(tmp_path: Path) -> None:
    error = refused(changed(("[wheel]", "[wheel]\nmu_y = 1.0")), tmp_path)
    assert "tyre.mu_y" in error.hint


def test_everything_wrong_is_told_at_once(tmp_path: Path) -> None:
    error = refused(
        changed(
            ("mass_kg = 1200", "mass_kg = -5"),
            ("mu_x = 1.2", 'mu_x = "a"'),
            ("radius_rear_m = 0.340", "radius_rear_m = nan"),
        ),
        tmp_path,
    )
    for key in ("mass_kg", "tyre.mu_x", "wheel.radius_rear_m"):
        assert key in error.message
    assert "3 things" in error.message


def test_share_past_the_end_of_the_adjuster(tmp_path: Path) -> None:
    text = changed(('"pressure_share"', '"unknown"\nshare_per_unit_frac = 0.08'))
    error = refused(text, tmp_path)
    assert error.key == "adjuster.max"
    assert "1.1" in error.message


def test_known_points_against_the_direction(tmp_path: Path) -> None:
    known = "".join(
        f"[[adjuster.known]]\nsetting = {s}\nfront_share_frac = {share}\n"
        for s, share in ((52, 0.7), (58, 0.6))
    )
    error = refused(changed(("reference_setting = 55\n", known)), tmp_path)
    assert (error.code, error.key) == ("contradiction", "adjuster.known")


# ---------------------------------------------------------------- the file itself


READERS = [toml.read_car, toml.read_any, toml.read_conditions, toml.read_driver, read_zone_sheet]


def code_of(reader: object, file: Path) -> str:
    with pytest.raises(InputError) as caught:
        reader(file)  # type: ignore[operator]
    for name in ("file", "key", "value", "allowed", "unit", "hint"):
        assert getattr(caught.value, name) is not None
    return caught.value.code


@pytest.mark.parametrize("reader", READERS)
def test_files_that_cannot_be_read(reader: object, tmp_path: Path) -> None:
    assert code_of(reader, tmp_path / "absent.toml") == "file_missing"
    assert code_of(reader, tmp_path) == "file_is_directory"
    empty = tmp_path / "empty"
    empty.touch()
    assert code_of(reader, empty) == "file_empty"
    empty.write_text(" \n\n")
    assert code_of(reader, empty) == "file_empty"
    garbage = tmp_path / "garbage"
    garbage.write_bytes(b"schema\n\xff\xfe\x00\x80")
    assert code_of(reader, garbage) == "file_not_text"
    garbage.write_bytes(b"schema\n\x00")
    assert code_of(reader, garbage) == "file_not_text"
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert code_of(reader, pipe) == "file_not_regular"
    assert code_of(reader, tmp_path / ("x" * 300)) == "file_unreadable"
    assert code_of(reader, Path("a\0b")) == "file_unreadable"


@pytest.mark.parametrize("reader", READERS)
def test_two_gigabytes_are_refused_unread(reader: object, tmp_path: Path) -> None:
    big = tmp_path / "big.toml"
    with big.open("wb") as stream:
        stream.truncate(2 * 1024**3)  # sparse: takes no room on the disk
    assert code_of(reader, big) == "file_too_large"
    with pytest.raises(InputError) as caught:
        reader(big)  # type: ignore[operator]
    assert caught.value.value == 2 * 1024**3, "its size as the disk tells it: nothing was read"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_no_permission(tmp_path: Path) -> None:
    file = tmp_path / "car.toml"
    file.write_text("x = 1")
    file.chmod(0)
    assert code_of(toml.read_car, file) == "file_no_permission"


def test_permission_denied_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "car.toml"
    file.write_text("x = 1")

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", denied)
    assert code_of(toml.read_car, file) == "file_no_permission"


# ---------------------------------------------------------------- the other kinds


def test_conditions_with_two_densities() -> None:
    text = 'schema = "foreaft.conditions/1"\nair_density_kgpm3 = 1.2\ntemperature_C = 20\n'
    with pytest.raises(InputError) as caught:
        toml.parse(text + "pressure_hPa = 1000\n", Conditions)
    assert caught.value.line == 2


def test_driver_level_is_a_word_of_three() -> None:
    text = 'schema = "foreaft.driver/1"\nid = "a"\nname = "A"\nlevel = "ace"\n'
    with pytest.raises(InputError) as caught:
        toml.parse(text, Driver)
    assert "'novice', 'club' or 'pro'" in str(caught.value)


def test_driver_level_of_another_type() -> None:
    text = 'schema = "foreaft.driver/1"\nid = "a"\nname = "A"\nlevel = [1]\n'
    with pytest.raises(InputError):
        toml.parse(text, Driver)


def test_driver_overrides_one_number_of_one_event() -> None:
    text = 'schema = "foreaft.driver/1"\nid = "a"\nname = "A"\nlevel = "club"\n'
    driver = toml.parse(text + "[events.rear_turning]\nspin_frac = 0.5\n", Driver)
    usual = toml.parse(text, Driver)
    assert driver.events.rear_turning.spin_frac == 0.5
    assert driver.events.rear_turning.caught_s == usual.events.rear_turning.caught_s
    assert driver.events.front_straight == usual.events.front_straight


def test_driver_with_an_unknown_event() -> None:
    text = 'schema = "foreaft.driver/1"\nid = "a"\nname = "A"\nlevel = "club"\n'
    with pytest.raises(InputError) as caught:
        toml.parse(text + "[events.rear_turn]\nspin_frac = 0.5\n", Driver)
    assert caught.value.key == "events.rear_turn"
    assert caught.value.line == 5


def test_replace_is_checked_like_a_file() -> None:
    car = toml.parse(changed(), Car)
    with pytest.raises(InputError) as caught:
        car.replace(mass_kg=-1)
    assert caught.value.key == "mass_kg"
    assert car.replace(mass_kg=1300).mass_kg.nominal == 1300.0
