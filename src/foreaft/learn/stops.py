"""Where the crossover lies, from straight stops at which somebody saw what locked first.

At settings forward of the crossover a front wheel goes first, rearward of it a rear wheel.
So the stops leave the gap between the last setting at which the front went first and the first at
which the rear did; no distribution is assumed, and stops that disagree are not averaged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

First = Literal["front", "rear", "together", "none"]
Finding = Literal[
    "between", "at", "further_rear", "further_forward", "same_setting", "contradictory", "nothing"
]


@dataclass(frozen=True)
class Stop:
    """One straight stop: the setting, and which end locked first; ``none``: neither did."""

    setting: float
    first: First


@dataclass(frozen=True)
class Crossover:
    """What the stops leave: ``forward`` and ``rear`` are settings, None where it is open."""

    finding: Finding
    forward: float | None
    rear: float | None


def crossover(stops: Sequence[Stop], forward_is_more: bool) -> Crossover:
    """Find the settings between which the crossover lies.

    Parameters
    ----------
    stops : sequence of Stop
        In any order.
    forward_is_more : bool
        Whether a bigger number brakes the front more.

    Returns
    -------
    Crossover
        ``between`` two settings; ``at`` one, where both ends went together; ``further_rear`` of
        the last front lock-up or ``further_forward`` of the first rear one; ``same_setting``
        where front and rear both went first at one setting, and all others agree;
        ``contradictory`` where a rear wheel went first forward of a setting at which a front wheel
        did; ``nothing`` where no wheel locked.
    """
    sign = 1.0 if forward_is_more else -1.0
    front = [sign * one.setting for one in stops if one.first == "front"]
    rear = [sign * one.setting for one in stops if one.first == "rear"]
    both = [sign * one.setting for one in stops if one.first == "together"]
    # The crossover lies no further forward than any front lock-up, no further back than any rear.
    most = min([*front, *both], default=None)
    least = max([*rear, *both], default=None)

    def told(finding: Finding) -> Crossover:
        return Crossover(
            finding,
            None if most is None else sign * most,
            None if least is None else sign * least,
        )

    if most is None and least is None:
        return told("nothing")
    if most is None:
        return told("further_forward")
    if least is None:
        return told("further_rear")
    if least > most:
        return told("contradictory")
    if least < most:
        return told("between")
    return told("at" if both else "same_setting")


def driven_past(stops: Sequence[Stop], forward_is_more: bool) -> tuple[int, ...]:
    """List stops, counted from 1, at or behind a setting whose rear had locked before."""
    sign = 1.0 if forward_is_more else -1.0
    found: list[int] = []
    ended: float | None = None
    for number, one in enumerate(stops, 1):
        if ended is not None and sign * one.setting <= ended:
            found.append(number)
        if one.first == "rear":
            here = sign * one.setting
            ended = here if ended is None else max(ended, here)
    return tuple(found)


@dataclass(frozen=True)
class Quarrel:
    """Stops that contradict each other, counted from 1, and what would settle it.

    ``doubted`` is the one stop without which the others agree, where only one is; ``between`` are
    the settings of two that stand against each other, where either may be the wrong one.
    """

    stops: tuple[int, ...]
    doubted: int | None
    between: tuple[float, float] | None


def quarrel(stops: Sequence[Stop], forward_is_more: bool) -> Quarrel | None:
    """Find which stops contradict each other; None where none do.

    Two do where a rear wheel went first, or both ends together, at a setting further forward than
    one at which a front wheel did, or both together.
    """
    sign = 1.0 if forward_is_more else -1.0
    pairs = [
        (i, j)
        for i, rear in enumerate(stops, 1)
        for j, front in enumerate(stops, 1)
        if rear.first in ("rear", "together")
        and front.first in ("front", "together")
        and sign * rear.setting > sign * front.setting
    ]
    if not pairs:
        return None
    found = sorted({one for pair in pairs for one in pair})
    alone = [one for one in found if all(one in pair for pair in pairs)]
    if len(alone) == 1:
        return Quarrel(tuple(found), alone[0], None)
    if len(alone) == 2:
        i, j = pairs[0]
        return Quarrel(tuple(found), None, (stops[i - 1].setting, stops[j - 1].setting))
    return Quarrel(tuple(found), None, None)
