"""The tyre as the kernels see it: a capacity table made once per car from either tyre model.

Per axle the table holds, against wheel load, the peak friction along and across, the friction of
a sliding wheel and the free cornering stiffness, and, against the square of the use along
(w = (Fx/Fx_peak)^2), the square of the side force left.
In these variables the friction ellipse is the straight line 1 - w, so that linear interpolation
is exact for it, and a friction that falls linearly with load is exact as well.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

LOAD_KNOTS: Final = 9
USE_KNOTS: Final = 33

# Places inside one axle's row of the table.
LOAD_MAX: Final = 0
PEAK_SLIP: Final = 1
MU_X: Final = 2
MU_Y: Final = MU_X + LOAD_KNOTS
MU_SLIDE: Final = MU_Y + LOAD_KNOTS
STIFFNESS: Final = MU_SLIDE + LOAD_KNOTS
SIDE_LEFT: Final = STIFFNESS + LOAD_KNOTS
TABLE_SIZE: Final = SIDE_LEFT + USE_KNOTS

LOWEST_FRICTION_FRAC: Final = 0.3
"""A linear fall of friction with load is not followed below this part of the nominal value.

An assumption: it only keeps a far extrapolation from turning negative.
"""


class FewNumbers(NamedTuple):
    """A tyre from numbers a coach can find or guess; arrays broadcast over cars.

    ``load_sensitivity_frac`` is the part of friction lost when the load doubles from
    ``load_ref_N``: mu = mu_ref (1 - k (Fz / Fz_ref - 1)).
    """

    mu_x: NDArray[np.float64]
    mu_y: NDArray[np.float64]
    load_sensitivity_frac: NDArray[np.float64]
    load_ref_N: NDArray[np.float64]
    cornering_stiffness_per_load_1prad: NDArray[np.float64]
    peak_slip_frac: NDArray[np.float64]
    sliding_frac: NDArray[np.float64]


def load_knots(load_max_N: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the loads of the table's knots, shape (..., LOAD_KNOTS). [N]"""
    return np.asarray(load_max_N, float)[..., None] * np.linspace(0.0, 1.0, LOAD_KNOTS)


def axle_table_few_numbers(
    tyre: FewNumbers, load_max_N: NDArray[np.float64], grip_scale: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the capacity table of one axle from few numbers, shape (..., TABLE_SIZE).

    Parameters
    ----------
    tyre : FewNumbers
        Each field shape (...).
    load_max_N : ndarray, shape (...)
        Highest wheel load of the table; loads above are extrapolated along the last interval. [N]
    grip_scale : ndarray, shape (...)
        Multiplies friction along, across and sliding, nothing else (wet, dust, cold tyres). [-]
    """
    loads = load_knots(load_max_N)
    k = tyre.load_sensitivity_frac[..., None]
    fall = np.maximum(1.0 - k * (loads / tyre.load_ref_N[..., None] - 1.0), LOWEST_FRICTION_FRAC)
    scale = np.asarray(grip_scale, float)[..., None]
    mu_x = tyre.mu_x[..., None] * fall * scale
    mu_y = tyre.mu_y[..., None] * fall * scale
    use = np.linspace(0.0, 1.0, USE_KNOTS)
    return np.concatenate(
        [
            loads[..., -1:],
            tyre.peak_slip_frac[..., None],
            mu_x,
            mu_y,
            mu_x * tyre.sliding_frac[..., None],
            np.broadcast_to(tyre.cornering_stiffness_per_load_1prad[..., None], loads.shape),
            np.broadcast_to(1.0 - use, (*loads.shape[:-1], USE_KNOTS)),
        ],
        axis=-1,
    )


def axle_table_from_curves(
    load_max_N: float,
    peak_slip_frac: float,
    mu_x: NDArray[np.float64],
    mu_y: NDArray[np.float64],
    sliding_frac: NDArray[np.float64],
    stiffness_per_load_1prad: NDArray[np.float64],
    side_left_squared: NDArray[np.float64],
    grip_scale: float = 1.0,
) -> NDArray[np.float64]:
    """Return the capacity table of one axle from curves at the knots (a Magic Formula set)."""
    return np.concatenate(
        [
            [load_max_N, peak_slip_frac],
            mu_x * grip_scale,
            mu_y * grip_scale,
            mu_x * sliding_frac * grip_scale,
            stiffness_per_load_1prad,
            side_left_squared,
        ]
    )
