"""Several bands of shares on one stretch, so that a wider band is never slower than a narrower.

Which inside wheels slide is not searched: tried are none, and those that slide on the quasi-steady
way of each band inside; the fastest counts, and what a narrower band has found counts as well.
Where one of the quasi-steady ways coasts with an axle a little over its grip, as the trim lets it,
the same is granted to all bands.
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
    order = sorted(range(len(bands)), key=lambda i: (bands[i][1] - bands[i][0], bands[i]))
    steady = {band: steady_way(one.car, one.table, road, *band) for band in set(bands)}
    beyond = np.max([way.beyond for way in steady.values()], axis=0)
    granted = np.where(beyond > 0.0, GRANT_MORE * beyond, 0.0)
    found: dict[Band, Way] = {}
    for i in order:
        if bands[i] not in found:
            inside = [way for band, way in found.items() if _within(band, bands[i])]
            found[bands[i]] = _way(one, road, bands[i], steady[bands[i]], inside, granted)
    return [found[band] for band in bands]


def _within(narrow: Band, wide: Band) -> bool:
    return wide[0] <= narrow[0] and narrow[1] <= wide[1]


def _way(
    one: Collocation,
    road: Stretch,
    band: Band,
    steady: Steady,
    inside: list[Way],
    granted: Floats,
) -> Way:
    none = np.zeros_like(steady.sliding)
    tries = [(none, one.plain_start(road, 0.5 * sum(band)))]
    for known in (steady, *(way.steady for way in inside)):
        if not any(np.array_equal(known.sliding, pattern) for pattern, _ in tries):
            tries.append((known.sliding, one.steady_start(road, known)))
    best, sliding, statuses = None, none, []
    for pattern, start in tries:
        tried = one.solve(road, *band, sliding=pattern, start=start, granted=granted)
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
