"""The brake balance adjuster: the settings it has, what they mean and how long a hand needs.

Which way the number counts is the one thing that hurts when it is wrong: it may be absent from a
file, but then there is no plan.
"""

from __future__ import annotations

from typing import Annotated, Final, Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from foreaft.base.errors import InputError
from foreaft.base.number import Number
from foreaft.model.fields import Model, Quantity, Word, refuse

Meaning = Literal["pressure_share", "torque_share", "force_share", "balance_bar", "unknown"]
Device = Literal["wheel_rotary", "wheel_buttons", "lever", "balance_bar_knob", "pits_only"]
Where = Literal["straights", "part_throttle", "pits"]

MAX_SETTINGS: Final = 200
WHOLE_STEPS: Final = 1e-6
"""How far the range may miss a whole number of steps: rounding of decimals, nothing more."""


class Hand(NamedTuple):
    """What a device asks of the hand."""

    reach_s: float
    seconds_per_step_s: float
    use_where: Where


HANDS: Final[dict[Device, Hand]] = {
    "wheel_rotary": Hand(0.6, 0.22, "straights"),
    "wheel_buttons": Hand(0.4, 0.20, "part_throttle"),
    "lever": Hand(1.25, 0.6, "straights"),
    "balance_bar_knob": Hand(2.0, 0.55, "straights"),
    "pits_only": Hand(30.0, 5.0, "pits"),
}
"""Middle of what people need, reach and return together. Common practice, no source.

The times of an adjuster in the pits are never weighed against a straight: it allows no change.
"""


class KnownPoint(Model):
    """A measured point of the adjuster."""

    setting: Annotated[float, Quantity("", -1000, 1000, "", "shown number at the measurement")]
    front_share_frac: Annotated[
        Number,
        Quantity(
            "",
            0.05,
            0.99,
            "0.5 to 0.85",
            "front part of the braking force the brakes alone make at the road",
            "line pressures, or wheel loads on a roller bench",
        ),
    ]


def _scaled(number: Number, factor: float) -> Number:
    parts = ("value", "sd", "low", "high")
    sizes = {n: getattr(number, n) for n in parts}
    scaled = {n: None if size is None else size * factor for n, size in sizes.items()}
    return Number(source=number.source, **scaled)


class Adjuster(Model):
    """``[adjuster]``: range, step, what the number means."""

    min: Annotated[
        float, Quantity("", -1000, 1000, "", "lowest number it shows", "turn it to its stop")
    ]
    max: Annotated[
        float, Quantity("", -1000, 1000, "", "highest number it shows", "turn it to its other stop")
    ]
    step: Annotated[
        float,
        Quantity(
            "", 0.01, 100, "0.2 to 1", "what one click changes", "count the clicks over the range"
        ),
    ]
    higher_means: Annotated[
        Literal["front", "rear"] | None,
        Word(
            "which axle brakes more at a higher number; no plan without it",
            "ask the team, or stop twice in a straight line at both ends of the range",
        ),
    ] = None
    meaning: Annotated[Meaning, Word("what the number is")]
    setting_unit: Annotated[
        Literal["percent", "fraction"],
        Word("a share is shown as 54.5 (percent) or as 0.545 (fraction)"),
    ] = "percent"
    reference_setting: Annotated[
        float | None,
        Quantity("", -1000, 1000, "", "setting at which brakes.front_share_frac holds"),
    ] = None
    share_per_unit_frac: Annotated[
        Number | None,
        Quantity(
            "1/unit",
            1e-5,
            0.2,
            "0.002 to 0.02",
            "front share per unit of the number, positive; for meaning = unknown",
            "share at both ends of the range / (max - min)",
        ),
    ] = None
    known: Annotated[
        tuple[KnownPoint, ...],
        Word("measured points; straight lines between them"),
        Field(strict=False),
    ] = ()
    backlash_steps: Annotated[
        float,
        Quantity(
            "steps",
            0,
            5,
            "0 to 1",
            "play when the direction of turning changes",
            "come to one number from both sides and compare the pressures",
        ),
    ] = 0.0
    device: Annotated[Device, Word("what the hand works on")] = "wheel_rotary"
    reach_s: Annotated[
        float | None, Quantity("s", 0.05, 60, "0.4 to 2", "hand to the device and back")
    ] = None
    seconds_per_step_s: Annotated[
        float | None, Quantity("s", 0.02, 60, "0.2 to 0.6", "time for one step")
    ] = None
    use_where: Annotated[
        Where | None, Word("where it may be worked; rules of the series come first")
    ] = None

    @model_validator(mode="after")
    def _check(self) -> Self:
        self._check_range()
        self._check_grid()
        self._check_meaning()
        self._check_known()
        return self

    def _check_range(self) -> None:
        if self.min >= self.max:
            raise refuse(
                "The adjuster's minimum is not below its maximum.",
                code="range_upside_down",
                key="min",
                value=self.min,
                allowed=f"below max = {self.max:g}",
                hint="min is the lowest number shown, whichever way that moves the brakes.",
            )
        steps = (self.max - self.min) / self.step
        if abs(steps - round(steps)) > WHOLE_STEPS or not 1 <= round(steps) < MAX_SETTINGS:
            raise refuse(
                "The step does not divide the range.",
                code="step_does_not_divide",
                key="step",
                value=self.step,
                allowed=f"(max - min) / n = {self.max - self.min:g} / n, n from 1 to "
                f"{MAX_SETTINGS - 1}",
                hint="Count the clicks from stop to stop: step = (max - min) / clicks.",
            )

    def _check_grid(self) -> None:
        if self.reference_setting is not None:
            self._require_shown(self.reference_setting, "reference_setting")

    def _require_shown(self, setting: float, key: str) -> None:
        if not self.min <= setting <= self.max:
            raise refuse(
                "The adjuster never shows this setting.",
                key=key,
                value=setting,
                allowed=f"{self.min:g} to {self.max:g}",
                hint="Use the number as the driver reads it.",
            )

    def _check_meaning(self) -> None:
        if self.meaning in ("pressure_share", "torque_share", "force_share", "balance_bar"):
            top = 100.0 if self.setting_unit == "percent" else 1.0
            for key in ("min", "max"):
                value = getattr(self, key)
                if not 0.0 < value < top:
                    raise refuse(
                        f"A {self.meaning} lies between nothing and everything.",
                        key=key,
                        value=value,
                        allowed=f"above 0, below {top:g}",
                        unit=self.setting_unit,
                        hint='If the number is only a position, write meaning = "unknown".',
                    )
            if self.higher_means == "rear" and not self.known:
                raise refuse(
                    "The share meant here is the front one, yet a higher number means rear.",
                    code="contradiction",
                    key="higher_means",
                    value="rear",
                    allowed='front; or rear with meaning = "unknown"',
                    hint="Confirm the direction on the car before you trust any plan.",
                )
        elif self.share_per_unit_frac is None and not self.known:
            raise refuse(
                "An adjuster of unknown meaning needs to say how much a unit does.",
                code="missing_key",
                key="share_per_unit_frac",
                allowed="1e-05 to 0.2",
                unit="1/unit",
                hint="A range will do: { low = 0.002, high = 0.006 }.",
            )

    def _check_known(self) -> None:
        if not self.known:
            return
        if len(self.known) < 2:
            raise refuse(
                "One measured point does not show what a step does.",
                code="too_few",
                key="known",
                value=len(self.known),
                allowed="2 or more",
                unit="points",
                hint="Measure near both ends of the range.",
            )
        if self.share_per_unit_frac is not None:
            raise refuse(
                "Measured points and share_per_unit_frac say the same thing twice.",
                code="contradiction",
                key="share_per_unit_frac",
                allowed="one of the two",
                hint="Keep the measured points.",
            )
        for i, point in enumerate(self.known):
            self._require_shown(point.setting, f"known.{i + 1}.setting")
        points = sorted((p.setting, p.front_share_frac.nominal) for p in self.known)
        rises = np.sign(np.diff(np.array(points), axis=0)).prod(axis=1)
        wanted = {"front": 1.0, "rear": -1.0, None: rises[0]}[self.higher_means]
        if rises[0] == 0.0 or not np.all(rises == wanted):
            raise refuse(
                "The measured points do not all move the way the number is said to count.",
                code="contradiction",
                key="known",
                value=", ".join(f"{s:g}: {share:g}" for s, share in points),
                allowed=f"higher means {self.higher_means or 'one way'} from point to point",
                hint="Confirm higher_means on the car, and measure again.",
            )

    @property
    def settings(self) -> NDArray[np.float64]:
        """All settings, from min to max, as shown: no rounding noise in the decimals."""
        count = round((self.max - self.min) / self.step)
        return np.round(self.min + self.step * np.arange(count + 1), 9)

    @property
    def hand(self) -> Hand:
        """Reach, time per step and place, as given or as usual for the device."""
        usual = HANDS[self.device]
        return Hand(
            usual.reach_s if self.reach_s is None else self.reach_s,
            usual.seconds_per_step_s
            if self.seconds_per_step_s is None
            else self.seconds_per_step_s,
            usual.use_where if self.use_where is None else self.use_where,
        )

    def renumbered(
        self,
        *,
        today: float,
        step: float,
        higher_means: Literal["front", "rear"],
        lowest: float | None = None,
        highest: float | None = None,
    ) -> Adjuster:
        """Put the numbers of one car on an adjuster known only by its class.

        The whole range keeps the span of front share it has; its middle is the reference setting.
        Where the ends are not told, the range has as many steps as before, evenly about today.

        Raises
        ------
        InputError
            As for a file.
        """
        half = 0.5 * (self.max - self.min) / self.step * step
        low = today - half if lowest is None else lowest
        high = today + half if highest is None else highest
        unit = self.share_per_unit_frac
        if unit is not None and high > low:
            unit = _scaled(unit, (self.max - self.min) / (high - low))
        return self.replace(
            min=low,
            max=high,
            step=step,
            higher_means=higher_means,
            share_per_unit_frac=unit,
            reference_setting=low + 0.5 * (high - low),
            setting_unit="percent",
        )

    @property
    def needs_anchor(self) -> bool:
        """Whether only an anchor says which share a number stands for."""
        return self.meaning == "unknown" and not self.known

    @property
    def cockpit(self) -> bool:
        """Whether the driver can work it while driving."""
        return self.device != "pits_only" and self.hand.use_where != "pits"

    def require_direction(self, file: str | None = None) -> Literal["front", "rear"]:
        """Give which axle a higher number means.

        Raises
        ------
        InputError
            If nobody has confirmed it: a wrong sign is the one error that hurts somebody.
        """
        if self.higher_means is None:
            raise InputError(
                "Nobody has said which way the adjuster counts; without it there is no plan.",
                code="direction_unconfirmed",
                file=file,
                key="adjuster.higher_means",
                allowed="front or rear",
                unit="",
                hint="Ask the team or try it at low speed on closed ground: does a higher number "
                "brake the front more, or the rear?",
            )
        return self.higher_means
