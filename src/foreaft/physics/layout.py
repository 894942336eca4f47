"""The car as the kernels see it: one float64 vector, one place per number.

An ensemble of cars is a matrix whose rows are such vectors.
The table below is the only list of what a car is made of inside the physics; the car file is
turned into it in :mod:`foreaft.model.car`.
The adjuster is not here: kernels are handed the front torque share of each setting.

Tyres come as a second array, the capacity table of :mod:`foreaft.physics.tyre`.
"""

from __future__ import annotations

from typing import Final, NamedTuple

ENGINE_KNOTS: Final = 6
"""Speed knots of the engine-braking table (gears, or a curve by speed)."""


class Place(NamedTuple):
    """One number of the car: its name, its SI unit and what it means."""

    name: str
    unit: str
    meaning: str


PLACES: Final[tuple[Place, ...]] = (
    Place("mass_kg", "kg", "mass as run, driver and fuel aboard"),
    Place("front_weight_frac", "-", "static front axle load / weight"),
    Place("cg_height_m", "m", "centre of gravity above the road"),
    Place("wheelbase_m", "m", "wheelbase"),
    Place("track_front_m", "m", "front track"),
    Place("track_rear_m", "m", "rear track"),
    Place("yaw_inertia_kgm2", "kg m2", "yaw moment of inertia"),
    Place("roll_front_frac", "-", "front share of the roll stiffness (of lateral load transfer)"),
    Place("drag_area_m2", "m2", "drag coefficient x area"),
    Place("lift_area_m2", "m2", "downforce coefficient x area, positive down"),
    Place("aero_front_frac", "-", "front share of the downforce"),
    Place("aero_front_shift_frac_per_g", "1/g", "forward move of that share per g of braking"),
    Place("drag_height_m", "m", "height at which drag acts"),
    Place("air_density_kgpm3", "kg/m3", "air density"),
    Place("radius_front_m", "m", "front rolling radius"),
    Place("radius_rear_m", "m", "rear rolling radius"),
    Place("inertia_front_kgm2", "kg m2", "spin inertia of one front wheel"),
    Place("inertia_rear_kgm2", "kg m2", "spin inertia of one rear wheel"),
    Place("power_W", "W", "power at the wheels"),
    Place("drive_front_frac", "-", "front share of drive and engine braking: 0 rear, 1 front"),
    Place("overrun_coupling_N", "N", "force difference the driven wheels can hold on overrun"),
    Place("threshold_front_N", "N", "front axle brake force lost to pressure thresholds"),
    Place("threshold_rear_N", "N", "rear axle brake force lost to pressure thresholds"),
    Place("valve_knee_N", "N", "rear axle brake force above which the rear valve acts (inf: none)"),
    Place("valve_slope", "-", "slope of the rear force above the knee"),
    *(Place(f"engine_speed_{i}_mps", "m/s", "speed knot") for i in range(ENGINE_KNOTS)),
    *(
        Place(f"engine_brake_{i}_N", "N", "engine braking at the driven wheels, steady speed")
        for i in range(ENGINE_KNOTS)
    ),
    *(
        Place(f"driveline_mass_{i}_kg", "kg", "driveline inertia as mass at the driven wheels")
        for i in range(ENGINE_KNOTS)
    ),
    # Only the transient car reads these.
    Place("relaxation_along_m", "m", "distance in which a tyre builds up its force along"),
    Place("relaxation_across_m", "m", "distance in which a tyre builds up its side force"),
    Place("pitch_lag_s", "s", "time constant of the load transfer front to rear"),
    Place("roll_lag_s", "s", "time constant of the load transfer side to side"),
    Place("brake_delay_s", "s", "time constant from the foot to the line"),
    Place("brake_build_up_s", "s", "time constant from the line to the brake torque"),
    Place("steer_limit_rad", "rad", "largest mean angle of the front wheels"),
)

INDEX: Final[dict[str, int]] = {place.name: i for i, place in enumerate(PLACES)}
SIZE: Final = len(PLACES)

MASS = INDEX["mass_kg"]
FRONT_WEIGHT = INDEX["front_weight_frac"]
CG_HEIGHT = INDEX["cg_height_m"]
WHEELBASE = INDEX["wheelbase_m"]
TRACK_FRONT = INDEX["track_front_m"]
TRACK_REAR = INDEX["track_rear_m"]
YAW_INERTIA = INDEX["yaw_inertia_kgm2"]
ROLL_FRONT = INDEX["roll_front_frac"]
DRAG_AREA = INDEX["drag_area_m2"]
LIFT_AREA = INDEX["lift_area_m2"]
AERO_FRONT = INDEX["aero_front_frac"]
AERO_SHIFT = INDEX["aero_front_shift_frac_per_g"]
DRAG_HEIGHT = INDEX["drag_height_m"]
AIR_DENSITY = INDEX["air_density_kgpm3"]
RADIUS_FRONT = INDEX["radius_front_m"]
RADIUS_REAR = INDEX["radius_rear_m"]
INERTIA_FRONT = INDEX["inertia_front_kgm2"]
INERTIA_REAR = INDEX["inertia_rear_kgm2"]
POWER = INDEX["power_W"]
DRIVE_FRONT = INDEX["drive_front_frac"]
COUPLING = INDEX["overrun_coupling_N"]
THRESHOLD_FRONT = INDEX["threshold_front_N"]
THRESHOLD_REAR = INDEX["threshold_rear_N"]
VALVE_KNEE = INDEX["valve_knee_N"]
VALVE_SLOPE = INDEX["valve_slope"]
ENGINE_SPEED = INDEX["engine_speed_0_mps"]
ENGINE_BRAKE = INDEX["engine_brake_0_N"]
DRIVELINE_MASS = INDEX["driveline_mass_0_kg"]
RELAXATION_ALONG = INDEX["relaxation_along_m"]
RELAXATION_ACROSS = INDEX["relaxation_across_m"]
PITCH_LAG = INDEX["pitch_lag_s"]
ROLL_LAG = INDEX["roll_lag_s"]
BRAKE_DELAY = INDEX["brake_delay_s"]
BRAKE_BUILD_UP = INDEX["brake_build_up_s"]
STEER_LIMIT = INDEX["steer_limit_rad"]
