"""Runs invented for the tests of the demonstration: shapes a run may take, no claim about any car.

A point on a line with a car about it: it brakes, turns in, and a wheel is said to lock or the tail
to come round, by formulas of time alone.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi
from typing import Any

import numpy as np

from foreaft.drive.scene import CarSize, Run, Scene, Spot
from foreaft.drive.trace import Floats, Happening, Outcome, Trace
from foreaft.report.words import cautions

STEP_S = 0.01
STRAIGHT_M = 150.0
RADIUS_M = 45.0
BEFORE_M = 60.0
BRAKE_M, TURN_IN_M, RELEASE_M, APEX_M = 60.0, 135.0, 165.0, 185.0


def line() -> tuple[Floats, Floats, Floats, Floats]:
    """Give distance, place and heading of a straight that runs into a left turn."""
    s = np.arange(0.0, 260.5, 1.0)
    turned = np.clip(s - STRAIGHT_M, 0.0, RADIUS_M * 0.75 * pi)
    heading = turned / RADIUS_M
    x = np.concatenate([[0.0], np.cumsum(np.cos(heading[:-1]))])
    y = np.concatenate([[0.0], np.cumsum(np.sin(heading[:-1]))])
    return s, x, y, heading


def _speed(time: Floats, loss: float) -> Floats:
    """Speed: held for a second, then braked down to the turn, then held."""
    return np.clip(55.0 - (13.0 - loss) * np.clip(time - 1.1, 0.0, None), 24.0, None)


def trace(kind: str = "clean", seconds: float = 6.0, start_s: float = 0.0) -> Trace:
    """Invent a run: ``clean``, ``lock_up`` of the inside front, or ``rotation``."""
    time = np.arange(0.0, seconds + 0.5 * STEP_S, STEP_S)
    count = len(time)
    speed = _speed(time, 1.4 if kind == "lock_up" else 0.0)
    s = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * STEP_S)])
    s_line, x_line, y_line, heading_line = line()
    s = np.minimum(s, s_line[-1])
    heading = np.interp(s, s_line, heading_line)
    wide = 0.0 * time
    turned = 0.0 * time
    state = np.zeros((count, 4), dtype=np.int8)
    braking = (time > 1.1) & (speed > 24.5)
    state[braking] = 1
    state[braking & (time < 1.5), 2:] = 0
    slip = np.where(braking[:, None], -0.08, 0.0) * np.ones((count, 4))
    if kind == "lock_up":
        wide = -2.2 * np.clip((time - 2.6) / 2.0, 0.0, 1.0) ** 2
        state[(time > 2.5) & (time < 3.1), 0] = 3
        state[(time > 3.1) & (time < 3.5), 0] = 2
        slip[(time > 2.5) & (time < 3.1), 0] = -1.0
    if kind == "rotation":
        turned = 1.9 * np.clip((time - 2.9) / 1.2, 0.0, 1.0) ** 2
        state[time > 2.7, 2:] = 2
        state[(time > 2.9) & (time < 3.4), 2] = 3
    x = np.interp(s, s_line, x_line) - wide * np.sin(heading)
    y = np.interp(s, s_line, y_line) + wide * np.cos(heading)
    pedal = np.where(braking, 15000.0 * np.clip((time - 1.1) / 0.2, 0.0, 1.0), 0.0)
    slowing = -np.gradient(speed, time)
    use = 0.08 + 0.85 * np.clip(state, 0, 1) + 0.03 * np.clip(state - 1, 0, 2)
    load = np.full((count, 4), 3400.0)
    push = np.outer(slowing, np.array([-450.0, -450.0, -220.0, -220.0]))
    yaw = np.gradient(heading + turned, time)
    four = np.ones((count, 4))
    return Trace(
        time_s=time + start_s,
        s_m=s,
        offset_m=wide,
        x_m=x,
        y_m=y,
        heading_rad=heading + turned,
        speed_mps=speed * np.cos(turned),
        side_speed_mps=-speed * np.sin(turned),
        yaw_rate_radps=yaw,
        accel_x_mps2=-slowing,
        accel_y_mps2=speed * yaw,
        pitch_rad=0.0 * time,
        roll_rad=0.0 * time,
        steer_rad=np.where(s > TURN_IN_M, 0.12, 0.0) * np.clip((s - TURN_IN_M) / 20.0, 0.0, 1.0),
        throttle_frac=np.where(time < 1.0, 1.0, 0.0),
        pedal_N=pedal,
        brake_front_N=0.65 * pedal,
        brake_rear_N=0.35 * pedal,
        gear=np.zeros(count, dtype=np.int8),
        setting=np.full(count, 54.5),
        wheel_speed_radps=(speed[:, None] / 0.33) * (1.0 + slip),
        slip_frac=slip,
        slip_angle_rad=0.02 * four,
        load_N=load,
        force_x_N=push,
        force_y_N=np.outer(speed * yaw, np.array([200.0, 330.0, 240.0, 350.0])),
        use_frac=np.minimum(use, 1.0),
        wheel_state=state,
    )


HAPPENINGS = {
    "clean": (),
    "lock_up": (
        Happening("lock_up", 2.5, 0.6, 128.0, "z1", "front", "front_left", True),
        Happening("wide", 3.4, 0.9, 165.0, "z1", "front"),
    ),
    "rotation": (Happening("rotation", 2.9, 1.1, 150.0, "z1", "rear"),),
}
SENTENCES = {
    "clean": "The car slows straight and turns in; no wheel locks.",
    "lock_up": "The inside front locks for 0.6 s before turn-in and the car runs 2.2 m wide.",
    "rotation": "The rear lets go as the wheel goes in, and the car comes round.",
}
LABELS = {"clean": "54.5, as planned", "lock_up": "57.0, 5 steps forward"}
LABELS["rotation"] = "52.0, 5 steps rearward"
STEPS = {"clean": 0, "lock_up": 5, "rotation": -5}


def run(kind: str = "clean", **more: Any) -> Run:
    """Invent one run."""
    outcome = Outcome(kind, SENTENCES[kind], HAPPENINGS[kind], 3.4)
    steps = STEPS[kind]
    made = Run(LABELS[kind], 54.5 + 0.5 * steps, steps, trace(kind), outcome)
    return replace(made, **more)


def _spot(s_m: float) -> Spot:
    s, x, y, _ = line()
    return Spot(s_m, float(np.interp(s_m, s, x)), float(np.interp(s_m, s, y)))


def scene(*kinds: str, edges: bool = True, **more: Any) -> Scene:
    """Invent a scene of one zone."""
    s, x, y, heading = line()
    across = np.column_stack([-np.sin(heading), np.cos(heading)])
    values: dict[str, Any] = {
        "title": "Long Left at 54.5, and two mistakes",
        "car_name": "Marrow 4 Cup",
        "circuit_name": "Tidewater Ring",
        "zone_name": "Long Left",
        "units": "metric",
        "line_s_m": s,
        "line_x_m": x,
        "line_y_m": y,
        "left_x_m": x + 5.5 * across[:, 0] if edges else None,
        "left_y_m": y + 5.5 * across[:, 1] if edges else None,
        "right_x_m": x - 4.5 * across[:, 0] if edges else None,
        "right_y_m": y - 4.5 * across[:, 1] if edges else None,
        "brake": _spot(BRAKE_M),
        "turn_in": _spot(TURN_IN_M),
        "release": _spot(RELEASE_M),
        "apex": _spot(APEX_M),
        "direction": "left",
        "runs": tuple(run(kind) for kind in kinds or ("clean", "lock_up", "rotation")),
        "size": CarSize(2.6, 1.62, 1.58, 0.45),
        "step": 0.5,
        "higher_means": "front",
        "cautions": tuple(cautions()),
    }
    return Scene(**(values | more))


def damaged(kind: str, **columns: Any) -> Trace:
    """Invent a run and put other columns into it."""
    return replace(trace(kind), **columns)
