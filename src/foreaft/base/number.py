"""One number of a car as known: exact, with a spread, or only as a range.

Three forms, never mixed:

- ``Number(value=v)``: taken as exact;
- ``Number(value=v, sd=s)``: normal, truncated at the number's physical limits when sampled;
- ``Number(low=a, high=b)``: uniform, with the middle as its nominal value.

Each may say where it comes from (``source``).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError


@dataclass(frozen=True, slots=True)
class Number:
    """A value with what is known of its uncertainty.

    Parameters
    ----------
    value : float, optional
        Best value, in the number's own SI unit.
    sd : float, optional
        Standard deviation of the normal spread about ``value``, > 0.
    low, high : float, optional
        Bounds of the uniform range, low < high, instead of ``value``.
    source : str, optional
        Where it comes from.

    Raises
    ------
    InputError
        If the parts do not make one of the three forms.
    """

    value: float | None = None
    sd: float | None = None
    low: float | None = None
    high: float | None = None
    source: str | None = None

    def __post_init__(self) -> None:
        for name in ("value", "sd", "low", "high"):
            part = getattr(self, name)
            if part is not None and not isfinite(part):
                raise _refused(f"{name} is not a finite number.", name, part, "a finite number")
        if self.value is None:
            self._check_range()
        elif self.low is not None or self.high is not None:
            raise _refused("A number is a value or a range, not both.", "value", self.value, _FORMS)
        elif self.sd is not None and self.sd <= 0.0:
            raise _refused("A standard deviation must be positive.", "sd", self.sd, "> 0")

    def _check_range(self) -> None:
        if self.sd is not None:
            raise _refused("A standard deviation needs a value.", "sd", self.sd, _FORMS)
        if self.low is None or self.high is None:
            missing = "low" if self.low is None else "high"
            raise _refused("A number needs a value, or low and high.", missing, None, _FORMS)
        if self.low >= self.high:
            raise _refused(
                "The range is upside down or empty.", "low", self.low, f"below high = {self.high}"
            )

    @property
    def nominal(self) -> float:
        """The value, or the middle of the range."""
        if self.value is not None:
            return self.value
        low, high = self._range()
        return low + 0.5 * (high - low)

    @property
    def is_known(self) -> bool:
        """Whether the number is taken as exact."""
        return self.value is not None and self.sd is None

    def sample(
        self, rng: np.random.Generator, n: int, lower: float = -inf, upper: float = inf
    ) -> NDArray[np.float64]:
        """Draw independent values; nothing outside the physical limits, nothing clipped.

        Parameters
        ----------
        rng : numpy Generator
            The only source of randomness; a known number takes nothing from it.
        n : int
            How many, >= 0.
        lower, upper : float
            Physical limits in the number's unit, lower < upper.

        Returns
        -------
        ndarray, shape (n,)
            In the number's unit.

        Raises
        ------
        InputError
            If the value or the range lies outside the physical limits.
        """
        self.require_within(lower, upper)
        if self.value is None:
            low, high = self._range()
            return rng.uniform(low, high, n)
        if self.sd is None:
            return np.full(n, self.value)
        return _truncated_normal(rng, n, self.value, self.sd, (lower, upper))

    def require_within(self, lower: float, upper: float) -> None:
        """Refuse a value or a range that reaches outside the physical limits.

        Raises
        ------
        InputError
            Naming the part at fault and the limits.
        """
        for name in ("value", "low", "high"):
            part = getattr(self, name)
            if part is not None and not lower <= part <= upper:
                raise _refused(
                    f"{name} lies outside what is physically possible.",
                    name,
                    part,
                    f"{lower:g} to {upper:g}",
                )

    def _range(self) -> tuple[float, float]:
        if self.low is None or self.high is None:
            raise TypeError("a number without a value has both bounds, by construction")
        return self.low, self.high


_FORMS = "value | value and sd | low and high"

_MAX_REDRAWS = 100


def _refused(message: str, key: str, found: object, allowed: str) -> InputError:
    return InputError(
        message,
        code="bad_number",
        key=key,
        value=found,
        allowed=allowed,
        hint="Write a value, { value, sd } or { low, high }; each may have a source.",
    )


def _truncated_normal(
    rng: np.random.Generator, n: int, mean: float, sd: float, limits: tuple[float, float]
) -> NDArray[np.float64]:
    """Draw from the normal truncated to the limits, by its inverse distribution."""
    from scipy.special import ndtr, ndtri

    lower, upper = limits
    below, above = ndtr((lower - mean) / sd), ndtr((upper - mean) / sd)
    drawn = np.full(n, np.nan)
    for _ in range(_MAX_REDRAWS):
        # A second round is rare: rounding can put the outermost draws past a limit by one unit in
        # the last place, and a uniform draw of exactly 0 is infinite where there is no limit.
        wrong = ~(np.isfinite(drawn) & (drawn >= lower) & (drawn <= upper))
        if not wrong.any():
            return drawn
        uniform = rng.random(int(wrong.sum()))
        drawn[wrong] = mean + sd * ndtri(below + uniform * (above - below))
    raise _refused(
        "The spread cannot be drawn within the physical limits.",
        "sd",
        sd,
        f"a spread comparable with {lower:g} to {upper:g}",
    )
