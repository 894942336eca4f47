"""Closed forms that numerical stops and corners are held against. SI, radians; no product code.

Derived by hand from the equation of motion each docstring states; the numbers they give are held
against high-precision values in ``test_closed_forms.py``.
"""

from __future__ import annotations

from math import asin, atan, cos, gamma, log, pi, sin, sqrt
from typing import NamedTuple

from scipy.integrate import quad

GRAVITY = 9.80665


class PointCar(NamedTuple):
    """A car as far as a stop with all wheels at the limit can see it.

    downforce_factor and drag_factor are rho / 2 x coefficient x area. [N s^2/m^2]
    """

    mass: float
    mu: float
    downforce_factor: float
    drag_factor: float


GT = PointCar(mass=1300.0, mu=1.6, downforce_factor=1.8375, drag_factor=0.67375)
"""The reference car: air density 1.225 kg/m3, lift area 3.0 m2, drag area 1.1 m2."""

GT_WITHOUT_AIR = GT._replace(downforce_factor=0.0, drag_factor=0.0)

# The rest of the same car, for two axles.
GT_WHEELBASE = 2.70
GT_FRONT_WEIGHT = 0.44
GT_CG_HEIGHT = 0.46


def limit_decel(car: PointCar, speed: float) -> float:
    """m a = mu m g + (mu kL + kD) v^2."""
    grown = car.mu * car.downforce_factor + car.drag_factor
    return car.mu * GRAVITY + grown * speed**2 / car.mass


def stop_distance(car: PointCar, v0: float, v1: float) -> float:
    """Integrate v dv = -a ds with the deceleration of ``limit_decel``."""
    k = car.mu * car.downforce_factor + car.drag_factor
    a = car.mu * car.mass * GRAVITY
    if k == 0.0:
        return (v0**2 - v1**2) / (2.0 * car.mu * GRAVITY)
    return car.mass / (2.0 * k) * log((a + k * v0**2) / (a + k * v1**2))


def stop_time(car: PointCar, v0: float, v1: float) -> float:
    """Integrate dv = -a dt with the deceleration of ``limit_decel``."""
    k = car.mu * car.downforce_factor + car.drag_factor
    a = car.mu * car.mass * GRAVITY
    if k == 0.0:
        return (v0 - v1) / (car.mu * GRAVITY)
    root = sqrt(k / a)
    return car.mass / sqrt(a * k) * (atan(v0 * root) - atan(v1 * root))


# --- braking on a circle: point mass on the friction ellipse, no air --------------------------


def circle_limit_speed(mu_y: float, radius: float) -> float:
    """v^2 / R = mu_y g."""
    return sqrt(mu_y * GRAVITY * radius)


def circle_speed(mu_x: float, mu_y: float, radius: float, v0: float, s: float) -> float:
    """sin(phi) = v^2 / (mu_y g R) falls as phi = phi0 - 2 mu_x s / (mu_y R)."""
    top = circle_limit_speed(mu_y, radius) ** 2
    phi = asin(min(1.0, v0**2 / top)) - 2.0 * mu_x * s / (mu_y * radius)
    return sqrt(top * sin(phi))


def circle_stop_distance(mu_x: float, mu_y: float, radius: float, v0: float) -> float:
    """Distance to phi = 0; from the limit pi R mu_y / (4 mu_x)."""
    phi0 = asin(min(1.0, v0**2 / circle_limit_speed(mu_y, radius) ** 2))
    return phi0 * mu_y * radius / (2.0 * mu_x)


def circle_time(mu_x: float, mu_y: float, radius: float, v0: float, s: float) -> float:
    """Integrate ds / v; with phi = u^2 the integrand has no singularity at rest."""
    top = circle_limit_speed(mu_y, radius)
    phi0 = asin(min(1.0, (v0 / top) ** 2))
    phi1 = max(0.0, phi0 - 2.0 * mu_x * s / (mu_y * radius))
    area, _ = quad(
        lambda u: 2.0 * u / sqrt(sin(u * u)) if u > 0.0 else 2.0,
        sqrt(phi1),
        sqrt(phi0),
        epsabs=1e-13,
        epsrel=1e-13,
    )
    return mu_y * radius / (2.0 * mu_x) / top * area


def circle_time_from_limit(mu_x: float, mu_y: float, radius: float) -> float:
    """Limit to rest: the integral of sin^(-1/2) over 0 .. pi/2 in gamma functions."""
    area = sqrt(pi) * gamma(0.25) / (2.0 * gamma(0.75))
    return mu_y * radius / (2.0 * mu_x) / circle_limit_speed(mu_y, radius) * area


# --- apex speed -------------------------------------------------------------------------------


def apex_speed(car: PointCar, radius: float, bank: float = 0.0) -> float:
    """Fastest steady corner with downforce normal to a road banked towards the inside."""
    held = sin(bank) + car.mu * cos(bank)
    turned = car.mass / radius * (cos(bank) - car.mu * sin(bank))
    return sqrt(car.mass * GRAVITY * held / (turned - car.mu * car.downforce_factor))


def unbounded_radius(car: PointCar) -> float:
    """Radius from which downforce grows faster than the side force needed."""
    return car.mass / (car.mu * car.downforce_factor)


# --- axle identities --------------------------------------------------------------------------


def ideal_share_at_limit(
    mu: float, height_ratio: float, front_weight: float, aero_front: float, lift_over_weight: float
) -> float:
    """beta = mu h / L + (bf + ab l) / (1 + l), with l = downforce over weight."""
    static = (front_weight + aero_front * lift_over_weight) / (1.0 + lift_over_weight)
    return mu * height_ratio + static


def ideal_share_at_rate(
    rate: float,
    height_ratio: float,
    front_weight: float,
    aero_front: float,
    lift_over_weight: float,
    drag_over_weight: float,
) -> float:
    """Share at a fixed total rate, drag included and acting at the centre of gravity."""
    moved = (rate - drag_over_weight) * height_ratio
    front = front_weight + aero_front * lift_over_weight + moved
    return front / (1.0 + lift_over_weight)


def constant_decel_stop(v0: float, v1: float, decel: float) -> tuple[float, float]:
    """Distance and time at constant deceleration."""
    return (v0**2 - v1**2) / (2.0 * decel), (v0 - v1) / decel
