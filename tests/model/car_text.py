"""A plain car for tests, as TOML and with changes; its numbers mean nothing."""

from __future__ import annotations

from foreaft.files.toml import parse
from foreaft.model.car import Car

PLAIN = """\
schema = "foreaft.car/1"
id = "plain"
name = "Plain"
mass_kg = 1200
front_weight_frac = 0.5
cg_height_m = 0.5
wheelbase_m = 2.5
track_front_m = 1.5
track_rear_m = 1.5
yaw_inertia_kgm2 = 1500
roll_front_frac = 0.5
drag_area_m2 = 0.8
lift_area_m2 = 1.0
aero_front_frac = 0.4
[tyre]
mu_x = 1.2
[wheel]
radius_front_m = 0.330
radius_rear_m = 0.340
[drive]
power_W = 200000
axle = "rear"
engine_brake_N = 800
[brakes]
front_share_frac = 0.7
[adjuster]
min = 50
max = 60
step = 0.5
meaning = "pressure_share"
higher_means = "front"
reference_setting = 55
"""

HARDWARE = """\
[brakes.front]
piston_area_mm2 = 2580
effective_radius_m = 0.155
pad_friction = 0.45
[brakes.rear]
piston_area_mm2 = 1590
effective_radius_m = 0.145
pad_friction = 0.45
"""


def changed(*pairs: tuple[str, str]) -> str:
    """Give the plain car's text with some parts replaced."""
    text = PLAIN
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    return text


def plain_car(*pairs: tuple[str, str]) -> Car:
    return parse(changed(*pairs), Car, "plain.toml")
