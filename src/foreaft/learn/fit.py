"""The cars that agree with a log: the car's own ranges, narrowed by what its straight pieces show.

What is fitted are the numbers of the car file themselves, and a few of the logger.
The estimate is the most probable car; how far it may be off follows from how the log's pieces and
the file's ranges pull at each number.
Draws are made by moving cars drawn from the ranges by what the log says of them, so that a number
of which it says nothing keeps the range it had.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import log, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.laps.series import Flags, Floats
from foreaft.laps.session import nobody
from foreaft.learn import straight as st
from foreaft.learn.observe import Observed, Pieces
from foreaft.physics import layout as at

Build = Callable[[Mapping[str, Floats]], tuple[Floats, Floats, Floats, Floats]]
"""From columns of car numbers to vectors (n, SIZE), tables, settings (S,) and shares (n, S)."""

PRIOR_DRAWS: Final = 600
DRAWS: Final = 1000
ROUNDS: Final = 25
WIDENINGS: Final = 3
STEP_SD: Final = 0.05
FEW: Final = (4.0, 4.0, 2.0, 1.3)
"""With no, one, two, three brakings nobody sees how they scatter: so much more is allowed for."""

FREE: Final = "_free"
"""Ending of the name of a line where the brake is off."""

STUDENT: Final = 4.0
"""Degrees of freedom of the scatter: outliers count less the further out they lie."""

RADIUS_SD: Final = 0.008
"""Wheel speeds are wrong by this part, wheel by wheel, over all (assumption: tone wheels, tyre
growth; half of it stays in the mean of an axle's two)."""

RADIUS_UNKNOWN_SD: Final = 0.5
"""A logger that shows road speeds has put in a radius of its own."""

STIFFNESS_SD: Final = 0.05
"""Slip stiffness over friction differs between the axles by this part (assumption)."""

CURVE_SD: Final = 0.06
"""Slip well below the peak tells the slip at the peak only as well as the curve is known."""

DELAY_SD_S: Final = 0.03
"""The speed may still come so much later than the wheels: an accelerometer it was laid onto has a
filter of its own (assumption)."""

GAIN_SD: Final = 0.7
"""Gain of a line pressure where the file has no hardware: within a factor of two (assumption)."""

HARDWARE_SD: Final = 0.01

GRIP_SD: Final = 0.03
"""Grip differs by this part from braking to braking, alike at both axles: so much of the slope of
the slip over it a slip may be off, and the difference of two slips by the difference.

The middle of what the driver file has for a dry day.
"""

TWICE: Final = sqrt(2.0)
"""The same grip stands in two lines, the slip and the difference: so much is given to each that
both together count as one."""

BETWEEN: Final = {
    "ratio": 3.0e-4,
    "slip": 0.7e-3,
    "decel": 0.7e-3,
    "pressure": 0.5e-3,
    "limit": 0.05,
}
WITHIN: Final = {"ratio": 4.0e-4, "slip": 0.6e-3, "decel": 5.5e-3, "pressure": 2.0e-3, "limit": 0.0}
"""How far lines are off at best besides: all of one braking together, and each piece by itself.

Read from what cars of known numbers leave over (docs/theory/learn.md), none of those they are
judged by.
"""

SURE: Final = 8.0
"""What is allowed for counts as so many brakings, or pieces, against the scatter of the log's own:
a handful shows its scatter to a third only."""

TOUCHED: Final = 1e-4
"""A number whose range moves no line by this part of its scatter is not touched."""


@dataclass(frozen=True, eq=False)
class Prior:
    """What is known before the log: means, and draws that keep how numbers hang together.

    ``draws`` has shape (PRIOR_DRAWS, k); ``low`` and ``high`` are physical limits.
    """

    keys: tuple[str, ...]
    mean: Floats
    draws: Floats
    low: Floats
    high: Floats
    fixed: Mapping[str, float]

    @property
    def covariance(self) -> Floats:
        """Shape (k, k)."""
        spread = self.draws - self.draws.mean(axis=0)
        return np.atleast_2d(spread.T @ spread / (len(self.draws) - 1))


@dataclass(frozen=True, eq=False)
class Extra:
    """A number that is not the car's: of the logger, or of what stands between it and the car."""

    key: str
    mean: float
    sd: float


@dataclass(frozen=True, eq=False)
class Fit:
    """The cars that agree with the log.

    ``estimate`` and ``draws`` have the car's keys first, then the extras; ``prior_draws`` are the
    same cars before the log moved them.
    """

    keys: tuple[str, ...]
    cars: int
    """How many of the keys are the car's."""
    estimate: Floats
    covariance: Floats
    prior_mean: Floats
    prior_sd: Floats
    draws: Floats
    prior_draws: Floats
    told: dict[str, int]
    """How many pieces of each kind were used."""
    misfit: dict[str, tuple[float, float]]
    """Scatter of each kind of line over what was expected: between brakings, within them."""
    touched: Flags
    """Whether anything in the log depends on a number at all, shape (k,)."""

    def at(self, key: str) -> int:
        """Column of a key."""
        return self.keys.index(key)


def extras_of(
    seen: Observed,
    weight_N: float,
    gains: tuple[float, float] | None,
    radius_known: bool = True,
) -> list[Extra]:
    """What is fitted besides the car.

    Parameters
    ----------
    radius_known : bool
        Whether the wheels' turns were logged; False where a logger made a road speed of them.
    gains : pair of float, optional
        Force at the road per line pressure, front and rear, where the file has the hardware. [N/Pa]
    """
    half = RADIUS_SD / sqrt(2.0) if radius_known else RADIUS_UNKNOWN_SD
    found = [
        Extra("front_wheel_speed_error_frac", 0.0, half),
        Extra("rear_wheel_speed_error_frac", 0.0, half),
        Extra("front_stiffness_ratio", 0.0, STIFFNESS_SD),
        Extra("slip_curve", 0.0, CURVE_SD),
        Extra("speed_delay_s", 0.0, DELAY_SD_S),
    ]
    usual = (0.65 * weight_N / 5.0e6, 0.35 * weight_N / 5.0e6)
    for k, (axle, channel) in enumerate((("front", "front_Pa"), ("rear", "rear_Pa"))):
        if np.isfinite(getattr(seen.pieces, channel)).any():
            if gains is None:
                found.append(Extra(f"gain_{axle}", log(usual[k]), GAIN_SD))
            else:
                found.append(Extra(f"gain_{axle}", log(gains[k]), HARDWARE_SD))
    if np.isfinite(seen.pieces.pedal).any():
        found.append(Extra("gain_pedal", log(1.5 * weight_N), 1.0))
    return found


@dataclass(frozen=True, eq=False)
class _Equations:
    """All that is compared: observed, expected scatter, kind of each line, and how to predict."""

    seen: Pieces
    limits: Floats
    """Shape (m, 4): axle, setting, speed, deceleration."""
    lines: dict[str, Flags]
    observed: Floats
    count: Floats
    group: NDArray[np.int64]
    kind: list[str]


def _equations(seen: Observed, settings: Floats) -> _Equations:
    p = seen.pieces
    ratio = p.wheel_front - p.wheel_rear
    known = np.isfinite(p.setting)
    known &= (p.setting >= settings.min() - 1e-6) & (p.setting <= settings.max() + 1e-6)
    fine = ~p.braked | known
    front, rear, pedal = (np.isfinite(x) & (x > 0.0) for x in (p.front_Pa, p.rear_Pa, p.pedal))
    lines = {
        "ratio": np.isfinite(ratio) & fine,
        "slip": np.isfinite(p.wheel_front) & fine & (p.speed_mps > 0.0),
        "decel": p.braked & fine & (front | rear | pedal),
        "pressure": p.braked & fine & front & rear,
        "limit": np.zeros(len(p), dtype=bool),
    }
    with np.errstate(invalid="ignore", divide="ignore"):
        values = {
            "ratio": ratio,
            "slip": p.wheel_front - np.log(p.speed_mps),
            "decel": np.log(p.decel_mps2),
            "pressure": np.log(p.front_Pa / p.rear_Pa),
        }
    limits = np.array(
        [
            [one.axle, one.setting, one.speed_mps, one.decel_mps2]
            for one in seen.limits
            if np.isfinite(one.setting) and settings.min() <= one.setting <= settings.max()
        ]
    ).reshape(-1, 4)
    observed = [values[name][used] for name, used in lines.items() if name in values]
    count = [p.count(used)[used] for name, used in lines.items() if name in values]
    single = np.where(p.braked, p.braking, 1_000_000 + np.arange(len(p)))
    group = [single[used] for name, used in lines.items() if name in values]
    kind = [
        name if braked else f"{name}{FREE}"
        for name, used in lines.items()
        if name in values
        for braked in p.braked[used]
    ]
    return _Equations(
        p,
        limits,
        lines,
        np.concatenate([*observed, np.zeros(len(limits))]),
        np.concatenate([*count, np.ones(len(limits))]),
        np.concatenate([*group, 2_000_000 + np.arange(len(limits))]),
        kind + ["limit"] * len(limits),
    )


def _predict(
    equations: _Equations, car: tuple[Floats, Floats, Floats, Floats], extra: Mapping[str, float]
) -> tuple[Floats, Floats]:
    """What one car would show, and how far slip alone may be off, line by line."""
    vector, table, settings, shares = car
    p, lines = equations.seen, equations.lines
    setting = np.where(np.isfinite(p.setting), p.setting, settings.mean())
    share = np.interp(setting, settings, shares)
    when = st.Moments(p.speed_mps, p.decel_mps2, p.braked, share, p.change_mps3)
    front, rear = st.settled(vector, table, when, extra["front_stiffness_ratio"])
    give = st.give(table, front, rear)
    front, rear = (one * np.exp(extra["slip_curve"]) for one in (front, rear))
    radius_front, radius_rear = (
        log(vector[k]) - extra[f"{axle}_wheel_speed_error_frac"]
        for k, axle in ((at.RADIUS_FRONT, "front"), (at.RADIUS_REAR, "rear"))
    )
    ratio = np.log1p(-front) - np.log1p(-rear) - radius_front + radius_rear
    late = extra["speed_delay_s"] * p.decel_mps2 / p.speed_mps
    slip = np.log1p(-front) - radius_front - late
    doubt_ratio = TWICE * GRIP_SD * np.abs(give[0] - give[1])
    doubt_slip = TWICE * GRIP_SD * give[0]
    decel = np.log(np.maximum(_decel(p, vector, share, extra, (front, rear)), 0.1))
    odds = np.log(share / (1.0 - share))
    pressure = odds - extra.get("gain_front", 0.0) + extra.get("gain_rear", 0.0)
    if np.isfinite(vector[at.VALVE_KNEE]):
        pressure = _valved_pressure(p, vector, share, extra)
    limit = _limit_use(equations.limits, vector, table, settings, shares)
    zero = np.zeros(len(p))
    told = {"ratio": ratio, "slip": slip, "decel": decel, "pressure": pressure}
    doubts = {"ratio": doubt_ratio, "slip": doubt_slip, "decel": zero, "pressure": zero}
    return (
        np.concatenate([*(told[name][lines[name]] for name in told), limit]),
        np.concatenate([*(doubts[name][lines[name]] for name in told), np.zeros(len(limit))]),
    )


def _decel(
    p: Pieces,
    car: Floats,
    share: Floats,
    extra: Mapping[str, float],
    slips: tuple[Floats, Floats],
) -> Floats:
    """Deceleration from whatever the log has of the brake. [m/s^2]"""
    front = np.exp(extra.get("gain_front", 0.0)) * p.front_Pa
    rear = np.exp(extra.get("gain_rear", 0.0)) * p.rear_Pa
    thresholds = car[at.THRESHOLD_FRONT], car[at.THRESHOLD_REAR]
    both = np.maximum(front - thresholds[0], 0.0) + np.maximum(rear - thresholds[1], 0.0)
    effort = np.where(np.isfinite(front), front / share, rear / (1.0 - share))
    if "gain_pedal" in extra:
        effort = np.where(
            np.isfinite(effort), effort, np.exp(extra["gain_pedal"]) * np.nan_to_num(p.pedal)
        )
    one = np.add(*st.brakes_of(car, share, np.nan_to_num(effort)))
    brake = np.where(np.isfinite(both), both, one)
    return st.decel_of(car, p.speed_mps, brake, *slips)


def _valved_pressure(p: Pieces, car: Floats, share: Floats, extra: Mapping[str, float]) -> Floats:
    """ln(front / rear pressure) where the rear line is behind a valve."""
    front = np.exp(extra.get("gain_front", 0.0)) * np.nan_to_num(p.front_Pa, nan=1.0)
    effort = np.maximum(front, 1.0) / share
    line = np.maximum((1.0 - share) * effort - car[at.THRESHOLD_REAR], 0.0)
    rear = st.valved(car, line) + car[at.THRESHOLD_REAR]
    return np.asarray(
        np.log(share * effort / np.maximum(rear, 1.0))
        - extra.get("gain_front", 0.0)
        + extra.get("gain_rear", 0.0)
    )


def _limit_use(
    limits: Floats, car: Floats, table: Floats, settings: Floats, shares: Floats
) -> Floats:
    """Logarithm of the use of grip of the axle that let go."""
    if len(limits) == 0:
        return np.zeros(0)
    share = np.interp(limits[:, 1], settings, shares)
    braked = np.ones(len(limits), dtype=bool)
    act = st.acting(car, st.Moments(limits[:, 2], limits[:, 3], braked, share))
    front, rear = st.uses(table, act)
    return np.asarray(np.log(np.maximum(np.where(limits[:, 0] < 0.5, front, rear), 0.05)))


@dataclass(frozen=True, eq=False)
class _Scatter:
    """How far each line may be off: with its braking, and by itself."""

    between: Floats
    within: Floats
    count: Floats

    @property
    def alone(self) -> Floats:
        """Of one line."""
        return np.asarray(np.sqrt(self.between**2 + self.within**2))

    @property
    def shared(self) -> Floats:
        """Of a line as one of so many of its braking: together they count as one and a bit."""
        return np.asarray(np.sqrt(self.count * self.between**2 + self.within**2))


def _scatter(
    equations: _Equations, doubt: Floats, wider: Mapping[str, tuple[float, float]]
) -> _Scatter:
    names = np.array(equations.kind, dtype=object)
    between, within = np.zeros(len(names)), np.zeros(len(names))
    for name in dict.fromkeys(equations.kind):
        mine = names == name
        more = wider.get(name, (1.0, 1.0))
        plain = name.removesuffix(FREE)
        between[mine] = more[0] * np.hypot(BETWEEN[plain], doubt[mine])
        within[mine] = more[1] * WITHIN[plain]
    return _Scatter(between, within, equations.count)


def fit(
    seen: Observed,
    prior: Prior,
    build: Build,
    extras: list[Extra],
    seed: int,
    look: Callable[[], None] = nobody,
) -> Fit:
    """Find the cars that agree with the log.

    ``look`` is called at each round; what it raises stops the work.

    Raises
    ------
    InputError
        As ``build`` does for an impossible car.
    """
    work = _Work(seen, prior, build, extras, look)
    z = np.zeros(len(work.mean))
    wider = work.few()
    for _ in range(WIDENINGS):
        z, jacobian, rest, sd, weight = work.solve(z, wider)
        found = work.misfit(rest, sd)
        new = dict(wider)
        for name, one in found.items():
            old = wider.get(name, (1.0, 1.0))
            new[name] = (
                _drawn_in(one[0][0] * old[0], one[0][1]),
                _drawn_in(one[1][0] * old[1], one[1][1]),
            )
        moved = [
            abs(a / b - 1.0)
            for n in new
            for a, b in zip(new[n], wider.get(n, (1.0, 1.0)), strict=True)
        ]
        if max(moved, default=0.0) < 0.1:
            break
        wider = new
    return work.posterior(z, jacobian, sd, weight, seed, wider)


class _Work:
    """One fit: numbers are in standard deviations of what was known before, ``z``."""

    def __init__(
        self,
        seen: Observed,
        prior: Prior,
        build: Build,
        extras: list[Extra],
        look: Callable[[], None],
    ) -> None:
        self.prior, self.build, self.extras, self.look = prior, build, extras, look
        cars = len(prior.keys)
        self.cars = cars
        self.mean = np.concatenate([prior.mean, [one.mean for one in extras]])
        covariance = np.zeros((len(self.mean),) * 2)
        covariance[:cars, :cars] = prior.covariance
        covariance[range(cars, len(self.mean)), range(cars, len(self.mean))] = [
            one.sd**2 for one in extras
        ]
        self.sd = np.sqrt(np.diag(covariance))
        whole = covariance / np.outer(self.sd, self.sd)
        self.root = np.linalg.cholesky(whole + 1e-9 * np.eye(len(self.sd)))
        _, _, settings, _ = build({**_columns(prior, prior.mean[None, :])})
        self.equations = _equations(seen, settings)
        self.names = np.array(self.equations.kind, dtype=object)

    def place(self, z: Floats) -> Floats:
        """Numbers from z, shape (..., k); the car's kept within what is possible."""
        out = self.mean + (z @ self.root.T) * self.sd
        out[..., : self.cars] = np.clip(out[..., : self.cars], self.prior.low, self.prior.high)
        return np.asarray(out)

    def predict(self, z: Floats) -> tuple[Floats, Floats]:
        """Predictions and doubts of several z, shapes (n, lines)."""
        numbers = self.place(np.atleast_2d(z))
        vectors, tables, settings, shares = self.build(
            _columns(self.prior, numbers[:, : self.cars])
        )
        found = [
            _predict(
                self.equations,
                (vectors[i], tables[i], settings, shares[i]),
                {one.key: float(row[self.cars + k]) for k, one in enumerate(self.extras)},
            )
            for i, row in enumerate(numbers)
        ]
        return np.array([one[0] for one in found]), np.array([one[1] for one in found])

    def cost(self, z: Floats, told: Floats, sd: _Scatter) -> float:
        """Twice the negative logarithm of how probable z is, but for a constant."""
        rest = (self.equations.observed - told) / sd.alone
        share = (sd.alone / sd.shared) ** 2
        return float(z @ z + np.sum((STUDENT + 1.0) * share * np.log1p(rest**2 / STUDENT)))

    def solve(
        self, z: Floats, wider: Mapping[str, tuple[float, float]]
    ) -> tuple[Floats, Floats, Floats, _Scatter, Floats]:
        """The most probable z; with slopes, rests, scatters and weights there."""
        observed = self.equations.observed
        told, doubt = self.predict(z)
        sd = _scatter(self.equations, doubt[0], wider)
        slopes, rest, weight = self._around(z, sd)
        for _ in range(ROUNDS):
            self.look()
            scaled = slopes * (weight / sd.shared**2)[:, None]
            step = np.linalg.solve(slopes.T @ scaled + np.eye(len(z)), scaled.T @ rest - z)
            here = self.cost(z, observed - rest, sd)
            for _ in range(8):
                try:
                    told, doubt = self.predict(z + step)
                    if self.cost(z + step, told[0], sd) <= here + 1e-9:
                        break
                except InputError:  # no such car; nearer to the last one
                    pass
                step = 0.5 * step
            else:
                break
            z = z + step
            sd = _scatter(self.equations, doubt[0], wider)
            slopes, rest, weight = self._around(z, sd)
            if float(np.abs(step).max()) < 2e-3:
                break
        return z, slopes, rest, sd, weight

    def _around(self, z: Floats, sd: _Scatter) -> tuple[Floats, Floats, Floats]:
        """Slopes by z, what is left, and how much each line counts."""
        size = len(z)
        both = np.vstack([z, z + STEP_SD * np.eye(size), z - STEP_SD * np.eye(size)])
        told, _ = self.predict(both)
        slopes = (told[1 : size + 1] - told[size + 1 :]).T / (2.0 * STEP_SD)
        rest = self.equations.observed - told[0]
        weight = (STUDENT + 1.0) / (STUDENT + (rest / sd.alone) ** 2)
        return slopes, rest, np.minimum(weight, 1.0)

    def few(self) -> dict[str, tuple[float, float]]:
        """What is allowed for where brakings are too few to show their scatter."""
        found = {}
        for name in dict.fromkeys(self.equations.kind):
            count = len(np.unique(self.equations.group[self.names == name]))
            if count < len(FEW) and name != "limit":
                found[name] = (FEW[count], FEW[count])
        return found

    def misfit(
        self, rest: Floats, sd: _Scatter
    ) -> dict[str, tuple[tuple[float, int], tuple[float, int]]]:
        """Robust scatter over the expected one, by kind: between brakings, and within.

        With each stands how many show it.
        """
        found = {}
        for name in dict.fromkeys(self.equations.kind):
            mine = np.flatnonzero(self.names == name)
            groups, at = np.unique(self.equations.group[mine], return_inverse=True)
            if name == "limit":
                continue
            if len(groups) < len(FEW):
                continue
            size = np.bincount(at).astype(float)
            mean = np.bincount(at, rest[mine]) / size
            expected = np.bincount(at, sd.between[mine] ** 2) / size
            expected += np.bincount(at, sd.within[mine] ** 2) / size**2
            left = np.sqrt(np.maximum(size[at] - 1.0, 0.0) / size[at])
            inner = np.abs(rest[mine] - mean[at])[left > 0.0] / (left * sd.within[mine])[left > 0.0]
            found[name] = (
                (_robust(mean / np.sqrt(expected)), len(groups)),
                (_robust(inner), len(mine) - len(groups)),
            )
        return found

    def posterior(
        self,
        z: Floats,
        slopes: Floats,
        sd: _Scatter,
        weight: Floats,
        seed: int,
        misfit: dict[str, tuple[float, float]],
    ) -> Fit:
        """Covariance and draws about the most probable car."""
        size = len(z)
        scatter = sd.shared / np.sqrt(np.maximum(weight, 1e-6))
        scaled = slopes / scatter[:, None]
        inverse = np.linalg.inv(scaled.T @ scaled + np.eye(size))
        turn = self.root * self.sd[:, None]
        covariance = turn @ inverse @ turn.T
        rng = np.random.default_rng([seed, 7])
        before = self._before(rng)
        away = np.linalg.solve(turn, (before - self.mean).T).T
        noise = rng.standard_normal((len(before), len(scatter)))
        moved = z + away + (noise - away @ scaled.T) @ scaled @ inverse
        numbers = self.mean + (moved @ self.root.T) * self.sd
        fine = np.all(
            (numbers[:, : self.cars] >= self.prior.low)
            & (numbers[:, : self.cars] <= self.prior.high),
            axis=1,
        )
        kept = fine if fine.sum() > len(fine) // 4 else np.ones(len(fine), dtype=bool)
        numbers[:, : self.cars] = np.clip(numbers[:, : self.cars], self.prior.low, self.prior.high)
        slopes_by_number = np.abs(np.linalg.solve(turn.T, scaled.T)).T * self.sd
        return Fit(
            keys=(*self.prior.keys, *(one.key for one in self.extras)),
            cars=self.cars,
            estimate=self.place(z),
            covariance=covariance,
            prior_mean=self.mean,
            prior_sd=self.sd,
            draws=numbers[kept],
            prior_draws=before[kept],
            told={n: int((self.names == n).sum()) for n in dict.fromkeys(self.equations.kind)},
            misfit=misfit,
            touched=np.asarray(slopes_by_number.max(axis=0, initial=0.0) > TOUCHED),
        )

    def _before(self, rng: np.random.Generator) -> Floats:
        """Cars and extras drawn from what was known, shape (DRAWS, k)."""
        rows = rng.integers(0, len(self.prior.draws), DRAWS)
        own = np.column_stack(
            [one.mean + one.sd * rng.standard_normal(DRAWS) for one in self.extras]
        )
        return np.column_stack([self.prior.draws[rows], own])


def _robust(parts: Floats) -> float:
    """Scatter about nothing, of which a few far out move little."""
    return 1.4826 * float(np.median(np.abs(parts))) if len(parts) else 1.0


def _drawn_in(scatter: float, shown_by: int) -> float:
    """A scatter over the expected one, drawn to 1 where few show it."""
    return sqrt((SURE + shown_by * scatter**2) / (SURE + shown_by))


def _columns(prior: Prior, numbers: Floats) -> dict[str, Floats]:
    found = {key: np.full(len(numbers), value) for key, value in prior.fixed.items()}
    return found | {key: numbers[:, k].copy() for k, key in enumerate(prior.keys)}
