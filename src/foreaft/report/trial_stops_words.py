"""What straight stops say of the crossover, in plain sentences."""

from __future__ import annotations

from foreaft.learn.stops import Crossover
from foreaft.model.answers import Axle

LIKE_THESE = "It holds for stops as hard as these, with this fuel and these tyres."


def finding_text(found: Crossover, step: float | None) -> str:
    """Say where the crossover lies, and how far that is known.

    Parameters
    ----------
    step : float or None
        Step of the adjuster, where it is known.
    """
    front, rear = (None if one is None else f"{one:g}" for one in (found.forward, found.rear))
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
        "contradictory": f"The stops contradict each other: a rear wheel went first at {rear}, "
        f"and a front wheel at {front}, which lies further to the rear. No crossover is told.",
        "nothing": "No wheel locked.",
    }[found.finding]


def _fineness(found: Crossover, step: float | None) -> str:
    if step is None or found.forward is None or found.rear is None:
        return ""
    steps = round(abs(found.forward - found.rear) / step)
    return "; the adjuster tells it no finer" if steps <= 1 else f", {steps} steps apart"


def next_text(found: Crossover, higher: Axle, step: float | None) -> str:
    """Say what to do next: the safe setting to go on from, or the stop that is missing."""
    if found.finding == "contradictory":
        return (
            "Drive the stops again on one straight, from the same speed, tyres and brakes as warm, "
            "with wheel speeds logged or a spotter at each side; begin forward again."
        )
    if found.finding == "further_forward" and found.rear is not None:
        return (
            f"Do not drive {found.rear:g} at speed: go forward by several steps and begin the "
            "stops there."
        )
    if found.forward is None:
        return ""
    if found.finding == "further_rear":
        one = "" if step is None else f", to {_rearward(found.forward, higher, step):g}"
        return f"Go on from {found.forward:g} by single steps{one}; the first rear lock ends it."
    if found.finding in ("at", "same_setting"):
        at = "" if step is None else f", at {_rearward(found.forward, higher, -step):g} or more so"
        return f"Begin the trial forward of it{at}, not behind it."
    return f"Begin the trial at {found.forward:g} or further forward, not behind it."


def _rearward(setting: float, higher: Axle, step: float) -> float:
    return setting - step if higher == "front" else setting + step
