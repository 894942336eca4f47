"""From the numbers of a car file to those the physics wants: brakes, settings, engine, fuel.

Pure functions of arrays, shape (n,) over cars.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.physics.layout import ENGINE_KNOTS

Floats = NDArray[np.float64]

WHEELS_PER_AXLE: Final = 2
FACES_PER_DISC: Final = 2

REVS_LOW_FRAC, REVS_HIGH_FRAC = 0.60, 0.95
"""While slowing, the driver changes down so that the engine stays between these parts of its
highest speed. Common practice, no source."""


def brake_gain(
    piston_area_m2: Floats, effective_radius_m: Floats, pad_friction: Floats, radius_m: Floats
) -> Floats:
    """Return the axle's brake force at the road per line pressure. [N/Pa]

    Notes
    -----
    F = 2 mu p A r_eff n / R with A the pistons of one side and n = 2 wheels: the formula used to
    turn logged line pressures into a balance (trade practice; worked numbers in the tests).
    """
    return (
        WHEELS_PER_AXLE
        * FACES_PER_DISC
        * pad_friction
        * piston_area_m2
        * effective_radius_m
        / radius_m
    )


def share_from_ratio(ratio: Floats) -> Floats:
    """Return the front share of a front / rear ratio."""
    return ratio / (1.0 + ratio)


def ratio_from_share(share: Floats) -> Floats:
    """Return the front / rear ratio of a front share."""
    return share / (1.0 - share)


def piecewise(settings: Floats, at: Floats, shares: Floats) -> Floats:
    """Return shares at the settings from measured points, straight lines run on at both ends.

    Parameters
    ----------
    settings : ndarray, shape (S,)
    at : ndarray, shape (k,)
        Increasing.
    shares : ndarray, shape (n, k)

    Returns
    -------
    ndarray, shape (n, S)
    """
    i = np.clip(np.searchsorted(at, settings, side="right") - 1, 0, len(at) - 2)
    part = (settings - at[i]) / (at[i + 1] - at[i])
    out: Floats = shares[:, i] + (shares[:, i + 1] - shares[:, i]) * part
    return out


class Load(NamedTuple):
    """Mass with its place."""

    mass_kg: Floats
    front_frac: Floats
    height_m: Floats


def exchange(car: Load, out: Load, into: Load) -> Load:
    """Take one mass out of the car and put another in; axle loads and moments add up."""
    mass = car.mass_kg - out.mass_kg + into.mass_kg

    def mean(name: str) -> Floats:
        one, two, three = (getattr(part, name) for part in (car, out, into))
        moment = car.mass_kg * one - out.mass_kg * two + into.mass_kg * three
        return np.asarray(moment / mass)

    return Load(mass, mean("front_frac"), mean("height_m"))


class Engine(NamedTuple):
    """The engine-braking table of the physics; each shape (n, ENGINE_KNOTS)."""

    speed_mps: Floats
    force_N: Floats
    mass_kg: Floats


def engine_flat(force_N: Floats, mass_kg: Floats) -> Engine:
    """Return a table that is the same at every speed."""
    speeds = np.broadcast_to(np.linspace(10.0, 100.0, ENGINE_KNOTS), (len(force_N), ENGINE_KNOTS))
    return Engine(
        speeds.copy(),
        np.repeat(force_N[:, None], ENGINE_KNOTS, 1),
        np.repeat(mass_kg[:, None], ENGINE_KNOTS, 1),
    )


def engine_points(speed_mps: Floats, force_N: Floats, mass_kg: Floats) -> Engine:
    """Return the table through 1 to ENGINE_KNOTS points; the missing knots run on flat above.

    Parameters
    ----------
    speed_mps, force_N, mass_kg : ndarray, shape (n, k)
        Speeds different within a row, in any order.
    """
    order = np.argsort(speed_mps, axis=1)
    speed, force, mass = (
        np.take_along_axis(a, order, axis=1) for a in (speed_mps, force_N, mass_kg)
    )
    more = ENGINE_KNOTS - speed.shape[1]
    beyond = speed[:, -1:] * (1.0 + 0.1 * np.arange(1, more + 1))
    return Engine(
        np.hstack([speed, beyond]),
        np.hstack([force, np.repeat(force[:, -1:], more, 1)]),
        np.hstack([mass, np.repeat(mass[:, -1:], more, 1)]),
    )


def engine_gears(
    ratio: Floats, drag_Nm: Floats, inertia_kgm2: Floats, radius_m: Floats, revs_max_radps: float
) -> Engine:
    """Return the table for a driver who changes down through the gears.

    One knot per gear, at the speed where the engine turns at the geometric middle of the revs
    used; there the gear is in use, and half-way to the next knot (in revs) comes the change.
    With more gears than knots, gears are left out evenly, never the lowest or the highest.

    Parameters
    ----------
    ratio, drag_Nm : ndarray, shape (n, gears)
        Total ratio, falling from gear to gear, and engine drag torque.
    inertia_kgm2, radius_m : ndarray, shape (n,)
        Inertia at the crankshaft; radius of the driven wheels.
    revs_max_radps : float
        Highest engine speed. [rad/s]
    """
    gears = ratio.shape[1]
    if gears > ENGINE_KNOTS:
        kept = np.round(np.linspace(0, gears - 1, ENGINE_KNOTS)).astype(int)
        ratio, drag_Nm = ratio[:, kept], drag_Nm[:, kept]
    middle = revs_max_radps * np.sqrt(REVS_LOW_FRAC * REVS_HIGH_FRAC)
    radius = radius_m[:, None]
    return engine_points(
        middle / ratio * radius,
        drag_Nm * ratio / radius,
        inertia_kgm2[:, None] * (ratio / radius) ** 2,
    )
