"""One braking zone driven slowly: the demand of the decisions, fine steps, ``brentq`` limits.

Written from docs/decisions (depth is two numbers) and docs/theory/human.md, on the slow car.
The road: a straight, then curvature that grows evenly from turn-in to the apex.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from foreaft.plan import cost as co
from physics import slow_car as slow

EASE_TIME = 0.35
"""Time over which the pedal is eased before turn-in (docs/theory/human.md, common practice)."""

GRADING = 1.3
"""Nodes before turn-in stand closer near it."""


@dataclass(frozen=True)
class Zone:
    approach: float = 60.0
    apex_speed: float = 25.0
    radius: float = 55.0
    turn: float = 45.0
    depth: float = 0.7
    carried: float = 0.5
    straight: float = 260.0
    severity: float = 1.0
    scatter: float = 1.0
    grade: float = 0.0

    def release(self) -> float:
        return self.turn * (1.0 - self.depth)

    def road(self, s: float, speed: float = 0.0) -> slow.Road:
        """What the car meets at a distance before the apex."""
        top = 1.0 / self.radius
        if s >= self.turn:
            return slow.Road(speed, grade=self.grade)
        curvature = top * (1.0 - s / self.turn)
        return slow.Road(speed, curvature, top / self.turn, grade=self.grade)

    # --- as the kernel reads it -----------------------------------------------------------------

    def row(self) -> np.ndarray:
        row = np.zeros(co.ZONE_SIZE)
        row[co.APPROACH], row[co.APEX_SPEED] = self.approach, self.apex_speed
        row[co.TURN_IN], row[co.RELEASE] = self.turn, self.release()
        row[co.AT_TURN_IN] = self.carried
        row[co.SEVERITY_STRAIGHT] = row[co.SEVERITY_TURNING] = self.severity
        row[co.SCATTER] = self.scatter
        return row

    def nodes(self) -> np.ndarray:
        turning = np.linspace(0.0, self.turn, co.NODES_TURNING + 1)[:-1]
        even = np.linspace(0.0, 1.0, co.NODES_STRAIGHT + 1)
        return np.concatenate([turning, self.turn + self.straight * even**GRADING])

    def rows(self, s: np.ndarray) -> np.ndarray:
        return np.array([self.road(float(x)).row() for x in s])

    def reach(self, s: np.ndarray) -> np.ndarray:
        return np.full(len(s), self.approach)


def demand(zone: Zone, s: float, limit: float, peak: float, uses, turning=None) -> float:
    """Planned level; eased to what is carried by turn-in; then linear to nothing at release.

    At turn-in the pedal may jump; ``turning`` says on which side of it the car is, where both are
    meant.
    """
    if s < zone.turn if turning is None else turning:
        if s <= zone.release():
            return 0.0
        left = (s - zone.release()) / (zone.turn - zone.release())
        return min(peak * zone.carried * left, uses[1] * limit)
    ease = EASE_TIME * 0.5 * (zone.approach + zone.apex_speed)
    risen = min((s - zone.turn) / ease, 1.0)
    return min(peak * (zone.carried + (1.0 - zone.carried) * risen), uses[0] * limit)


def drive(car: slow.Car, share: float, zone: Zone, uses, step: float = 1.0):
    """Time from the furthest node to the apex, and brake distance; back from the apex by Heun."""
    far = zone.turn + zone.straight
    first = slow.limit(car, share, slow.Road(zone.approach, grade=zone.grade))
    peak, near = uses[0] * first, first

    def slowing(s: float, v: float, turning: bool) -> float:
        nonlocal near
        road = zone.road(s, v)
        near = slow.limit(car, share, road, near)
        return slow.trim(car, share, demand(zone, s, near, peak, uses, turning), road).decel

    def advance(s: float, v2: float, ahead: float, turning: bool) -> float:
        a = slowing(s, sqrt(v2), turning)
        end = slowing(s + ahead, sqrt(v2 + 2.0 * a * ahead), turning)
        return v2 + (a + end) * ahead

    # Steps end where the demand bends, so that none straddles a kink.
    ease = zone.turn + EASE_TIME * 0.5 * (zone.approach + zone.apex_speed)
    marks = sorted({zone.release(), zone.turn, ease, far})
    v2, s, time, top2 = zone.apex_speed**2, 0.0, 0.0, zone.approach**2
    for mark in marks:
        count = max(int(np.ceil((mark - s) / step)), 1) if mark > s else 0
        ahead = (mark - s) / count if count else 0.0
        for _ in range(count):
            new = advance(s, v2, ahead, mark <= zone.turn)
            if new >= top2:
                part = (top2 - v2) / (new - v2) * ahead
                time += 2.0 * part / (sqrt(v2) + zone.approach)
                return time + (far - s - part) / zone.approach, s + part
            time += 2.0 * ahead / (sqrt(v2) + sqrt(new))
            v2, s = new, s + ahead
    raise AssertionError("this zone is too short for this setting")


def variants() -> list[tuple[slow.Car, Zone, float]]:
    """Twenty cases: cars with and without air, straight stops to deep entries, five settings."""
    tyres = (slow.Tyre(fall=0.08, load_ref=2800.0), slow.Tyre(fall=0.08, load_ref=3600.0))
    winged = slow.Car(
        lift_area=3.0,
        drag_area=1.1,
        tyres=tyres,
        inertias=(0.9, 0.9),
        engine_forces=(1100.0, 1000.0, 900.0, 800.0, 700.0, 650.0),
        engine_masses=(60.0, 45.0, 30.0, 20.0, 15.0, 12.0),
        coupling=600.0,
    )
    plain = slow.Car(tyres=tyres, drag_area=0.7, thresholds=(40.0, 60.0))
    zones = [
        (winged, Zone(approach=70.0, apex_speed=22.0, radius=45.0, turn=30.0, depth=0.2)),
        (winged, Zone(approach=60.0, apex_speed=32.0, radius=80.0, turn=70.0, depth=0.9)),
        (plain, Zone(approach=45.0, apex_speed=20.0, radius=40.0, turn=35.0, depth=0.6)),
        (plain, Zone(approach=55.0, apex_speed=30.0, radius=80.0, turn=60.0, carried=0.3)),
    ]
    return [
        (car, replace(zone, grade=0.02 * (i - 1)), share)
        for i, (car, zone) in enumerate(zones)
        for share in (0.60, 0.645, 0.69, 0.735, 0.78)
    ]
