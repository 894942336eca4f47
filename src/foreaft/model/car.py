"""The car: what a file says, the numbers drawn from it, and the arrays the physics wants.

The way: file -> :class:`Car` -> :func:`draw` (row 0 is the nominal car) -> :func:`vectors`.
What nobody gave but the physics needs stands in ``DEFAULTS``, and every answer shows it as an
assumption.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Annotated, Any, Final, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from foreaft.base.errors import InputError
from foreaft.base.number import Number
from foreaft.model import convert
from foreaft.model.adjuster import Adjuster
from foreaft.model.arrays import WHEEL_INERTIA_MASS_KG, CarArrays, vectors
from foreaft.model.fields import SLUG, Model, Quantity, Word, catalogue, numbers_of, refuse
from foreaft.model.parts import (
    TRANSIENT_DEFAULTS,
    Anchor,
    Brakes,
    Drive,
    Fuel,
    Transient,
    Tyres,
    Wheel,
)

Floats = NDArray[np.float64]

__all__ = [
    "DEFAULTS",
    "Car",
    "CarArrays",
    "assumptions",
    "draw",
    "numbers",
    "transient_assumptions",
    "vectors",
]


class Car(Model):
    """A car file. Masses and places with the driver and the fuel of ``[fuel]`` aboard."""

    schema_: Annotated[Literal["foreaft.car/1"], Word("first key of the file")] = Field(
        alias="schema"
    )
    id: Annotated[
        str,
        Word("lower-case words joined by hyphens; kept for good"),
        Field(pattern=SLUG, max_length=60),
    ]
    name: Annotated[str, Word("name"), Field(min_length=1, max_length=80)]
    class_name: Annotated[str | None, Word("class it belongs to, a label")] = None
    draws_file: Annotated[
        str | None,
        Word(
            "CSV or JSON beside this file with joint draws of several numbers, as learn writes it"
        ),
    ] = None

    mass_kg: Annotated[
        Number,
        Quantity("kg", 100, 10000, "500 to 1450", "mass as run, with driver and fuel", "scales"),
    ]
    front_weight_frac: Annotated[
        Number,
        Quantity(
            "",
            0.05,
            0.95,
            "0.41 to 0.64",
            "static load on the front axle / weight",
            "scales under both axles",
        ),
    ]
    cg_height_m: Annotated[
        Number,
        Quantity(
            "m",
            0.05,
            2.5,
            "0.26 to 0.58",
            "centre of gravity above the road",
            "lift one axle by half a metre and weigh the other",
        ),
    ]
    wheelbase_m: Annotated[Number, Quantity("m", 1, 6, "2.0 to 2.95", "axle to axle", "tape")]
    track_front_m: Annotated[
        Number,
        Quantity("m", 0.5, 3, "1.2 to 1.72", "front track, middle to middle of the tyres", "tape"),
    ]
    track_rear_m: Annotated[
        Number,
        Quantity("m", 0.5, 3, "1.2 to 1.70", "rear track, middle to middle of the tyres", "tape"),
    ]
    yaw_inertia_kgm2: Annotated[
        Number | None, Quantity("kg m2", 10, 50000, "400 to 2200", "yaw moment of inertia")
    ] = None
    yaw_inertia_frac: Annotated[
        Number | None,
        Quantity(
            "",
            0.1,
            2,
            "0.7 to 1.0",
            "instead of yaw_inertia_kgm2: yaw inertia / (mass x distance to "
            "the front axle x distance to the rear axle)",
        ),
    ] = None
    roll_front_frac: Annotated[
        Number,
        Quantity(
            "",
            0.01,
            0.99,
            "0.3 to 0.8",
            "front share of the roll stiffness, tyres counted",
            "lift one front wheel: load taken off the other end tells",
        ),
    ]
    drag_area_m2: Annotated[
        Number,
        Quantity(
            "m2",
            0,
            5,
            "0.45 to 1.25",
            "drag coefficient x frontal area",
            "coasting from high speed",
        ),
    ]
    lift_area_m2: Annotated[
        Number | None,
        Quantity("m2", -2, 10, "0 to 4", "downforce coefficient x area, positive down"),
    ] = None
    aero_front_frac: Annotated[
        Number | None, Quantity("", 0, 1, "0.35 to 0.48", "front share of the downforce")
    ] = None
    lift_front_area_m2: Annotated[
        Number | None,
        Quantity("m2", -2, 6, "-0.1 to 1.7", "instead of the two: downforce at the front"),
    ] = None
    lift_rear_area_m2: Annotated[
        Number | None,
        Quantity("m2", -2, 6, "-0.1 to 2.3", "instead of the two: downforce at the rear"),
    ] = None
    aero_front_shift_frac_per_g: Annotated[
        Number | None,
        Quantity(
            "1/g",
            -0.2,
            0.2,
            "0 to 0.04",
            "forward move of the downforce's front share per g of braking",
        ),
    ] = None
    drag_height_m: Annotated[
        Number | None,
        Quantity(
            "m", 0, 3, "0.3 to 0.7", "height at which the drag acts; centre of gravity if absent"
        ),
    ] = None

    fuel: Annotated[Fuel | None, Word("fuel counted in mass_kg")] = None
    tyre: Annotated[Tyres, Word("tyres")]
    wheel: Annotated[Wheel, Word("wheels")]
    drive: Annotated[Drive, Word("power and engine braking")]
    brakes: Annotated[Brakes, Word("brakes")]
    adjuster: Annotated[Adjuster | None, Word("the adjuster; absent where there is none")] = None
    anchor: Annotated[Anchor | None, Word("what driving it has shown")] = None
    transient: Annotated[
        Transient | None, Word("what only the driven car needs; no plan reads it")
    ] = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.cg_height_m.nominal >= self.wheelbase_m.nominal:
            raise refuse(
                "The centre of gravity is higher than the car is long between its axles.",
                key="cg_height_m",
                value=self.cg_height_m.nominal,
                unit="m",
                allowed=f"below wheelbase_m = {self.wheelbase_m.nominal:g}",
                hint="Both are in metres; 0.3 to 0.6 is usual for the height.",
            )
        if self.fuel and self.fuel.aboard_kg.nominal >= self.mass_kg.nominal:
            raise refuse(
                "There is more fuel than car.",
                key="fuel.aboard_kg",
                unit="kg",
                value=self.fuel.aboard_kg.nominal,
                allowed=f"below mass_kg = {self.mass_kg.nominal:g}",
                hint="mass_kg includes the fuel.",
            )
        self._check_pairs()
        self._check_share()
        self._check_anchor()
        return self

    def _check_pairs(self) -> None:
        if self.yaw_inertia_kgm2 is not None and self.yaw_inertia_frac is not None:
            raise refuse(
                "The yaw inertia stands there twice.",
                code="contradiction",
                key="yaw_inertia_frac",
                allowed="one of the two",
                hint="Keep yaw_inertia_kgm2.",
            )
        whole = (self.lift_area_m2, self.aero_front_frac)
        parts = (self.lift_front_area_m2, self.lift_rear_area_m2)
        if (None in whole) == (None in parts) or (any(whole) and any(parts)):
            raise refuse(
                "The downforce is given as a total with its front share, or as front and rear.",
                code="missing_key",
                key="lift_area_m2",
                unit="m2",
                allowed="lift_area_m2 and aero_front_frac; or lift_front_area_m2 and "
                "lift_rear_area_m2",
                hint="Without wings write 0 for front and rear.",
            )

    def _check_share(self) -> None:
        ways = [n for n in ("front_share_frac", "hardware") if getattr(self.brakes, n)]
        a = self.adjuster
        if a is None or (a.meaning == "unknown" and not a.known):
            _require(
                "front_share_frac" in ways,
                "front_share_frac",
                "brakes.front_share_frac at the reference setting",
            )
        elif not a.known and a.meaning in ("pressure_share", "balance_bar"):
            _require(
                len(ways) == 1,
                "front_share_frac",
                "either brakes.front_share_frac or the hardware of both axles",
            )
            if a.meaning == "balance_bar" and self.brakes.hardware:
                both = (self.brakes.front, self.brakes.rear)
                _require(
                    all(b and b.master_cylinder_bore_mm for b in both),
                    "front",
                    "master_cylinder_bore_mm of both axles",
                )
        relative = (
            a is not None and not a.known and a.meaning not in ("torque_share", "force_share")
        )
        if a and relative and "front_share_frac" in ways and self.reference_setting is None:
            raise refuse(
                "It is not said at which setting front_share_frac holds.",
                code="missing_key",
                key="adjuster.reference_setting",
                allowed=f"{a.min:g} to {a.max:g}",
                hint="Write the setting it was measured at.",
            )
        if a is not None:
            self._check_ends(a)

    def _check_ends(self, a: Adjuster) -> None:
        """Refuse an adjuster that reaches past nothing or everything inside its own ranges."""
        if a.known:
            points = sorted(a.known, key=lambda p: p.setting)
            shares = np.array([[p.front_share_frac.nominal for p in points]])
            ends = convert.piecewise(
                a.settings[[0, -1]], np.array([p.setting for p in points]), shares
            )[0]
        elif a.meaning == "unknown" and a.share_per_unit_frac and self.brakes.front_share_frac:
            per_unit = _extremes(a.share_per_unit_frac)[1]
            low, high = _extremes(self.brakes.front_share_frac)
            reach = a.settings[[0, -1]] - (self.reference_setting or 0.0)
            if a.higher_means == "rear":
                reach = -reach[::-1]
            ends = np.array([low, high]) + per_unit * reach
        else:
            return
        for share, key in zip(ends, ("min", "max"), strict=True):
            if not 0.0 < share < 1.0:
                raise refuse(
                    f"At one end of the adjuster the front share would be {share:.3f}.",
                    key=f"adjuster.{key}",
                    value=getattr(a, key),
                    allowed="settings whose front share lies between 0 and 1",
                    hint="Check the range, the share at the reference setting and what a unit "
                    "does.",
                )

    @property
    def reference_setting(self) -> float | None:
        """Setting at which brakes.front_share_frac holds: the anchor's where none is named."""
        if self.adjuster and self.adjuster.reference_setting is not None:
            return self.adjuster.reference_setting
        return self.anchor.setting if self.anchor else None

    def _check_anchor(self) -> None:
        a, anchor = self.adjuster, self.anchor
        if anchor is None:
            return
        if a is None or not np.any(np.isclose(a.settings, anchor.setting, atol=1e-6)):
            raise refuse(
                "The adjuster has no such setting.",
                key="anchor.setting",
                value=anchor.setting,
                allowed="an adjuster"
                if a is None
                else f"{a.min:g} to {a.max:g} in steps of {a.step:g}",
                hint="Write the setting as the driver reads it.",
            )


def _require(fine: bool, key: str, allowed: str) -> None:
    if not fine:
        raise refuse(
            "What the adjuster's number means is not enough to know the front share.",
            code="missing_key",
            key=f"brakes.{key}",
            allowed=allowed,
            unit="",
            hint="A range will do: front_share_frac = { low = 0.6, high = 0.7 }.",
        )


def _extremes(number: Number) -> tuple[float, float]:
    if number.low is not None and number.high is not None:
        return number.low, number.high
    spread = 3.0 * (number.sd or 0.0)
    return number.nominal - spread, number.nominal + spread


# ---------------------------------------------------------------- numbers and draws


def _assumed(low: float, high: float, why: str) -> Number:
    return Number(low=low, high=high, source=f"assumption: {why}")


_TRADE: Final = "common practice, no source"

DEFAULTS: Final[dict[str, Number]] = {
    "yaw_inertia_frac": _assumed(0.7, 1.0, _TRADE),
    "aero_front_shift_frac_per_g": _assumed(0.0, 0.04, _TRADE),
    "tyre.mu_y_per_mu_x": _assumed(0.94, 1.0, _TRADE),
    "tyre.load_sensitivity_frac": _assumed(0.06, 0.14, _TRADE),
    "tyre.cornering_stiffness_per_load_1prad": _assumed(15.0, 25.0, _TRADE),
    "tyre.peak_slip_frac": _assumed(0.08, 0.12, _TRADE),
    "tyre.sliding_frac": _assumed(0.70, 0.80, _TRADE),
    "drive.overrun_coupling_N": _assumed(0.0, 800.0, _TRADE),
    "drive.driveline_mass_kg": _assumed(5.0, 30.0, _TRADE),
}
"""What stands in for numbers nobody gave. Each is shown with every answer."""


def numbers(car: Car) -> dict[str, Number]:
    """Give every number of the car that may be uncertain, by dotted key, defaults included."""
    given = {key: number for key, number, _ in numbers_of(car)}
    return given | {key: DEFAULTS[key] for key in _wanted_defaults(car, given)}


def _wanted_defaults(car: Car, given: Mapping[str, Number]) -> list[str]:
    wanted = []
    if car.yaw_inertia_kgm2 is None and car.yaw_inertia_frac is None:
        wanted.append("yaw_inertia_frac")
    for key in ("aero_front_shift_frac_per_g", "drive.overrun_coupling_N"):
        if key not in given:
            wanted.append(key)
    drive = car.drive
    bare = drive.engine_brake_N is not None or any(
        p.driveline_mass_kg is None for p in drive.engine_brake
    )
    if bare and drive.driveline_mass_kg is None:
        wanted.append("drive.driveline_mass_kg")
    for key in DEFAULTS:
        table, _, name = key.rpartition(".")
        if table == "tyre":
            axles = [x for x in ("front", "rear") if car.tyre.formula(x) is None]
            if any(_tyre_key(car, x, name) is None for x in axles):
                wanted.append(key)
    return wanted


def _tyre_key(car: Car, axle: str, name: str) -> str | None:
    if name == "mu_y_per_mu_x" and car.tyre.at(axle, "mu_y") is not None:
        return "tyre.mu_y"
    return car.tyre.at(axle, name)


def assumptions(car: Car) -> list[dict[str, Any]]:
    """Give what nobody measured: defaults, and numbers whose source says assumption."""
    about = catalogue(Car)
    found = []
    for key, number in numbers(car).items():
        if (number.source or "").startswith("assumption"):
            entry = about[".".join(p for p in key.split(".") if not p.isdecimal())]
            value: float | str = number.nominal
            if number.low is not None:
                value = f"{number.low:g} to {number.high:g}"
            found.append(
                {"key": key, "value": value, "unit": entry.about.unit, "source": number.source}
            )
    for key, absent, text, unit in (
        ("drag_height_m", car.drag_height_m is None, "height of the centre of gravity", "m"),
        (
            "wheel.inertia_front_kgm2",
            car.wheel.inertia_front_kgm2 is None,
            f"{WHEEL_INERTIA_MASS_KG:g} x radius^2",
            "kg m2",
        ),
        (
            "wheel.inertia_rear_kgm2",
            car.wheel.inertia_rear_kgm2 is None,
            f"{WHEEL_INERTIA_MASS_KG:g} x radius^2",
            "kg m2",
        ),
        (
            "tyre.load_ref_N",
            any(
                car.tyre.formula(x) is None and not car.tyre.at(x, "load_ref_N")
                for x in ("front", "rear")
            ),
            "static wheel load of the axle",
            "N",
        ),
    ):
        if absent:
            found.append(
                {"key": key, "value": text, "unit": unit, "source": f"assumption: {_TRADE}"}
            )
    return found


def transient_assumptions(car: Car) -> list[dict[str, Any]]:
    """Give what stands in for keys of ``[transient]`` nobody gave, as :func:`assumptions` does.

    Apart from those, because only what drives the car depends on them.
    """
    about = catalogue(Car)
    return [
        {
            "key": f"transient.{name}",
            "value": value,
            "unit": about[f"transient.{name}"].about.unit,
            "source": f"assumption: {_TRADE}",
        }
        for name, value in TRANSIENT_DEFAULTS.items()
        if getattr(car.transient, name, None) is None
    ]


def draw(
    car: Car, seed: int, samples: int, joint: Mapping[str, Floats] | None = None
) -> dict[str, Floats]:
    """Draw the car's numbers; row 0 is the nominal car.

    Every key has a child seed of its own, so that one more key does not change the others.

    Parameters
    ----------
    car : Car
    seed : int
        >= 0.
    samples : int
        Rows besides the nominal one, >= 0.
    joint : mapping, optional
        Columns of draws that belong together, shape (rows,) each; used row by row, from the
        first again where there are fewer rows than samples.

    Returns
    -------
    dict
        Dotted key -> ndarray, shape (samples + 1,).

    Raises
    ------
    InputError
        If a joint draw has no place in the car or lies outside its physical limits.
    """
    known = numbers(car)
    limits = dict(_quantities(known))
    out: dict[str, Floats] = {}
    for key, number in known.items():
        digest = int.from_bytes(hashlib.sha256(key.encode()).digest()[:8], "big")
        rng = np.random.default_rng(np.random.SeedSequence([seed, digest]))
        drawn = number.sample(rng, samples, limits[key].lower, limits[key].upper)
        out[key] = np.concatenate([[number.nominal], drawn])
    for key, column in (joint or {}).items():
        out[key][1:] = np.resize(_joint(key, column, limits), samples)
    return out


def _quantities(known: Mapping[str, Number]) -> list[tuple[str, Quantity]]:
    about = catalogue(Car)
    found = []
    for key in known:
        entry = about[".".join(p for p in key.split(".") if not p.isdecimal())].about
        if isinstance(entry, Quantity):
            found.append((key, entry))
    return found


def _joint(key: str, column: Floats, limits: Mapping[str, Quantity]) -> Floats:
    if key not in limits:
        raise InputError(
            "The joint draws name a number this car has not.",
            code="unknown_key",
            key=key,
            value=key,
            allowed=", ".join(limits),
            unit="",
            hint="Draw again from this car's file.",
        )
    quantity = limits[key]
    wrong = ~((column >= quantity.lower) & (column <= quantity.upper))
    if not len(column) or wrong.any():
        raise InputError(
            "A joint draw lies outside what is possible.",
            code="out_of_range",
            key=key,
            value=float(column[wrong][0]) if len(column) else "no rows",
            allowed=quantity.allowed,
            unit=quantity.unit,
            hint="Draw again from this car's file.",
        )
    return column
