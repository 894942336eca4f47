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

from foreaft.base.errors import InputError
from foreaft.laps.series import Flags, Floats
from foreaft.learn import straight as st
from foreaft.learn.observe import Observed, Pieces
from foreaft.physics import layout as at

Build = Callable[[Mapping[str, Floats]], tuple[Floats, Floats, Floats, Floats]]
"""From columns of car numbers to vectors (n, SIZE), tables, settings (S,) and shares (n, S)."""

PRIOR_DRAWS: Final = 600
DRAWS: Final = 1000
ROUNDS: Final = 25
STEP_SD: Final = 0.05
STUDENT: Final = 4.0
"""Degrees of freedom of the scatter: outliers count less the further out they lie."""

RADIUS_SD: Final = 0.008
"""Wheel speeds are wrong by this part, wheel by wheel, over all (assumption: tone wheels, tyre
growth; half of it stays in the mean of an axle's two)."""

STIFFNESS_SD: Final = 0.05
"""Slip stiffness over friction differs between the axles by this part (assumption)."""

GAIN_SD: Final = 0.7
"""Gain of a line pressure where the file has no hardware: within a factor of two (assumption)."""

HARDWARE_SD: Final = 0.01

RATIO_SD: Final = 6.0e-4
RATIO_FRAC: Final = 0.035
"""Front over rear wheel speed is expected to this, and to so much of the difference of slip:
grip changes from braking to braking (calibrated on cars other than those it is judged by)."""

SLIP_SD: Final = 2.0e-3
SLIP_FRAC: Final = 0.04
DECEL_SD_MPS2: Final = 0.05
DECEL_FRAC: Final = 0.008
PRESSURE_SD: Final = 0.004
LIMIT_FRAC: Final = 0.05
TOUCHED: Final = 1e-4
"""A number that moves no line by this part of its scatter, over its whole range, is not touched."""


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
    misfit: dict[str, float]
    """Scatter of each kind of piece over what was expected."""
    touched: Flags
    """Whether anything in the log depends on a number at all, shape (k,)."""

    def at(self, key: str) -> int:
        """Column of a key."""
        return self.keys.index(key)


def extras_of(seen: Observed, weight_N: float, gains: tuple[float, float] | None) -> list[Extra]:
    """What is fitted besides the car.

    Parameters
    ----------
    gains : pair of float, optional
        Force at the road per line pressure, front and rear, where the file has the hardware. [N/Pa]
    """
    half = RADIUS_SD / sqrt(2.0)
    found = [
        Extra("front_wheel_speed_error_frac", 0.0, half),
        Extra("rear_wheel_speed_error_frac", 0.0, half),
        Extra("front_stiffness_ratio", 0.0, STIFFNESS_SD),
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
    kind: list[str]

    def slices(self) -> dict[str, slice]:
        """Where each kind lies among the lines."""
        found, start = {}, 0
        for name, used in self.lines.items():
            size = int(used.sum()) if name != "limit" else len(self.limits)
            found[name] = slice(start, start + size)
            start += size
        return found


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
    kind = [name for name, used in lines.items() if name in values for _ in range(used.sum())]
    return _Equations(
        p,
        limits,
        lines,
        np.concatenate([*observed, np.zeros(len(limits))]),
        np.concatenate([*count, np.ones(len(limits))]),
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
    when = st.Moments(p.speed_mps, p.decel_mps2, p.braked, share)
    front, rear = st.slips(table, st.acting(vector, when), extra["front_stiffness_ratio"])
    radius_front, radius_rear = (
        log(vector[k]) - extra[f"{axle}_wheel_speed_error_frac"]
        for k, axle in ((at.RADIUS_FRONT, "front"), (at.RADIUS_REAR, "rear"))
    )
    ratio = np.log1p(-front) - np.log1p(-rear) - radius_front + radius_rear
    slip = np.log1p(-front) - radius_front
    doubt_ratio = RATIO_FRAC * np.abs(front - rear)
    doubt_slip = SLIP_FRAC * np.abs(front)
    decel = np.log(np.maximum(_decel(p, vector, share, extra), 0.1))
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


def _decel(p: Pieces, car: Floats, share: Floats, extra: Mapping[str, float]) -> Floats:
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
    return st.decel_of(car, p.speed_mps, brake)


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


def _scatter(
    kind: list[str], doubt: Floats, observed: Floats, wider: Mapping[str, float]
) -> Floats:
    base = {
        "ratio": RATIO_SD,
        "slip": SLIP_SD,
        "decel": DECEL_FRAC,
        "pressure": PRESSURE_SD,
        "limit": LIMIT_FRAC,
    }
    names = np.array(kind, dtype=object)
    out = np.zeros(len(kind))
    for name, sd in base.items():
        mine = names == name
        extra = doubt[mine]
        if name == "decel":
            extra = DECEL_SD_MPS2 / np.exp(observed[mine])
        out[mine] = wider.get(name, 1.0) * np.sqrt(sd**2 + extra**2)
    return out


def fit(seen: Observed, prior: Prior, build: Build, extras: list[Extra], seed: int) -> Fit:
    """Find the cars that agree with the log.

    Raises
    ------
    InputError
        As ``build`` does for an impossible car.
    """
    work = _Work(seen, prior, build, extras)
    z = np.zeros(len(work.mean))
    wider: dict[str, float] = {}
    for _ in range(3):
        z, jacobian, rest, sd, weight = work.solve(z, wider)
        found = work.misfit(rest, sd)
        new = {name: max(1.0, one * wider.get(name, 1.0)) for name, one in found.items()}
        if all(abs(new[name] / wider.get(name, 1.0) - 1.0) < 0.1 for name in new):
            break
        wider = new
    return work.posterior(z, jacobian, sd, weight, seed, found)


class _Work:
    """One fit: numbers are in standard deviations of what was known before, ``z``."""

    def __init__(self, seen: Observed, prior: Prior, build: Build, extras: list[Extra]) -> None:
        self.prior, self.build, self.extras = prior, build, extras
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

    def cost(self, z: Floats, told: Floats, sd: Floats) -> float:
        rest = (self.equations.observed - told) / sd
        pieces = (STUDENT + 1.0) * np.log1p(rest**2 / STUDENT) / self.equations.count
        return float(z @ z + pieces.sum())

    def solve(
        self, z: Floats, wider: Mapping[str, float]
    ) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """The most probable z; with slopes, rests, scatters and weights there."""
        kind, observed, count = self.equations.kind, self.equations.observed, self.equations.count
        told, doubt = self.predict(z)
        sd = _scatter(kind, doubt[0], observed, wider)
        slopes, rest, weight = self._around(z, sd)
        for _ in range(ROUNDS):
            scaled = slopes * (weight / (sd * sd * count))[:, None]
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
            sd = _scatter(kind, doubt[0], observed, wider)
            slopes, rest, weight = self._around(z, sd)
            if float(np.abs(step).max()) < 2e-3:
                break
        return z, slopes, rest, sd, weight

    def _around(self, z: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
        """Slopes by z, what is left, and how much each line counts."""
        size = len(z)
        both = np.vstack([z, z + STEP_SD * np.eye(size), z - STEP_SD * np.eye(size)])
        told, _ = self.predict(both)
        slopes = (told[1 : size + 1] - told[size + 1 :]).T / (2.0 * STEP_SD)
        rest = self.equations.observed - told[0]
        weight = (STUDENT + 1.0) / (STUDENT + (rest / sd) ** 2)
        return slopes, rest, np.minimum(weight, 1.0)

    def misfit(self, rest: Floats, sd: Floats) -> dict[str, float]:
        """Robust scatter over the expected one, by kind."""
        found = {}
        for name in dict.fromkeys(self.equations.kind):
            mine = np.abs((rest / sd)[self.names == name])
            if len(mine) >= 6:
                found[name] = 1.4826 * float(np.median(mine))
        return found

    def posterior(
        self,
        z: Floats,
        slopes: Floats,
        sd: Floats,
        weight: Floats,
        seed: int,
        misfit: dict[str, float],
    ) -> Fit:
        """Covariance and draws about the most probable car."""
        size = len(z)
        scatter = sd * np.sqrt(self.equations.count / np.maximum(weight, 1e-6))
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


def _columns(prior: Prior, numbers: Floats) -> dict[str, Floats]:
    found = {key: np.full(len(numbers), value) for key, value in prior.fixed.items()}
    return found | {key: numbers[:, k].copy() for k, key in enumerate(prior.keys)}
