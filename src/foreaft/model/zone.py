"""Zones: one braking event each, cut from a circuit or typed into a sheet.

A sheet keeps the units people type (km/h); a :class:`Zone` is SI.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from foreaft.base.units import GRAVITY_MPS2, KMH_PER_MPS
from foreaft.model.fields import SLUG, Model, Quantity, Word, refuse

Direction = Literal["left", "right", "none"]
Surface = Literal["normal", "bump", "crest"]
RunOff = Literal["open", "gravel", "wall"]

_APPROACH: Any = (15, 450)
_MINIMUM: Any = (5, 450)
_RADIUS: Any = (3, 5000)
_SHARE: Any = (0.0, 1.0)

ZoneId = Annotated[
    str, Word("id of the zone, given once and kept"), Field(pattern=SLUG, max_length=40)
]
Name = Annotated[str, Word("what the driver calls it"), Field(min_length=1, max_length=60)]
S = Annotated[float | None, Quantity("m", 0, 100_000, "", "distance along the lap from the line")]


class Zone(Model):
    """One braking zone, SI. The ``*_s_m`` are None for a zone typed into a sheet."""

    zone_id: ZoneId
    name: Name
    direction: Annotated[Direction, Word("which way the corner turns; none: a straight stop")]
    brake_s_m: S = None
    turn_in_s_m: S = None
    release_s_m: S = None
    apex_s_m: S = None
    approach_speed_mps: Annotated[
        float, Quantity("m/s", 0.5, 125, "30 to 80", "speed at the brake point")
    ]
    apex_speed_mps: Annotated[float, Quantity("m/s", 0.25, 125, "12 to 60", "lowest speed")]
    apex_radius_m: Annotated[
        float | None, Quantity("m", *_RADIUS, "14 to 200", "radius driven at the apex")
    ] = None
    depth_frac: Annotated[
        float, Quantity("", *_SHARE, "0 to 1", "where the brake is released: 0 turn-in, 1 apex")
    ]
    hand_time_s: Annotated[
        float, Quantity("s", 0, 120, "0 to 10", "time before it with a hand free")
    ]
    brake_at_turn_in_frac: Annotated[
        float | None,
        Quantity(
            "", *_SHARE, "0 to 0.8", "brake left at turn-in / peak; the driver's own if absent"
        ),
    ] = None
    gear: Annotated[int | None, Quantity("", 1, 12, "1 to 6", "gear at the lowest speed")] = None
    surface: Annotated[Surface, Word("what the road does in the braking zone")] = "normal"
    run_off: Annotated[RunOff, Word("what lies beyond")] = "open"

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.apex_speed_mps >= self.approach_speed_mps:
            raise _not_braking(
                "apex_speed_mps", self.apex_speed_mps, self.approach_speed_mps, "m/s"
            )
        if self.direction != "none" and self.apex_radius_m is None:
            raise _no_radius("apex_radius_m", self.direction)
        return self


class SheetRow(Model):
    """One row of a zone sheet, as typed."""

    name: Name
    approach_kmh: Annotated[
        float, Quantity("km/h", *_APPROACH, "90 to 290", "speed at the brake point")
    ]
    min_kmh: Annotated[float, Quantity("km/h", *_MINIMUM, "45 to 200", "lowest speed")]
    radius_m: Annotated[
        float | None,
        Quantity("m", *_RADIUS, "14 to 200", "radius driven at the apex; or lateral_g"),
    ] = None
    lateral_g: Annotated[
        float | None,
        Quantity("g", 0.05, 6, "0.9 to 2.5", "cornering load at the lowest speed; or radius_m"),
    ] = None
    depth_frac: Annotated[
        float, Quantity("", *_SHARE, "0 to 1", "where the brake is released: 0 turn-in, 1 apex")
    ]
    direction: Annotated[Direction, Word("which way the corner turns; none: a straight stop")]
    hand_time_s: Annotated[
        float, Quantity("s", 0, 120, "0 to 10", "time before it with a hand free")
    ]
    brake_at_turn_in_frac: Annotated[
        float | None, Quantity("", *_SHARE, "0 to 0.8", "brake left at turn-in / peak")
    ] = None
    gear: Annotated[int | None, Quantity("", 1, 12, "1 to 6", "gear at the lowest speed")] = None
    surface: Annotated[Surface | None, Word("what the road does in the braking zone")] = None
    run_off: Annotated[RunOff | None, Word("what lies beyond")] = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.min_kmh >= self.approach_kmh:
            raise _not_braking("min_kmh", self.min_kmh, self.approach_kmh, "km/h")
        if self.radius_m is not None and self.lateral_g is not None:
            raise refuse(
                "The corner has a radius and a cornering load.",
                code="contradiction",
                key="lateral_g",
                value=self.lateral_g,
                allowed="one of the two",
                unit="g",
                hint="Leave one of the two cells empty.",
            )
        if self.direction != "none" and self.radius_m is None and self.lateral_g is None:
            raise _no_radius("radius_m", self.direction)
        self._check_radius()
        return self

    def _check_radius(self) -> None:
        radius = self._radius()
        if radius is not None and self.direction == "none":
            raise refuse(
                "A straight stop has no radius and no cornering load.",
                code="contradiction",
                key="direction",
                value=self.direction,
                allowed="left or right; or none with both cells empty",
                hint="Say which way the corner turns, or empty the cell.",
            )
        if self.lateral_g is not None and radius is not None:
            low, high = _RADIUS
            if not low <= radius <= high:
                raise refuse(
                    "Speed and cornering load make a radius no corner has.",
                    key="lateral_g",
                    value=self.lateral_g,
                    allowed=f"a load that gives a radius of {low} to {high} m, here {radius:.3g} m",
                    unit="g",
                    hint="Check the lowest speed and the cornering load there.",
                )

    def _radius(self) -> float | None:
        """Radius at the apex; a cornering load becomes v^2 / ay. [m]"""
        if self.lateral_g is None:
            return self.radius_m
        return (self.min_kmh / KMH_PER_MPS) ** 2 / (self.lateral_g * GRAVITY_MPS2)

    def zone(self, zone_id: str) -> Zone:
        """Give the row in SI; a cornering load becomes the radius v^2 / ay."""
        return Zone(
            zone_id=zone_id,
            name=self.name,
            direction=self.direction,
            approach_speed_mps=self.approach_kmh / KMH_PER_MPS,
            apex_speed_mps=self.min_kmh / KMH_PER_MPS,
            apex_radius_m=self._radius(),
            depth_frac=self.depth_frac,
            hand_time_s=self.hand_time_s,
            brake_at_turn_in_frac=self.brake_at_turn_in_frac,
            gear=self.gear,
            surface=self.surface or "normal",
            run_off=self.run_off or "open",
        )


class ZoneSheet(Model):
    """Corners typed by hand, in driving order; zone ids z01, z02 ... by row."""

    id: Annotated[str, Word("lower-case words joined by hyphens"), Field(pattern=SLUG)]
    name: Name
    rows: Annotated[
        tuple[SheetRow, ...],
        Word("one per braking zone"),
        Field(strict=False, min_length=1, max_length=60),
    ]

    def zones(self) -> tuple[Zone, ...]:
        """Give the rows as zones."""
        return tuple(row.zone(f"z{i:02d}") for i, row in enumerate(self.rows, start=1))


class ZoneMark(Model):
    """A row of a circuit's zones.csv: name and what overrides the cut, matched by apex."""

    zone_id: ZoneId
    name: Name
    apex_s_m: Annotated[
        float,
        Quantity(
            "m",
            0,
            100_000,
            "",
            "apex, from the line along the lap; a zone cut within 30 m of it is this one",
        ),
    ]
    turn_in_s_m: S = None
    depth_frac: Annotated[
        float | None,
        Quantity("", *_SHARE, "0 to 1", "where the brake is released: 0 turn-in, 1 apex"),
    ] = None
    brake_at_turn_in_frac: Annotated[
        float | None, Quantity("", *_SHARE, "0 to 0.8", "brake left at turn-in / peak")
    ] = None
    hand_time_s: Annotated[
        float | None, Quantity("s", 0, 120, "0 to 10", "time before it with a hand free")
    ] = None
    gear: Annotated[int | None, Quantity("", 1, 12, "1 to 6", "gear at the lowest speed")] = None
    surface: Annotated[Surface | None, Word("what the road does in the braking zone")] = None
    run_off: Annotated[RunOff | None, Word("what lies beyond")] = None


def _not_braking(key: str, low: float, high: float, unit: str) -> Exception:
    return refuse(
        "The car is no slower at the apex than at the brake point.",
        key=key,
        value=low,
        allowed=f"below {high:g}",
        unit=unit,
        hint="Is this a braking zone? Leave out corners taken without the brake.",
    )


def _no_radius(key: str, direction: str) -> Exception:
    return refuse(
        f"A {direction} turn needs its radius or its cornering load.",
        code="missing_key",
        key=key,
        allowed="3 to 5000",
        unit="m",
        hint="Take it from a map, or type lateral_g instead: 1.2 for a treaded tyre, "
        "1.6 for a slick is usual.",
    )
