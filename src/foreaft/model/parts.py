"""The tables of a car file: fuel, tyres, wheels, drive, brakes and the anchor.

Limits are what is physically possible for anything with four wheels that is raced; ``typical``
is common practice, no source.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from foreaft.base.number import Number
from foreaft.model.fields import Model, Quantity, Word, refuse
from foreaft.physics.layout import ENGINE_KNOTS

Axle = Literal["front", "rear"]

SPOOL_N: Final = 1e6
"""What a solid axle can hold: more than any tyre makes."""


class Fuel(Model):
    """``[fuel]``: the fuel that is part of mass_kg, so that another load can be worked out."""

    aboard_kg: Annotated[
        Number, Quantity("kg", 0, 300, "10 to 80", "fuel counted in mass_kg", "litres x 0.75")
    ]
    front_frac: Annotated[
        Number,
        Quantity(
            "",
            -0.5,
            1.5,
            "0.3 to 0.6",
            "share of the fuel's weight on the front axle",
            "distance of the tank's middle ahead of the rear axle / wheelbase",
        ),
    ]
    height_m: Annotated[
        Number, Quantity("m", 0.05, 2, "0.2 to 0.4", "middle of the fuel above the road")
    ]


class Tyre(Model):
    """``[tyre]``, or ``[tyre.front]`` and ``[tyre.rear]``: a tyre from few numbers, or a set."""

    mu_x: Annotated[
        Number | None,
        Quantity(
            "",
            0.1,
            4,
            "1.0 to 1.9",
            "peak friction along, dry, at load_ref_N",
            "best straight stop without downforce / 9.81",
        ),
    ] = None
    mu_y: Annotated[
        Number | None,
        Quantity(
            "",
            0.1,
            4,
            "0.95 to 1.8",
            "peak friction across, dry, at load_ref_N",
            "steady cornering without downforce / 9.81",
        ),
    ] = None
    mu_y_per_mu_x: Annotated[
        Number | None, Quantity("", 0.5, 2, "0.92 to 1.05", "instead of mu_y: across / along")
    ] = None
    load_sensitivity_frac: Annotated[
        Number | None,
        Quantity("", 0, 0.6, "0.05 to 0.18", "part of the friction lost when the load doubles"),
    ] = None
    load_ref_N: Annotated[
        Number | None,
        Quantity(
            "N", 100, 50000, "1500 to 4000", "wheel load at which mu holds; static load if absent"
        ),
    ] = None
    cornering_stiffness_per_load_1prad: Annotated[
        Number | None,
        Quantity("1/rad", 3, 80, "12 to 30", "cornering stiffness / load of the free rolling tyre"),
    ] = None
    peak_slip_frac: Annotated[
        Number | None,
        Quantity("", 0.01, 0.4, "0.06 to 0.15", "braking slip at the peak of the force"),
    ] = None
    sliding_frac: Annotated[
        Number | None,
        Quantity("", 0.3, 1, "0.7 to 0.85", "friction of a locked wheel / peak friction"),
    ] = None
    set: Annotated[
        str | None, Word("name of a packaged Magic Formula set, instead of the numbers")
    ] = None
    coefficients: Annotated[
        dict[str, float] | None,
        Word("Magic Formula coefficients by their published names, instead of the numbers"),
    ] = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.mu_y is not None and self.mu_y_per_mu_x is not None:
            raise refuse(
                "mu_y and mu_y_per_mu_x say the same thing twice.",
                code="contradiction",
                key="mu_y_per_mu_x",
                allowed="one of the two",
                hint="Keep mu_y.",
            )
        formula = self.set is not None or self.coefficients is not None
        if formula and self.mu_x is not None:
            raise refuse(
                "A tyre is a Magic Formula set or few numbers, not both.",
                code="contradiction",
                key="mu_x",
                value=self.mu_x.nominal,
                allowed="mu_x, or set, or coefficients",
                hint="Use the conditions' grip_scale to scale a set.",
            )
        if self.set is not None and self.coefficients is not None:
            raise refuse(
                "set and coefficients say the same thing twice.",
                code="contradiction",
                key="set",
                value=self.set,
                allowed="one of the two",
                hint="Keep the coefficients.",
            )
        return self


class Tyres(Tyre):
    """``[tyre]``: for both axles, with what differs under ``[tyre.front]`` and ``[tyre.rear]``."""

    rear_grip_frac: Annotated[
        Number | None,
        Quantity(
            "", 0.5, 1.5, "0.97 to 1.03", "friction of the rear tyres / what is written for them"
        ),
    ] = None
    front: Annotated[Tyre | None, Word("what differs at the front")] = None
    rear: Annotated[Tyre | None, Word("what differs at the rear")] = None

    @model_validator(mode="after")
    def _complete(self) -> Self:
        for axle in ("front", "rear"):
            if self.formula(axle) is None and self.at(axle, "mu_x") is None:
                raise refuse(
                    f"The {axle} tyre has no peak friction.",
                    code="missing_key",
                    key="mu_x",
                    allowed="0.1 to 4",
                    hint="A range will do: { low = 1.3, high = 1.6 }.",
                )
        return self

    def formula(self, axle: str) -> str | dict[str, float] | None:
        """Give the Magic Formula set or coefficients of an axle; None where it has few numbers."""
        for part in (getattr(self, axle), self):
            if part is not None:
                if part.set is not None:
                    return str(part.set)
                if part.coefficients is not None:
                    return dict(part.coefficients)
                if part.mu_x is not None:
                    return None
        return None

    def at(self, axle: str, name: str) -> str | None:
        """Give the dotted key that holds a number of an axle's tyre; None where nobody gave it."""
        own = getattr(self, axle)
        if own is not None and getattr(own, name) is not None:
            return f"tyre.{axle}.{name}"
        return f"tyre.{name}" if getattr(self, name) is not None else None


class Wheel(Model):
    """``[wheel]``."""

    radius_front_m: Annotated[
        Number,
        Quantity(
            "m",
            0.1,
            0.7,
            "0.26 to 0.35",
            "rolling radius of the front wheels",
            "distance of ten turns / (20 pi)",
        ),
    ]
    radius_rear_m: Annotated[
        Number,
        Quantity(
            "m",
            0.1,
            0.7,
            "0.26 to 0.36",
            "rolling radius of the rear wheels",
            "distance of ten turns / (20 pi)",
        ),
    ]
    inertia_front_kgm2: Annotated[
        Number | None,
        Quantity("kg m2", 0, 10, "0.5 to 1.7", "spin inertia of one front wheel with disc"),
    ] = None
    inertia_rear_kgm2: Annotated[
        Number | None,
        Quantity("kg m2", 0, 10, "0.5 to 1.9", "spin inertia of one rear wheel with disc"),
    ] = None


class EnginePoint(Model):
    """``[[drive.engine_brake]]``: engine braking at one speed."""

    speed_kmh: Annotated[float, Quantity("km/h", 5, 450, "60 to 280", "road speed")]
    force_N: Annotated[
        Number,
        Quantity(
            "N",
            0,
            20000,
            "300 to 2500",
            "engine braking at the driven wheels at this speed, in the gear used there",
            "deceleration coasting in gear minus that in neutral, x mass",
        ),
    ]
    driveline_mass_kg: Annotated[
        Number | None,
        Quantity("kg", 0, 2000, "5 to 80", "engine and gearbox inertia x ratio^2 / radius^2"),
    ] = None


class Gear(Model):
    """``[[drive.gear]]``."""

    gear: Annotated[int, Quantity("", 1, 12, "1 to 6", "number of the gear")]
    total_ratio: Annotated[
        Number, Quantity("", 0.5, 40, "2.5 to 14", "engine turns per turn of the driven wheels")
    ]
    engine_drag_Nm: Annotated[
        Number,
        Quantity(
            "N m",
            0,
            500,
            "30 to 90",
            "engine drag torque, throttle shut, in the middle of the revs",
        ),
    ]


class Drive(Model):
    """``[drive]``: power, driven axle, engine braking in one of three forms."""

    power_W: Annotated[
        Number,
        Quantity(
            "W",
            1000,
            1.5e6,
            "75000 to 430000",
            "power at the wheels",
            "bench, or 0.85 x stated power",
        ),
    ]
    axle: Annotated[Literal["rear", "front", "all"], Word("which wheels are driven")]
    front_frac: Annotated[
        Number | None,
        Quantity("", 0.01, 0.99, "0.3 to 0.5", 'front share of the drive, for axle = "all"'),
    ] = None
    engine_brake_N: Annotated[
        Number | None,
        Quantity(
            "N",
            0,
            20000,
            "300 to 2000",
            "engine braking at the driven wheels, one number for all "
            "speeds; 0 if the driver declutches",
        ),
    ] = None
    engine_brake: Annotated[
        tuple[EnginePoint, ...],
        Word(f"engine braking at 2 to {ENGINE_KNOTS} speeds"),
        Field(strict=False),
    ] = ()
    gear: Annotated[tuple[Gear, ...], Word("engine braking by gear"), Field(strict=False)] = ()
    engine_speed_max_rpm: Annotated[
        float | None,
        Quantity("1/min", 1000, 22000, "6000 to 9500", "highest engine speed, with [[drive.gear]]"),
    ] = None
    driveline_inertia_kgm2: Annotated[
        Number | None,
        Quantity("kg m2", 0, 5, "0.05 to 0.25", "engine, clutch and gearbox, with [[drive.gear]]"),
    ] = None
    driveline_mass_kg: Annotated[
        Number | None,
        Quantity("kg", 0, 2000, "5 to 80", "driveline inertia x ratio^2 / radius^2, one number"),
    ] = None
    overrun_coupling_N: Annotated[
        Number | None,
        Quantity(
            "N",
            0,
            SPOOL_N,
            "0 (open) to 1600",
            "difference of force the driven wheels can hold off the throttle",
            words={"spool": SPOOL_N},
        ),
    ] = None
    clutch_in_on_braking: Annotated[
        bool, Word("true if the driver brakes with the clutch in: no engine braking, no driveline")
    ] = False
    electric_braking: Annotated[
        Literal["none", "front", "rear", "both"],
        Word("axle that is also braked electrically; anything but none is refused"),
    ] = "none"

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.electric_braking != "none":
            raise refuse(
                "This tool assumes friction brakes on both axles and nothing else; electric "
                "braking moves the front share by more than the adjuster does.",
                code="electric_braking",
                key="electric_braking",
                value=self.electric_braking,
                allowed="none",
                hint="Plan such a car with its maker's own data.",
            )
        if (self.axle == "all") != (self.front_frac is not None):
            raise refuse(
                'front_frac belongs to axle = "all", and only to it.',
                code="contradiction",
                key="front_frac",
                value=self.axle,
                allowed='0.01 to 0.99, with axle = "all"',
                hint="Write the front share of the drive, or leave it out.",
            )
        self._check_engine()
        self._check_gears()
        self._check_points()
        return self

    def _check_engine(self) -> None:
        given = [n for n in ("engine_brake_N", "engine_brake", "gear") if getattr(self, n)]
        if self.engine_brake_N is not None and "engine_brake_N" not in given:
            given.append("engine_brake_N")
        if len(given) == 1 or (self.clutch_in_on_braking and not given):
            return
        raise refuse(
            "Engine braking is given in one of three forms, not in none and not in two.",
            code="missing_key" if not given else "contradiction",
            key="engine_brake_N",
            value=" and ".join(given) or None,
            unit="N",
            allowed="engine_brake_N, [[drive.engine_brake]] or [[drive.gear]]",
            hint="It decides the sign of the advice while the brakes are released: give a range, "
            "or 0 if the driver declutches.",
        )

    def _check_gears(self) -> None:
        for name in ("engine_speed_max_rpm", "driveline_inertia_kgm2"):
            if bool(self.gear) != (getattr(self, name) is not None):
                raise refuse(
                    f"{name} belongs to [[drive.gear]], and only to it.",
                    code="missing_key",
                    key=name,
                    allowed="with [[drive.gear]]",
                    unit=_UNIT[name],
                    hint="Without gears write driveline_mass_kg.",
                )
        ordered = sorted(self.gear, key=lambda g: g.gear)
        for low, high in pairwise(ordered):
            if low.gear == high.gear or low.total_ratio.nominal <= high.total_ratio.nominal:
                raise refuse(
                    "A higher gear has a smaller ratio than the one below it.",
                    key="gear",
                    value=f"{low.gear}: {low.total_ratio.nominal:g}, "
                    f"{high.gear}: {high.total_ratio.nominal:g}",
                    allowed="ratios that fall from gear to gear",
                    hint="Write each gear once.",
                )

    def _check_points(self) -> None:
        speeds = [p.speed_kmh for p in self.engine_brake]
        if speeds and not 2 <= len(speeds) <= ENGINE_KNOTS:
            raise refuse(
                "Too few or too many speeds.",
                key="engine_brake",
                value=len(speeds),
                allowed=f"2 to {ENGINE_KNOTS}",
                unit="points",
                hint="Two are enough: second gear and top gear.",
            )
        if len(set(speeds)) < len(speeds):
            raise refuse(
                "The same speed stands there twice.",
                code="repeated",
                key="engine_brake",
                value=", ".join(f"{s:g}" for s in speeds),
                allowed="different speeds",
                unit="km/h",
                hint="Delete one.",
            )


_UNIT: Final = {"engine_speed_max_rpm": "1/min", "driveline_inertia_kgm2": "kg m2"}


class AxleBrake(Model):
    """``[brakes.front]`` and ``[brakes.rear]``: the hardware of one axle."""

    piston_area_mm2: Annotated[
        Number | None,
        Quantity(
            "mm2",
            100,
            20000,
            "1500 to 6000",
            "area of the pistons on one side of one caliper",
            "sum of pi d^2 / 4 over that side",
        ),
    ] = None
    effective_radius_m: Annotated[
        Number | None,
        Quantity("m", 0.03, 0.4, "0.10 to 0.17", "wheel centre to the middle of the pad"),
    ] = None
    pad_friction: Annotated[
        Number | None, Quantity("", 0.1, 1, "0.35 to 0.55", "friction of pad on disc, warm")
    ] = None
    master_cylinder_bore_mm: Annotated[
        Number | None,
        Quantity("mm", 8, 60, "15 to 26", "bore of this axle's master cylinder, for a balance bar"),
    ] = None
    pressure_threshold_bar: Annotated[
        Number | None,
        Quantity(
            "bar",
            0,
            20,
            "0.2 to 2",
            "line pressure before the brake does anything",
            "first pressure that slows a jacked wheel turned by hand",
        ),
    ] = None
    threshold_N: Annotated[
        Number | None,
        Quantity(
            "N",
            0,
            5000,
            "0 to 300",
            "the same as axle brake force lost, where there is no hardware",
        ),
    ] = None

    @property
    def complete(self) -> bool:
        """Whether pressure can be turned into torque."""
        return None not in (self.piston_area_mm2, self.effective_radius_m, self.pad_friction)


class Brakes(Model):
    """``[brakes]``: a known share at the reference setting, or the hardware of both axles."""

    front_share_frac: Annotated[
        Number | None,
        Quantity(
            "",
            0.05,
            0.99,
            "0.52 to 0.9",
            "front part of the braking force the brakes alone make at "
            "the road, at adjuster.reference_setting",
            "line pressures and hardware, or a roller bench",
        ),
    ] = None
    front: Annotated[AxleBrake | None, Word("hardware of the front axle")] = None
    rear: Annotated[AxleBrake | None, Word("hardware of the rear axle")] = None
    valve_knee_bar: Annotated[
        Number | None,
        Quantity(
            "bar",
            1,
            200,
            "15 to 50",
            "rear line pressure at which the rear valve begins to act, with hardware",
        ),
    ] = None
    valve_knee_N: Annotated[
        Number | None,
        Quantity(
            "N", 10, 20000, "500 to 3000", "the same as rear axle brake force, without hardware"
        ),
    ] = None
    valve_slope: Annotated[
        Number | None,
        Quantity("", 0, 1, "0.2 to 0.5", "rise of the rear behind the valve / rise ahead of it"),
    ] = None
    anti_lock: Annotated[bool, Word("whether the car has anti-lock brakes")] = False

    @property
    def hardware(self) -> bool:
        """Whether pressure can be turned into force on both axles."""
        both = (self.front, self.rear)
        return all(one is not None and one.complete for one in both)

    @model_validator(mode="after")
    def _check(self) -> Self:
        for name in ("front", "rear"):
            one = getattr(self, name)
            given = one and any((one.piston_area_mm2, one.effective_radius_m, one.pad_friction))
            if given and not self.hardware:
                raise refuse(
                    "The hardware of the brakes is incomplete.",
                    code="missing_key",
                    key=name,
                    allowed="piston_area_mm2, effective_radius_m and pad_friction of both axles",
                    hint="Complete both axles, or give front_share_frac instead.",
                )
        knees = [k for k in (self.valve_knee_bar, self.valve_knee_N) if k is not None]
        if len(knees) > 1 or bool(knees) != (self.valve_slope is not None):
            raise refuse(
                "A rear valve is one knee and one slope.",
                code="contradiction",
                key="valve_slope",
                allowed="valve_slope with one valve_knee",
                hint="Leave out both where there is no valve.",
            )
        self._need_hardware("valve_knee_bar", self.valve_knee_bar, "valve_knee_N")
        for name in ("front", "rear"):
            one = getattr(self, name)
            if one is not None:
                self._need_hardware(
                    f"{name}.pressure_threshold_bar", one.pressure_threshold_bar, "threshold_N"
                )
                if one.threshold_N and one.pressure_threshold_bar:
                    raise refuse(
                        "The threshold stands there twice.",
                        code="contradiction",
                        key=f"{name}.threshold_N",
                        allowed="one of the two",
                        unit="N",
                        hint="Keep the pressure.",
                    )
        return self

    def _need_hardware(self, key: str, number: Number | None, twin: str) -> None:
        if number is not None and not self.hardware:
            raise refuse(
                "A pressure needs the hardware to become a force.",
                code="missing_key",
                key=key,
                value=number.nominal,
                unit="bar",
                allowed="with the hardware of both axles",
                hint=f"Without hardware write {twin}, a force.",
            )


class Transient(Model):
    """``[transient]``: what only the driven car needs; the plan does not read it."""

    relaxation_along_m: Annotated[
        float | None,
        Quantity(
            "m", 0.02, 2, "0.08 to 0.2", "distance in which a tyre builds up its braking force"
        ),
    ] = None
    relaxation_across_m: Annotated[
        float | None,
        Quantity("m", 0.02, 2, "0.15 to 0.5", "distance in which a tyre builds up its side force"),
    ] = None
    pitch_lag_s: Annotated[
        float | None,
        Quantity("s", 0.01, 1, "0.05 to 0.15", "time constant of the load transfer to the front"),
    ] = None
    roll_lag_s: Annotated[
        float | None,
        Quantity("s", 0.01, 1, "0.05 to 0.15", "time constant of the load transfer to a side"),
    ] = None
    brake_delay_s: Annotated[
        float | None,
        Quantity("s", 0.005, 0.5, "0.01 to 0.05", "time constant from the foot to the brake lines"),
    ] = None
    brake_build_up_s: Annotated[
        float | None,
        Quantity(
            "s", 0.005, 0.5, "0.03 to 0.1", "time constant from the brake lines to the torque"
        ),
    ] = None
    steer_limit_deg: Annotated[
        float | None,
        Quantity("deg", 5, 60, "18 to 35", "largest mean angle of the front wheels"),
    ] = None


TRANSIENT_DEFAULTS: Final[dict[str, float]] = {
    "relaxation_along_m": 0.12,
    "relaxation_across_m": 0.25,
    "pitch_lag_s": 0.08,
    "roll_lag_s": 0.08,
    "brake_delay_s": 0.02,
    "brake_build_up_s": 0.05,
    "steer_limit_deg": 28.0,
}
"""What stands in for keys of ``[transient]`` that nobody gave. Common practice, no source."""


class Anchor(Model):
    """``[anchor]``: what is known from driving the car as it is."""

    setting: Annotated[float, Quantity("", -1000, 1000, "", "setting run today")]
    first_to_let_go: Annotated[
        Literal["front", "rear", "together"],
        Word(
            "which axle locks first in a straight stop at that setting",
            "squeeze to the first lock from 120 km/h, on closed ground, with a spotter",
        ),
    ]
    mid_corner: Annotated[
        Literal["pushes", "neutral", "loose"] | None,
        Word("balance in the middle of a slow corner, off the brakes"),
    ] = None
