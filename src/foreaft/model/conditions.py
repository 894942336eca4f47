"""The day: grip, fuel, air and the state of the tyres."""

from __future__ import annotations

from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from foreaft.base.units import AIR_DENSITY_KGPM3
from foreaft.model.fields import SLUG, Model, Quantity, Word, refuse

GAS_CONSTANT_DRY_AIR: Final = 287.05287
"""ISO 2533:1975, Standard Atmosphere. [J/(kg K)]"""
ZERO_CELSIUS_K: Final = 273.15


class Conditions(Model):
    """A conditions file."""

    schema_: Annotated[Literal["foreaft.conditions/1"], Word("first key of the file")] = Field(
        alias="schema", default="foreaft.conditions/1"
    )
    id: Annotated[
        str, Word("lower-case words joined by hyphens"), Field(pattern=SLUG, max_length=60)
    ] = "dry"
    name: Annotated[str, Word("name"), Field(min_length=1, max_length=80)] = "Dry"
    grip_scale: Annotated[
        float,
        Quantity(
            "",
            0.1,
            1.5,
            "1 dry, 0.85 to 0.92 cold, 0.55 to 0.7 wet",
            "multiplies the friction of both axles and nothing else",
        ),
    ] = 1.0
    fuel_kg: Annotated[
        float | None, Quantity("kg", 0, 300, "5 to 80", "fuel aboard; the car file's own if absent")
    ] = None
    air_density_kgpm3: Annotated[
        float | None, Quantity("kg/m3", 0.5, 1.6, "1.10 to 1.28", "density of the air")
    ] = None
    temperature_C: Annotated[
        float | None,
        Quantity("degC", -40, 60, "5 to 35", "instead of the density: air temperature"),
    ] = None
    pressure_hPa: Annotated[
        float | None,
        Quantity(
            "hPa",
            500,
            1100,
            "950 to 1030",
            "with the temperature: pressure at the circuit, not reduced to sea level",
        ),
    ] = None
    tyre_front_frac: Annotated[
        float,
        Quantity(
            "", 0.3, 1.3, "0.92 to 1", "state of the front tyres: their friction / as written"
        ),
    ] = 1.0
    tyre_rear_frac: Annotated[
        float,
        Quantity("", 0.3, 1.3, "0.92 to 1", "state of the rear tyres: their friction / as written"),
    ] = 1.0

    @model_validator(mode="after")
    def _check(self) -> Self:
        both = (self.temperature_C is None) == (self.pressure_hPa is None)
        if not both or (self.temperature_C is not None and self.air_density_kgpm3 is not None):
            raise refuse(
                "The air is given by its density, or by temperature and pressure.",
                code="contradiction",
                key="air_density_kgpm3",
                value=self.air_density_kgpm3,
                allowed="air_density_kgpm3; or temperature_C and pressure_hPa",
                unit="kg/m3",
                hint="Leave all three out for 1.225, dry air at sea level and 15 degC.",
            )
        return self

    @property
    def density_kgpm3(self) -> float:
        """Density as given, from temperature and pressure of dry air, or the standard one."""
        if self.air_density_kgpm3 is not None:
            return self.air_density_kgpm3
        if self.temperature_C is not None and self.pressure_hPa is not None:
            kelvin = self.temperature_C + ZERO_CELSIUS_K
            return self.pressure_hPa * 100.0 / (GAS_CONSTANT_DRY_AIR * kelvin)
        return AIR_DENSITY_KGPM3

    def grip(self, axle: str) -> float:
        """Give what the friction of an axle is multiplied with."""
        state = self.tyre_front_frac if axle == "front" else self.tyre_rear_frac
        return self.grip_scale * state
