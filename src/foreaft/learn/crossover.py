"""The crossover in the adjuster's own units: the setting at which both ends slip alike.

It needs no share, no height and no friction: only wheel speeds in straight brakings at two or more
settings.
The four radii come out of the comparison; what remains of them is the ratio of the front wheels'
turns to the rear ones' when no axle pushes or brakes, and that is read from rolling and
accelerating, where the slip of the driven axle grows with the force it makes.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from foreaft.laps.series import Flags, Floats
from foreaft.learn.observe import Observed, Pieces

ENOUGH_FREE: Final = 12
LEAST_SLIP: Final = 0.008
"""Pieces with less slip than this in the mean of both axles say nothing of their ratio."""

NOISES: Final = 4.0
"""The slip must stand out of the scatter of a free wheel by so much, piece by piece."""

INDEPENDENT_FREE: Final = 4.0
"""So many pieces in a row hang together: a gear, a stretch of road (assumption)."""

FLOOR: Final = 2.5e-4
"""No ratio of radii is known better than this: tyres grow with speed and heat (assumption)."""

STEPS: Final = 30
MANY: Final = 1000.0
LEAST_SPREAD: Final = 0.1
"""Of speed in 10 m/s and of deceleration in m/s2: with less no slope is looked for."""
LEVEL: Final = 0.90

BOTH_SIDES: Final = "stops at settings on both sides of it"
"""What settles a crossover that lies outside of the settings driven."""


@dataclass(frozen=True)
class Ratio:
    """Logarithm of front over rear wheel speed when neither axle makes a force, and its error.

    ``softer`` is the slip of the driven axle over what the nominal car's tyres would have.
    """

    value: float
    error: float
    softer: float
    pieces: int


@dataclass(frozen=True)
class Crossover:
    """Where both ends slip alike, with its 90 % interval.

    ``per_setting`` is the change of (front - rear slip) / mean slip for a setting one higher, and
    ``per_setting_error`` its standard error.
    ``inside`` tells whether the crossover lies between the settings that were driven.
    """

    setting: float
    low: float
    high: float
    decel_mps2: float
    speed_mps: float
    per_setting: float
    per_setting_error: float
    brakings: int
    inside: bool
    driven: tuple[float, float]
    """Lowest and highest setting driven."""


def free_ratio(pieces: Pieces, expected: Floats, doubt: Floats) -> Ratio | None:
    """Read the ratio of free wheels; None where they are not seen rolling.

    Parameters
    ----------
    pieces : Pieces
    expected : ndarray, shape (n,)
        ln(1 - front slip) - ln(1 - rear slip) of the nominal car in each piece. Only its shape is
        used: how stiff the tyres are is read from the log.
    doubt : ndarray, shape (n, k)
        How much that would be another for each of k things not known of the car, by one standard
        deviation.
    """
    turning = pieces.wheel_front - pieces.wheel_rear
    used = ~pieces.braked & np.isfinite(turning)
    if used.sum() < ENOUGH_FREE:
        return None
    y, shape = turning[used], expected[used]
    design = np.column_stack([np.ones(len(y)), shape])
    found, weight, scale = huber(design, y)
    heavy = design * weight[:, None]
    normal = np.linalg.inv(design.T @ heavy)
    variance = scale**2 * float(normal[0, 0]) * INDEPENDENT_FREE + FLOOR**2
    moved = (normal @ heavy.T @ (found[1] * doubt[used]))[0]
    variance += float(np.sum(moved**2))
    return Ratio(float(found[0]), sqrt(variance), float(found[1]), int(used.sum()))


def huber(design: Floats, y: Floats) -> tuple[Floats, Floats, float]:
    """Least squares in which what lies far out counts less: estimate, weights, robust scale."""
    weight = np.ones(len(y))
    found: Floats = np.zeros(design.shape[1])
    scale = 0.0
    for _ in range(STEPS):
        heavy = np.sqrt(weight)
        solved = np.linalg.lstsq(design * heavy[:, None], y * heavy, rcond=None)
        found = np.asarray(solved[0], dtype=np.float64)
        rest = y - design @ found
        scale = 1.4826 * float(np.median(np.abs(rest)))
        if scale <= 0.0:
            break
        weight = np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(rest), 1e-300))
    return np.asarray(found), weight, scale


def axle_slips(pieces: Pieces, ratio: Ratio) -> tuple[Floats, Floats]:
    """Slip of both axles, their difference from the ratio and not from the speed."""
    rear = pieces.slip_rear
    turned = pieces.wheel_front - pieces.wheel_rear - ratio.value
    difference = (1.0 - rear) * (1.0 - np.exp(turned))  # front = 1 - (1 - rear) e^turned
    middle = 0.5 * (pieces.slip_front + rear)
    half = 0.5 * difference
    return middle + half, middle - half


def crossover(seen: Observed, ratio: Ratio) -> Crossover | None:
    """Find the setting at which both ends slip alike, or None where the log does not show it.

    The ratio of the slips, (front - rear) / mean, is straight in the setting, the deceleration and
    the speed over the range of one programme; brakings scatter as a whole.
    The interval is Fieller's: the quotient of two estimates that are both uncertain.
    """
    pieces = seen.pieces
    front, rear = axle_slips(pieces, ratio)
    middle = 0.5 * (front + rear)
    with np.errstate(invalid="ignore"):
        used = pieces.braked & np.isfinite(middle + pieces.setting)
        used &= middle > max(LEAST_SLIP, NOISES * seen.noise)
    settings = np.unique(pieces.setting[used])
    groups = np.unique(pieces.braking[used])
    if len(settings) < 2 or len(groups) < 4:
        return None
    y = (front[used] - rear[used]) / middle[used]
    place = pieces.of(used)
    speed, decel = float(np.median(place.speed_mps)), _hard(place)
    design, between = _design(place, float(settings.mean()), speed, decel)
    freedom = len(groups) - between
    if freedom < 1:
        return None
    found, covariance = _grouped(design, y, place.braking, between)
    scatter = float(covariance[0, 0])
    covariance[0, 0] += (ratio.error / float(np.median(middle[used]))) ** 2
    # Only a part of the doubt comes from so few brakings (Welch and Satterthwaite).
    counts = min(freedom * (float(covariance[0, 0]) / scatter) ** 2, MANY)
    return _fieller(found, covariance, counts, settings, (decel, speed), len(groups))


def _hard(place: Pieces) -> float:
    """A deceleration that was driven at every setting: of the settings' medians the middle."""
    each = [
        float(np.median(place.decel_mps2[place.setting == one])) for one in np.unique(place.setting)
    ]
    return float(np.median(each))


def _design(place: Pieces, setting: float, speed: float, decel: float) -> tuple[Floats, int]:
    """Columns: one, setting, speed, its square, deceleration; how many tell brakings apart."""
    away = (place.speed_mps - speed) / 10.0
    columns = [np.ones(len(place)), place.setting - setting]
    if float(np.std(away)) > LEAST_SPREAD:
        columns += [away, away**2]
    within = np.concatenate(
        [
            place.decel_mps2[place.braking == one] - place.decel_mps2[place.braking == one].mean()
            for one in np.unique(place.braking)
        ]
    )
    spread = float(np.std(place.decel_mps2))
    differ = spread > 1.3 * float(np.std(within)) or len(np.unique(place.braking)) > 8
    if differ and spread > LEAST_SPREAD:
        return np.column_stack([*columns, place.decel_mps2 - decel]), 3
    return np.column_stack(columns), 2


def _grouped(design: Floats, y: Floats, group: np.ndarray, between: int) -> tuple[Floats, Floats]:
    """Estimate and covariance where each group has an error of its own besides the scatter."""
    found, weight, _ = huber(design, y)
    groups = np.unique(group)
    member = (group[:, None] == groups).astype(float)
    count = member.sum(axis=0)
    for _ in range(3):
        rest = y - design @ found
        mean = (member * (weight * rest)[:, None]).sum(0) / (member * weight[:, None]).sum(0)
        inner = rest - member @ mean
        inside = float(np.sum(weight * inner**2)) / max(len(y) - len(groups), 1)
        outside = float(np.sum(mean**2)) / max(len(groups) - between, 1)
        outside = max(outside - inside * float(np.mean(1.0 / count)), 0.0)
        matrix = np.diag(inside / weight) + outside * member @ member.T
        matrix += np.eye(len(y)) * 1e-12
        solved = np.linalg.solve(matrix, design)
        covariance = np.linalg.inv(design.T @ solved)
        found = covariance @ (solved.T @ y)
    return found, np.asarray(covariance, dtype=np.float64)


def _fieller(
    found: Floats,
    covariance: Floats,
    freedom: float,
    settings: Floats,
    at: tuple[float, float],
    brakings: int,
) -> Crossover | None:
    from scipy import stats

    bound = float(stats.t.ppf(0.5 + 0.5 * LEVEL, freedom))
    level, slope = float(found[0]), float(found[1])
    v00, v01, v11 = (float(covariance[i, j]) for i, j in ((0, 0), (0, 1), (1, 1)))
    doubt = bound**2 * v11 / slope**2 if slope else np.inf
    if doubt >= 1.0:
        return None
    ratio = level / slope
    centre = (ratio - doubt * v01 / v11) / (1.0 - doubt)
    root = v00 - 2.0 * ratio * v01 + ratio**2 * v11 - doubt * (v00 - v01**2 / v11)
    reach = bound / abs(slope) / (1.0 - doubt) * sqrt(max(root, 0.0))
    zero = float(settings.mean())
    low, high = zero - centre - reach, zero - centre + reach
    inside: Flags = (settings.min() <= zero - ratio) & (zero - ratio <= settings.max())
    return Crossover(
        setting=zero - ratio,
        low=low,
        high=high,
        decel_mps2=at[0],
        speed_mps=at[1],
        per_setting=slope,
        per_setting_error=sqrt(v11),
        brakings=brakings,
        inside=bool(inside),
        driven=(float(settings.min()), float(settings.max())),
    )
