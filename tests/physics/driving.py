"""A bench for the transient car: rows, a loop, and the ways to hold it that the checks want."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from foreaft.model.car import Car, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import envelope as env
from foreaft.physics import layout as at
from foreaft.physics import transient as tc
from foreaft.physics import trim as tr

STEP_S = 0.001


class Bench:
    """One car with the rows its kernels want; a left turn is positive, as everywhere."""

    def __init__(self, car: np.ndarray, table: np.ndarray, speed: float, share: float = 0.7):
        self.car, self.table = np.ascontiguousarray(car), np.ascontiguousarray(table)
        self.state = np.zeros(tc.STATE_SIZE)
        self.controls, self.road = np.zeros(tc.CONTROLS_SIZE), np.zeros(tc.ROAD_SIZE)
        self.out, self.work = np.zeros(tc.OUT_SIZE), np.zeros(tc.WORKS)
        self.rate, self.ways = np.zeros(tc.STATE_SIZE), np.zeros(6)
        self.scratch = np.zeros(tc.SCRATCH_SHAPE)
        self.road[tc.GRIP] = 1.0
        self.controls[tc.CLUTCH], self.controls[tc.SHARE] = 1.0, share
        self.time = 0.0
        assert tc.settle(self.car, self.table, speed, self.road, self.state) == tc.FINE

    @property
    def speed(self) -> float:
        return float(self.state[tc.VX])

    @property
    def past_peak(self) -> np.ndarray:
        return self.out[tc.PAST_PEAK : tc.PAST_PEAK + 4]

    def set(self, **controls: float) -> Bench:
        """Set controls or road by the names of their places."""
        for name, value in controls.items():
            row = self.road if name in ("GRADE", "BANK", "VERTICAL", "GRIP") else self.controls
            row[getattr(tc, name)] = value
        return self

    def step(self, dt: float = STEP_S) -> int:
        status = tc.step(
            self.car,
            self.table,
            self.state,
            self.controls,
            self.road,
            dt,
            self.out,
            self.work,
            self.scratch,
        )
        self.time += dt
        return status

    def run(
        self,
        seconds: float,
        each: Callable[[Bench], object] = lambda _: None,
        dt: float = STEP_S,
    ) -> Bench:
        """Run on; ``each`` is called before every step and ends the run by returning True."""
        for _ in range(round(seconds / dt)):
            if each(self):
                break
            assert self.step(dt) == tc.FINE
        return self

    def derivative(self, state: np.ndarray) -> np.ndarray:
        """Give the rates of a state under the controls and the road as they are."""
        tc.derivative(
            self.car, self.table, state, self.controls, self.road, self.rate, self.out, self.ways
        )
        return self.rate.copy()


def arrays(car: Car) -> tuple[np.ndarray, np.ndarray]:
    """Give vector and table of a nominal car in the dry, whichever way its adjuster counts."""
    if car.adjuster is not None and car.adjuster.higher_means is None:
        car = car.replace(adjuster=car.adjuster.replace(higher_means="front"))
    conditions = Conditions.model_validate({"schema": "foreaft.conditions/1"})
    found = vectors(car, draw(car, 0, 0), conditions)
    return found.vector[0].copy(), found.table[0].copy()


def straight_road(speed: float) -> np.ndarray:
    """A level straight as the trim reads it."""
    road = np.zeros(tr.ROAD_SIZE)
    road[tr.SPEED], road[tr.GRIP] = speed, 1.0
    return road


def quasi_limit(
    car: np.ndarray, table: np.ndarray, share: float, speed: float
) -> tuple[float, float, int]:
    """Give pedal, deceleration and axle of the quasi-steady limit on a level straight."""
    road, out, found = straight_road(speed), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    env.limits(car, table, share, road, out, found)
    pedal = min(found[env.FRONT], found[env.REAR])
    tr.trim(car, table, share, pedal, road, out)
    return pedal, out[tr.DECEL], 0 if found[env.FRONT] <= found[env.REAR] else 1


def brake_straight(
    car: np.ndarray,
    table: np.ndarray,
    share: float,
    part: float,
    speeds: tuple[float, float],
    rise_1ps: float = 0.0,
) -> tuple[Bench, int | None]:
    """Brake straight at a part of the quasi-steady limit pedal of each speed, which may rise.

    The pedal comes in over two seconds, so that brakes and loads lag by next to nothing.
    Returns the bench and the axle that first has a wheel past its peak, None where none has.
    """
    grid = np.linspace(speeds[1] - 2.0, speeds[0], 25)
    limit = [quasi_limit(car, table, share, v)[0] for v in grid]
    bench = Bench(car, table, speeds[0], share)

    def brake(b: Bench) -> bool:
        come = 0.5 - 0.5 * np.cos(np.pi * min(b.time / 2.0, 1.0))
        reach = part * come + rise_1ps * max(b.time - 2.0, 0.0)
        b.controls[tc.PEDAL] = reach * np.interp(b.speed, grid, limit)
        return bool(b.past_peak.any()) or b.speed < speeds[1]

    bench.run(30.0, brake)
    return bench, (int(np.argmax(bench.past_peak)) // 2 if bench.past_peak.any() else None)


def settle_on_circle(bench: Bench, radius: float, speed: float, seconds: float = 8.0) -> Bench:
    """Bring a car onto a circle to the left at a steady speed; steer and throttle stay as found."""
    c = bench.controls
    c[tc.STEER] = bench.car[at.WHEELBASE] / radius
    c[tc.THROTTLE] = tc.cruise_throttle(bench.car, bench.road, speed)
    sums = [0.0, c[tc.THROTTLE]]

    def hold(b: Bench) -> None:
        s = b.state
        missing = speed / radius * min(b.time, 1.0) - s[tc.YAW_RATE]
        sums[0] += 0.6 * missing * STEP_S
        slow = speed - np.hypot(s[tc.VX], s[tc.VY])
        sums[1] += 0.3 * slow * STEP_S
        c[tc.STEER] = b.car[at.WHEELBASE] / radius * min(b.time, 1.0) + sums[0] + 0.1 * missing
        c[tc.THROTTLE] = min(max(sums[1] + 0.3 * slow, 0.0), 1.0)

    return bench.run(seconds, hold)


def circle_centre(bench: Bench, radius: float) -> tuple[float, float]:
    """Give the centre of a circle to the left that the car runs along at this moment."""
    s = bench.state
    course = s[tc.HEADING] + np.arctan2(s[tc.VY], s[tc.VX])
    return s[tc.X] - radius * np.sin(course), s[tc.Y] + radius * np.cos(course)


def turn_braking(
    car: np.ndarray, table: np.ndarray, share: float, pedal: float, radius: float, speed: float
) -> dict[str, float]:
    """Brake out of a steady circle with the steering held, as ISO 7975 does; what is so 1 s later.

    Returns
    -------
    dict
        Mean deceleration [m/s2] over the second, yaw rate over what it was, over what the speed
        kept on the circle would want, distance outside the circle [m], highest use of any wheel.
    """
    bench = settle_on_circle(Bench(car, table, speed, share), radius, speed)
    centre = circle_centre(bench, radius)
    before = float(bench.state[tc.YAW_RATE])
    bench.set(THROTTLE=0.0, PEDAL=pedal)
    worst = [0.0]

    def watch(b: Bench) -> None:
        worst[0] = max(worst[0], float(b.out[tc.USE : tc.USE + 4].max()))

    bench.run(1.0, watch)
    s = bench.state
    now = float(np.hypot(s[tc.VX], s[tc.VY]))
    return {
        "decel_mps2": speed - now,
        "yaw_ratio": float(s[tc.YAW_RATE]) / before,
        "yaw_over_circle": float(s[tc.YAW_RATE]) / (now / radius),
        "outside_m": float(np.hypot(s[tc.X] - centre[0], s[tc.Y] - centre[1])) - radius,
        "highest_use": worst[0],
    }
