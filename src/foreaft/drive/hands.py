"""Hands, feet and eyes of a driver: what the transient car needs of him beyond the driver file.

The driver file says how much he scatters and how late he reacts.
What it does not say stands in one table by level; every number of it is an assumption, shown in
answers with its reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from foreaft.base.units import GRAVITY_MPS2
from foreaft.drive.trace import Floats
from foreaft.model.driver import Driver
from foreaft.physics import pilot as pl
from foreaft.plan.human import GROSS_SD_FRAC, GROSS_SIZE_FRAC


@dataclass(frozen=True)
class Skill:
    """One number of a driver by level, and why."""

    unit: str
    why: str
    novice: float
    club: float
    pro: float

    def of(self, level: str) -> float:
        """The number of a level."""
        return float(getattr(self, level))


SKILLS: Final[dict[str, Skill]] = {
    "preview_s": Skill("s", "looks so far ahead to steer back to the line", 1.0, 0.85, 0.7),
    "sees_late_s": Skill("s", "from what happens to what the hands do about it", 0.22, 0.16, 0.12),
    "feels_late_s": Skill(
        "s", "from the car's turning under him to what the hands do about it", 0.10, 0.06, 0.04
    ),
    "steer_rate_radps": Skill(
        "rad/s", "the front wheels turn at most so fast: 1 to 2 turns a second", 0.45, 0.6, 0.8
    ),
    "past_peak": Skill(
        "", "turns the front wheels to so many times the angle of their best grip", 2.0, 1.4, 1.15
    ),
    "pedal_time_s": Skill("s", "from nothing to the hardest pedal", 0.35, 0.22, 0.15),
    "corrects_frac": Skill(
        "", "presses so much more or less than planned to meet the speed", 0.10, 0.15, 0.20
    ),
    "counters_frac": Skill(
        "", "lets the wheels follow so much of the way the front axle moves", 0.8, 0.9, 1.0
    ),
    "yaw_time_s": Skill("s", "puts a car that turns too fast right in so long", 0.15, 0.08, 0.06),
    "keeps_sliding_frac": Skill(
        "", "part of the pedal kept when the tail comes round", 0.2, 0.5, 0.7
    ),
    "eases_1ps": Skill(
        "1/s", "eases so many hardest pedals a second while a front wheel stands", 0.5, 2.0, 4.0
    ),
    "apex_speed_frac": Skill(
        "",
        "goes for this part of the plan's apex speed, which is that of a master",
        0.93,
        0.96,
        0.985,
    ),
    "exit_frac": Skill(
        "", "part of the possible acceleration used on the way out of a bend", 0.75, 0.85, 0.93
    ),
    "blip_sd_g": Skill(
        "g", "scatter of the push of a badly matched change down", 0.08, 0.04, 0.015
    ),
}
"""What the three levels do at the wheel. Assumptions, guided by common practice, no source."""

PLACES: Final = {
    "preview_s": pl.PREVIEW,
    "sees_late_s": pl.SEES_LATE,
    "feels_late_s": pl.FEELS_LATE,
    "steer_rate_radps": pl.STEER_RATE,
    "past_peak": pl.PAST_PEAK,
    "pedal_time_s": pl.PEDAL_TIME,
    "corrects_frac": pl.CORRECTS,
    "counters_frac": pl.COUNTERS,
    "yaw_time_s": pl.YAW_TIME,
    "keeps_sliding_frac": pl.KEEPS_SLIDING,
    "eases_1ps": pl.EASES,
    "exit_frac": pl.EXIT,
}


def pilot_row(driver: Driver, hardest_pedal_N: float) -> Floats:
    """Return the driver row of :mod:`foreaft.physics.pilot`, shape (DRIVER_SIZE,)."""
    row = np.zeros(pl.DRIVER_SIZE)
    for name, place in PLACES.items():
        row[place] = SKILLS[name].of(driver.level)
    row[pl.REACTION] = driver.reaction_time_s
    row[pl.HARDEST] = hardest_pedal_N
    return row


def assumptions(driver: Driver) -> list[dict[str, Any]]:
    """Give the numbers at the wheel that come from the level alone."""
    return [
        {
            "key": f"driver.at_the_wheel.{name}",
            "value": skill.of(driver.level),
            "unit": skill.unit,
            "source": f"assumption for the level {driver.level}: {skill.why}",
        }
        for name, skill in SKILLS.items()
    ]


@dataclass(frozen=True)
class Scatter:
    """What one pass of a zone draws; all zero for the mean pass."""

    hit: float = 0.0
    """Parts of the planned pedal."""
    hold: float = 0.0
    release: float = 0.0
    """Part of what the foot scatters by at this place, see the plan's cost."""
    brake_point_m: float = 0.0
    """Later positive."""
    grip: float = 0.0
    gross_straight: float = 0.0
    gross_turning: float = 0.0
    blip_N: float = 0.0


MEAN: Final = Scatter()


def draw(driver: Driver, weight_kg: float, wider: float, rng: np.random.Generator) -> Scatter:
    """Draw one pass; the same numbers are drawn whatever the driver, so that levels compare.

    Parameters
    ----------
    driver : Driver
    weight_kg : float
        Mass of the car, for the push of a change down.
    wider : float
        Factor of the surface on what hands and grip scatter.
    rng : Generator
        One per pass.
    """
    z = rng.standard_normal(7)
    u = rng.random(2)
    gross = GROSS_SIZE_FRAC + GROSS_SD_FRAC * (1.0 + GROSS_SIZE_FRAC) * float(z[6])
    happens = bool(u[0] < driver.gross_error_frac)
    blip = SKILLS["blip_sd_g"].of(driver.level) * weight_kg * GRAVITY_MPS2
    return Scatter(
        hit=driver.hit_sd_frac * wider * float(z[0]),
        hold=driver.hold_sd_frac * wider * float(z[1]),
        release=driver.release_sd_frac * wider * float(z[2]),
        brake_point_m=driver.brake_point_sd_m * float(z[3]),
        grip=driver.grip_sd_frac * wider * float(z[4]),
        gross_straight=gross if happens and u[1] < 0.5 else 0.0,
        gross_turning=gross if happens and u[1] >= 0.5 else 0.0,
        blip_N=abs(blip * float(z[5])),
    )
