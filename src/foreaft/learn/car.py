"""A car and a log put together: what is fitted of the car, what follows from it, what is written.

The numbers fitted are those of the car file that are not exact; all that is told beside them, as
the force share at each setting, is worked out from the same draws.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.base.units import GRAVITY_MPS2
from foreaft.laps.series import Floats
from foreaft.laps.session import nobody
from foreaft.learn import straight as st
from foreaft.learn.crossover import LEVEL, Crossover, Ratio, free_ratio
from foreaft.learn.fit import PRIOR_DRAWS, Fit, Prior, extras_of, fit
from foreaft.learn.observe import Observed
from foreaft.learn.verdict import Column, Judged, interval
from foreaft.model.car import Car, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.convert import brake_gain
from foreaft.model.fields import Quantity, build, catalogue, plain
from foreaft.physics import layout as at
from foreaft.physics.motion import crossover_share
from foreaft.plan.anchor import SEEN_ON

STREAM: Final = 23
"""Keeps the prior's draws apart from those of a plan with the same seed."""

LOCK_DRAWS: Final = 300
EVEN: Final = 1e-6
"""Settings so near are the same: rounding of decimals, nothing more."""

LOCK_SPEED_MPS: Final = 30.0
"""Drivers squeeze to the first lock from 120 km/h."""

CROSSOVER_DRAWS: Final = 500
BENDS: Final = 3.0
"""The straight line through the ratio of slips is told so many times wider than its scatter."""

LAPS_WIDER: Final = 1.3
"""So many times wider is a crossover told from laps: brakings of one corner are off together.

Read from 41 driven cars (docs/theory/learn.md).
"""

CROSSOVER_SHARES: Final = 91
"""Front shares at which a drawn car's slips are compared."""

PRESSURE_SCALE_SD: Final = 0.008
"""A pressure sensor's scale, and how far a steady pressure tells the torque (assumption)."""


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

    def possible(self, draws: Floats) -> NDArray[np.bool_]:
        """Which drawn cars can be built at all: at a far end of the adjuster some have no share."""
        if len(draws) == 0:
            return np.zeros(0, dtype=bool)
        try:
            self.build(self.columns(draws))
        except InputError:
            if len(draws) == 1:
                return np.zeros(1, dtype=bool)
            half = len(draws) // 2
            return np.concatenate([self.possible(draws[:half]), self.possible(draws[half:])])
        return np.ones(len(draws), dtype=bool)

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
    found = Known(car, conditions, prior, {key: entry(key).unit for key in drawn})
    fine = found.possible(prior.draws)
    return replace(found, prior=replace(prior, draws=prior.draws[fine]))


def _mean(column: Floats, joint: bool) -> float:
    return float(column[1:].mean()) if joint else float(column[0])


def ratio_of(seen: Observed, what: Known, count: int = 100) -> Ratio | None:
    """The ratio of free wheels, with the shape of the driven axle's slip from the nominal car."""
    p = seen.pieces
    when = st.Moments(p.speed_mps, p.decel_mps2, p.braked, np.full(len(p), 0.6), p.change_mps3)

    def shape(vector: Floats, table: Floats) -> Floats:
        front, rear = st.settled(vector, table, when)
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


def fitted(
    seen: Observed,
    what: Known,
    seed: int,
    radius_known: bool = True,
    look: Callable[[], None] = nobody,
) -> Fit:
    """Fit the car to what was observed; ``radius_known`` as for :func:`fit.extras_of`.

    ``look`` as for :func:`fit.fit`.
    """
    weight = float(what.columns(what.prior.mean[None, :])["mass_kg"][0]) * GRAVITY_MPS2
    extras = extras_of(seen, weight, what.gains, radius_known)
    found = fit(seen, what.prior, what.build, extras, seed, look)
    fine = what.possible(found.draws) & what.possible(found.prior_draws)
    return replace(found, draws=found.draws[fine], prior_draws=found.prior_draws[fine])


# ---------------------------------------------------------------- what follows from the fit


def crossover_of(what: Known, found: Fit, shown: Crossover) -> Crossover:
    """The crossover of the cars that agree with the log, at the moment the log shows it for.

    ``shown`` is what the slips alone say, drawn straight through settings, speeds and
    decelerations; the cars know how slip bends between them.
    The straight line itself misses by up to three of its standard errors.
    Where the two lie further apart the cars are wrong about something, and the slips alone stand,
    as wide as that.
    """
    rows = found.draws[:CROSSOVER_DRAWS]
    vector, table, settings, shares = what.build(what.columns(rows))
    stiffer = rows[:, found.at("front_stiffness_ratio")]
    places = np.array(
        [
            _crossing(vector[i], table[i], (settings, shares[i]), stiffer[i], shown)
            for i in range(len(rows))
        ]
    )
    places = places[np.isfinite(places)]
    reach = BENDS * max(shown.high - shown.setting, shown.setting - shown.low)
    alone = replace(shown, low=shown.setting - reach, high=shown.setting + reach)
    if len(places) < 0.9 * len(rows):
        return alone
    tail = 50.0 * (1.0 - LEVEL)
    low, middle, high = (float(x) for x in np.percentile(places, [tail, 50.0, 100.0 - tail]))
    if low > alone.high or high < alone.low:
        return alone
    driven = shown.driven
    return replace(
        shown, setting=middle, low=low, high=high, inside=driven[0] <= middle <= driven[1]
    )


def of_laps(place: Crossover) -> Crossover:
    """A crossover as wide as laps can tell it."""
    low = place.setting - LAPS_WIDER * (place.setting - place.low)
    high = place.setting + LAPS_WIDER * (place.high - place.setting)
    return replace(place, low=low, high=high)


def _crossing(
    car: Floats,
    table: Floats,
    adjuster: tuple[Floats, Floats],
    stiffer: float,
    when: Crossover,
) -> float:
    """Setting at which both axles of one car slip alike, drawn on past its adjuster; or NaN."""
    share = np.linspace(0.05, 0.95, CROSSOVER_SHARES)
    same = np.ones(len(share))
    moments = st.Moments(when.speed_mps * same, when.decel_mps2 * same, same > 0.0, share)
    front, rear = st.settled(car, table, moments, stiffer)
    apart = front - rear  # rises with the front share
    if not apart[0] < 0.0 < apart[-1]:
        return float("nan")
    return _setting_of(float(np.interp(0.0, apart, share)), adjuster)


def _setting_of(share: float, adjuster: tuple[Floats, Floats]) -> float:
    """Setting at which the brakes are shared so, drawn on past the adjuster; or NaN."""
    settings, shares = adjuster
    order = np.argsort(shares)
    if shares.min() <= share <= shares.max():
        return float(np.interp(share, shares[order], settings[order]))
    slope, level = np.polyfit(settings, shares, 1)
    return float((share - level) / slope) if slope else float("nan")


@dataclass(frozen=True)
class Lock:
    """Setting at which both ends lock together in a straight stop, with its 90 % interval.

    Of the day of the log; ``anchor`` is the setting of the adjuster for the car file.
    """

    setting: float
    low: float
    high: float
    speed_mps: float
    anchor: float


def lock_crossover(what: Known, found: Fit, place: Crossover | None) -> Lock | None:
    """Where both ends lock together, by the cars that agree with the log.

    It lies further forward than where both slip alike in a gentler stop: load moves with the
    deceleration.
    None where the slips show nothing, or where it lies outside of the settings driven; where those
    are not the adjuster's, nothing of the share was learned.
    """
    if what.car.adjuster is None or place is None:
        return None
    places, settings = _locks(what, found)
    if len(places) < 0.9 * min(LOCK_DRAWS, len(found.draws)):
        return None
    middle = float(np.median(places))
    least, most = place.driven
    if not (settings.min() - EVEN <= least <= middle <= most <= settings.max() + EVEN):
        return None
    low, high = interval(places)
    return Lock(middle, low, high, LOCK_SPEED_MPS, _anchor(what, found, middle, settings))


def _locks(what: Known, found: Fit) -> tuple[Floats, Floats]:
    """Per car the setting at which both ends lock together, and the settings there are."""
    vector, table, settings, shares = what.build(what.columns(found.draws[:LOCK_DRAWS]))
    places = np.array(
        [
            _setting_of(crossover_share(car, tyres, LOCK_SPEED_MPS), (settings, own))
            for car, tyres, own in zip(vector, table, shares, strict=True)
        ]
    )
    return places[np.isfinite(places)], settings


def _anchor(what: Known, found: Fit, middle: float, settings: Floats) -> float:
    """The setting of the adjuster for the car file, whose anchor is of a dry day."""
    if what.conditions != SEEN_ON:
        dry, _ = _locks(replace(what, conditions=SEEN_ON), found)
        middle = float(np.median(dry)) if len(dry) else middle
    return float(settings[np.abs(settings - middle).argmin()])


def columns_of(seen: Observed, what: Known, found: Fit) -> list[Column]:
    """Every number with its draws before and after: share, gains, h / L, then the car's own."""
    before, now, best = (
        what.build(what.columns(rows))
        for rows in (found.prior_draws, found.draws, found.estimate[None, :])
    )
    settings = now[2]
    out = []
    for one in seen.settings:
        if settings.min() - EVEN <= one <= settings.max() + EVEN:
            shares = [_share(x[3], settings, one) for x in (before, now, best)]
            out.append(Column(SHARE, "", shares[0], shares[1], float(shares[2][0]), one))
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
    """Gain of each line pressure, and the deceleration that front pressure makes."""
    out = []
    rng = np.random.default_rng(STREAM)  # how far a sensor's own scale is off, the same for all
    rows = (found.prior_draws, found.draws, found.estimate[None, :])
    for axle in ("front", "rear"):
        key = f"gain_{axle}"
        if key not in found.keys:
            continue
        i = found.at(key)
        off = PRESSURE_SCALE_SD * rng.standard_normal(len(found.draws))
        before, now, best = (np.exp(one[:, i]) for one in rows)
        out.append(Column(f"{key}_N_per_Pa", "N/Pa", before, now * np.exp(off), float(best[0])))
        if axle == "rear":
            continue
        for setting in seen.settings:
            before, now, best = (
                np.exp(one[:, i]) / _share(x[3], x[2], setting) / x[0][:, at.MASS]
                for one, x in zip(rows, cars, strict=True)
            )
            name = "decel_per_front_pressure_mps2_per_Pa"
            now = now * np.exp(off)
            out.append(Column(name, "m/s2/Pa", before, now, float(best[0]), setting))
    return out


# ---------------------------------------------------------------- the car file


@dataclass(frozen=True, eq=False)
class Written:
    """A car with what was learnt written into it, and the joint draws that belong to it."""

    car: Car
    draws: dict[str, Floats]


SHARE: Final = "force_share_frac"
SCALE_KEYS: Final = ("brakes.front_share_frac", "adjuster.share_per_unit_frac")
MOVED: Final = ("learned", "narrowed")


def written(
    what: Known,
    found: Fit,
    judged: Sequence[Judged],
    lock: Lock | None,
    draws_file: str,
    source: str,
) -> Written:
    """Write what was learned or narrowed into the car, and draw its numbers together.

    Numbers the log contradicts stay as they are in the file.
    Where only an anchor tied the adjuster down and the log shows the share, the share at both ends
    of the adjuster takes its place; the anchor still says what is run today.
    Where both ends lock together, if that was learned, is an anchor of its own.
    """
    car = what.car
    data = plain(car)
    own = {one.key: one for one in judged}
    best = what.columns(found.estimate[None, :])
    draws: dict[str, Floats] = {}
    scaled = _scaled(car, judged)
    for i, key in enumerate(found.keys[: found.cars]):
        verdict = own[key].verdict
        if verdict in ("contradictory", "not_attempted") or (scaled and key in SCALE_KEYS):
            continue
        draws[key] = found.draws[:, i]
        if verdict in MOVED:
            sd = float(np.std(found.draws[:, i]))
            value = {"value": _short(best[key][0]), "sd": _short(sd), "source": source}
            _put(data, key.split("."), value)
    if scaled:
        draws |= _known_ends(what, found, data, source)
    if lock is not None:
        if "front_share_frac" in data["brakes"] and car.reference_setting is not None:
            data["adjuster"]["reference_setting"] = car.reference_setting
        data["anchor"] = {"setting": lock.anchor, "first_to_let_go": "together"}
    data["draws_file"] = draws_file
    data["id"] = f"{car.id[:52]}-learned"
    data["name"] = f"{car.name[:70]} (learned)"
    return Written(build(Car, data), draws)


def _scaled(car: Car, judged: Sequence[Judged]) -> bool:
    """Whether the log ties down an adjuster that only an anchor did."""
    if car.adjuster is None or not car.adjuster.needs_anchor:
        return False
    return any(one.key == SHARE and one.verdict in MOVED for one in judged)


def _known_ends(what: Known, found: Fit, data: dict[str, Any], source: str) -> dict[str, Floats]:
    """Put the share at both ends into the file's data; give its draws."""
    rows = np.vstack([found.estimate[None, :], found.draws])
    _, _, settings, shares = what.build(what.columns(rows))
    points, draws = [], {}
    for number, place in enumerate((0, -1), 1):
        column = shares[:, place]
        draws[f"adjuster.known.{number}.front_share_frac"] = column[1:]
        share = {"value": _short(column[0]), "sd": _short(column[1:].std()), "source": source}
        points.append({"setting": float(settings[place]), "front_share_frac": share})
    data["adjuster"]["known"] = points
    data["adjuster"].pop("share_per_unit_frac", None)
    data["brakes"].pop("front_share_frac", None)
    return draws


def _short(value: float) -> float:
    return float(f"{float(value):.6g}")


def _put(table: Any, path: list[str], value: dict[str, Any]) -> None:
    for part in path[:-1]:
        table = table[int(part) - 1] if part.isdecimal() else table.setdefault(part, {})
    table[path[-1]] = value
