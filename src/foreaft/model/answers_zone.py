"""What the job ``zone_view`` answers: one zone of a plan wheel by wheel, at several settings."""

from __future__ import annotations

from typing import Literal

from foreaft.model.answers import AdjusterFace, Answer, Axle, Cell, Profile, Wheel, ZoneFace


class WheelView(Answer):
    """One wheel at each place of the profile.

    Forces along point against the motion, forces across to the inside of the corner.
    ``use_frac`` is 1 at the tyre's limit, more where the wheel slides.
    """

    wheel: Wheel
    load_N: list[float]
    along_N: list[float]
    across_N: list[float]
    capacity_along_N: list[float]
    capacity_across_N: list[float]
    use_frac: list[float]
    sliding: list[bool]


class TyreLimit(Answer):
    """Where the tyres of an axle let go: parts of what each could do in one direction alone."""

    axle: Axle
    along_frac: list[float]
    across_frac: list[float]


class ZoneSetting(Answer):
    """A zone driven at one setting, place by place.

    ``road_share_frac`` is the front part of all braking force at the road, None where there is
    none.
    """

    setting: float
    torque_share_frac: float
    brake_distance_m: float
    time_s: float
    profile: Profile
    road_share_frac: list[float | None]
    wheels: list[WheelView]


class ZoneName(Answer):
    """A zone of the lap, in driving order."""

    zone_id: str
    name: str


class ZoneView(Answer):
    """Result of the job ``zone_view``: the nominal car in one zone.

    ``field`` has every setting; ``settings`` those asked for.
    """

    car_name: str
    circuit_name: str
    driver_name: str
    conditions_name: str
    adjuster: AdjusterFace
    wheelbase_m: float
    track_front_m: float
    track_rear_m: float
    zones: list[ZoneName]
    zone: ZoneFace
    plan_setting: float
    lap_setting: float
    own_setting: float
    flat_low: float
    flat_high: float
    advice: Literal["set", "no_matter", "cannot_tell"]
    field: list[Cell]
    limits: list[TyreLimit]
    settings: list[ZoneSetting]
