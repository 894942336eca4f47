"""The arrays of the physics, from drawn numbers: one row per car."""

from __future__ import annotations

from collections.abc import Mapping
from math import pi, radians
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.base.units import GRAVITY_MPS2, mps_from_kmh, pa_from_bar
from foreaft.model import convert
from foreaft.model.adjuster import Adjuster
from foreaft.model.conditions import Conditions
from foreaft.model.parts import TRANSIENT_DEFAULTS
from foreaft.physics import layout
from foreaft.physics.tyre import (
    TABLE_SIZE,
    FewNumbers,
    axle_table_few_numbers,
    axle_table_from_curves,
    load_knots,
)

if TYPE_CHECKING:
    from foreaft.model.car import Car

Floats = NDArray[np.float64]

LOAD_SPEED_MPS: Final = 100.0
"""The tyre table reaches to half the weight and downforce at this speed on one wheel."""

WHEEL_INERTIA_MASS_KG: Final = 10.0
"""Spin inertia of a wheel / radius^2 where nobody gave it: between 7 kg (a light single-seater)
and 14 kg (the road car of checks.md 3.5). An assumption."""


class CarArrays(NamedTuple):
    """What the kernels are handed, for n cars."""

    vector: Floats
    """Shape (n, layout.SIZE)."""
    table: Floats
    """Shape (n, 2, tyre.TABLE_SIZE)."""
    settings: Floats
    """Shape (S,): the adjuster's numbers from min to max; one entry 0 where there is none."""
    share: Floats
    """Shape (n, S): front part of the force at the road that the brakes alone would make."""


def vectors(car: Car, draws: Mapping[str, Floats], conditions: Conditions) -> CarArrays:
    """Turn drawn numbers into the arrays of the physics.

    Raises
    ------
    InputError
        If the conditions need what the file has not (fuel), the direction of an adjuster of
        unknown meaning is not confirmed, or drawn numbers leave no front share between 0 and 1.
    """
    n = len(draws["mass_kg"])
    load = _load(car, draws, conditions)
    settings = np.zeros(1) if car.adjuster is None else car.adjuster.settings
    share = _shares(car, draws, settings)
    if not np.all((share > 0.0) & (share < 1.0)):
        raise InputError(
            "Some drawn cars have no front share between 0 and 1 at every setting.",
            code="out_of_range",
            key="adjuster",
            value=float(share.min()),
            unit="",
            allowed="front share above 0 and below 1",
            hint="Narrow the ranges of the brakes.",
        )
    vector = np.full((n, layout.SIZE), np.nan)
    for values in (
        _body(car, draws, load),
        _aero(car, draws, load, conditions),
        _wheels(car, draws),
        _brakes(car, draws),
        _drive(car, draws),
        _transient(car, n),
    ):
        for name, column in values.items():
            vector[:, layout.INDEX[name]] = column
    return CarArrays(vector, _tables(car, draws, vector, conditions), settings, share)


def _load(car: Car, v: Mapping[str, Floats], conditions: Conditions) -> convert.Load:
    whole = convert.Load(v["mass_kg"], v["front_weight_frac"], v["cg_height_m"])
    if conditions.fuel_kg is None:
        return whole
    if car.fuel is None:
        raise InputError(
            "The conditions name a fuel load, but the car file does not say what fuel is in its "
            "mass.",
            code="missing_key",
            key="fuel.aboard_kg",
            allowed="a [fuel] table",
            unit="kg",
            hint="Add [fuel] with aboard_kg, front_frac and height_m to the car.",
        )
    front, height = v["fuel.front_frac"], v["fuel.height_m"]
    into = convert.Load(np.full_like(front, conditions.fuel_kg), front, height)
    return convert.exchange(whole, convert.Load(v["fuel.aboard_kg"], front, height), into)


def _body(car: Car, v: Mapping[str, Floats], load: convert.Load) -> dict[str, Floats]:
    if car.yaw_inertia_kgm2 is not None:
        inertia = v["yaw_inertia_kgm2"]
    else:
        front = v["front_weight_frac"]
        arms = front * (1.0 - front) * v["wheelbase_m"] ** 2
        inertia = v["yaw_inertia_frac"] * v["mass_kg"] * arms
    same = ("wheelbase_m", "track_front_m", "track_rear_m", "roll_front_frac")
    return {name: v[name] for name in same} | {
        "mass_kg": load.mass_kg,
        "front_weight_frac": load.front_frac,
        "cg_height_m": load.height_m,
        "yaw_inertia_kgm2": inertia,
    }


def _aero(
    car: Car, v: Mapping[str, Floats], load: convert.Load, conditions: Conditions
) -> dict[str, Floats]:
    if car.lift_area_m2 is not None:
        lift, front = v["lift_area_m2"], v["aero_front_frac"]
    else:
        lift = v["lift_front_area_m2"] + v["lift_rear_area_m2"]
        # Front and rear may cancel: the physics multiplies total and share, so a tiny total does.
        lift = np.where(np.abs(lift) < 1e-9, 1e-9, lift)
        front = v["lift_front_area_m2"] / lift
    return {
        "drag_area_m2": v["drag_area_m2"],
        "lift_area_m2": lift,
        "aero_front_frac": front,
        "aero_front_shift_frac_per_g": v["aero_front_shift_frac_per_g"],
        "drag_height_m": v.get("drag_height_m", load.height_m),
        "air_density_kgpm3": np.full(len(lift), conditions.density_kgpm3),
    }


def _transient(car: Car, n: int) -> dict[str, Floats]:
    values = {name: getattr(car.transient, name, None) for name in TRANSIENT_DEFAULTS}
    given = {k: TRANSIENT_DEFAULTS[k] if v is None else v for k, v in values.items()}
    given["steer_limit_rad"] = radians(given.pop("steer_limit_deg"))
    return {name: np.full(n, value) for name, value in given.items()}


def _wheels(car: Car, v: Mapping[str, Floats]) -> dict[str, Floats]:
    out: dict[str, Floats] = {}
    for axle in ("front", "rear"):
        radius = v[f"wheel.radius_{axle}_m"]
        out[f"radius_{axle}_m"] = radius
        out[f"inertia_{axle}_kgm2"] = v.get(
            f"wheel.inertia_{axle}_kgm2", WHEEL_INERTIA_MASS_KG * radius**2
        )
    return out


def _gain(v: Mapping[str, Floats], axle: str) -> Floats:
    return convert.brake_gain(
        v[f"brakes.{axle}.piston_area_mm2"] * 1e-6,
        v[f"brakes.{axle}.effective_radius_m"],
        v[f"brakes.{axle}.pad_friction"],
        v[f"wheel.radius_{axle}_m"],
    )


def _brakes(car: Car, v: Mapping[str, Floats]) -> dict[str, Floats]:
    zero = np.zeros_like(v["mass_kg"])
    threshold, pressure = {}, {}
    for axle in ("front", "rear"):
        pressure[axle] = v.get(f"brakes.{axle}.pressure_threshold_bar", zero)
        threshold[axle] = v.get(f"brakes.{axle}.threshold_N", zero)
        if f"brakes.{axle}.pressure_threshold_bar" in v:
            threshold[axle] = _gain(v, axle) * pa_from_bar(pressure[axle])
    knee = v.get("brakes.valve_knee_N", zero + np.inf)
    if car.brakes.valve_knee_bar is not None:
        beyond = np.maximum(v["brakes.valve_knee_bar"] - pressure["rear"], 0.0)
        knee = _gain(v, "rear") * pa_from_bar(beyond)
    return {
        "threshold_front_N": threshold["front"],
        "threshold_rear_N": threshold["rear"],
        "valve_knee_N": knee,
        "valve_slope": v.get("brakes.valve_slope", zero + 1.0),
    }


def _drive(car: Car, v: Mapping[str, Floats]) -> dict[str, Floats]:
    zero = np.zeros_like(v["mass_kg"])
    part = {"rear": zero, "front": zero + 1.0}.get(car.drive.axle)
    front = v["drive.front_frac"] if part is None else part
    out = {
        "power_W": v["drive.power_W"],
        "drive_front_frac": front,
        "overrun_coupling_N": v["drive.overrun_coupling_N"],
    }
    engine = _engine(car, v, front)
    for i in range(layout.ENGINE_KNOTS):
        out[f"engine_speed_{i}_mps"] = engine.speed_mps[:, i]
        out[f"engine_brake_{i}_N"] = engine.force_N[:, i]
        out[f"driveline_mass_{i}_kg"] = engine.mass_kg[:, i]
    return out


def _engine(car: Car, v: Mapping[str, Floats], front: Floats) -> convert.Engine:
    drive, zero = car.drive, np.zeros_like(v["mass_kg"])
    if drive.clutch_in_on_braking:
        return convert.engine_flat(zero, zero)
    if drive.engine_brake:
        count = range(1, len(drive.engine_brake) + 1)
        key = "drive.engine_brake.{}.{}"
        speed = zero[:, None] + np.array([mps_from_kmh(p.speed_kmh) for p in drive.engine_brake])
        force = np.stack([v[key.format(i, "force_N")] for i in count], axis=1)
        mass = np.stack(
            [
                v.get(key.format(i, "driveline_mass_kg"), v.get("drive.driveline_mass_kg", zero))
                for i in count
            ],
            axis=1,
        )
        return convert.engine_points(speed, force, mass)
    if drive.gear:
        order = sorted(range(len(drive.gear)), key=lambda i: drive.gear[i].gear)
        ratio, drag = (
            np.stack([v[f"drive.gear.{i + 1}.{name}"] for i in order], axis=1)
            for name in ("total_ratio", "engine_drag_Nm")
        )
        radius = front * v["wheel.radius_front_m"] + (1.0 - front) * v["wheel.radius_rear_m"]
        revs = (drive.engine_speed_max_rpm or 0.0) * 2.0 * pi / 60.0
        return convert.engine_gears(ratio, drag, v["drive.driveline_inertia_kgm2"], radius, revs)
    return convert.engine_flat(v["drive.engine_brake_N"], v["drive.driveline_mass_kg"])


def _shares(car: Car, v: Mapping[str, Floats], settings: Floats) -> Floats:
    a = car.adjuster
    if a is None:
        return v["brakes.front_share_frac"][:, None]
    if a.known:
        order = sorted(range(len(a.known)), key=lambda i: a.known[i].setting)
        shares = np.stack([v[f"adjuster.known.{i + 1}.front_share_frac"] for i in order], axis=1)
        return convert.piecewise(settings, np.array([a.known[i].setting for i in order]), shares)
    if a.meaning == "unknown":
        sign = 1.0 if a.require_direction() == "front" else -1.0
        away = sign * (settings - (car.reference_setting or 0.0))
        return np.asarray(
            v["brakes.front_share_frac"][:, None]
            + v["adjuster.share_per_unit_frac"][:, None] * away
        )
    scale = 0.01 if a.setting_unit == "percent" else 1.0
    ratio = convert.ratio_from_share(settings * scale)
    return convert.share_from_ratio(_gain_ratio(car, a, v, scale)[:, None] * ratio)


def _gain_ratio(car: Car, a: Adjuster, v: Mapping[str, Floats], scale: float) -> Floats:
    """Return force ratio at the road / ratio the adjuster shows."""
    if a.meaning == "force_share":
        return np.ones_like(v["mass_kg"])
    if a.meaning == "torque_share":
        return v["wheel.radius_rear_m"] / v["wheel.radius_front_m"]
    if car.brakes.front_share_frac is not None and car.reference_setting is not None:
        there = convert.ratio_from_share(np.array([car.reference_setting * scale]))
        return convert.ratio_from_share(v["brakes.front_share_frac"]) / there
    gain = _gain(v, "front") / _gain(v, "rear")
    if a.meaning == "balance_bar":
        bore = [v[f"brakes.{axle}.master_cylinder_bore_mm"] for axle in ("front", "rear")]
        gain = gain * (bore[1] / bore[0]) ** 2
    return gain


# ---------------------------------------------------------------- tyres


def _tables(car: Car, v: Mapping[str, Floats], vector: Floats, conditions: Conditions) -> Floats:
    out = np.empty((len(vector), 2, TABLE_SIZE))
    weight = v["mass_kg"] * GRAVITY_MPS2
    down = 0.5 * vector[:, layout.AIR_DENSITY] * LOAD_SPEED_MPS**2 * vector[:, layout.LIFT_AREA]
    load_max = 0.5 * (1.2 * weight + np.maximum(down, 0.0))
    rear_grip = v.get("tyre.rear_grip_frac", np.ones_like(weight))
    for i, axle in enumerate(("front", "rear")):
        grip = conditions.grip(axle) * (rear_grip if i else np.ones_like(weight))
        front = v["front_weight_frac"]
        static = 0.5 * weight * ((1.0 - front) if i else front)
        if car.tyre.formula(axle) is not None:
            out[:, i] = _formula_table(car, axle, load_max, static, grip)
            continue
        out[:, i] = axle_table_few_numbers(_few(car, v, axle, static), load_max, grip)
    return out


def _few(car: Car, v: Mapping[str, Floats], axle: str, static: Floats) -> FewNumbers:
    def get(name: str) -> Floats:
        return v[car.tyre.at(axle, name) or f"tyre.{name}"]

    mu_x = get("mu_x")
    mu_y = get("mu_y") if car.tyre.at(axle, "mu_y") else mu_x * get("mu_y_per_mu_x")
    key = car.tyre.at(axle, "load_ref_N")
    return FewNumbers(
        mu_x,
        mu_y,
        get("load_sensitivity_frac"),
        static if key is None else v[key],
        get("cornering_stiffness_per_load_1prad"),
        get("peak_slip_frac"),
        get("sliding_frac"),
    )


def _formula_table(car: Car, axle: str, load_max: Floats, load: Floats, grip: Floats) -> Floats:
    """Return the table of a Magic Formula tyre for all cars: made once, scaled by each grip.

    The combined curve is the one at the nominal car's static wheel load.
    """
    from foreaft.physics.magic_formula import capacity_table
    from foreaft.physics.tyre_sets import SETS

    asked = car.tyre.formula(axle)
    if isinstance(asked, str) and asked not in SETS:
        raise InputError(
            "There is no Magic Formula set of this name.",
            code="not_allowed",
            key="tyre.set",
            value=asked,
            allowed=", ".join(SETS),
            unit="",
            hint="Give the coefficients themselves under [tyre.coefficients].",
        )
    tyre = SETS[asked] if isinstance(asked, str) else asked or {}
    top = float(load_max.max())
    table = capacity_table(tyre, load_knots(np.array(top)), tyre.get("p_i0", 0.0), float(load[0]))
    slip = float(np.interp(load[0], table.load_N, table.peak_slip_frac))
    return np.stack(
        [
            axle_table_from_curves(
                top,
                slip,
                table.mu_x,
                table.mu_y,
                table.sliding_frac,
                table.stiffness_per_load_1prad,
                table.side_left_squared,
                float(scale),
            )
            for scale in grip
        ]
    )
