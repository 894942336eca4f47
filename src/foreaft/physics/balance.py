"""The car as two axles: loads, adhesion, ideal share, first axle to lock.

Everything here is statics on a rigid car whose left and right wheels are taken together.
Rates are decelerations in units of gravity, as in UN R13-H; the rest is SI.
Arguments broadcast against each other; results have the broadcast shape.

``front_weight_frac`` is b / L, the static front axle load over the weight, and ``height_ratio`` is
h / L, the height of the centre of gravity over the wheelbase.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.base.units import GRAVITY_MPS2

Floats = float | NDArray[np.float64]
Array = NDArray[np.float64]


class TwoAxleCar(NamedTuple):
    """What the two-axle statics need of a car; the fields broadcast."""

    mass_kg: Floats
    front_weight_frac: Floats
    cg_height_m: Floats
    wheelbase_m: Floats
    yaw_inertia_kgm2: Floats = 0.0


class Air(NamedTuple):
    """Aerodynamic forces at one speed; the fields broadcast."""

    downforce_N: Floats
    aero_front_frac: Floats
    drag_N: Floats
    drag_height_m: Floats


class AxleFriction(NamedTuple):
    """Peak friction of each axle along and across the car; the fields broadcast."""

    mu_x_front: Floats
    mu_y_front: Floats
    mu_x_rear: Floats
    mu_y_rear: Floats


STILL_AIR: Final = Air(0.0, 0.0, 0.0, 0.0)


def same_friction(mu_x: Floats, mu_y: Floats) -> AxleFriction:
    """Give both axles the same friction along (``mu_x``) and across (``mu_y``) the car."""
    return AxleFriction(mu_x, mu_y, mu_x, mu_y)


# --- loads ---------------------------------------------------------------------------------------


def air_at(
    speed: Floats,
    lift_area: Floats,
    drag_area: Floats,
    aero_front_frac: Floats,
    drag_height: Floats,
    air_density: Floats,
) -> Air:
    """Give downforce and drag at a speed: F = rho / 2 x coefficient x area x v^2.

    Parameters
    ----------
    speed : float or ndarray
        Speed through still air. [m/s]
    lift_area, drag_area : float or ndarray
        Coefficient x area; downforce and drag positive. [m^2]
    aero_front_frac : float or ndarray
        Front share of the downforce. [-]
    drag_height : float or ndarray
        Height at which drag acts. [m]
    air_density : float or ndarray
        [kg/m^3]
    """
    pressure = 0.5 * np.asarray(air_density, float) * np.asarray(speed, float) ** 2
    return Air(pressure * lift_area, aero_front_frac, pressure * drag_area, drag_height)


def axle_loads(decel: Floats, car: TwoAxleCar, air: Air = STILL_AIR) -> tuple[Array, Array]:
    """Return the normal load of the front and the rear axle while braking.

    Moments about the rear contact: Fzf L = W b + m a h - D h_D + Ld ab L.
    With drag at the height of the centre of gravity only the brake force m a - D moves load.
    A negative rear load means that the car would pitch over; it is returned as it is.

    Parameters
    ----------
    decel : float or ndarray
        Total deceleration, the part made by drag included. [m/s^2]
    car : TwoAxleCar
    air : Air

    Returns
    -------
    front, rear : ndarray
        Positive into the road. [N]

    References
    ----------
    [wong2001], chapter 3, with the aerodynamic terms added.
    """
    weight = np.asarray(car.mass_kg, float) * GRAVITY_MPS2
    pitching = car.mass_kg * np.asarray(decel, float) * car.cg_height_m
    pitching = pitching - np.asarray(air.drag_N, float) * air.drag_height_m
    down_front = np.asarray(air.aero_front_frac, float) * air.downforce_N
    front = weight * car.front_weight_frac + pitching / car.wheelbase_m + down_front
    return front, weight + air.downforce_N - front


def limit_decel_straight(mu_x: Floats, car: TwoAxleCar, air: Air = STILL_AIR) -> Array:
    """Return the deceleration with both axles at their limit in a straight line. [m/s^2]

    m a = mu (W + Ld) + D.
    """
    require_positive("mu_x", mu_x, "-")
    mass = np.asarray(car.mass_kg, float)
    result: Array = (np.asarray(mu_x) * (mass * GRAVITY_MPS2 + air.downforce_N) + air.drag_N) / mass
    return result


def ideal_share_straight(decel: Floats, car: TwoAxleCar, air: Air = STILL_AIR) -> Array:
    """Return the front share at which both axles use equal friction in a straight line.

    The brake force is shared as the loads are, whatever the friction.
    At the limit (``limit_decel_straight``) this becomes
    beta = mu h / L + (W b / L + ab Ld) / (W + Ld) for drag at the height of the centre of gravity.

    Parameters
    ----------
    decel : float or ndarray
        Total deceleration, the part made by drag included. [m/s^2]
    car : TwoAxleCar
    air : Air

    Returns
    -------
    ndarray
        Above 1 where the rear axle has left the road. [-]

    References
    ----------
    [guiggiani2018] for the limit without air; [unr13h] for the statics.
    """
    front, rear = axle_loads(decel, car, air)
    return front / (front + rear)


# --- adhesion utilisation (UN R13-H) -------------------------------------------------------------


def adhesion_utilisation(
    rate: Floats, front_share: Floats, front_weight_frac: Floats, height_ratio: Floats
) -> tuple[Array, Array]:
    """Return the friction used by the front and the rear axle at a braking rate.

    f1 = beta z L / (b + z h), f2 = (1 - beta) z L / (a - z h); no aerodynamic force.

    Parameters
    ----------
    rate : float or ndarray
        Braking rate z = a / g, >= 0. [-]
    front_share : float or ndarray
        Front share of the braking force, 0 to 1. [-]
    front_weight_frac, height_ratio : float or ndarray
        b / L and h / L. [-]

    Returns
    -------
    front, rear : ndarray
        Infinite for an axle without load. [-]

    Raises
    ------
    InputError
        If a share or a weight fraction is outside 0 to 1.

    References
    ----------
    [unr13h], annex 5.
    """
    require_share("front_share", front_share)
    require_share("front_weight_frac", front_weight_frac)
    z = np.asarray(rate, float)
    front_load = front_weight_frac + z * height_ratio
    rear_load = 1.0 - front_load
    share = np.asarray(front_share, float)
    return _use(share * z, front_load), _use((1.0 - share) * z, rear_load)


def crossover_rate(front_share: Floats, front_weight_frac: Floats, height_ratio: Floats) -> Array:
    """Return the braking rate at which a fixed share uses both axles alike: (L beta - b) / h.

    Below it the front axle is used more, above it the rear; negative if the rear always is.
    """
    require_positive("height_ratio", height_ratio, "-")
    result: Array = (np.asarray(front_share, float) - front_weight_frac) / np.asarray(
        height_ratio, float
    )
    return result


def braking_efficiency(rate: Floats, used_front: Floats, used_rear: Floats) -> Array:
    """Return braking rate over the larger adhesion used: 1 when both axles are used alike."""
    return np.asarray(rate, float) / np.maximum(used_front, used_rear)


# --- which axle locks first ----------------------------------------------------------------------


class FirstLock(NamedTuple):
    """Braking rates at which the axles are about to lock, and what follows from them."""

    front_rate: Array
    rear_rate: Array
    rate: Array
    axle: NDArray[np.str_]
    efficiency: Array


def axle_lock_rate(
    axle_share: Floats,
    friction: Floats,
    weight_frac: Floats,
    transfer_ratio: Floats,
    rolling: Floats = 0.0,
) -> Array:
    """Return the braking rate at which one axle is about to lock.

    Parameters
    ----------
    axle_share : float or ndarray
        The axle's own share of the braking force. [-]
    friction : float or ndarray
        Peak friction of tyre and road, > 0. [-]
    weight_frac : float or ndarray
        The axle's own share of the weight at rest. [-]
    transfer_ratio : float or ndarray
        h / L for the front axle, -h / L for the rear. [-]
    rolling : float or ndarray
        Rolling resistance of all wheels over the weight: it slows the car without the brakes. [-]

    Returns
    -------
    ndarray
        Infinite where the axle gains load faster than braking force and so never locks. [-]

    References
    ----------
    [wong2001], chapter 3 (the equations are recalled from memory).
    """
    require_positive("friction", friction, "-")
    share = np.asarray(axle_share, float)
    slope = share - np.asarray(friction, float) * transfer_ratio
    held = np.asarray(friction, float) * weight_frac + share * rolling
    held, slope = np.broadcast_arrays(held, slope)
    result: Array = np.divide(held, slope, out=np.full(held.shape, np.inf), where=slope > 0.0)
    return result


def first_lock(
    front_share: Floats,
    friction: Floats,
    front_weight_frac: Floats,
    height_ratio: Floats,
    rolling: Floats = 0.0,
) -> FirstLock:
    """Tell which axle locks first in a straight stop with a fixed share, and at what rate.

    Parameters
    ----------
    front_share : float or ndarray
        Front share of the braking force, 0 to 1. [-]
    friction : float or ndarray
        Peak friction, the same at both axles. [-]
    front_weight_frac, height_ratio : float or ndarray
        b / L and h / L. [-]
    rolling : float or ndarray
        Rolling resistance over the weight. [-]

    Returns
    -------
    FirstLock
        ``axle`` is "front" or "rear" ("front" where both lock together); ``efficiency`` is the
        rate over the friction.

    Raises
    ------
    InputError
        If a share is outside 0 to 1 or the friction is not positive.

    References
    ----------
    [wong2001], chapter 3; [gillespie1992], chapter 3; [limpert2011], chapter 7.
    """
    require_share("front_share", front_share)
    require_share("front_weight_frac", front_weight_frac)
    share = np.asarray(front_share, float)
    weight = np.asarray(front_weight_frac, float)
    ratio = np.asarray(height_ratio, float)
    front = axle_lock_rate(share, friction, weight, ratio, rolling)
    rear = axle_lock_rate(1.0 - share, friction, 1.0 - weight, -ratio, rolling)
    rate = np.minimum(front, rear)
    axle = np.where(front <= rear, "front", "rear")
    return FirstLock(front, rear, rate, axle, rate / np.asarray(friction, float))


def road_share(torque_share: Floats, front_spin_ratio: Floats, rear_spin_ratio: Floats) -> Array:
    """Return the front share at the road from the front share of brake torque over radius.

    Part of the torque only slows the wheels themselves; what is left brakes the car.
    With e_i = I_i (1 - s) / (R_i^2 m) for the two wheels of axle i together, s the slip, the
    brakes ask for (1 + e_f + e_r) times the road's force, of which e_f and e_r stay in the wheels.

    Parameters
    ----------
    torque_share : float or ndarray
        Front part of the sum of brake torque / rolling radius. [-]
    front_spin_ratio, rear_spin_ratio : float or ndarray
        e_f and e_r, >= 0. [-]
    """
    share = np.asarray(torque_share, float)
    front = np.asarray(front_spin_ratio, float)
    result: Array = share * (1.0 + front + rear_spin_ratio) - front
    return result


# --- from line pressure to force -----------------------------------------------------------------


def limiting_valve(pressure: Floats, knee: Floats, slope: Floats) -> Array:
    """Return the pressure behind a pressure-limiting valve: p up to the knee, then a flatter line.

    Parameters
    ----------
    pressure, knee : float or ndarray
        Pressure before the valve, and where the valve begins to act; same unit, >= 0. [Pa]
    slope : float or ndarray
        Slope above the knee, 0 to 1. [-]

    References
    ----------
    [gillespie1992], chapter 3.
    """
    before = np.asarray(pressure, float)
    behind = knee + np.asarray(slope, float) * (before - knee)
    return np.where(before <= knee, before, behind)


def axle_brake_force(
    pressure: Floats,
    piston_area: Floats,
    pad_friction: Floats,
    effective_radius: Floats,
    rolling_radius: Floats,
) -> Array:
    """Return the brake force of one axle (two disc brakes) at steady wheel speed. [N]

    2 wheels x 2 pad faces x mu_p p A r_e / R.

    Parameters
    ----------
    pressure : float or ndarray
        Line pressure. [Pa]
    piston_area : float or ndarray
        Area of the pistons on ONE side of one caliper. [m^2]
    pad_friction : float or ndarray
        [-]
    effective_radius, rolling_radius : float or ndarray
        Of the pads' action on the disc, and of the tyre. [m]

    References
    ----------
    [limpert2011] (the equation is recalled from memory).
    """
    clamping = np.asarray(pressure, float) * piston_area
    result: Array = (
        4.0 * clamping * pad_friction * effective_radius / np.asarray(rolling_radius, float)
    )
    return result


# --- combined braking and cornering --------------------------------------------------------------


class IdealShare(NamedTuple):
    """Ideal share with the shares that can do the job at all; arrays of the broadcast shape.

    share : ideal front share of the braking force, NaN where not feasible or nothing to share
    window_low, window_high : least and greatest share within the grip of both axles, else NaN
    utilisation_front, utilisation_rear : use of grip at the best share, above 1 where too much is
        asked, infinite for an axle without load
    feasible : whether some share gives this deceleration within the grip of both axles
    limit : "none" both axles are used alike; "rear" (or "front") this axle is used more even with
        all braking at the other; "lateral" side force alone is more than an axle has, or an axle
        has no load
    """

    share: Array
    window_low: Array
    window_high: Array
    utilisation_front: Array
    utilisation_rear: Array
    feasible: NDArray[np.bool_]
    limit: NDArray[np.str_]


class _Demand(NamedTuple):
    """Brake force wanted, and per axle the square of its use by side force and by all braking."""

    brake_N: Array
    side_front: Array
    side_rear: Array
    brake_front: Array
    brake_rear: Array


def utilisation_two_axle(
    front_share: Floats,
    decel: Floats,
    lateral: Floats,
    yaw_accel: Floats,
    car: TwoAxleCar,
    friction: AxleFriction,
    air: Air = STILL_AIR,
) -> tuple[Array, Array]:
    """Return the use of grip of both axles with a given share, on the friction ellipse.

    u_i = sqrt((Fx_i / (mu_x_i Fz_i))^2 + (Fy_i / (mu_y_i Fz_i))^2); parameters as for
    ``ideal_share_two_axle``.

    Returns
    -------
    front, rear : ndarray
        1 at the limit, infinite for an axle without load. [-]
    """
    require_share("front_share", front_share)
    demand = _demand(decel, lateral, yaw_accel, car, friction, air)
    return _use_at(np.asarray(front_share, float), demand)


def ideal_share_two_axle(
    decel: Floats,
    lateral: Floats,
    yaw_accel: Floats,
    car: TwoAxleCar,
    friction: AxleFriction,
    air: Air = STILL_AIR,
) -> IdealShare:
    """Return the front share that leaves the more-used axle as much grip as possible.

    Two axles, each on its friction ellipse, without load sensitivity; loads of ``axle_loads``.
    Side forces Fyf = m ay b / L + Iz r' / L and Fyr = m ay a / L - Iz r' / L; the brakes make
    m ax - D.
    Equal use of both axles is the optimum wherever a share between 0 and 1 gives it; otherwise
    all braking belongs to the axle that is still used less.
    A check on richer models, not advice: inside-wheel lock, engine braking and the differential
    are left out, and at low deceleration the optimum is flat (see the window).

    Parameters
    ----------
    decel : float or ndarray
        Total deceleration, the part made by drag included. [m/s^2]
    lateral : float or ndarray
        Lateral acceleration, left positive. [m/s^2]
    yaw_accel : float or ndarray
        Yaw acceleration, left positive. [rad/s^2]
    car : TwoAxleCar
    friction : AxleFriction
    air : Air

    Returns
    -------
    IdealShare
        Where drag alone slows the car by exactly ``decel`` the share is NaN and the window all
        of 0 to 1; where it slows the car more, nothing is feasible by braking: all NaN.

    Raises
    ------
    InputError
        If a friction is not positive.

    Notes
    -----
    With p_i = (X / (mu_x_i Fz_i))^2 for all braking X at axle i, q_i = (Fy_i / (mu_y_i Fz_i))^2,
    equal use is beta^2 p_f + q_f = (1 - beta)^2 p_r + q_r.
    """
    demand = _demand(decel, lateral, yaw_accel, car, friction, air)
    best, limit = _best_share(demand)
    used_front, used_rear = _use_at(best, demand)
    idle = demand.brake_N == 0.0
    used_front = np.where(idle, np.sqrt(demand.side_front), used_front)
    used_rear = np.where(idle, np.sqrt(demand.side_rear), used_rear)
    driven = demand.brake_N < 0.0
    used_front, used_rear = (np.where(driven, np.nan, used) for used in (used_front, used_rear))
    feasible = (np.maximum(used_front, used_rear) <= 1.0) & ~driven
    low, high = _window(demand)
    return IdealShare(
        share=np.where(feasible & ~idle, best, np.nan),
        window_low=np.where(feasible, np.where(idle, 0.0, low), np.nan),
        window_high=np.where(feasible, np.where(idle, 1.0, high), np.nan),
        utilisation_front=used_front,
        utilisation_rear=used_rear,
        feasible=feasible,
        limit=np.where(driven, "none", limit),
    )


def brake_capacity_two_axle(
    decel: Floats,
    lateral: Floats,
    yaw_accel: Floats,
    car: TwoAxleCar,
    friction: AxleFriction,
    air: Air = STILL_AIR,
) -> tuple[Array, Array]:
    """Return the brake force each axle can make beside its side force. [N]

    mu_x Fz sqrt(1 - (Fy / (mu_y Fz))^2); NaN where side force alone is too much.
    Parameters as for ``ideal_share_two_axle``.
    """
    loads = axle_loads(decel, car, air)
    demand = _demand(decel, lateral, yaw_accel, car, friction, air)
    sides = (demand.side_front, demand.side_rear)
    along = (friction.mu_x_front, friction.mu_x_rear)
    front, rear = (
        np.where(side <= 1.0, mu * load * np.sqrt(1.0 - np.minimum(side, 1.0)), np.nan)
        for mu, load, side in zip(along, loads, sides, strict=True)
    )
    return front, rear


def _demand(
    decel: Floats,
    lateral: Floats,
    yaw_accel: Floats,
    car: TwoAxleCar,
    friction: AxleFriction,
    air: Air,
) -> _Demand:
    for name, mu in zip(AxleFriction._fields, friction, strict=True):
        require_positive(name, mu, "-")
    front, rear = axle_loads(decel, car, air)
    mass = np.asarray(car.mass_kg, float)
    brake = mass * np.asarray(decel, float) - air.drag_N
    side = mass * np.asarray(lateral, float)
    turning = np.asarray(car.yaw_inertia_kgm2, float) * yaw_accel / car.wheelbase_m
    side_front = side * car.front_weight_frac + turning
    side_rear = side - side_front
    brake, front, rear, side_front, side_rear = np.broadcast_arrays(
        brake, front, rear, side_front, side_rear
    )
    return _Demand(
        brake,
        _use(side_front, front * friction.mu_y_front) ** 2,
        _use(side_rear, rear * friction.mu_y_rear) ** 2,
        _use(brake, front * friction.mu_x_front) ** 2,
        _use(brake, rear * friction.mu_x_rear) ** 2,
    )


def _best_share(demand: _Demand) -> tuple[Array, NDArray[np.str_]]:
    """Give the share that minimises the larger use, and what limits there."""
    _, q_f, q_r, p_f, p_r = demand
    front_at_all_rear, rear_at_all_front = q_f >= p_r + q_r, q_r >= p_f + q_f
    # beta^2 (p_f - p_r) + 2 beta p_r - c = 0: between the two cases above the discriminant
    # exceeds p_f^2, and this form of the root has no cancellation.
    c = p_r + q_r - q_f
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        equal = c / (p_r + np.sqrt(p_r**2 + (p_f - p_r) * c))
    share = np.where(rear_at_all_front, 1.0, np.where(front_at_all_rear, 0.0, equal))
    side_alone = (q_f > 1.0) | (q_r > 1.0)
    limit = np.select(
        [side_alone, q_f + p_f < q_r, p_r + q_r < q_f], ["lateral", "rear", "front"], "none"
    )
    return share, limit


def _use_at(front_share: Array, demand: _Demand) -> tuple[Array, Array]:
    def use(share: Array, brake: Array, side: Array) -> Array:
        # No braking at an axle without load is no use, not infinity times zero.
        along = np.where(share == 0.0, 0.0, share**2 * np.where(share == 0.0, 0.0, brake))
        total: Array = np.sqrt(along + side)
        return total

    return (
        use(front_share, demand.brake_front, demand.side_front),
        use(1.0 - front_share, demand.brake_rear, demand.side_rear),
    )


def _window(demand: _Demand) -> tuple[Array, Array]:
    """Give the least and greatest share within grip; a share itself lies between 0 and 1."""
    _, q_f, q_r, p_f, p_r = demand
    with np.errstate(invalid="ignore", divide="ignore"):
        high = np.sqrt((1.0 - q_f) / p_f)
        low = 1.0 - np.sqrt((1.0 - q_r) / p_r)
    return np.maximum(low, 0.0), np.minimum(high, 1.0)


# --- shared --------------------------------------------------------------------------------------


def _use(force: Floats, capacity: Floats) -> Array:
    """Return |force| / capacity, infinite where there is no capacity."""
    f, c = np.broadcast_arrays(np.abs(np.asarray(force, float)), np.asarray(capacity, float))
    result: Array = np.divide(f, c, out=np.full(f.shape, np.inf), where=c > 0.0)
    return result


def require_share(key: str, value: Floats) -> None:
    """Refuse a share that is not within 0 to 1."""
    v = np.asarray(value)
    require((v >= 0.0) & (v <= 1.0), key, value, "0 to 1", "-")


def require_positive(key: str, value: Floats, unit: str) -> None:
    """Refuse a value that is not above zero."""
    require(np.asarray(value) > 0.0, key, value, "above 0", unit)


def require(
    holds: NDArray[np.bool_] | np.bool_, key: str, value: Floats, allowed: str, unit: str
) -> None:
    """Refuse a value where the condition does not hold (it never does for NaN)."""
    if np.all(holds):
        return
    wrong = np.broadcast_to(np.asarray(value, float), np.shape(holds))[~np.asarray(holds)]
    raise InputError(
        f"{key} is out of range.",
        code="out_of_range",
        key=key,
        value=float(wrong.flat[0]),
        allowed=allowed,
        unit=unit,
        hint="Check the value and its unit.",
    )
