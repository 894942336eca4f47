"""A car and a log put together: what is fitted of the car, what follows from it, what is written.

The numbers fitted are those of the car file that are not exact; all that is told beside them, as
the force share at each setting, is worked out from the same draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from foreaft.base.number import Number
from foreaft.base.units import GRAVITY_MPS2
from foreaft.laps.series import Floats
from foreaft.learn import straight as st
from foreaft.learn.crossover import Ratio, free_ratio
from foreaft.learn.fit import PRIOR_DRAWS, Fit, Prior, extras_of, fit
from foreaft.learn.observe import Observed
from foreaft.learn.verdict import Column
from foreaft.model.car import Car, draw, numbers, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.convert import brake_gain
from foreaft.model.fields import Quantity, build, catalogue, plain
from foreaft.physics import layout as at

STREAM: Final = 23
"""Keeps the prior's draws apart from those of a plan with the same seed."""


@dataclass(frozen=True, eq=False)
class Known:
    """A car as it is known before the log, in the conditions of the log."""

    car: Car
    conditions: Conditions
    prior: Prior
    units: Mapping[str, str]

    def build(self, columns: Mapping[str, Floats]) -> tuple[Floats, Floats, Floats, Floats]:
        """Arrays of drawn cars, see :class:`foreaft.learn.fit.Build`."""
        made = vectors(self.car, columns, self.conditions)
        return made.vector, made.table, made.settings, made.share

    def columns(self, draws: Floats) -> dict[str, Floats]:
        """Columns of car numbers from draws whose first columns are the car's."""
        found = {k: np.full(len(draws), v) for k, v in self.prior.fixed.items()}
        return found | {key: draws[:, i].copy() for i, key in enumerate(self.prior.keys)}

    @property
    def gains(self) -> tuple[float, float] | None:
        """Force at the road per line pressure of the nominal car; None without hardware. [N/Pa]"""
        if not self.car.brakes.hardware:
            return None
        one = draw(self.car, 0, 0)
        front, rear = (
            float(
                brake_gain(
                    one[f"brakes.{axle}.piston_area_mm2"] * 1e-6,
                    one[f"brakes.{axle}.effective_radius_m"],
                    one[f"brakes.{axle}.pad_friction"],
                    one[f"wheel.radius_{axle}_m"],
                )[0]
            )
            for axle in ("front", "rear")
        )
        return front, rear


def known(car: Car, conditions: Conditions, joint: Mapping[str, Floats] | None, seed: int) -> Known:
    """Gather what is known of a car: every number that is not exact is open to the log."""
    drawn = draw(car, seed + STREAM, PRIOR_DRAWS, joint)
    about = catalogue(Car)

    def entry(key: str) -> Quantity:
        found = about[".".join(p for p in key.split(".") if not p.isdecimal())].about
        assert isinstance(found, Quantity)  # every number of the car is one
        return found

    free = tuple(key for key, column in drawn.items() if float(np.ptp(column[1:])) > 0.0)
    prior = Prior(
        keys=free,
        mean=np.array([_mean(drawn[key], joint is not None and key in joint) for key in free]),
        draws=np.column_stack([drawn[key][1:] for key in free]) if free else np.zeros((2, 0)),
        low=np.array([entry(key).lower for key in free]),
        high=np.array([entry(key).upper for key in free]),
        fixed={key: float(column[0]) for key, column in drawn.items() if key not in free},
    )
    return Known(car, conditions, prior, {key: entry(key).unit for key in drawn})


def _mean(column: Floats, joint: bool) -> float:
    return float(column[1:].mean()) if joint else float(column[0])


def ratio_of(seen: Observed, what: Known, count: int = 100) -> Ratio | None:
    """The ratio of free wheels, with the shape of the driven axle's slip from the nominal car."""
    p = seen.pieces
    when = st.Moments(p.speed_mps, p.decel_mps2, p.braked, np.full(len(p), 0.6))

    def shape(vector: Floats, table: Floats) -> Floats:
        front, rear = st.slips(table, st.acting(vector, when))
        return np.asarray(np.log1p(-front) - np.log1p(-rear))

    rows = np.vstack([what.prior.mean, what.prior.draws[:count]])
    vector, table, _, _ = what.build(what.columns(rows))
    every = np.array([shape(vector[i], table[i]) for i in range(len(rows))])
    free = ~p.braked
    size = (every[:, free] ** 2).sum(axis=1)
    if not free.any() or np.any(size <= 0.0):
        return None
    every *= (every[:, free] @ every[0, free] / size)[:, None]  # the log says how stiff tyres are
    return free_ratio(p, every[0], (every[1:] - every[0]).T / np.sqrt(len(rows) - 1.0))


def fitted(seen: Observed, what: Known, seed: int) -> Fit:
    """Fit the car to what was observed."""
    weight = float(what.columns(what.prior.mean[None, :])["mass_kg"][0]) * GRAVITY_MPS2
    return fit(seen, what.prior, what.build, extras_of(seen, weight, what.gains), seed)


# ---------------------------------------------------------------- what follows from the fit


def columns_of(seen: Observed, what: Known, found: Fit) -> list[Column]:
    """Every number with its draws before and after: share, gains, h / L, then the car's own."""
    before, now, best = (
        what.build(what.columns(rows))
        for rows in (found.prior_draws, found.draws, found.estimate[None, :])
    )
    settings = now[2]
    out = [
        Column(
            "force_share_frac",
            "",
            *(_share(x[3], settings, one) for x in (before, now)),
            float(_share(best[3], settings, one)[0]),
            one,
        )
        for one in seen.settings
        if settings.min() - 1e-6 <= one <= settings.max() + 1e-6
    ]
    out += _gains(seen, found, (before, now, best))

    def height(x: Any) -> Floats:
        return np.asarray(x[0][:, at.CG_HEIGHT] / x[0][:, at.WHEELBASE])

    touched = _touched(found, "cg_height_m")
    out.append(
        Column(
            "height_per_wheelbase",
            "",
            height(before),
            height(now),
            float(height(best)[0]),
            touched=touched,
        )
    )
    for i, key in enumerate(found.keys[: found.cars]):
        out.append(
            Column(
                key,
                what.units[key],
                found.prior_draws[:, i],
                found.draws[:, i],
                float(found.estimate[i]),
                touched=bool(found.touched[i]),
            )
        )
    return out


def _touched(found: Fit, key: str) -> bool:
    return key in found.keys and bool(found.touched[found.at(key)])


def _share(shares: Floats, settings: Floats, setting: float) -> Floats:
    return np.array([np.interp(setting, settings, row) for row in shares])


def _gains(seen: Observed, found: Fit, cars: tuple[Any, Any, Any]) -> list[Column]:
    """Gain of each line pressure, and the deceleration a bar of front pressure makes."""
    out = []
    for axle in ("front", "rear"):
        key = f"gain_{axle}"
        if key not in found.keys:
            continue
        i = found.at(key)
        out.append(
            Column(
                f"{key}_N_per_Pa",
                "N/Pa",
                np.exp(found.prior_draws[:, i]),
                np.exp(found.draws[:, i]),
                float(np.exp(found.estimate[i])),
            )
        )
    if "gain_front" not in found.keys:
        return out
    i = found.at("gain_front")
    rows = (found.prior_draws, found.draws, found.estimate[None, :])
    for setting in seen.settings:
        each = [
            np.exp(numbers_[:, i]) / _share(x[3], x[2], setting) / x[0][:, at.MASS]
            for numbers_, x in zip(rows, cars, strict=True)
        ]
        out.append(
            Column(
                "decel_per_front_pressure_mps2_per_Pa",
                "m/s2/Pa",
                each[0],
                each[1],
                float(each[2][0]),
                setting,
            )
        )
    return out


# ---------------------------------------------------------------- the car file


def learned_car(
    car: Car, judged: Mapping[str, tuple[float, float]], draws_file: str, source: str
) -> Car:
    """The car with what was learnt written into it.

    Parameters
    ----------
    judged : mapping
        Key -> estimate and standard deviation, of the numbers that were learned or narrowed.
    """
    data = plain(car)
    own = numbers(car)
    for key, (value, sd) in judged.items():
        _put(data, key.split("."), {"value": value, "sd": sd, "source": source}, own[key])
    data["draws_file"] = draws_file
    return build(Car, data)


def _put(table: Any, path: list[str], value: dict[str, Any], was: Number) -> None:
    del was
    for part in path[:-1]:
        table = table[int(part) - 1] if part.isdecimal() else table.setdefault(part, {})
    table[path[-1]] = value
