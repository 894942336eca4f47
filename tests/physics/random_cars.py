"""Random cars and roads within what the classes of racing cars span (common practice, no source).

Strategies for the property tests, and the same ranges drawn from a seed where a share of cases is
counted.
"""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from physics.slow_car import Car, Road, Tyre

ENDLESS = 1e9  # a track width without lateral load transfer; infinity would give inf * 0


class Drawn:
    """Numbers from a hypothesis draw or from a seeded generator, in the same order."""

    def __init__(self, uniform, choose):
        self.uniform, self.choose = uniform, choose


def from_seed(seed: int) -> Drawn:
    rng = np.random.default_rng(seed)
    return Drawn(lambda a, b: float(rng.uniform(a, b)), lambda xs: xs[int(rng.integers(len(xs)))])


def from_hypothesis(draw) -> Drawn:
    return Drawn(lambda a, b: draw(st.floats(a, b)), lambda xs: draw(st.sampled_from(xs)))


def tyre(d: Drawn) -> Tyre:
    along = d.uniform(1.0, 1.9)
    return Tyre(
        mu_x=along,
        mu_y=along * d.uniform(0.92, 1.05),
        fall=d.uniform(0.0, 0.18),
        load_ref=d.uniform(2500.0, 4500.0),
        sliding=d.uniform(0.7, 0.85),
        peak_slip=d.uniform(0.06, 0.14),
    )


def car(d: Drawn) -> Car:
    return Car(
        mass=d.uniform(550.0, 1450.0),
        front_weight=d.uniform(0.41, 0.62),
        height=d.uniform(0.28, 0.55),
        wheelbase=d.uniform(2.2, 2.9),
        tracks=(d.uniform(1.3, 1.7), d.uniform(1.3, 1.7)),
        yaw_inertia=d.uniform(500.0, 2400.0),
        roll_front=d.uniform(0.35, 0.7),
        drag_area=d.uniform(0.4, 1.2),
        lift_area=d.uniform(-0.2, 3.5),
        aero_front=d.uniform(0.3, 0.5),
        aero_shift=d.uniform(0.0, 0.05),
        drag_height=d.uniform(0.2, 0.8),
        inertias=(d.uniform(0.3, 1.2), d.uniform(0.3, 1.2)),
        drive_front=d.choose([0.0, 1.0, 0.4]),
        coupling=d.choose([0.0, 600.0, 3000.0]),
        thresholds=(d.uniform(0.0, 150.0), d.uniform(0.0, 150.0)),
        knee=d.choose([float("inf"), 2000.0]),
        slope=d.uniform(0.2, 0.8),
        engine_forces=tuple(d.uniform(300.0, 2000.0) for _ in range(6)),
        engine_masses=tuple(d.uniform(10.0, 80.0) for _ in range(6)),
        tyres=(tyre(d), tyre(d)),
    )


def road(d: Drawn, of: Car) -> Road:
    """A straight or a turn below the side limit, on a hill or banked, over a crest or a dip."""
    speed = d.uniform(12.0, 75.0)
    grip = min(tyre.mu_y for tyre in of.tyres)
    lateral = d.choose([0.0, 1.0, 1.0]) * d.uniform(0.0, 1.1) * grip * 9.81
    curvature = lateral / speed**2
    hill = d.choose([True, False])
    return Road(
        speed=speed,
        curvature=curvature,
        rate=d.uniform(-1.0, 1.0) * curvature / (0.7 * speed),
        grade=d.uniform(-0.1, 0.1) if hill else 0.0,
        bank=0.0 if hill else d.uniform(-0.05, 0.25),
        vertical=d.uniform(-5e-4, 5e-4),
        grip=d.uniform(0.6, 1.05),
        gear_floor=d.choose([0.0, 30.0]),
    )


@st.composite
def cases(draw):
    """A car, a road, and a front share."""
    d = from_hypothesis(draw)
    one = car(d)
    return one, road(d, one), d.uniform(0.4, 0.9)
