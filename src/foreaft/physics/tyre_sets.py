"""Published Magic Formula coefficient sets, with their source."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

PACEJKA_2012_205_60R15: Final[Mapping[str, float]] = MappingProxyType(
    {
        "Fz0": 4000.0,
        "p_i0": 220e3,
        "pCx1": 1.579,
        "pDx1": 1.0422,
        "pDx2": -0.08285,
        "pDx3": 0.0,
        "pEx1": 0.11113,
        "pEx2": 0.3143,
        "pEx3": 0.0,
        "pEx4": 0.001719,
        "pKx1": 21.687,
        "pKx2": 13.728,
        "pKx3": -0.4098,
        "pHx1": 2.1615e-4,
        "pHx2": 0.0011598,
        "pVx1": 2.0283e-5,
        "pVx2": 1.0568e-4,
        "ppx1": -0.3485,
        "ppx2": 0.37824,
        "ppx3": -0.09603,
        "ppx4": 0.06518,
        "rBx1": 13.046,
        "rBx2": 9.718,
        "rBx3": 0.0,
        "rCx1": 0.9995,
        "rEx1": -0.4403,
        "rEx2": -0.4663,
        "rHx1": -9.968e-5,
        "pCy1": 1.338,
        "pDy1": 0.8785,
        "pDy2": -0.06452,
        "pDy3": 0.0,
        "pEy1": -0.8057,
        "pEy2": -0.6046,
        "pEy3": 0.09854,
        "pEy4": -6.697,
        "pEy5": 0.0,
        "pKy1": -15.324,
        "pKy2": 1.715,
        "pKy3": 0.3695,
        "pKy4": 2.0005,
        "pKy5": 0.0,
        "pKy6": -0.8987,
        "pKy7": -0.23303,
        "pHy1": -0.001806,
        "pHy2": 0.00352,
        "pVy1": -0.00661,
        "pVy2": 0.03592,
        "pVy3": -0.162,
        "pVy4": -0.4864,
        "ppy1": -0.6255,
        "ppy2": -0.06523,
        "ppy3": -0.16666,
        "ppy4": 0.2811,
        "ppy5": 0.0,
        "rBy1": 10.622,
        "rBy2": 7.82,
        "rBy3": 0.002037,
        "rBy4": 0.0,
        "rCy1": 1.0587,
        "rEy1": 0.3148,
        "rEy2": 0.004867,
        "rHy1": 0.009472,
        "rHy2": 0.009754,
        "rVy1": 0.05187,
        "rVy2": 4.853e-4,
        "rVy3": 0.0,
        "rVy4": 94.63,
        "rVy5": 1.8914,
        "rVy6": 23.8,
    }
)
"""Road tyre 205/60R15 91V at 2.2 bar, ISO signs: [pacejka2012], appendix 3, table A3.1.

A treaded road tyre of the 1990s: a worked example of the format, no stand-in for a racing tyre.
Where copies of the table differ in a digit, the value most of them give is kept.
The second edition of the book (2006) prints another set for the same size.
"""

SETS: Final[Mapping[str, Mapping[str, float]]] = MappingProxyType(
    {"pacejka_2012_205_60r15": PACEJKA_2012_205_60R15}
)
"""Sets by the name a car file gives in ``[tyre] set``."""
