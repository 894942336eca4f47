"""Reasons, feelings and cautions in plain words, and the one way numbers are shown to people.

Plain arguments in, sentences out: nothing here knows a car.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, Literal

from foreaft.base.units import METRES_PER_MILE, g_from_mps2, kmh_from_mps, mph_from_mps
from foreaft.model.answers import (
    AdjusterFace,
    Axle,
    Cell,
    MovedKey,
    MovedNumber,
    Phase,
    ZonePlan,
)

Units = Literal["metric", "imperial"]

FEET_PER_MILE: Final = 5280.0
NBSP: Final = "\u00a0"
"""Keeps a number and its sign on one line."""

MOST_DECIMALS: Final = 4
"""No adjuster is read finer than that."""

NO_TIME_S: Final = 0.0005
LITTLE_S: Final = 0.01
"""Less than this is next to no time: settings so close count as equal in the plan, too."""

LITTLE: Final = "a hundredth of a second"

HARDLY_S: Final = 0.02
"""Changes that gain less in a lap are as well left alone (assumption)."""

NO_LENGTH_M: Final = 0.05

CAUSES: Final[dict[str, str]] = {
    "engine_braking": "the engine goes on braking the driven wheels while the pedal is released, "
    "and the pedal's share has to leave room for that",
    "lateral_use": "turning takes grip from both ends, and not the same from each",
    "downforce": "at this speed the air presses on the two ends differently from the weight",
    "load_transfer": "the stop throws weight forward, and the front tyres can use it",
    "rear_risk": "a rear end that lets go here costs far more than a front end, so the plan stays "
    "on the forward side",
    "rotation": "how much the driver wants the car to rotate on the way in",
    "inside_front": "the inside front wheel is light in the turn and locks first",
    "coupling": "the driven wheels are tied to each other off the throttle and hold the car "
    "straight",
    "grade": "the slope of the road moves weight from one end to the other",
    "flat": "several settings do nearly the same here",
}

CAUSES_SHORT: Final[dict[str, str]] = {
    "engine_braking": "engine braking",
    "lateral_use": "grip spent on turning",
    "downforce": "downforce",
    "load_transfer": "weight thrown forward",
    "rear_risk": "price of losing the rear",
    "rotation": "rotation wanted",
    "inside_front": "light inside front",
    "coupling": "driven wheels tied",
    "grade": "slope",
    "flat": "nothing much",
}

MOVED_NAMES: Final[dict[MovedKey, str]] = {
    "grip_scale": "grip",
    "fuel_kg": "fuel",
    "scatter_scale": f"braking scatter{NBSP}×",
    "boldness": "boldness",
    "changes_max": "changes at most",
    "change_cost_s": "attention of a change",
}

FEELINGS: Final[dict[tuple[Axle, Phase], str]] = {
    ("front", "straight"): "a front wheel stops, the wheel goes light and the car runs on straight",
    ("front", "turning"): "the nose washes wide and more lock does nothing",
    ("front", "releasing"): "the nose will not come in to the apex until the pedal is nearly up",
    ("rear", "straight"): "the tail wanders and the car will not stay in line under the pedal",
    ("rear", "turning"): "the tail steps out as the wheel goes in",
    ("rear", "releasing"): "the tail comes round while the pedal comes up",
}

FEELINGS_SHORT: Final[dict[tuple[Axle, Phase], str]] = {
    ("front", "straight"): "a front wheel stops, the car runs straight on",
    ("front", "turning"): "the nose washes wide",
    ("front", "releasing"): "the nose will not come in to the apex",
    ("rear", "straight"): "the tail wanders under the pedal",
    ("rear", "turning"): "the tail steps out at turn-in",
    ("rear", "releasing"): "the tail comes round as the pedal comes up",
}

PHASES: Final[dict[Phase, str]] = {
    "straight": "in the straight part of the stop",
    "turning": "while braking into the turn",
    "releasing": "as the brakes are let off",
}

PHASES_SHORT: Final[dict[Phase, str]] = {
    "straight": "straight",
    "turning": "turning",
    "releasing": "release",
}


def format_setting(value: float, step: float) -> str:
    """Show a setting with the decimals of its adjuster, no more and no less.

    Settings lie whole steps apart, so each shows the decimals of the first one: whoever counts by
    one from 47.5 never sees a whole number. A number between the settings, such as a mean, has
    the decimals of the step.

    >>> format_setting(54.0, 0.5), format_setting(54.0, 1.0), format_setting(48.5, 1.0)
    ('54.0', '54', '48.5')
    """
    of_step = _decimals(step, MOST_DECIMALS)
    return f"{value:.{max(of_step, _decimals(value, of_step))}f}"


def _decimals(number: float, otherwise: int) -> int:
    """Count the decimals that give a number exactly, rounding of floats aside."""
    exact = (n for n in range(MOST_DECIMALS + 1) if abs(number - round(number, n)) < 1e-9)
    return next(exact, otherwise)


def format_speed(speed_mps: float, units: Units) -> str:
    """Show a speed in whole km/h or mph."""
    if units == "metric":
        return f"{kmh_from_mps(speed_mps):.0f} km/h"
    return f"{mph_from_mps(speed_mps):.0f} mph"


def length_number(length_m: float, units: Units) -> float:
    """Convert a length to the user's unit, metres or feet (exactly 0.3048 m)."""
    return length_m if units == "metric" else length_m * FEET_PER_MILE / METRES_PER_MILE


def length_unit(units: Units) -> str:
    """Name the unit of length."""
    return "m" if units == "metric" else "ft"


def format_length(length_m: float, units: Units, decimals: int = 0) -> str:
    """Show a length in metres or feet."""
    return f"{length_number(length_m, units):.{decimals}f} {length_unit(units)}"


def format_decel(decel_mps2: float) -> str:
    """Show a deceleration in multiples of standard gravity."""
    return f"{g_from_mps2(decel_mps2):.2f} g"


def format_percent(fraction: float) -> str:
    """Show a share in whole percent."""
    return f"{100.0 * fraction:.0f}{NBSP}%"


def format_chance(fraction: float) -> str:
    """Show a probability; a small one is not shown as nothing.

    >>> [format_chance(one).replace(NBSP, " ") for one in (0.0004, 0.013, 0.26)]
    ['under 0.1 %', '1.3 %', '26 %']
    """
    if fraction < 0.001:
        return f"under 0.1{NBSP}%"
    return f"{100 * fraction:.{1 if fraction < 0.1 else 0}f}{NBSP}%"


def format_loss(seconds: float) -> str:
    """Show a time lost to the thousandth; the scatter of a lap is far larger."""
    return f"{seconds:.3f} s"


def towards(steps: int, higher_means: Axle) -> Axle:
    """Name the end a change goes to; steps count the way the numbers count."""
    other: Axle = "rear" if higher_means == "front" else "front"
    return higher_means if steps > 0 else other


def count_steps(steps: int) -> str:
    """Say a number of steps without its direction."""
    return f"{abs(steps)} step" if abs(steps) == 1 else f"{abs(steps)} steps"


def listed(names: Sequence[str]) -> str:
    """Names as a sentence has them.

    >>> listed(["speed", "latitude", "longitude"])
    'speed, latitude and longitude'
    """
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def count_of(number: int, what: str) -> str:
    """Say how many of something there are.

    >>> count_of(1, "log"), count_of(2, "log")
    ('1 log', '2 logs')
    """
    return f"{number} {what}" + ("" if number == 1 else "s")


def capital(text: str) -> str:
    """Begin with a capital letter."""
    return text[:1].upper() + text[1:]


def direction_of(higher_means: Axle) -> str:
    """Say which way the adjuster counts."""
    return f"Bigger number = more {higher_means.upper()}"


def label_moved(key: MovedKey, value: float) -> str:
    """Name a number that was moved away from the files, with its value."""
    return f"{MOVED_NAMES[key]}{NBSP}{_moved_number(key, value)}"


def say_moved(moved: Sequence[MovedNumber]) -> str:
    """Say what was moved away from the files, and from where; empty where nothing was."""
    said = []
    for one in moved:
        own = "" if one.in_file is None else f" (file: {_moved_number(one.key, one.in_file)})"
        said.append(label_moved(one.key, one.value) + own)
    return f"Planned with {', '.join(said)}." if said else ""


def _moved_number(key: MovedKey, value: float) -> str:
    if key == "grip_scale":
        return format_percent(value)
    unit = {"fuel_kg": f"{NBSP}kg", "change_cost_s": f"{NBSP}s"}.get(key, "")
    return f"{value:g}{unit}"


def sentence(text: str) -> str:
    """Make a sentence of a phrase: a capital in front, a full stop behind.

    A name of a file or of a key in front, such as ``car.toml``, is left as it is.

    >>> sentence("grip spent on turning"), sentence("car.toml says 54?")
    ('Grip spent on turning.', 'car.toml says 54?')
    """
    text = text.strip()
    if text.split(" ", 1)[0].rstrip(",:;").replace("-", "").replace("'", "").isalpha():
        text = capital(text)
    return text if text.endswith((".", "?", "!", ".)")) else f"{text}."


def feel(axle: Axle, phase: Phase) -> str:
    """Say what an end that lets go is like from the seat."""
    return FEELINGS[axle, phase]


def say_hardly_worth(changes: int, gain_s: float, lap_setting: str) -> str:
    """Say that the changes of a lap are as well left alone; empty where they are not."""
    if changes == 0 or gain_s >= HARDLY_S:
        return ""
    who = "The one change gains" if changes == 1 else "Changes gain"
    return f"{who} next to nothing: {lap_setting} all lap is as good."


def when_lost(panic_setting: str) -> str:
    """Say when to leave the plan, where to go then, and why there."""
    return (
        f"Lost count of the clicks, or something changed on the car: go to {panic_setting}; "
        "nothing planned is further forward."
    )


def cautions() -> list[str]:
    """What stands on everything that someone may act on."""
    return [
        "For a closed circuit only; the rules of the circuit and of the series come first.",
        "Work on brakes is for a qualified person; a driver changes only what he may change "
        "from the seat.",
        "Too far to the rear, the rear wheels lock first and the car turns round without warning: "
        "approach from the front, one step at a time, in a straight line first.",
        "The plan comes from a model with stated ranges: puddles, cold tyres, glazed pads and "
        "fading brakes are not in it. When car and plan disagree, believe the car.",
    ]


def caution_short() -> str:
    """Say the one caution there is room for on the sticker."""
    return "Closed circuit only. Too far rear = spin. Local rules first."


def reason(
    *,
    setting: float,
    step: float,
    limiting_axle: Axle,
    limiting_phase: Phase,
    margin_frac: float,
    forward: tuple[float, float] | None,
    rearward: tuple[float, float] | None,
    cause: str,
    advice: Literal["set", "no_matter", "cannot_tell"] = "set",
    flat: tuple[float, float] | None = None,
    before: float | None = None,
    settles: str | None = None,
    units: Units = "metric",
) -> str:
    """Give the reasons of one zone in one short paragraph.

    Parameters
    ----------
    setting, step : float
        What the adjuster shows, and its step.
    limiting_axle, limiting_phase : str
        Which end lets go first, and in which part of the zone.
    margin_frac : float
        How much more pedal than planned the zone takes before that end lets go.
    forward, rearward : (float, float) or None
        What one step to that end costs against the planned setting: braking distance [m] and
        expected time [s]; negative where it gains; None where there is no such step.
    cause : str
        Key of `CAUSES`: what moved the number most.
    advice : str
        ``set``; ``no_matter`` where the settings of ``flat`` do the same; ``cannot_tell`` where
        what is known does not decide, and ``settles`` says what would.
    before : float or None
        Setting of the zone before; where it is another, the hand moves on the way here.
    units : str
        ``metric`` or ``imperial``.

    Raises
    ------
    KeyError
        If the cause is unknown.
    """
    end = limiting_axle
    parts = [""]
    if advice == "cannot_tell":
        parts = [_cannot_tell_sentence(setting, step, settles)]
    elif advice == "no_matter":
        parts = [_no_matter_sentence(setting, step, flat, before)]
    parts.append(
        f"The {end} lets go first, {PHASES[limiting_phase]}, at {format_percent(margin_frac)} "
        "more pedal than planned."
    )
    parts.append(_steps_sentence(forward, rearward, units))
    parts.append(f"Too much, and {feel(end, limiting_phase)}.")
    parts.append(_cause_sentence(cause))
    return " ".join(part for part in parts if part)


def facts_of(
    zone: ZonePlan, adjuster: AdjusterFace, before: float | None = None, units: Units = "metric"
) -> dict[str, Any]:
    """Gather what `reason` wants from one zone of a plan."""
    one = adjuster.step if adjuster.higher_means == "front" else -adjuster.step
    return {
        "setting": zone.setting,
        "step": adjuster.step,
        "limiting_axle": zone.limiting_axle,
        "limiting_phase": zone.limiting_phase,
        "margin_frac": zone.margin_frac,
        "forward": _against(zone, zone.setting + one, adjuster.step),
        "rearward": _against(zone, zone.setting - one, adjuster.step),
        "cause": zone.cause,
        "advice": zone.advice,
        "flat": (zone.flat_low, zone.flat_high),
        "before": before,
        "settles": zone.settles,
        "units": units,
    }


def cell_at(zone: ZonePlan, setting: float, step: float) -> Cell | None:
    """Find the field's cell of one setting; None where the adjuster does not go there."""
    near = [cell for cell in zone.field if abs(cell.setting - setting) < 0.25 * step]
    return near[0] if near else None


def _against(zone: ZonePlan, setting: float, step: float) -> tuple[float, float] | None:
    here, there = cell_at(zone, zone.setting, step), cell_at(zone, setting, step)
    if here is None or there is None or not there.feasible:
        return None
    metres = there.brake_distance_m - here.brake_distance_m
    return metres, (there.cost_us - here.cost_us) / 1e6


def _cause_sentence(cause: str) -> str:
    lead = "Nothing moves the number much" if cause == "flat" else "What moved the number most"
    return f"{lead}: {CAUSES[cause]}."


def _cannot_tell_sentence(setting: float, step: float, settles: str | None) -> str:
    ask = f" What would settle it: {settles.rstrip('.')}." if settles else ""
    return (
        "What is known cannot tell which setting is best here; "
        f"{format_setting(setting, step)} is what the neighbours want.{ask}"
    )


def _no_matter_sentence(
    setting: float, step: float, flat: tuple[float, float] | None, before: float | None
) -> str:
    """Say between which settings there is nothing to choose, and why it is this one."""
    shown = format_setting(setting, step)
    if flat is None:
        return "The setting does not matter here."
    low, high = (format_setting(value, step) for value in flat)
    if before is None or before == setting:
        why = f"{shown} saves a change"
    elif flat[0] <= before <= flat[1]:
        why = f"{shown} is set here for what follows"
    else:
        why = f"the {format_setting(before, step)} before it is not among them"
    return (
        f"From {low} to {high} the setting does not matter here: less than {LITTLE} between them, "
        f"mistakes counted; {why}."
    )


def _steps_sentence(
    forward: tuple[float, float] | None, rearward: tuple[float, float] | None, units: Units
) -> str:
    if forward and rearward and max(abs(forward[1]), abs(rearward[1])) < LITTLE_S:
        ways = f"{_length(forward[0], units)}, one step rearward {_length(rearward[0], units)}"
        return f"One step forward {ways}; neither is worth {LITTLE}."
    return (
        f"One step forward {_price(forward, units)}; one step rearward {_price(rearward, units)}."
    )


def _length(metres: float, units: Units) -> str:
    if abs(metres) < NO_LENGTH_M:
        return "brakes as late"
    return f"{_verb(metres)} {format_length(abs(metres), units, 1)} of braking"


def _price(change: tuple[float, float] | None, units: Units) -> str:
    if change is None:
        return "is not to be had"
    metres, seconds = change
    length = format_length(abs(metres), units, 1) + " of braking"
    time = f"{abs(seconds):.2f} s in all"
    same_length, same_time = abs(metres) < NO_LENGTH_M, abs(seconds) < LITTLE_S
    if same_length and same_time:
        return "changes next to nothing"
    if same_length:
        return f"{_verb(seconds)} {time}, but no braking distance"
    if same_time:
        return f"{_verb(metres)} {length}, but next to no time"
    if (metres > 0) == (seconds > 0):
        return f"{_verb(metres)} {length} and {time}"
    return f"{_verb(metres)} {length} but {_verb(seconds)} {time}"


def _verb(value: float) -> str:
    return "costs" if value > 0 else "gains"
