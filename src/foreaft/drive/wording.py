"""One plain sentence on a run, made from what was found in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final, Literal

from foreaft.base.units import METRES_PER_MILE
from foreaft.drive.trace import WORST_FIRST, Happening

if TYPE_CHECKING:
    from foreaft.drive.outcome import Stage

Units = Literal["metric", "imperial"]

FEET_PER_MILE: Final = 5280.0
MOST_SAID: Final = 3
"""A sentence tells so many things, the worst among them; the list of happenings has them all."""

NEAR_M: Final = 0.5


def say(
    found: Sequence[Happening],
    stages: Mapping[str | None, Stage],
    time_s: float | None,
    units: Units = "metric",
) -> str:
    """Return the sentence of a run, without a capital and with no end.

    Parameters
    ----------
    found : sequence of Happening
        In the order of time, each with its zone.
    stages : mapping
        The zones by their ids.
    time_s : float or None
        From the brake point to the apex.
    """
    if not found:
        if time_s is None:
            return "clean"
        return f"clean: {time_s:.2f} s from brake point to apex"
    told: list[str] = []
    for group in _first_and_worst(_told(found)):
        stage = stages[group[0].zone_id]
        where = _where(group[0].s_m, stage, units)
        many = len(stages) > 1
        told.append(f"{_what(group)} {where}" + (f" in {stage.name}" if many else ""))
    return ", ".join(told)


def say_pressed(press_frac: float) -> str:
    """Say how the pedal is pressed against the plan; nothing where it is as planned.

    >>> say_pressed(1.1)
    'pressed 10 % harder than planned'
    """
    percent = 100.0 * (press_frac - 1.0)
    if percent == 0.0:
        return ""
    return f"pressed {abs(percent):.3g} % {'harder' if percent > 0.0 else 'less'} than planned"


def label_pressed(press_frac: float) -> str:
    """Say the same where there is little room.

    >>> label_pressed(0.9)
    'pedal -10 %'
    """
    percent = 100.0 * (press_frac - 1.0)
    return "" if percent == 0.0 else f"pedal {percent:+.3g} %"


def _told(found: Sequence[Happening]) -> list[list[Happening]]:
    """What is worth telling: the first of each kind and axle; wheels of one axle together.

    A tail that came out is not told beside the spin it became.
    """
    groups: list[list[Happening]] = []
    spun = any(one.kind == "spin" for one in found)
    for one in found:
        if one.kind == "rotation" and spun:
            continue
        same = [g for g in groups if g[0].kind == one.kind and g[0].axle == one.axle]
        if not same:
            groups.append([one])
        elif _together(same[-1][0], one):
            same[-1].append(one)
    return groups


def _first_and_worst(groups: list[list[Happening]]) -> list[list[Happening]]:
    """As much as a sentence tells: what came first, and in any case the worst."""
    if len(groups) <= MOST_SAID:
        return groups
    worst = min(groups, key=lambda group: WORST_FIRST.index(group[0].kind))
    kept = groups[:MOST_SAID]
    return kept if worst in kept else [*kept[:-1], worst]


def _together(first: Happening, other: Happening) -> bool:
    """Whether two wheels of one axle stood at the same time."""
    return (
        first.kind == "lock_up"
        and first.wheel != other.wheel
        and other.start_s < first.start_s + first.duration_s
    )


def _what(group: list[Happening]) -> str:
    one = group[0]
    if one.kind == "lock_up":
        return _locked(group)
    return {
        "rotation": "the tail came out",
        "spin": "the car came round",
        "wide": "the car ran wide",
        "off_track": "the car left the track",
        "stopped": "the car stopped",
    }[one.kind]


def _locked(group: list[Happening]) -> str:
    one = group[0]
    if len({each.wheel for each in group}) > 1:
        return f"both {one.axle} wheels locked"
    side = str(one.wheel).rpartition("_")[2]
    if one.inside is not None:
        side = "inside" if one.inside else "outside"
    return f"the {side} {one.axle} locked"


def _where(s_m: float, stage: Stage, units: Units) -> str:
    """Say a place by the nearest place of the zone before it that people know."""
    for at, name in ((stage.apex_s_m, "the apex"), (stage.turn_in_s_m, "turn-in")):
        if s_m >= at - NEAR_M:
            away = s_m - at
            return f"at {name}" if away < NEAR_M else f"{_length(away, units)} after {name}"
    if s_m >= stage.brake_s_m:
        return f"{_length(stage.turn_in_s_m - s_m, units)} before turn-in"
    return f"{_length(stage.brake_s_m - s_m, units)} before the brake point"


def _length(length_m: float, units: Units) -> str:
    if units == "metric":
        return f"{length_m:.0f} m"
    return f"{length_m * FEET_PER_MILE / METRES_PER_MILE:.0f} ft"
