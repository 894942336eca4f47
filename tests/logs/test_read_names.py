"""What a name and a unit mean, and what they leave open."""

from __future__ import annotations

import pytest

from foreaft.base.units import GRAVITY_MPS2
from foreaft.logs.channels import CHANNELS
from foreaft.logs.names import KINDS, PRESSURES, WHEEL_SPEEDS, read_name, split_unit
from foreaft.logs.units import UNITS, parse_unit


@pytest.mark.parametrize(
    ("spelling", "si"),
    [
        # Exact by definition of the units; the sources stand in foreaft.base.units.
        ("km/h", 1.0 / 3.6),
        ("KPH", 1.0 / 3.6),
        ("mph", 1609.344 / 3600.0),
        ("m/s", 1.0),
        ("g", GRAVITY_MPS2),
        ("[m/s²]", 1.0),
        ("m/s^2", 1.0),
        ("°/s", 3.141592653589793 / 180.0),
        ("deg/sec", 3.141592653589793 / 180.0),
        ("rpm", 2.0 * 3.141592653589793 / 60.0),
        ("1/min", 2.0 * 3.141592653589793 / 60.0),
        ("bar", 1e5),
        ("kPa", 1e3),
        ("MPa", 1e6),
        ("%", 0.01),
        ("kN", 1000.0),
        ("ms", 0.001),
    ],
)
def test_units(spelling: str, si: float) -> None:
    unit = parse_unit(spelling)
    assert unit is not None
    assert unit.factor == pytest.approx(si, rel=1e-15)


def test_psi() -> None:
    """6.894757 kPa: NIST Special Publication 811, 2008, appendix B.8, to its digits."""
    assert UNITS["psi"].factor == pytest.approx(6894.757, abs=5e-4)


@pytest.mark.parametrize("text", ["", "furlong", "m/s3", "°C", "degC", "x" * 1000])
def test_no_units(text: str) -> None:
    assert parse_unit(text) is None


@pytest.mark.parametrize(
    ("header", "parts"),
    [
        ("Speed [km/h]", ("Speed", "km/h")),
        ("Speed (km/h)", ("Speed", "km/h")),
        ("speed_kmh", ("speed", "kmh")),
        ("wheel_fl", ("wheel_fl", "")),
        ("[bar]", ("[bar]", "")),
    ],
)
def test_headers(header: str, parts: tuple[str, str]) -> None:
    assert split_unit(header) == parts


@pytest.mark.parametrize(
    ("name", "unit", "channel"),
    [
        ("GPS Speed", "km/h", "speed_mps"),
        ("Geschwindigkeit", "km/h", "speed_mps"),
        ("Vitesse", "km/h", "speed_mps"),
        ("Velocità", "km/h", "speed_mps"),
        ("Velocidad", "km/h", "speed_mps"),
        ("Bremsdruck VA", "bar", "pressure_front_Pa"),
        ("Pression frein AR", "bar", "pressure_rear_Pa"),
        ("Pressione freno ant", "bar", "pressure_front_Pa"),
        ("Presión freno trasera", "bar", "pressure_rear_Pa"),
        ("Front Brake Pressure", "psi", "pressure_front_Pa"),
        ("brakePressureRear", "kPa", "pressure_rear_Pa"),
        ("Querbeschleunigung", "g", "accel_y_mps2"),
        ("G-Force Lat", "g", "accel_y_mps2"),
        ("LongAccel", "m/s^2", "accel_x_mps2"),
        ("Yaw Rate", "deg/s", "yaw_rate_radps"),
        ("Wheel Speed RR", "rpm", "wheel_speed_rear_right_radps"),
        ("Raddrehzahl VL", "1/min", "wheel_speed_front_left_radps"),
        ("Steering Wheel Angle", "deg", "steering_wheel_rad"),
        ("RPM", "rpm", "engine_speed_radps"),
        ("Lat", "deg", "latitude_deg"),
        ("Lat", "g", "accel_y_mps2"),
    ],
)
def test_known_names(name: str, unit: str, channel: str) -> None:
    assert read_name(name, unit).candidates == (channel,)


@pytest.mark.parametrize("name", list(CHANNELS))
def test_the_names_of_the_catalogue_know_themselves(name: str) -> None:
    reading = read_name(name, "")
    assert reading.candidates == (name,)
    assert name in KINDS


@pytest.mark.parametrize(
    ("name", "unit", "candidates"),
    [
        ("Brake Pressure", "bar", set(PRESSURES)),
        ("Wheel Speed", "km/h", set(WHEEL_SPEEDS)),
        ("Wheel Speed 1", "km/h", set(WHEEL_SPEEDS)),
        ("WheelSpeed_4", "", set(WHEEL_SPEEDS)),
        ("Steering Angle", "deg", {"steer_rad", "steering_wheel_rad"}),
        ("Brake", "", {"brake_pedal_frac", *PRESSURES}),
        ("G", "g", {"accel_x_mps2", "accel_y_mps2"}),
    ],
)
def test_names_that_leave_a_choice(name: str, unit: str, candidates: set[str]) -> None:
    assert set(read_name(name, unit).candidates) == candidates


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Brake disc temperature front", "C"),
        ("Tyre Pressure FL", "bar"),
        ("vy", "m/s"),
        ("Speed", "bar"),
        ("Average brake pressure front", "bar"),
        ("Oil Pressure", "bar"),
        ("Speed 2", "km/h"),
        ("", ""),
    ],
)
def test_names_that_mean_nothing_here(name: str, unit: str) -> None:
    assert read_name(name, unit).candidates == ()


def test_a_command_is_called_one() -> None:
    assert read_name("brake_ped_cmd", "kPa").command
    assert not read_name("brake_ped", "kPa").command
