"""The car that is not known exactly: sampled cars that fit what the driver has told.

Row 0 of every array is the nominal car.
A sampled car is kept only if it can drive the corners as typed, lets go at the end the driver
named, and is balanced in mid-corner as he said; how many were kept is part of the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import Cancelled, CannotTell
from foreaft.base.units import KMH_PER_MPS
from foreaft.model.car import Car, CarArrays, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.model.parts import Anchor
from foreaft.physics import motion
from foreaft.physics import trim as tr
from foreaft.plan import cost as co
from foreaft.plan.anchor import SEEN_ON, anchored_shares, straight_crossover
from foreaft.plan.arrange import ZoneArrays

Floats = NDArray[np.float64]

CANDIDATES_PER_SAMPLE: Final = 6
FEWEST_KEPT: Final = 8
THREADS: Final = 2
"""As many as the cores this is written for; kernels release the lock."""

CROSSOVER_SPEED_MPS: Final = 30.0
"""Speed in the middle of the straight stop by which an anchor is read (120 to 60 km/h and above).

Common practice, no source.
"""

FITS_FRAC: Final = 0.004
"""A car counts as letting go at the named end up to this much share on the wrong side."""


@dataclass(frozen=True, eq=False)
class Cars:
    """Sampled cars that fit; arrays have one row per car, the nominal car first."""

    arrays: CarArrays
    draws: dict[str, Floats]
    crossover_share: Floats
    kept_frac: float
    nominal_fits: bool


def gather(
    car: Car,
    conditions: Conditions,
    seed: int,
    samples: int,
    zones: ZoneArrays | None,
    joint: Mapping[str, Floats] | None = None,
    names: Sequence[str] = (),
    draws: dict[str, Floats] | None = None,
) -> Cars:
    """Return the nominal car and up to ``samples`` sampled cars that fit.

    ``draws`` are those of the seed where somebody has drawn them before.

    Raises
    ------
    CannotTell
        If almost no car of the stated ranges fits what the driver has told.
    """
    wanted = samples * CANDIDATES_PER_SAMPLE if samples else 0
    draws = draw(car, seed, wanted, joint) if draws is None else draws
    arrays = vectors(car, draws, conditions)
    fits = _takes(arrays, zones)
    if car.anchor is not None:
        seen = vectors(car, draws, SEEN_ON)
        crossover = straight_crossover(seen.vector, seen.table, CROSSOVER_SPEED_MPS)
        if car.adjuster is not None and car.adjuster.needs_anchor:
            seen = seen._replace(share=anchored_shares(car, seen, draws, crossover, seed))
            arrays = arrays._replace(share=seen.share)
        fits &= _lets_go_as_told(car.anchor, seen, crossover)
        fits &= _balanced_as_told(car.anchor, seen)
    nominal_fits = bool(fits[0])
    sampled = np.flatnonzero(fits[1:])[:samples] + 1
    if samples and len(sampled) < min(FEWEST_KEPT, samples):
        raise _nothing_fits(arrays, int(fits[1:].sum()), zones, names)
    first = 0 if nominal_fits or not samples else int(sampled[len(sampled) // 2])
    rows = np.concatenate([[first], sampled]).astype(np.intp)
    return Cars(
        arrays=arrays._replace(
            vector=arrays.vector[rows], table=arrays.table[rows], share=arrays.share[rows]
        ),
        draws={key: values[rows] for key, values in draws.items()},
        crossover_share=straight_crossover(
            arrays.vector[rows], arrays.table[rows], CROSSOVER_SPEED_MPS
        ),
        kept_frac=float(fits[1:].mean()) if wanted else 1.0,
        nominal_fits=nominal_fits,
    )


def _nothing_fits(
    arrays: CarArrays, kept: int, zones: ZoneArrays | None, names: Sequence[str]
) -> CannotTell:
    """Say what hardly any car of the stated ranges can do."""
    too_fast = [] if zones is None else _too_fast(arrays, zones, names)
    if too_fast:
        return CannotTell(
            "a setting for this car",
            because="hardly any car of the stated ranges takes these corners as typed: "
            + "; ".join(too_fast),
            would_settle="check speed and radius of these corners, then the grip and the downforce "
            "of the car",
        )
    return CannotTell(
        "a setting for this car",
        because=f"of {len(arrays.vector) - 1} cars inside the stated ranges only {kept} let go at "
        "the end that was named and are balanced in mid-corner as was told",
        would_settle="ask again which end lets go first in a straight stop at today's setting, and "
        "leave out what is not sure",
    )


def _too_fast(arrays: CarArrays, zones: ZoneArrays, names: Sequence[str]) -> list[str]:
    """The corners that fewer than a tenth of the cars can take at the speed typed."""
    able = apex_speeds(arrays, zones)
    asked = zones.zones[:, co.APEX_SPEED]
    hard = np.flatnonzero((able >= asked).mean(axis=0) < 0.1)
    best = np.quantile(able, 0.9, axis=0)
    kmh = [(KMH_PER_MPS * asked[z], KMH_PER_MPS * best[z]) for z in hard]
    called = [names[int(z)] if names else f"zone {z + 1}" for z in hard]
    return [
        f"{name} at {typed:.0f} km/h, where {able_:.0f} km/h is the most nine in ten can do"
        for name, (typed, able_) in zip(called, kmh, strict=True)
    ]


def _takes(arrays: CarArrays, zones: ZoneArrays | None) -> NDArray[np.bool_]:
    """Whether each car takes the corners at the speeds typed."""
    if zones is None:
        return np.ones(len(arrays.vector), dtype=np.bool_)
    fast = apex_speeds(arrays, zones) >= zones.zones[:, co.APEX_SPEED]
    return np.asarray(fast.all(axis=1), dtype=np.bool_)


def apex_speeds(arrays: CarArrays, zones: ZoneArrays) -> Floats:
    """The fastest each car can take each apex, shape (cars, zones). [m/s]"""
    scratch = np.zeros(tr.TRIM_SIZE)
    return np.array(
        [
            [
                motion.corner_speed(vector, table, road[0].copy(), scratch, 1.0)
                for road in zones.roads
            ]
            for vector, table in zip(arrays.vector, arrays.table, strict=True)
        ]
    )


def _lets_go_as_told(anchor: Anchor, arrays: CarArrays, crossover: Floats) -> NDArray[np.bool_]:
    at_anchor = np.array([np.interp(anchor.setting, arrays.settings, row) for row in arrays.share])
    ahead = at_anchor - crossover
    if anchor.first_to_let_go == "front":
        return ahead > -FITS_FRAC
    if anchor.first_to_let_go == "rear":
        return ahead < FITS_FRAC
    return np.ones(len(crossover), dtype=np.bool_)


MID_CORNER_PART: Final = {
    "pushes": (0.5, 1.0),
    "neutral": (0.2, 0.8),
    "loose": (0.0, 0.5),
}
"""Part of the sampled cars that fit what drivers say of the middle of a corner, from the loosest.

The cars are ranked by front minus rear use of side grip in a steady corner; no absolute number is
asked, because a class's own ranges lean to one side.
Common practice, no source.
"""

MID_CORNER_SPEED_MPS: Final = 30.0
MID_CORNER_SIDE_USE: Final = 0.95


def _balanced_as_told(anchor: Anchor, arrays: CarArrays) -> NDArray[np.bool_]:
    """Whether each car stands where the driver's word puts it among them; the nominal car does."""
    fits = np.ones(len(arrays.vector), dtype=np.bool_)
    if anchor.mid_corner is None or len(fits) < 3:
        return fits
    difference = np.array(
        [
            motion.mid_corner_difference(vector, table, MID_CORNER_SPEED_MPS, MID_CORNER_SIDE_USE)
            for vector, table in zip(arrays.vector, arrays.table, strict=True)
        ]
    )
    low, high = np.quantile(difference[1:], MID_CORNER_PART[anchor.mid_corner])
    fits[1:] = (difference[1:] >= low) & (difference[1:] <= high)
    return fits


@dataclass(frozen=True, eq=False)
class Passes:
    """The two passes of every zone and setting of one car; no driver changes them.

    Shapes (zones, settings, cost.HEAD_SIZE) and twice (zones, settings, cost.NODES,
    cost.NODE_SIZE).
    """

    heads: Floats
    low: Floats
    high: Floats


def limits(arrays: CarArrays, zones: ZoneArrays, side_use: float) -> Passes:
    """Solve the limits of the first car, zones shared between the threads."""
    places = (len(zones.zones), arrays.share.shape[1])
    found = Passes(
        np.zeros((*places, co.HEAD_SIZE)),
        np.zeros((*places, co.NODES, co.NODE_SIZE)),
        np.zeros((*places, co.NODES, co.NODE_SIZE)),
    )

    def one(i: int) -> None:
        kept = (found.heads[i], found.low[i], found.high[i])
        co.zone_limits(*_zone(arrays, zones, i), side_use, *kept)

    _share_out(one, places[0])
    return found


def costs(arrays: CarArrays, zones: ZoneArrays, driver: Floats, found: Passes) -> Floats:
    """Return the cells of the first car from its passes, shape (zones, settings, CELL_SIZE)."""
    cells = np.zeros((*found.heads.shape[:2], co.CELL_SIZE))

    def one(i: int) -> None:
        kept = (found.heads[i], found.low[i], found.high[i])
        co.zone_costs(*_zone(arrays, zones, i), driver, *kept, cells[i])

    _share_out(one, len(cells))
    return cells


def _zone(
    arrays: CarArrays, zones: ZoneArrays, i: int
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats]:
    car = (arrays.vector[0], arrays.table[0], arrays.share[0])
    return *car, zones.zones[i], zones.s[i], zones.roads[i], zones.reach[i]


def _share_out(one: Callable[[int], None], count: int) -> None:
    """Do a piece of work for each number below ``count``, this thread and others taking turns."""
    left = iter(range(count))

    def work() -> None:
        for i in left:
            one(i)

    with ThreadPoolExecutor(THREADS) as pool:
        others = [pool.submit(work) for _ in range(THREADS - 1)]
        work()
    for other in others:
        other.result()


def fields(
    arrays: CarArrays,
    zones: ZoneArrays,
    driver: Floats,
    side_use: float,
    progress: Callable[[int, int], None] = lambda done, of: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> Floats:
    """Return the cells of every car, shape (cars, zones, settings, cost.CELL_SIZE).

    Raises
    ------
    Cancelled
        If asked to stop between two cars.
    """
    cars, places = len(arrays.vector), (len(zones.zones), arrays.share.shape[1], co.CELL_SIZE)
    cells = np.zeros((cars, *places))

    def one(i: int) -> None:
        if cancelled():
            raise Cancelled
        co.field(
            arrays.vector[i],
            arrays.table[i],
            arrays.share[i],
            zones.zones,
            zones.s,
            zones.roads,
            zones.reach,
            side_use,
            driver,
            cells[i],
        )

    if cancelled():
        raise Cancelled
    cells[0] = costs(arrays, zones, driver, limits(arrays, zones, side_use))
    progress(1, cars)
    with ThreadPoolExecutor(THREADS) as pool:
        for done, _ in enumerate(pool.map(one, range(1, cars)), start=2):
            progress(done, cars)
    return cells
