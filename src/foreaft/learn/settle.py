"""Why a number could not be learnt from a log, and the test that would settle it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from foreaft.learn.observe import Observed
from foreaft.learn.verdict import NARROWED_FRAC, Judged

STOPS: Final = (
    "two straight stops from 150 km/h, well below the first lock, one at each end of the adjuster, "
    "the forward end first, wheel speeds logged"
)
HARDER: Final = "the same stops at twice the pedal, still below the first lock"
TO_THE_LIMIT: Final = (
    "straight stops from 120 km/h, squeezed to the first lock: the forward end first, then by "
    "single steps to the rear, until the rear just wins"
)

SAY_SETTING: Final = "say what the adjuster showed in each log, or log a channel of it"

SLIP_SEEN: Final = 4.0
"""Slip in the brakings must stand out of a free wheel's scatter by so much."""


@dataclass(frozen=True)
class Situation:
    """What a log has and has not."""

    wheels: bool
    pressures: int
    pedal: bool
    settings: int
    setting_known: bool
    firm: int
    slip_over_noise: float
    locked: int
    fastest_mps: float
    slowest_mps: float


def situation_of(seen: Observed) -> Situation:
    """Look at what there is to learn from."""
    p = seen.pieces
    braked = p.braked
    slip = 0.5 * (p.slip_front + p.slip_rear)[braked]
    slip = slip[np.isfinite(slip)]
    speed = p.speed_mps[braked]
    return Situation(
        wheels=bool(np.isfinite(p.wheel_front + p.wheel_rear).any()),
        pressures=sum(bool(np.isfinite(x[braked]).any()) for x in (p.front_Pa, p.rear_Pa)),
        pedal=bool(np.isfinite(p.pedal[braked]).any()),
        settings=len(seen.settings),
        setting_known=len(seen.settings) > 0,
        firm=seen.firm,
        slip_over_noise=float(np.median(slip) / seen.noise) if len(slip) else 0.0,
        locked=len(seen.limits),
        fastest_mps=float(speed.max()) if len(speed) else 0.0,
        slowest_mps=float(speed.min()) if len(speed) else 0.0,
    )


def because(one: Judged, where: Situation) -> str:
    """Say in one sentence why the verdict is what it is."""
    if one.verdict == "learned":
        return f"the log leaves {100 * one.narrower_to:.0f} % of the range known before"
    if one.verdict == "narrowed":
        return f"the log leaves {100 * one.narrower_to:.0f} % of the range: {_lack(one, where)}"
    if one.verdict == "contradictory":
        return "the log alone lies outside what the car file says by more than three times both"
    if one.verdict == "not_attempted":
        return "nothing in straight braking depends on it"
    if one.narrower_to < NARROWED_FRAC:
        return "the brakings used lie outside what the car file says, and are too few to deny it"
    return _lack(one, where)


def would_settle(one: Judged, where: Situation) -> str:
    """Name the test that would settle a number; empty where nothing is left to settle."""
    if one.verdict == "learned":
        return ""
    if one.verdict == "contradictory":
        return "check this number of the car file, and the units of the log's columns"
    if one.verdict == "not_attempted":
        return _elsewhere(one.key)
    return _test(one.key, where)


def next_test(where: Situation) -> str:
    """The one test that would add most to this log."""
    if not where.setting_known:
        return SAY_SETTING
    if not where.wheels or where.settings < 2 or where.firm == 0:
        return STOPS
    if where.slip_over_noise < SLIP_SEEN:
        return HARDER
    return "" if where.locked else TO_THE_LIMIT


def _lack(one: Judged, where: Situation) -> str:
    """What the log lacks for a number."""
    key = one.key
    if where.firm == 0:
        return "no firm braking in a straight line with the pedal held still"
    if _of_share(key):
        return _lack_of_share(where)
    if key.startswith(("wheel.radius",)):
        return "no wheel speeds" if not where.wheels else "the wheel sensors' own scale"
    if key.endswith("mu_x"):
        return (
            "no axle reached its limit in a straight line"
            if where.locked == 0
            else f"the limit was reached {where.locked} times, and grip differs from stop to stop"
        )
    if key.startswith(("lift", "drag", "aero")):
        return "the brakings cover too small a range of speeds for the air to be told from the rest"
    if "engine_brake" in key or "driveline" in key or "engine_drag" in key:
        return "the pull of the engine is small beside that of the brakes"
    if not where.wheels:
        return "without wheel speeds the log shows forces together, not axle by axle"
    return "it acts together with others that are as uncertain"


def _of_share(key: str) -> bool:
    return key in ("force_share_frac", "brakes.front_share_frac", "crossover") or key.startswith(
        ("adjuster.", "brakes.")
    )


def _lack_of_share(where: Situation) -> str:
    if not where.setting_known:
        return "the log does not say at which setting it was driven"
    if not where.wheels:
        if where.pressures == 2 and where.settings < 2:
            return (
                "line pressures show how the pressure is shared, not the force: pistons, discs and "
                "pads stand between"
            )
        return "no wheel speeds that name an axle"
    if where.slip_over_noise < SLIP_SEEN:
        return "the braking is so gentle that the wheels' slip sits in their noise"
    if where.settings < 2:
        return "one setting only"
    return "the tyres of both axles may differ in stiffness"


def _test(key: str, where: Situation) -> str:
    if not where.setting_known:
        return SAY_SETTING
    if key.endswith("mu_x") or "load_sensitivity" in key or "peak_slip" in key:
        return TO_THE_LIMIT
    if key.startswith(("lift", "aero")):
        return "straight stops from the highest speed there is and from 80 km/h, the same pedal"
    if key.startswith("drag"):
        return "coasting in neutral from high speed on a level road, both ways"
    if "engine" in key or "driveline" in key:
        return "the same straight stop in gear and with the clutch in"
    if key.startswith(("mass", "front_weight")):
        return "scales under the four wheels"
    if key.startswith(("cg_height", "height_per")):
        return "lift one axle by half a metre and weigh the other"
    if key.startswith(("wheelbase", "wheel.")):
        return "a tape"
    if where.wheels and where.settings >= 2 and where.slip_over_noise >= SLIP_SEEN:
        return "both line pressures logged, and more stops at each end of the adjuster"
    if where.wheels and where.slip_over_noise < SLIP_SEEN and where.settings >= 2:
        return HARDER
    return STOPS


def _elsewhere(key: str) -> str:
    if key.startswith("drive.power"):
        return "full throttle on a level straight"
    return "cornering: not looked at yet"
