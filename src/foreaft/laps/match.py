"""The same zone on every lap, whoever drives: brakings brought together by the corner they end in.

A braking belongs to the corner whose apex lies nearest to its lowest speed, and a zone is a corner
that is braked for on most laps.
Zones that are known already, of a plan or of a circuit's own list, keep their ids and names where
their apex lies within 30 m.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from foreaft.base.errors import CannotTell
from foreaft.laps.brakings import LAG_S, Braking, cut_apart
from foreaft.laps.path import (
    SIGNATURE_LEAST,
    Path,
    along_by_signature,
    follow,
    phase,
    reference_signature,
    signature,
)
from foreaft.laps.series import Floats, Series
from foreaft.laps.split import Lap, Split
from foreaft.track.cut import MATCH_M, Corner, corners
from foreaft.track.stations import Stations, short_way

OFTEN_FRAC: Final = 0.3
"""A corner braked for on fewer of the whole laps is no zone: a mistake, or traffic (assumption)."""

TURNING_FRAC: Final = 0.3
"""Turning in begins where cornering takes this part of what the apex takes, as for a plan."""

NEAREST_M: Final = 120.0
"""A lowest speed further from any apex than this belongs to no corner."""

PIECE_MOST: Final = 0.05
"""A piece this much longer than a lap has been somewhere else."""


@dataclass(frozen=True)
class Zone:
    """A braking zone of a circuit as it is driven; places along the circuit's line.

    `entry_s_m` lies before the earliest brake point, `exit_s_m` after the apex: times are compared
    between the two.
    """

    zone_id: str
    name: str
    direction: str
    brake_s_m: float
    turn_in_s_m: float
    apex_s_m: float
    apex_radius_m: float
    entry_s_m: float
    exit_s_m: float


@dataclass(frozen=True)
class Known:
    """What of a zone is known before it is driven: its id, its name, its apex and its turn-in."""

    zone_id: str
    name: str
    apex_s_m: float
    turn_in_s_m: float | None = None


@dataclass(frozen=True)
class Pass:
    """One braking for one zone on one lap."""

    lap_id: str
    zone_id: str
    braking: Braking


@dataclass(frozen=True, eq=False)
class Placed:
    """A session along a circuit: place of every sample, counted on over the laps; NaN off them.

    `s_m` grows past the circuit's length from lap to lap (the lap number times its length).
    """

    series: Series
    split: Split
    stations: Stations
    s_m: Floats
    offset_m: Floats | None

    def place(self, sample: float) -> float:
        """Place along the lap at a sample, fractions allowed. [m]"""
        low = int(sample)
        high = min(low + 1, len(self.s_m) - 1)
        here = self.s_m[low] + (sample - low) * (self.s_m[high] - self.s_m[low])
        return float(here % self.stations.length_m)


def place_along(series: Series, path: Path, split: Split, stations: Stations) -> Placed:
    """Give every sample its place along the circuit.

    With position by following it; else each whole lap by its distance and the curvature of its
    corners.

    Raises
    ------
    CannotTell
        If, without position, the laps' curvature does not match the circuit's.
    """
    length = stations.length_m
    if not path.drawn:
        s, offset = follow(path, stations)
        laps = np.concatenate(([0.0], np.cumsum(np.round(np.diff(s) / -length))))
        s = s + laps * length
        known = np.ones(len(s), dtype=bool) if series.x_m is None else np.isfinite(series.x_m)
        if known.any() and not known.all():  # a drop-out is crossed by the distance driven
            s = np.interp(series.distance_m, series.distance_m[known], s[known])
            offset = np.where(known, offset, np.nan)
        return Placed(series, split, stations, s, offset)
    s = np.full(len(series.time_s), np.nan)
    began = _began(series, split.whole, reference_signature(stations))
    for number, lap in enumerate(split.laps):
        first, last = int(series.index(lap.start_s)), int(series.index(lap.end_s))
        own = float(series.distance_m[last] - series.distance_m[first])
        starts, part = began, 1.0
        if lap.kind not in ("full", "slow"):
            # Of a piece at least one end is a mark; it is as long as its distance says.
            part = own / split.length_m
            if number == 0:
                starts = began + 1.0 - part
        if part > 1.0 + PIECE_MOST or own <= 0.0:
            continue
        along = along_by_signature(series, stations, first, last, starts, part)
        s[first : last + 1] = along + number * length
    return Placed(series, split, stations, s, None)


def _began(series: Series, laps: Sequence[Lap], reference: Floats) -> float:
    """Where on the circuit laps begin, as a part of it: what most of them say."""
    found = []
    for lap in laps[:20]:
        first, last = int(series.index(lap.start_s)), int(series.index(lap.end_s))
        at, alike = phase(signature(series, first, last), reference)
        if alike >= SIGNATURE_LEAST:
            found.append(at)
    if not found:
        raise CannotTell(
            "where on the circuit the car was",
            because="the curvature of its laps does not match the circuit's",
            would_settle="the right circuit file, one driven the same way round; or GPS position",
        )
    angle = float(np.angle(np.exp(2j * np.pi * np.array(found)).mean()))
    return angle / (2.0 * np.pi)


def passes_of(
    placed: Placed,
    found: Sequence[Braking],
    known: Sequence[Known] = (),
    zones: Sequence[Zone] | None = None,
    lag_s: float = LAG_S,
) -> tuple[tuple[Zone, ...], tuple[Pass, ...]]:
    """Zones of a session and each braking that belongs to one.

    Parameters
    ----------
    placed : Placed
    found : sequence of Braking
    known : sequence of Known
        Zones with ids and names to keep, and turn-ins set by hand or by the plan.
    zones : sequence of Zone, optional
        Zones of another session to match to, instead of finding one's own.
    """
    bends = corners(placed.stations)
    by_corner: dict[int, list[tuple[Lap, Braking]]] = {}
    for braking in [part for one in found for part in _apart_at_apexes(placed, one, bends, lag_s)]:
        lap = _lap_at(placed, braking)
        corner = _corner_at(placed, braking, bends)
        if lap is not None and corner is not None:
            by_corner.setdefault(corner, []).append((lap, braking))
    by_corner = _joined(by_corner, bends, placed)
    if zones is None:
        zones = _zones(placed, by_corner, bends, known)
    made: list[Pass] = []
    for corner, members in by_corner.items():
        zone = _nearest(zones, bends[corner].apex_s_m, placed.stations.length_m)
        if zone is None:
            continue
        best: dict[str, Braking] = {}
        for lap, braking in members:  # of two brakings for one corner on one lap the harder
            kept = best.get(lap.lap_id)
            if kept is None or _loss(placed, braking) > _loss(placed, kept):
                best[lap.lap_id] = braking
        made += [Pass(lap_id, zone.zone_id, braking) for lap_id, braking in best.items()]
    order = {zone.zone_id: i for i, zone in enumerate(zones)}
    made.sort(key=lambda one: (one.lap_id, order[one.zone_id]))
    return tuple(zones), tuple(made)


def _apart_at_apexes(
    placed: Placed, one: Braking, bends: Sequence[Corner], lag_s: float
) -> tuple[Braking, ...]:
    """A braking whose stabs lie on both sides of an apex is two, if each loses enough."""
    if len(one.stabs) < 2:
        return (one,)
    length = placed.stations.length_m
    cuts = []
    for number, ((_, a), (b, _)) in enumerate(pairwise(one.stabs), 1):
        here, gap = placed.s_m[a], placed.s_m[b] - placed.s_m[a]
        if np.isfinite(gap) and any(0.0 < (c.apex_s_m - here) % length < gap for c in bends):
            cuts.append(number)
    return cut_apart(placed.series, one, cuts, lag_s) if cuts else (one,)


def _joined(
    by_corner: dict[int, list[tuple[Lap, Braking]]], bends: Sequence[Corner], placed: Placed
) -> dict[int, list[tuple[Lap, Braking]]]:
    """Corners of one bend brought together: apexes within 30 m, or never both braked for.

    A long corner has two apexes that differ by less than the line does from lap to lap, and the
    lowest speed falls now nearer to one, now to the other.
    """
    length = placed.stations.length_m
    order = sorted(by_corner, key=lambda corner: -len(by_corner[corner]))
    joined: dict[int, list[tuple[Lap, Braking]]] = {}
    for corner in order:
        members = by_corner[corner]
        into = None
        for other, theirs in joined.items():
            same = abs(short_way(bends[corner].apex_s_m, bends[other].apex_s_m, length)) < MATCH_M
            laps = {lap.lap_id for lap, _ in members}
            both = laps & {lap.lap_id for lap, _ in theirs}
            mine = float(np.nanmedian([placed.place(b.start) for _, b in members]))
            other_s = float(np.nanmedian([placed.place(b.start) for _, b in theirs]))
            if same or (not both and abs(short_way(mine, other_s, length)) < MATCH_M):
                into = other
                break
        if into is None:
            joined[corner] = list(members)
        else:
            joined[into] += members
    return joined


def _loss(placed: Placed, braking: Braking) -> float:
    speed = placed.series.speed_mps
    return float(speed[int(braking.start)] - speed[braking.low])


def _lap_at(placed: Placed, braking: Braking) -> Lap | None:
    """The lap a braking's lowest speed lies in; ways in and out count for nothing here."""
    time = float(placed.series.time_s[braking.low])
    for lap in placed.split.laps:
        if lap.start_s <= time < lap.end_s:
            return lap
    return None


def _corner_at(placed: Placed, braking: Braking, bends: Sequence[Corner]) -> int | None:
    if not np.isfinite(placed.s_m[braking.low]) or not bends:
        return None
    here, length = placed.place(braking.low), placed.stations.length_m
    gaps = [abs(short_way(bend.apex_s_m, here, length)) for bend in bends]
    best = int(np.argmin(gaps))
    return best if gaps[best] < NEAREST_M else None


def _nearest(zones: Sequence[Zone], apex: float, length: float) -> Zone | None:
    best = min(zones, key=lambda z: abs(short_way(z.apex_s_m, apex, length)), default=None)
    if best is None or abs(short_way(best.apex_s_m, apex, length)) > MATCH_M:
        return None
    return best


def _zones(
    placed: Placed,
    by_corner: dict[int, list[tuple[Lap, Braking]]],
    bends: Sequence[Corner],
    known: Sequence[Known],
) -> tuple[Zone, ...]:
    """A zone for every corner that is braked for on enough of the whole laps."""
    length = placed.stations.length_m
    whole = {lap.lap_id for lap in placed.split.whole or placed.split.laps}
    often = []
    for corner, members in by_corner.items():
        laps = {
            lap.lap_id
            for lap, braking in members
            if lap.lap_id in whole and np.isfinite(placed.place(braking.start))
        }
        if len(laps) >= max(1, OFTEN_FRAC * len(whole)):
            often.append(corner)
    often.sort(key=lambda corner: bends[corner].apex_s_m)
    rough = []
    for corner in often:
        apex = bends[corner].apex_s_m
        brakes = [short_way(placed.place(b.start), apex, length) for _, b in by_corner[corner]]
        known_ones = [one for one in brakes if np.isfinite(one)]
        rough.append((apex, min(known_ones), float(np.median(known_ones))))
    zones: list[Zone] = []
    taken: set[str] = set()
    for i, corner in enumerate(often):
        apex, earliest, usual = rough[i]
        following = rough[(i + 1) % len(rough)]
        room = (following[0] - apex) % length or length
        exit_m = min(0.5 * max(room + following[1], 0.0), EXIT_M)
        before = rough[i - 1]
        gap = (apex - before[0]) % length or length
        entry = max(earliest - BEFORE_M, -gap + min(EXIT_M, 0.5 * max(gap + earliest, 0.0)))
        face = _known(known, apex, length, taken)
        zone_id = face.zone_id if face else _new_id(known, taken, i)
        taken.add(zone_id)
        turn_in = face.turn_in_s_m if face and face.turn_in_s_m is not None else None
        if turn_in is None:
            turn_in = (apex + _turn_in(placed, by_corner[corner], bends[corner])) % length
        zones.append(
            Zone(
                zone_id=zone_id,
                name=face.name if face else f"Zone {i + 1}",
                direction=bends[corner].direction,
                brake_s_m=(apex + usual) % length,
                turn_in_s_m=turn_in,
                apex_s_m=apex,
                apex_radius_m=bends[corner].radius_m,
                entry_s_m=(apex + entry) % length,
                exit_s_m=(apex + exit_m) % length,
            )
        )
    return tuple(zones)


EXIT_M: Final = 100.0
BEFORE_M: Final = 10.0
"""Times of a zone run from 10 m before the earliest brake point to half way to the next one, at
most 100 m past the apex: a late apex that pays on the way out is seen to pay."""


def _known(known: Sequence[Known], apex: float, length: float, taken: set[str]) -> Known | None:
    near = [
        (abs(short_way(one.apex_s_m, apex, length)), one)
        for one in known
        if one.zone_id not in taken
    ]
    if not near:
        return None
    gap, best = min(near, key=lambda pair: pair[0])
    return best if gap <= MATCH_M else None


def _new_id(known: Sequence[Known], taken: set[str], number: int) -> str:
    """An id no known zone has; plain numbers where there are no known ones."""
    used = {one.zone_id for one in known} | taken
    for count in range(number + 1, number + 200):
        name = f"z{count:02d}" if not known else f"extra-{count:02d}"
        if name not in used:
            return name
    raise AssertionError("more zones than a lap can have")


def _turn_in(placed: Placed, members: Sequence[tuple[Lap, Braking]], bend: Corner) -> float:
    """Where the usual pass begins to turn, from the apex, negative before it. [m]"""
    stations, length = placed.stations, placed.stations.length_m
    apex = bend.apex_s_m
    back = np.arange(0.0, 250.0, 1.0)
    kappa = np.abs(np.interp((apex - back) % length, stations.s_m, stations.curvature_1pm))
    found = []
    for _, braking in members[:30]:
        first, last = max(int(braking.start) - 5, 0), braking.low + round(placed.series.rate_hz)
        part = slice(first, min(last, len(placed.s_m)))
        s = placed.s_m[part] - placed.s_m[braking.low] + placed.place(braking.low)
        good = np.isfinite(s)
        if good.sum() < 3:
            continue
        s = s[good] - apex
        s = s - length * np.round(np.median(s) / length)
        speed = np.interp(-back, s, placed.series.speed_mps[part][good])
        side = kappa * speed**2
        below = np.flatnonzero(side < TURNING_FRAC * side[0])
        found.append(-float(back[below[0]]) if len(below) else -float(back[-1]))
    return float(np.median(found)) if found else -30.0
