"""How fast the two wheels of an axle spin up or down, with what ties and what holds them.

Brakes and the coupling of the driven wheels are dry friction: they oppose what turns, hold what
stands, and never turn a wheel round.
Which of the two it is stays fixed through a time step; the step ends a movement that dry friction
has reversed (:func:`foreaft.physics.transient.step`), so that nothing chatters.
"""

from __future__ import annotations

from foreaft.base.kernel import kernel


@kernel
def sign(x: float) -> float:
    """Return 1, 0 or -1."""
    if x > 0.0:
        return 1.0
    return -1.0 if x < 0.0 else 0.0


@kernel
def _beyond(torque: float, hold: float) -> float:
    """Return what dry friction leaves of a torque on something that stands."""
    if torque > hold:
        return torque - hold
    return torque + hold if torque < -hold else 0.0


@kernel
def _both_free(left: float, right: float, wheel: float, shared: float) -> tuple[float, float]:
    """Return the rates of two wheels on one differential.

    The driveline turns with their mean: half its inertia, twice ``shared``, is moved by each.
    """
    total = (left + right) / (wheel + 2.0 * shared)
    apart = (left - right) / wheel
    return 0.5 * (total + apart), 0.5 * (total - apart)


@kernel
def _with_brakes(
    left: float,
    right: float,
    brake: float,
    turns_left: float,
    turns_right: float,
    wheel: float,
    shared: float,
) -> tuple[float, float]:
    """Return the rates of two wheels under equal brake torque."""
    left_stands, right_stands = turns_left == 0.0 and brake > 0.0, turns_right == 0.0 and brake > 0
    if not left_stands:
        left -= brake * turns_left
    if not right_stands:
        right -= brake * turns_right
    if left_stands and right_stands:
        left, right = _beyond(left, brake), _beyond(right, brake)
        if left == 0.0 or right == 0.0:  # one or both are held
            return left / (wheel + shared), right / (wheel + shared)
    elif left_stands:
        left = _beyond(left - shared * right / (wheel + shared), brake)
        if left == 0.0:
            return 0.0, right / (wheel + shared)
    elif right_stands:
        right = _beyond(right - shared * left / (wheel + shared), brake)
        if right == 0.0:
            return left / (wheel + shared), 0.0
    return _both_free(left, right, wheel, shared)


@kernel
def axle_rates(
    left: float,
    right: float,
    brake: float,
    hold: float,
    turns_left: float,
    turns_right: float,
    slips: float,
    wheel: float,
    driveline: float,
) -> tuple[float, float]:
    """Return the angular accelerations of an axle's left and right wheel. [rad/s2]

    Parameters
    ----------
    left, right : float
        Torque of the road and of the engine on each wheel, forward positive. [N m]
    brake : float
        Brake torque of one wheel, >= 0. [N m]
    hold : float
        Torque the coupling of the two wheels can carry from each, >= 0. [N m]
    turns_left, turns_right : float
        Which way each wheel turns: 1, -1, or 0 where it stands.
    slips : float
        Which way the coupling slips: 1 left wheel faster, -1 right wheel faster, 0 it holds.
    wheel : float
        Spin inertia of one wheel, > 0. [kg m2]
    driveline : float
        Inertia that turns with the mean of both wheels, >= 0. [kg m2]
    """
    shared = 0.25 * driveline
    if slips != 0.0 or hold <= 0.0:
        left, right = left - slips * hold, right + slips * hold
        return _with_brakes(left, right, brake, turns_left, turns_right, wheel, shared)
    # Both turn alike, so that the brakes do not tell them apart.
    carried = 0.5 * (right - left)
    if abs(carried) <= hold:
        half = 0.5 * (left + right)
        both, _ = _with_brakes(half, half, brake, turns_left, turns_right, wheel, shared)
        return both, both
    carried = sign(carried) * hold
    left, right = left + carried, right - carried
    return _with_brakes(left, right, brake, turns_left, turns_right, wheel, shared)
