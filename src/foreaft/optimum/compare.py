"""Several bands of shares on one stretch, so that a wider band is never slower than a narrower.

Which inside wheels slide is not searched: tried are none, and those that slide on the quasi-steady
way of each band inside; the fastest counts, and what a narrower band has found counts as well.
Where one of the quasi-steady ways coasts with an axle a little over its grip, as the trim lets it,
the same is granted to all bands; where all of them coast, all bands keep off the brakes, unless
that leaves one without an answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from foreaft.optimum.zone import Collocation, Flags, Floats, Solved, Steady, Stretch, steady_way

Band = tuple[float, float]

GRANT_MORE: Final = 1.1
"""Where a quasi-steady way takes grip that is not there all bands are granted this much of it.

A little more, because speeds differ a little.
"""

OVER_SAME: Final = 0.01
"""Missing grip does not count up to this part of its square, half a per cent of the grip.

It is what the rounded kinks of a wheel in the air may cost.
"""


@dataclass(frozen=True, eq=False)
class Way:
    """The fastest way through a stretch with the shares of a band.

    ``solved`` is None where the solver found none; ``statuses`` are its own words, try by try.
    """

    band: Band
    solved: Solved | None
    steady: Steady
    sliding: Flags
    statuses: tuple[str, ...]


def ways(one: Collocation, road: Stretch, bands: Sequence[Band]) -> list[Way]:
    """Return the fastest way for each band of shares, in the order given.

    Bands may be single shares, (0.6, 0.6); one that contains another is solved after it.
    """
    steady = {band: steady_way(one.car, one.table, road, *band) for band in set(bands)}
    beyond = np.array([way.beyond for way in steady.values()])
    granted, coasting = GRANT_MORE * beyond.max(axis=0), np.asarray((beyond > 0.0).all(axis=0))
    found = _nested(one, road, steady, granted, coasting)
    if coasting.any() and not all(_sound(way) for way in found.values()):
        found = _nested(one, road, steady, granted, np.zeros_like(coasting))
    return [found[band] for band in bands]


def _nested(
    one: Collocation, road: Stretch, steady: dict[Band, Steady], granted: Floats, coasting: Flags
) -> dict[Band, Way]:
    """The fastest way of every band, narrow ones first."""
    found: dict[Band, Way] = {}
    for band in sorted(steady, key=lambda band: (band[1] - band[0], band)):
        inside = [way for known, way in found.items() if _within(known, band)]
        found[band] = _way(one, road, band, steady[band], inside, granted, coasting)
        if coasting.any() and not _sound(found[band]):
            break  # it will be tried again without keeping off the brakes
    return found


def _sound(way: Way) -> bool:
    return way.solved is not None and way.solved.over_frac <= OVER_SAME


def _within(narrow: Band, wide: Band) -> bool:
    return wide[0] <= narrow[0] and narrow[1] <= wide[1]


def _way(
    one: Collocation,
    road: Stretch,
    band: Band,
    steady: Steady,
    inside: list[Way],
    granted: Floats,
    coasting: Flags,
) -> Way:
    none = np.zeros_like(steady.sliding)
    tries = [(none, one.plain_start(road, 0.5 * sum(band)))]
    for known in (steady, *(way.steady for way in inside)):
        if not any(np.array_equal(known.sliding, pattern) for pattern, _ in tries):
            tries.append((known.sliding, one.steady_start(road, known)))
    best, sliding, statuses = None, none, []
    for pattern, start in tries:
        tried = one.solve(road, *band, pattern, start, granted, coasting)
        statuses.append(tried.status)
        if tried.ok and _better(tried, best):
            best, sliding = tried, pattern
    for way in inside:
        if way.solved is not None and _better(way.solved, best):
            best, sliding = way.solved, way.sliding
    return Way(band, best, steady, sliding, tuple(statuses))


def _better(one: Solved, other: Solved | None) -> bool:
    """Less missing grip first, as far as it counts, then less time."""
    return other is None or _rank(one) < _rank(other)


def _rank(one: Solved) -> tuple[float, float]:
    return max(one.over_frac - OVER_SAME, 0.0), one.time_s
