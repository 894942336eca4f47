"""What a trial says, in plain sentences: of a run sheet, of a comparison, of a plan."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from foreaft.learn.design import Run
from foreaft.learn.statistics import FEWEST_PAIRS, Effect
from foreaft.learn.trial import REAR_EVENTS_MAX, Compared, Rate, Stopped
from foreaft.model.answers import Axle
from foreaft.report.learn_words import places_of
from foreaft.report.words import MOST_DECIMALS, capital, format_setting

MANY_LAPS: Final = 60
"""More laps than two full days of sessions: nobody drives them for one question."""

FIRST_SIGHT: Final = (
    "Lap time is the last thing to look at. Before it: front minus rear slip at equal deceleration "
    "(or steer against yaw while braking into the turn), then zone times pooled by kind, then "
    "incidents."
)

SHOWN_UNITS: Final = {
    "frac": "%",
    "mps": "m/s",
    "mps2": "m/s²",
    "radps": "rad/s",
    "deg": "°",
    "degC": "°C",
}

BASELINE_KMH: Final = (120, 60)
"""Speeds of the straight stops (common practice, no source)."""


MEASURES: Final[dict[str, str]] = {
    "slip_difference_frac": "front minus rear slip",
    "steer_excess_rad": "steer against yaw",
    "lap_time_s": "lap time",
    "time_s": "time",
    "distance_m": "braking distance",
    "brake_distance_m": "braking distance",
    "mfdd_mps2": "mean deceleration",
    "mean_decel_mps2": "mean deceleration",
    "peak_decel_mps2": "peak deceleration",
    "min_speed_mps": "lowest speed",
    "approach_speed_mps": "approach speed",
    "brake_left_frac": "brake left at turn-in",
    "depth_frac": "depth",
    "lost_s": "time lost",
    "pressure_share_frac": "pressure share",
}
"""What a lap or a pass of a zone is measured by; other columns keep their own words."""

ZONE: Final = re.compile(r"(z\d+)_(.+)")


def name_of(endpoint: str) -> str:
    """Say what a column holds: the words of its name, its zone in front, no unit.

    >>> name_of("z03_time_s"), name_of("slip_difference_frac"), name_of("deep_zones_s")
    ('Z03 time', 'front minus rear slip', 'deep zones')
    """
    zone = ZONE.fullmatch(endpoint)
    measure = endpoint if zone is None else zone[2]
    plain = MEASURES.get(measure) or measure.rpartition("_")[0].replace("_", " ")
    return plain if zone is None else f"{zone[1].upper()} {plain}"


def amount(value: float, unit: str) -> str:
    """Show an amount with its unit, three digits; fractions as percent.

    >>> amount(0.0412, "s"), amount(0.02, "frac"), amount(2.0, "radps")
    ('0.0412 s', '2 %', '2 rad/s')
    """
    shown = 100.0 * value if unit == "frac" else value
    return f"{shown:.3g} {SHOWN_UNITS.get(unit, unit)}"


def amounts(found: Effect, unit: str) -> list[str]:
    """Show an effect and both ends of its interval, all to two digits of its half width.

    >>> from foreaft.learn.statistics import Effect
    >>> amounts(Effect(-0.027, 0.003, 6, -0.0329, -0.021, 0.001), "frac")
    ['-2.70 %', '-3.29 %', '-2.10 %']
    """
    part = 100.0 if unit == "frac" else 1.0
    places = places_of(0.5 * (found.high - found.low) * part)
    ends = (found.estimate, found.low, found.high)
    return [f"{one * part:+.{places}f} {SHOWN_UNITS.get(unit, unit)}" for one in ends]


def chance(p: float) -> str:
    """Show a p value.

    >>> chance(0.0004), chance(0.0312)
    ('under 0.001', '0.031')
    """
    return "under 0.001" if p < 0.001 else f"{p:.3f}"


# ---------------------------------------------------------------- the run sheet


def note_of(lap: Run, forward: float) -> str:
    """Say what to do on one lap."""
    said = {
        "out": "out-lap",
        "warm": "up to temperature, does not count",
        "settle": "changed on the main straight; settle, does not count",
        "counted": "counts",
        "in": "in-lap",
    }[lap.kind]
    if lap.first_time and lap.setting != forward:
        said += "; first time here: step by step, brake early"
    return said


def rules_of(settings: tuple[float, ...], settle_laps: int, step: float) -> list[str]:
    """Give the rules of driving a trial; the stop rule first."""
    return [
        f"Stop rule: {REAR_EVENTS_MAX} rear events (rear wheels locked, or the car comes round) at "
        "a setting, and that setting is over. Its verdict is: not safe.",
        f"Begin each stint at {format_setting(settings[0], step)}, the forward setting. Change on "
        "the main straight, off the brakes, towards the rear by single steps.",
        f"After each change {settle_laps} lap{'s do' if settle_laps > 1 else ' does'} not count. "
        "Write down at once which laps were spoilt (traffic, mistake, flags): keep = no.",
        "Write down front and rear events of every lap, counted or not.",
        "Drive every lap alike: same brake points, same gears. Let the driver say what he felt "
        "before he sees a number.",
        "A driver who knows the setting may drive to it. Only a covered display, or a rig, takes "
        "that out.",
    ]


def baseline_of(settings: tuple[float, ...], step: float | None) -> list[str]:
    """Give the three stops that find the crossover before the trial."""
    high, low = BASELINE_KMH
    forward, way = settings[0], 1.0 if settings[1] > settings[0] else -1.0
    if step is None:
        where = f"{forward:g}, then one step to the rear, then another"
    else:
        where = ", ".join(format_setting(forward + i * way * step, step) for i in range(3))
    return [
        f"Three straight stops on the out-lap, {high} to {low} km/h, clear track behind: at "
        f"{where}. Squeeze until a wheel just locks; a spotter or the wheel speeds say which.",
        "The crossover lies between the last setting at which a front wheel went first and the "
        "first at which a rear one did. All front: it lies further to the rear; go on by single "
        "steps if the trial does not go there anyway. The first rear lock ends the stops.",
        "Write down what locked first at each; where the crossover lies follows from that.",
        "Do not try a setting to the rear of the crossover at speed before the straight zones have "
        "been quiet at it.",
    ]


def endpoint_text(
    name: str, needed: tuple[int, int] | None, counted: int, power: float, least: float | None
) -> str:
    """Say what the sheet can show of one endpoint."""
    unit, said = name.rpartition("_")[2], capital(name_of(name))
    seen = f"shows {amount(least, unit)} or more" if least is not None else "shows nothing"
    if needed is None:
        said += " can never show it"
    else:
        said += f" needs {needed[0]} counted laps at each setting, {needed[1]} laps driven"
    said += f"; this sheet has {counted} and {seen}"
    if name == "lap_time_s" and (needed is None or needed[1] > MANY_LAPS):
        return f"{said}: lap time will not see it. Use slip or zone times."
    return f"{said}, a chance of {100 * power:.0f} % for this difference."


# ---------------------------------------------------------------- the verdict


def step_of(settings: Sequence[float], places: int = 0) -> float:
    """Give a step that shows each of these settings whole, with so many decimals at least.

    >>> step_of([54.0, 51.5]), step_of([54.0, 52.0]), step_of([54.0, 52.0], 1)
    (0.1, 1.0, 0.1)
    """
    exact = (n for n in range(places, MOST_DECIMALS) if all(_whole(one, n) for one in settings))
    return float(10.0 ** -next(exact, MOST_DECIMALS))


def _whole(setting: float, places: int) -> bool:
    return abs(setting - round(setting, places)) < 1e-9


def better_of(endpoint: str, setting: float, against: float, effect: float) -> float | None:
    """Give the better setting, where the endpoint's name says which way is better.

    Times, distances and losses are better small, decelerations large.
    """
    words = set(endpoint.split("_"))
    if words & BETTER_LARGE:
        return setting if effect > 0 else against
    if words & BETTER_SMALL:
        return setting if effect < 0 else against
    return None


BETTER_LARGE: Final = frozenset({"decel", "mfdd"})
BETTER_SMALL: Final = frozenset({"time", "distance", "lost"})


def says_better(endpoint: str) -> bool:
    """Whether an endpoint's name says which way is better."""
    return bool(set(endpoint.split("_")) & (BETTER_LARGE | BETTER_SMALL))


def nothing_gained_text(looked_at: Sequence[tuple[str, float | None]]) -> str:
    """Say that neither setting was shown to be the better one, and what would have been seen."""
    said = "Which of them is better was not shown by any time or distance."
    lap = next((least for name, least in looked_at if name == "lap_time_s"), None)
    if lap is not None:
        said += f" Of lap time this trial would have shown {amount(lap, 's')} or more."
    return said


def pair_of(endpoint: str, setting: float, against: float, step: float) -> str:
    """Name a comparison.

    >>> pair_of("z03_time_s", 53.0, 56.0, 1.0), pair_of("z03_time_s", 53.0, 53.5, 0.5)
    ('Z03 time, 53 against 56', 'Z03 time, 53.0 against 53.5')
    """
    both = (format_setting(one, step) for one in (setting, against))
    return f"{name_of(endpoint)}, {' against '.join(both)}"


def comparison_text(
    one: Compared,
    better: float | None,
    level: float,
    step: float,
    unsafe: float | None = None,
) -> str:
    """Say one comparison: the effect with its interval, and what may be concluded.

    Parameters
    ----------
    step : float
        Of the adjuster, by which settings are shown.
    unsafe : float, optional
        The setting that would be the better one, had the stop rule not ended it.
    """
    unit = one.endpoint.rpartition("_")[2]
    head = capital(pair_of(one.endpoint, one.setting, one.against, step)) + ": "
    found = one.effect
    if found is None:
        return head + _why_not(one)
    sure = f"{100 * (1 - level):.0f} %"
    effect, low, high = amounts(found, unit)
    head += f"{effect} ({sure}: {low.split()[0]} to {high}, {one.pairs} pairs). "
    if one.verdict == "difference":
        shown = None if better is None else format_setting(better, step)
        head += "A difference" + ("" if shown is None else f"; {shown} is better") + "."
        if unsafe is not None:
            head += f" {format_setting(unsafe, step)} is not safe, whatever it gains."
        head += _ends(one, found.estimate, step) + _crossover(one, sure)
    else:
        head += "No difference shown."
        if one.smallest_shown is not None:
            head += f" This trial would have shown {amount(one.smallest_shown, unit)} or more."
        if found.p <= level:
            head += f" By itself it would pass; of {one.counted_together} looked at, one may."
    return head


FIRST_WHY: Final = {
    True: " This is what was named before driving.",
    False: " It is looked at first: of all that a log holds it shows a change of setting soonest.",
}
"""Why an endpoint is judged by itself: it was named, or it is what a log is judged by."""


def _ends(one: Compared, effect: float, step: float) -> str:
    """What a difference of slip or of steer says of the two ends; nothing of other endpoints."""
    more, less = (one.setting, one.against) if effect > 0 else (one.against, one.setting)
    at = format_setting(more, step)
    if one.endpoint.endswith("slip_difference_frac"):
        bigger = "front" if more > less else "rear"
        return (
            f" The front does more of the braking at {at}: a bigger number means more {bigger}. "
            "That shows that the setting acts, not that it is the better one."
        )
    if one.endpoint.endswith("steer_excess_rad"):
        return f" The same bend takes more steer at {at}: the nose pushes more there."
    return ""


def _crossover(one: Compared, sure: str) -> str:
    if one.crossover is None:
        return ""
    at, low, high = one.crossover
    told = f" Both ends slip alike at {at:.1f} ({sure}: {low:.1f} to {high:.1f})"
    if min(one.setting, one.against) <= at <= max(one.setting, one.against):
        return told + "."
    return told + ", beyond what was driven: a straight line drawn on, no more."


def _why_not(one: Compared) -> str:
    return {
        "few_pairs": f"cannot tell from {one.pairs} pair{'' if one.pairs == 1 else 's'} of "
        f"neighbouring laps; {FEWEST_PAIRS} are "
        "the least, some in each order.",
        "one_order": "cannot tell: every pair was driven in the same order, so a drift of fuel, "
        "tyres or track looks like the setting.",
        "no_scatter": "cannot tell: the differences repeat exactly, so there is no scatter to "
        "judge by. Were the numbers rounded?",
        "": "cannot tell.",
    }[one.why_not]


def rate_text(one: Rate, level: float, passes: str, step: float) -> str:
    """Say how often something happened, and whether that differs."""
    at = format_setting(one.setting, step)
    per = f"{one.events} in {one.passes} {passes}"
    sure = f"{100 * (1 - level):.0f} %: {100 * one.low:.0f} to {100 * one.high:.0f} %"
    head = f"{capital(one.kind.replace('_', ' '))} at {at}: {per} ({sure})"
    if one.p_adjusted is None:
        return head + "."
    shown = "a difference" if one.p_adjusted <= level else "no difference shown"
    return f"{head}; {shown} (p {chance(one.p_adjusted)})."


def stopped_text(one: Stopped, step: float) -> str:
    """Say that a setting is over."""
    at = format_setting(one.setting, step)
    said = f"{at} is not safe: {REAR_EVENTS_MAX} rear events by lap {one.at_lap}."
    if one.laps_after:
        laps = ", ".join(str(lap) for lap in one.laps_after[:8])
        said += f" The stop rule ended it there; laps {laps} should not have been driven at it."
    return said


def further_to_the_rear(setting: float, than: float, higher_means: Axle) -> bool:
    """Whether a setting brakes the rear more than another."""
    return setting < than if higher_means == "front" else setting > than
