"""Units as logs spell them: what they measure, and the factor to SI."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from math import pi
from typing import Final, Literal

from foreaft.base.units import (
    GRAVITY_MPS2,
    KMH_PER_MPS,
    METRES_PER_MILE,
    PA_PER_BAR,
    RAD_PER_DEGREE,
)

Kind = Literal[
    "time",
    "length",
    "speed",
    "acceleration",
    "pressure",
    "angle",
    "angular_rate",
    "fraction",
    "force",
    "number",
]


@dataclass(frozen=True)
class Unit:
    """A unit: canonical spelling, what it measures, and SI per unit (radians, not degrees)."""

    text: str
    kind: Kind
    factor: float


FOOT_M: Final = 0.3048
"""Exact, as the mile of 5280 feet. [m/ft]"""

PSI_PA: Final = 6894.757293168
"""Pound-force per square inch: 0.45359237 kg x 9.80665 m/s2 over (0.0254 m)^2. [Pa/psi]"""

POUND_FORCE_N: Final = 4.4482216152605
"""0.45359237 kg x 9.80665 m/s2, exact. [N/lbf]"""

_TABLE: Final[dict[Kind, dict[str, tuple[float, str]]]] = {
    "time": {
        "s": (1.0, "s sec secs second seconds sek sekunde sekunden seconde secondes secondi"),
        "ms": (1e-3, "ms msec millis millisecond milliseconds millisekunden"),
        "us": (1e-6, "us usec microsecond microseconds"),
        "ns": (1e-9, "ns nsec nanosecond nanoseconds"),
        "min": (60.0, "min minute minutes"),
        "h": (3600.0, "h hr hrs hour hours"),
        "day": (86400.0, "d day days"),
    },
    "length": {
        "m": (1.0, "m meter metre meters metres"),
        "km": (1000.0, "km"),
        "cm": (0.01, "cm"),
        "mm": (0.001, "mm"),
        "ft": (FOOT_M, "ft feet foot"),
        "mi": (METRES_PER_MILE, "mi mile miles"),
    },
    "speed": {
        "m/s": (1.0, "m/s mps ms-1 m.s-1 m/sec"),
        "km/h": (1.0 / KMH_PER_MPS, "km/h kmh kph kmph km/hr kmh-1 km.h-1"),
        "mph": (METRES_PER_MILE / 3600.0, "mph mi/h mile/h miles/h"),
        "kn": (1852.0 / 3600.0, "kn kt kts knot knots"),
        "ft/s": (FOOT_M, "ft/s fps"),
    },
    "acceleration": {
        "m/s2": (1.0, "m/s2 m/s/s mps2 ms-2 m.s-2 m/sec2 m/s^2"),
        "g": (GRAVITY_MPS2, "g gs g's gee gn"),
        "mg": (GRAVITY_MPS2 / 1000.0, "mg milli-g"),
        "ft/s2": (FOOT_M, "ft/s2"),
    },
    "pressure": {
        "Pa": (1.0, "pa pascal n/m2"),
        "kPa": (1e3, "kpa"),
        "MPa": (1e6, "mpa n/mm2"),
        "hPa": (100.0, "hpa mbar millibar"),
        "bar": (PA_PER_BAR, "bar bars barg"),
        "psi": (PSI_PA, "psi psig lbf/in2"),
    },
    "angle": {
        "rad": (1.0, "rad radian radians"),
        "deg": (RAD_PER_DEGREE, "deg degs degree degrees grad gradi degre degres grados"),
        "mrad": (1e-3, "mrad"),
    },
    "angular_rate": {
        "rad/s": (1.0, "rad/s rads rad/sec rads-1 radps"),
        "deg/s": (RAD_PER_DEGREE, "deg/s degs/s deg/sec dps degps degs-1 grad/s gradi/s"),
        "rpm": (2.0 * pi / 60.0, "rpm r/min rev/min 1/min min-1 u/min tr/min giri/min"),
        "Hz": (2.0 * pi, "hz rev/s 1/s"),
    },
    "fraction": {
        "frac": (1.0, "frac ratio 0-1 0..1"),
        "%": (0.01, "% pct percent prozent %open"),
    },
    "force": {
        "N": (1.0, "n newton newtons"),
        "kN": (1000.0, "kn_force kilonewton"),
        "daN": (10.0, "dan"),
        "lbf": (POUND_FORCE_N, "lbf lb lbs"),
        "kgf": (GRAVITY_MPS2, "kgf kg kp"),
    },
    "number": {"1": (1.0, "1 - none number no. nr count counts # steps step clicks click")},
}

UNITS: Final = {
    text: Unit(text, kind, factor)
    for kind, units in _TABLE.items()
    for text, (factor, _) in units.items()
}
"""Every unit, by its canonical spelling."""

_SPELLINGS: Final = {
    spelling: UNITS[text]
    for units in _TABLE.values()
    for text, (_, spellings) in units.items()
    for spelling in spellings.split()
}


def parse_unit(text: str) -> Unit | None:
    """Give the unit a spelling stands for; None where it is unknown or empty.

    Case, blanks, brackets, raised digits and signs of multiplication do not matter.

    Examples
    --------
    >>> parse_unit("[m/s²]").text, parse_unit("KPH").text, parse_unit("°/sec").text
    ('m/s2', 'km/h', 'deg/s')
    >>> parse_unit("furlong") is None
    True
    """
    if len(text) > LONGEST:
        return None
    if text.strip() == "kN":  # all but this pair, kilonewton and knot, are told apart without case
        return UNITS["kN"]
    plain = unicodedata.normalize("NFKD", text.replace("°", "deg").replace("º", "deg"))
    plain = "".join(c for c in plain if not unicodedata.combining(c)).lower()
    plain = plain.replace("degdeg", "deg").replace("\u03bc", "u").replace("\u2212", "-")
    plain = re.sub(r"[\s\[\](){}^*\"·⋅]|\u00b7", "", plain)
    plain = re.sub(r"degc$", "celsius", plain)
    return _SPELLINGS.get(plain) or _SPELLINGS.get(plain.replace("/sec", "/s"))


LONGEST: Final = 24
"""No unit is longer than this."""
