"""The Magic Formula (version 6.1) for steady forces in the contact patch, and its capacity table.

Fx and Fy of pure and combined slip as published in [pacejka2012], section 4.3.2, equations 4.E1
to 4.E67, without turn slip, at low camber and moderate speed; moments are left out.
Axes as in ISO 8855 with the wheel: braking slip and braking force are negative, and a positive
slip angle makes a negative side force (pKy1 < 0).
A coefficient set maps Pacejka's names to numbers, with ``Fz0`` [N] and ``p_i0`` [Pa].
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.physics.tyre import USE_KNOTS

Floats = float | NDArray[np.float64]
Array = NDArray[np.float64]
Set = Mapping[str, float]


def _names(text: str) -> frozenset[str]:
    return frozenset(text.split())


NAMES: Final = _names(
    """
    Fz0 p_i0
    pCx1 pDx1 pDx2 pDx3 pEx1 pEx2 pEx3 pEx4 pKx1 pKx2 pKx3 pHx1 pHx2 pVx1 pVx2
    ppx1 ppx2 ppx3 ppx4 rBx1 rBx2 rBx3 rCx1 rEx1 rEx2 rHx1
    pCy1 pDy1 pDy2 pDy3 pEy1 pEy2 pEy3 pEy4 pEy5 pKy1 pKy2 pKy3 pKy4 pKy5 pKy6 pKy7
    pHy1 pHy2 pVy1 pVy2 pVy3 pVy4 ppy1 ppy2 ppy3 ppy4 ppy5
    rBy1 rBy2 rBy3 rBy4 rCy1 rEy1 rEy2 rHy1 rHy2 rVy1 rVy2 rVy3 rVy4 rVy5 rVy6
    """
)
"""Every coefficient a set must have; one that is zero is written as zero."""

ONE_SIDED: Final = _names(
    """
    pHx1 pHx2 pVx1 pVx2 pEx4 rHx1
    pHy1 pHy2 pVy1 pVy2 pVy3 pVy4 pEy3 pEy4 pKy6 pKy7 rHy1 rHy2 rBy3 rVy1 rVy2 rVy3
    """
)
"""Coefficients that make left differ from right, or driving from braking, at zero camber."""

A_MU: Final = 10.0
"""Shape of lambda' = A lambda / (1 + (A - 1) lambda): eq. 4.E8, with the value suggested there."""


class Scaling(NamedTuple):
    """Pacejka's scaling factors, all 1 by default (4.3.2)."""

    Fz0: float = 1.0
    mu_x: float = 1.0
    mu_y: float = 1.0
    Kx: float = 1.0
    Ky: float = 1.0
    Ky_gamma: float = 1.0
    Cx: float = 1.0
    Cy: float = 1.0
    Ex: float = 1.0
    Ey: float = 1.0
    Hx: float = 1.0
    Hy: float = 1.0
    Vx: float = 1.0
    Vy: float = 1.0
    x_alpha: float = 1.0
    y_kappa: float = 1.0
    Vy_kappa: float = 1.0


class Options(NamedTuple):
    """Choices the book leaves open, in which published codes differ by about a thousandth.

    tan_alpha : alpha* is tan(alpha), else alpha itself
    sin_gamma : gamma* is sin(gamma), else gamma itself
    eps_peak, eps_stiffness : added to C D and to K where these are divisors [N], [N/rad]
    """

    tan_alpha: bool = True
    sin_gamma: bool = True
    eps_peak: float = 0.0
    eps_stiffness: float = 0.0


UNSCALED: Final = Scaling()
STANDARD: Final = Options()


class Slip(NamedTuple):
    """The state of one tyre; the fields broadcast.

    load : normal load, > 0 [N]
    kappa : longitudinal slip, -1 locked [-]
    alpha : slip angle [rad]
    gamma : inclination [rad]
    pressure : inflation pressure [Pa]
    """

    load: Floats
    kappa: Floats
    alpha: Floats
    gamma: Floats
    pressure: Floats


def check_set(tyre: Set) -> None:
    """Refuse a coefficient set with missing, unknown or non-finite entries.

    Raises
    ------
    InputError
        Naming the first key at fault.
    """
    for kind, keys in (("missing", NAMES - tyre.keys()), ("unknown", tyre.keys() - NAMES)):
        if keys:
            raise InputError(
                f"The Magic Formula set has a {kind} coefficient.",
                code=f"{kind}_key",
                key=f"tyre.{min(keys)}",
                hint=f"{kind.capitalize()}: {', '.join(sorted(keys))}.",
            )
    for key, value in tyre.items():
        wrong = not np.isfinite(value) or (key in ("Fz0", "p_i0") and value <= 0.0)
        if wrong:
            raise InputError(
                "A Magic Formula coefficient is out of range.",
                code="out_of_range",
                key=f"tyre.{key}",
                value=value,
                allowed="a finite number, above 0 for Fz0 and p_i0",
                hint="Check the number against the table it comes from.",
            )


def symmetric(tyre: Set) -> dict[str, float]:
    """Return the set without what makes left differ from right, or driving from braking.

    Plysteer, conicity and ageing of one sample of a tyre say nothing about the next one.
    """
    return {key: 0.0 if key in ONE_SIDED else value for key, value in tyre.items()}


# --- forces --------------------------------------------------------------------------------------


def pure_fx(
    tyre: Set, slip: Slip, scaling: Scaling = UNSCALED, options: Options = STANDARD
) -> Array:
    """Return the longitudinal force at zero slip angle, equations 4.E9 to 4.E18. [N]"""
    load, kappa, gamma = (np.asarray(x, float) for x in (slip.load, slip.kappa, slip.gamma))
    dfz, dpi = _increments(tyre, slip, scaling)
    tilt = _tilt(gamma, options)
    mu = (tyre["pDx1"] + tyre["pDx2"] * dfz) * (1.0 - tyre["pDx3"] * tilt**2) * scaling.mu_x
    mu = mu * (1.0 + tyre["ppx3"] * dpi + tyre["ppx4"] * dpi**2)
    shape_c, peak = tyre["pCx1"] * scaling.Cx, mu * load
    stiffness = slip_stiffness(tyre, slip, scaling)
    shift = (tyre["pHx1"] + tyre["pHx2"] * dfz) * scaling.Hx
    lift = load * (tyre["pVx1"] + tyre["pVx2"] * dfz) * scaling.Vx * _lessened(scaling.mu_x)
    x = kappa + shift
    bend = (tyre["pEx1"] + tyre["pEx2"] * dfz + tyre["pEx3"] * dfz**2) * scaling.Ex
    bend = bend * (1.0 - tyre["pEx4"] * np.sign(x))
    rise = stiffness / (shape_c * peak + options.eps_peak)
    result: Array = peak * np.sin(shape_c * _bent(rise * x, bend)) + lift
    return result


def pure_fy(
    tyre: Set, slip: Slip, scaling: Scaling = UNSCALED, options: Options = STANDARD
) -> Array:
    """Return the side force at zero longitudinal slip, equations 4.E19 to 4.E30. [N]"""
    load, gamma = np.asarray(slip.load, float), np.asarray(slip.gamma, float)
    dfz, dpi = _increments(tyre, slip, scaling)
    tilt = _tilt(gamma, options)
    stiffness = cornering_stiffness(tyre, slip, scaling, options)
    tilting = load * (tyre["pKy6"] + tyre["pKy7"] * dfz) * scaling.Ky_gamma
    tilting = tilting * (1.0 + tyre["ppy5"] * dpi)
    soft = _lessened(scaling.mu_y)
    lift_tilt = load * (tyre["pVy3"] + tyre["pVy4"] * dfz) * tilt * scaling.Ky_gamma * soft
    lift = load * (tyre["pVy1"] + tyre["pVy2"] * dfz) * scaling.Vy * soft + lift_tilt
    shift = (tyre["pHy1"] + tyre["pHy2"] * dfz) * scaling.Hy
    shift = shift + (tilting * tilt - lift_tilt) / (stiffness + options.eps_stiffness)
    x = _slope(slip.alpha, options) + shift
    shape_c, peak = tyre["pCy1"] * scaling.Cy, _mu_y(tyre, slip, scaling, options) * load
    bend = (tyre["pEy1"] + tyre["pEy2"] * dfz) * scaling.Ey
    one_side = (tyre["pEy3"] + tyre["pEy4"] * tilt) * np.sign(x)
    bend = bend * (1.0 + tyre["pEy5"] * tilt**2 - one_side)
    rise = stiffness / (shape_c * peak + options.eps_peak)
    result: Array = peak * np.sin(shape_c * _bent(rise * x, bend)) + lift
    return result


def forces(
    tyre: Set, slip: Slip, scaling: Scaling = UNSCALED, options: Options = STANDARD
) -> tuple[Array, Array]:
    """Return longitudinal and side force in combined slip, equations 4.E50 to 4.E67.

    Parameters
    ----------
    tyre : mapping
        Coefficient set; see ``check_set``.
    slip : Slip
        Fields broadcast; loads > 0.
    scaling : Scaling
    options : Options

    Returns
    -------
    fx, fy : ndarray
        Positive forward and to the left. [N]

    References
    ----------
    [pacejka2012], section 4.3.2.
    """
    fx = pure_fx(tyre, slip, scaling, options) * _weight_x(tyre, slip, scaling, options)
    fy = pure_fy(tyre, slip, scaling, options) * _weight_y(tyre, slip, scaling, options)
    return fx, fy + _side_force_of_braking(tyre, slip, scaling, options)


def slip_stiffness(tyre: Set, slip: Slip, scaling: Scaling = UNSCALED) -> Array:
    """Return the slope of Fx over kappa before the shifts, equation 4.E15. [N]"""
    dfz, dpi = _increments(tyre, slip, scaling)
    per_load = (tyre["pKx1"] + tyre["pKx2"] * dfz) * np.exp(tyre["pKx3"] * dfz) * scaling.Kx
    result: Array = slip.load * per_load * (1.0 + tyre["ppx1"] * dpi + tyre["ppx2"] * dpi**2)
    return result


def cornering_stiffness(
    tyre: Set, slip: Slip, scaling: Scaling = UNSCALED, options: Options = STANDARD
) -> Array:
    """Return the slope of Fy over alpha before the shifts, equation 4.E25. [N/rad]"""
    _, dpi = _increments(tyre, slip, scaling)
    tilt = _tilt(np.asarray(slip.gamma, float), options)
    nominal = tyre["Fz0"] * scaling.Fz0
    soft = (tyre["pKy2"] + tyre["pKy5"] * tilt**2) * (1.0 + tyre["ppy2"] * dpi)
    bow = np.sin(tyre["pKy4"] * np.arctan(np.asarray(slip.load, float) / nominal / soft))
    stiff = tyre["pKy1"] * nominal * (1.0 + tyre["ppy1"] * dpi) * scaling.Ky
    result: Array = stiff * (1.0 - tyre["pKy3"] * np.abs(tilt)) * bow
    return result


def _increments(tyre: Set, slip: Slip, scaling: Scaling) -> tuple[Array, Array]:
    """Give dfz and dpi, equations 4.E2a and 4.E2b."""
    nominal = tyre["Fz0"] * scaling.Fz0
    load, pressure = np.asarray(slip.load, float), np.asarray(slip.pressure, float)
    return (load - nominal) / nominal, (pressure - tyre["p_i0"]) / tyre["p_i0"]


def _slope(alpha: Floats, options: Options) -> Array:
    angle = np.asarray(alpha, float)
    return np.tan(angle) if options.tan_alpha else angle


def _tilt(gamma: Array, options: Options) -> Array:
    return np.sin(gamma) if options.sin_gamma else gamma


def _lessened(scale: float) -> float:
    """Give lambda', which lets the vertical shifts fade where friction is very low (4.E8)."""
    return A_MU * scale / (1.0 + (A_MU - 1.0) * scale)


def _bent(x: Array, bend: Floats) -> Array:
    """Give arctan(x - E (x - arctan x)), common to all the formula's curves."""
    result: Array = np.arctan(x - bend * (x - np.arctan(x)))
    return result


def _mu_y(tyre: Set, slip: Slip, scaling: Scaling, options: Options) -> Array:
    """Give the lateral friction, equation 4.E23."""
    dfz, dpi = _increments(tyre, slip, scaling)
    tilt = _tilt(np.asarray(slip.gamma, float), options)
    mu = (tyre["pDy1"] + tyre["pDy2"] * dfz) * (1.0 - tyre["pDy3"] * tilt**2) * scaling.mu_y
    result: Array = mu * (1.0 + tyre["ppy3"] * dpi + tyre["ppy4"] * dpi**2)
    return result


def _weight_x(tyre: Set, slip: Slip, scaling: Scaling, options: Options) -> Array:
    """Give the part of Fx left by a slip angle, equations 4.E51 to 4.E57."""
    dfz, _ = _increments(tyre, slip, scaling)
    tilt = _tilt(np.asarray(slip.gamma, float), options)
    rise = (tyre["rBx1"] + tyre["rBx3"] * tilt**2) * scaling.x_alpha
    rise = rise * np.cos(np.arctan(tyre["rBx2"] * np.asarray(slip.kappa, float)))
    bend, shift = tyre["rEx1"] + tyre["rEx2"] * dfz, tyre["rHx1"]
    at_slip = np.cos(tyre["rCx1"] * _bent(rise * (_slope(slip.alpha, options) + shift), bend))
    result: Array = at_slip / np.cos(tyre["rCx1"] * _bent(rise * shift, bend))
    return result


def _weight_y(tyre: Set, slip: Slip, scaling: Scaling, options: Options) -> Array:
    """Give the part of Fy left by longitudinal slip, equations 4.E59 to 4.E65."""
    dfz, _ = _increments(tyre, slip, scaling)
    tilt = _tilt(np.asarray(slip.gamma, float), options)
    slope = _slope(slip.alpha, options)
    rise = (tyre["rBy1"] + tyre["rBy4"] * tilt**2) * scaling.y_kappa
    rise = rise * np.cos(np.arctan(tyre["rBy2"] * (slope - tyre["rBy3"])))
    bend = tyre["rEy1"] + tyre["rEy2"] * dfz
    shift = tyre["rHy1"] + tyre["rHy2"] * dfz
    at_slip = np.cos(tyre["rCy1"] * _bent(rise * (slip.kappa + shift), bend))
    result: Array = at_slip / np.cos(tyre["rCy1"] * _bent(rise * shift, bend))
    return result


def _side_force_of_braking(tyre: Set, slip: Slip, scaling: Scaling, options: Options) -> Array:
    """Give the side force braking alone makes, equations 4.E66 and 4.E67."""
    dfz, _ = _increments(tyre, slip, scaling)
    tilt = _tilt(np.asarray(slip.gamma, float), options)
    size = _mu_y(tyre, slip, scaling, options) * slip.load
    size = size * (tyre["rVy1"] + tyre["rVy2"] * dfz + tyre["rVy3"] * tilt)
    size = size * np.cos(np.arctan(tyre["rVy4"] * _slope(slip.alpha, options)))
    bow = np.sin(tyre["rVy5"] * np.arctan(tyre["rVy6"] * np.asarray(slip.kappa, float)))
    result: Array = size * bow * scaling.Vy_kappa
    return result


# --- what the planner needs of a tyre ------------------------------------------------------------

STEEPEST_SLIP_ANGLE: Final = np.pi / 4.0
"""How far peaks are looked for; the published road tyre peaks at 13 deg under twice its load."""

SLIP_GRID: Final = 801
ANGLE_GRID: Final = 801
SMALLEST_LOAD_FRAC: Final = 1e-9
"""A knot at zero load holds the limit, evaluated at this part of the nominal load."""


class CapacityTable(NamedTuple):
    """What a tyre can do, against load; forces over load, braking positive.

    load_N : ndarray, shape (n,)
    mu_x, mu_y : ndarray, shape (n,)
        Peak braking force and peak side force over load. [-]
    peak_slip_frac : ndarray, shape (n,)
        Braking slip at the peak, 1 where the force rises up to lock. [-]
    sliding_frac : ndarray, shape (n,)
        Force of the locked wheel over the peak. [-]
    stiffness_per_load_1prad : ndarray, shape (n,)
        Cornering stiffness over load, positive. [1/rad]
    side_left_squared : ndarray, shape (33,)
        g2 = (side force left / peak side force)^2 at w = (braking force / peak)^2 = 0 .. 1,
        at one load; for the friction ellipse 1 - w.
    """

    load_N: Array
    mu_x: Array
    mu_y: Array
    peak_slip_frac: Array
    sliding_frac: Array
    stiffness_per_load_1prad: Array
    side_left_squared: Array


def capacity_table(
    tyre: Set, load_knots: Array, pressure: float, curve_load: float | None = None
) -> CapacityTable:
    """Reduce a coefficient set to the numbers the planner works with.

    The set is made symmetric first: the table knows no left and right.
    The combined curve is taken at one load, though it changes with load: for the published road
    tyre g2 is up to 0.035 off at half its nominal load, 0.09 at one and a half times, 0.20 at
    twice (docs/theory/tyre.md). Choose the load at which the answer matters.

    Parameters
    ----------
    tyre : mapping
        Coefficient set.
    load_knots : ndarray, shape (n,)
        Wheel loads, >= 0; at 0 the limit is given. [N]
    pressure : float
        Inflation pressure. [Pa]
    curve_load : float, optional
        Load of the combined curve; the nominal load of the set if not given. [N]

    Returns
    -------
    CapacityTable

    Raises
    ------
    InputError
        If the set is incomplete, a load is negative or the friction at a knot is not positive
        (the formula's load terms are straight lines and end in nonsense far from Fz0).
    """
    check_set(tyre)
    even = symmetric(tyre)
    loads = np.asarray(load_knots, float)
    if not np.all(loads >= 0.0):
        raise _refused("load_knots", float(np.min(loads)), "0 or more", "N")
    at = np.where(loads == 0.0, SMALLEST_LOAD_FRAC * even["Fz0"], loads)
    peak_slip, peak = _peak_braking(even, at, pressure)
    locked = -pure_fx(even, Slip(at, -1.0, 0.0, 0.0, pressure))
    _, side = _peak_side(even, at, pressure)
    for key, mu in (("mu_x", peak / at), ("mu_y", side / at), ("sliding mu", locked / at)):
        if not np.all(mu > 0.0):
            raise _refused(f"tyre ({key} at a load knot)", float(np.nanmin(mu)), "above 0", "-")
    stiffness = -cornering_stiffness(even, Slip(at, 0.0, 0.0, 0.0, pressure)) / at
    left = side_left_squared(even, even["Fz0"] if curve_load is None else curve_load, pressure)
    return CapacityTable(loads, peak / at, side / at, peak_slip, locked / peak, stiffness, left)


def side_left_squared(tyre: Set, load: float, pressure: float) -> Array:
    """Return the square of the side force left against the square of the braking force used.

    For each braking force the largest side force over all pairs of slip and slip angle, on the
    rising side of the braking curve.

    Parameters
    ----------
    tyre : mapping
        Coefficient set without one-sided terms (``symmetric``).
    load : float
        Wheel load. [N]
    pressure : float
        [Pa]

    Returns
    -------
    ndarray, shape (33,)
        At w = 0, 1/32, .. 1. [-]
    """
    peak_slip, peak = _peak_braking(tyre, np.array([load]), pressure)
    peak_angle, side = _peak_side(tyre, np.array([load]), pressure)
    # Squared spacing: near w = 1 the best slip angle goes to zero.
    angles = STEEPEST_SLIP_ANGLE * np.linspace(0.0, 1.0, ANGLE_GRID)[:, None] ** 2
    angles = angles[angles[:, 0] <= 1.5 * peak_angle[0]]
    # Braking and cornering together peak at more slip than braking alone.
    deepest = min(1.0, 4.0 * float(peak_slip[0]))
    kappas = -np.linspace(0.0, deepest, SLIP_GRID)
    braking = -forces(tyre, Slip(load, kappas[None, :], angles, 0.0, pressure))[0]
    wanted = np.sqrt(np.linspace(0.0, 1.0, USE_KNOTS)) * peak[0]
    best = np.zeros(USE_KNOTS)
    for angle, row in zip(angles[:, 0], braking, strict=True):
        top = int(np.argmax(row))
        reached = wanted <= row[top]
        kappa = np.interp(wanted[reached], row[: top + 1], kappas[: top + 1])
        fy = np.abs(forces(tyre, Slip(load, kappa, angle, 0.0, pressure))[1])
        best[reached] = np.maximum(best[reached], fy)
    best[0] = side[0]  # by definition, and found to rounding where the grid is not
    result: Array = (best / side[0]) ** 2
    return result


def _peak_braking(tyre: Set, loads: Array, pressure: float) -> tuple[Array, Array]:
    """Give slip and force at the peak of straight braking."""
    return _peak(
        lambda slip: -pure_fx(tyre, Slip(loads, -slip, 0.0, 0.0, pressure)), loads.size, 1.0
    )


def _peak_side(tyre: Set, loads: Array, pressure: float) -> tuple[Array, Array]:
    """Give slip angle and force at the peak of cornering without braking."""
    return _peak(
        lambda angle: -pure_fy(tyre, Slip(loads, 0.0, angle, 0.0, pressure)),
        loads.size,
        STEEPEST_SLIP_ANGLE,
    )


def _peak(force: Callable[[Array], Array], size: int, furthest: float) -> tuple[Array, Array]:
    """Find the largest force between 0 and the furthest slip, for every load at once.

    A grid finds the right hump, golden sections narrow it down to rounding.
    """
    grid = np.linspace(0.0, furthest, SLIP_GRID)
    top = np.argmax(force(np.broadcast_to(grid[:, None], (SLIP_GRID, size))), axis=0)
    low, high = grid[np.maximum(top - 1, 0)], grid[np.minimum(top + 1, SLIP_GRID - 1)]
    golden = (np.sqrt(5.0) - 1.0) / 2.0
    for _ in range(40):
        left, right = high - golden * (high - low), low + golden * (high - low)
        rising = force(left) < force(right)
        low, high = np.where(rising, left, low), np.where(rising, high, right)
    best = 0.5 * (low + high)
    return best, force(best)


def _refused(key: str, value: float, allowed: str, unit: str) -> InputError:
    return InputError(
        "The tyre's capacity table cannot be made.",
        code="out_of_range",
        key=key,
        value=value,
        allowed=allowed,
        unit=unit,
        hint="Keep the loads near those for which the coefficient set was measured.",
    )
