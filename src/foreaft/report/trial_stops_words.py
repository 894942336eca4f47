"""What straight stops say of the crossover, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

from foreaft.learn.stops import Crossover, Quarrel, Stop
from foreaft.model.answers import Axle
from foreaft.report.words import capital, format_setting, listed

LIKE_THESE = "It holds for stops as hard as these, with this fuel and these tyres."


def finding_text(found: Crossover, step: float | None) -> str:
    """Say where the crossover lies, and how far that is known.

    Parameters
    ----------
    step : float or None
        Step of the adjuster, where it is known.
    """
    front, rear = (None if one is None else _at(one, step) for one in (found.forward, found.rear))
    return {
        "between": f"The crossover lies between {front}, where a front wheel still went first, and "
        f"{rear}, where a rear one did{_fineness(found, step)}. {LIKE_THESE}",
        "at": f"The crossover lies at {front}: both ends went together there. {LIKE_THESE}",
        "same_setting": f"The crossover lies near {front}: a front wheel went first there in one "
        "stop and a rear one in another. How near, stops like these do not tell.",
        "further_rear": f"The crossover lies further to the rear than {front}: a front wheel went "
        "first as far as the stops went.",
        "further_forward": f"The crossover lies further forward than {rear}: a rear wheel went "
        "first at every setting tried.",
        "contradictory": "The stops contradict each other: no crossover is told.",
        "nothing": "No wheel locked.",
    }[found.finding]


def _at(setting: float, step: float | None) -> str:
    """A setting to the decimals of its adjuster, where that is known."""
    return f"{setting:g}" if step is None else format_setting(setting, step)


def _fineness(found: Crossover, step: float | None) -> str:
    if step is None or found.forward is None or found.rear is None:
        return ""
    steps = round(abs(found.forward - found.rear) / step)
    return "; the adjuster tells it no finer" if steps <= 1 else f", {steps} steps apart"


WHO = {"front": "a front wheel first", "rear": "a rear wheel first", "together": "both together"}
ALIKE = (
    "one straight, the same speed, tyres and brakes as warm, wheel speeds logged or a spotter at "
    "each side"
)


def quarrel_text(found: Quarrel, stops: Sequence[Stop], step: float | None) -> str:
    """Say which stops contradict each other."""
    told = [
        f"stop {one} ({_at(stops[one - 1].setting, step)}, {WHO[stops[one - 1].first]})"
        for one in found.stops
    ]
    named = listed(told)
    return (
        f"{capital(named)} contradict each other: forward of the crossover a front "
        "wheel goes first, rearward of it a rear one. No crossover is told."
    )


def settle_text(found: Quarrel, stops: Sequence[Stop], step: float | None) -> str:
    """Say which one more stop would settle it, and how."""
    if found.doubted is not None:
        one = stops[found.doubted - 1]
        return (
            f"Without stop {found.doubted} the others agree: drive {_at(one.setting, step)} once "
            f"more, as carefully as the others ({ALIKE}). If it ends as before, doubt the others."
        )
    if found.between is None:
        return f"Too many contradict to name one: drive them again ({ALIKE}); begin forward."
    ahead, behind = found.between
    first, second = found.stops
    if stops[first - 1].setting != ahead:
        first, second = second, first
    middle = _middle(ahead, behind, step)
    if middle is None:
        return (
            f"No setting lies between them: drive {_at(ahead, step)} once more, then "
            f"{_at(behind, step)} ({ALIKE}); what comes twice stands."
        )
    return (
        f"One more stop between them, at {'about ' if step is None else ''}{_at(middle, step)}, "
        f"settles it ({ALIKE}): a front wheel first there speaks against stop {first}, a rear one "
        f"against stop {second}."
    )


def _middle(one: float, other: float, step: float | None) -> float | None:
    """The setting in the middle between two, on the adjuster's steps; None if there is none."""
    if step is None:
        return 0.5 * (one + other)
    steps = round(abs(one - other) / step)
    return None if steps < 2 else min(one, other) + (steps // 2) * step


def next_text(found: Crossover, higher: Axle, step: float | None) -> str:
    """Say what to do next: the safe setting to go on from."""
    if found.finding == "further_forward" and found.rear is not None:
        return (
            f"Do not drive {_at(found.rear, step)} at speed: go forward by several steps and begin "
            "the stops there."
        )
    if found.forward is None:
        return ""
    if found.finding == "further_rear":
        one = "" if step is None else f", to {_at(_rearward(found.forward, higher, step), step)}"
        here = _at(found.forward, step)
        return f"Go on from {here} by single steps{one}; the first rear lock ends it."
    if found.finding in ("at", "same_setting"):
        at = (
            ""
            if step is None
            else f", at {_at(_rearward(found.forward, higher, -step), step)} or more so"
        )
        return f"Begin the trial forward of it{at}, not behind it."
    return f"Begin the trial at {_at(found.forward, step)} or further forward, not behind it."


def _rearward(setting: float, higher: Axle, step: float) -> float:
    return setting - step if higher == "front" else setting + step
