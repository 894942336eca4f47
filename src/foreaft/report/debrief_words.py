"""What a debrief says in words: what to work on, what cannot be told, what went wrong.

Plain arguments in, sentences out; every number of a sentence comes from the session.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median
from typing import Final

from foreaft.base.units import g_from_mps2
from foreaft.laps.advice import Finding
from foreaft.model.answers_debrief import AgainstOther, AgainstPlan, DebriefZone
from foreaft.report.words import (
    Units,
    format_length,
    format_loss,
    format_percent,
    format_speed,
    length_number,
    listed,
)

EVENTS: Final[dict[str, tuple[str, str]]] = {
    "lock_up": ("a wheel locked", "lock-up"),
    "rotation": ("the tail came out", "rotation on entry"),
    "wide": ("the nose ran wide", "running wide"),
    "unused": ("braking was left unused", "braking left unused"),
    "double_stab": ("the pedal was let go and pressed again", "double stab"),
}

WHEELS: Final = {
    "front_left": "front left",
    "front_right": "front right",
    "rear_left": "rear left",
    "rear_right": "rear right",
}

MEASURES: Final = {
    "brake_s_m": "brake point",
    "approach_speed_mps": "approach speed",
    "min_speed_mps": "lowest speed",
    "brake_nominal_m": "distance at nominal speed",
    "peak_decel_mps2": "peak deceleration",
    "mean_decel_mps2": "mean deceleration",
    "mfdd_mps2": "MFDD",
    "depth_frac": "release point (0 turn-in, 1 apex)",
    "brake_left_frac": "brake left at turn-in",
    "release_shape_frac": "release shape",
    "pressure_share_frac": "pressure share",
    "use_shown_frac": "use of grip, of what was shown",
    "use_model_frac": "use of grip, by the model",
    "setting": "setting",
    "time_s": "time",
}

REMEDY: Final = {
    "lock_up": "Hit the pedal a little less hard, or let off sooner as the speed falls.",
    "rotation": "Let the brake off more slowly as the wheel goes in.",
    "wide": "Have the brake further off, or the speed lower, before you ask for the turn.",
    "unused": "Press harder from the first metre; the car has shown it can take it.",
    "double_stab": "One press, then only ever less.",
}
"""Common practice, no source."""


ENOUGH_PASSES: Final = 3
"""So many passes are the fewest that show a habit: two have a middle but no scatter worth the name
(assumption)."""

TWICE: Final = 2
"""What happened once is no habit, however few or many the passes."""


def habit(count: int, passes: int) -> bool:
    """Tell whether what went wrong is more than a single pass.

    >>> habit(1, 2), habit(2, 2), habit(1, 9), habit(2, 3)
    (False, False, False, True)
    """
    return count >= TWICE and passes >= ENOUGH_PASSES


def count_of(count: int, passes: int) -> str:
    """Say in how many of the passes.

    >>> count_of(1, 2), count_of(4, 9), count_of(1, 1)
    ('1 of 2', '4 of 9', '1 of 1')
    """
    return f"{count} of {passes}"


def often_of(laps: int, passes: int) -> str:
    """Say how often, beside the passes that count; laps that do not count may have it too.

    >>> often_of(1, 2), often_of(5, 4)
    ('1 of 2', '5')
    """
    return count_of(laps, passes) if laps <= passes else str(laps)


COMPARES: Final = frozenset({"unused"})
"""Events that are one only beside what the car showed elsewhere: a pass or two are no measure."""


def sure_of(kind: str, confidences: Sequence[float], passes: int) -> str:
    """Say how sure an event is; of too few passes no number is said for what rests on them.

    >>> sure_of("lock_up", [0.9], 1).replace("\u00a0", " "), sure_of("unused", [0.99], 2)
    ('90 %', 'few passes')
    """
    if kind in COMPARES and passes < ENOUGH_PASSES:
        return "few passes"
    return format_percent(sum(confidences) / len(confidences))


def few(full: int) -> str:
    """Say that there are too few laps for a habit; nothing where there are enough.

    >>> few(2)
    'From 2 full laps: too few to tell a habit from chance; 3 are the least.'
    >>> few(3)
    ''
    """
    if full >= ENOUGH_PASSES:
        return ""
    return (
        f"From {full_laps(full)}: too few to tell a habit from chance; {ENOUGH_PASSES} are the "
        "least."
    )


def mark_of(kind: str, axle: str | None) -> str:
    """Give the sign of an event, the same as in the pictures."""
    if kind == "double_stab":
        return "○"
    if axle is None:
        return ""
    if kind == "wide":
        return "△"
    return "▲" if axle == "front" else "▼"


def full_laps(count: int) -> str:
    """Say how many full laps there are.

    Examples
    --------
    >>> full_laps(1), full_laps(3)
    ('one full lap', '3 full laps')
    """
    return {0: "no full lap", 1: "one full lap"}.get(count, f"{count} full laps")


def sessions(count: int) -> str:
    """Say what stands before laps of further sessions; nothing for one.

    >>> sessions(1), sessions(2)
    ('', 'R2-L01 is the first lap of the second session.')
    """
    return "R2-L01 is the first lap of the second session." if count > 1 else ""


def show(measure: str, value: float, units: Units) -> str:
    """Show a value of a measure as people read it."""
    if measure.endswith("_mps"):
        return format_speed(value, units)
    if measure.endswith("_mps2"):
        return f"{g_from_mps2(value):.2f} g"
    if measure.endswith(("_s_m", "_m")):
        return format_length(value, units)
    if measure == "release_shape_frac":
        return f"{value:.2f}"
    if measure == "depth_frac":
        return f"{value:.2f}"
    if measure.endswith("_frac"):
        return format_percent(value)
    return format_loss(value)


def reads_differently(measure: str, mine: float, theirs: float, units: Units) -> bool:
    """Whether two values still differ as they are printed; a row of equal ones tells nothing."""
    return show(measure, mine, units) != show(measure, theirs, units)


def difference(measure: str, usual: float, best: float, units: Units) -> str:
    """Say what the best pass did otherwise than the usual one."""
    more = best - usual
    if measure == "brake_s_m":
        way = "later" if more > 0 else "earlier"
        return f"braked {format_length(abs(more), units)} {way}"
    if measure == "min_speed_mps":
        way = "more" if more > 0 else "less"
        return f"carried {format_speed(abs(more), units)} {way} at the slowest point"
    if measure == "peak_decel_mps2":
        way = "harder" if more > 0 else "less hard"
        g = g_from_mps2
        return f"braked {way} ({g(best):.2f} against {g(usual):.2f} g at the most)"
    if measure == "depth_frac":
        way = "later" if more > 0 else "earlier"
        return f"let the brake off {way} ({best:.2f} against {usual:.2f} of the way to the apex)"
    if measure == "brake_left_frac":
        way = "more" if more > 0 else "less"
        return (
            f"had {way} brake left at turn-in ({format_percent(best)} against "
            f"{format_percent(usual)} of the peak)"
        )
    return (
        f"used {'more' if more > 0 else 'less'} of the grip ({format_percent(best)} against "
        f"{format_percent(usual)} of what the car has shown)"
    )


WORTH_S: Final = 0.02
"""What the usual pass loses is told from here on."""


def work_on(
    name: str,
    found: Finding,
    other_name: str | None,
    technique_first: bool | None,
    units: Units,
    again: bool = False,
) -> str:
    """Say one thing to work on in a short paragraph.

    What to do is said of the first event that is a habit.

    Parameters
    ----------
    again : bool
        Whether it has been said of another zone what technique first means.
    """
    other = other_name or "the other driver"
    whose, who = ("your", "you") if found.against == "own" else (f"{other}'s", other)
    slower = (
        f"your usual pass is {found.slower_s:.2f} s slower than {whose} best, {found.best_lap_id}"
    )
    if found.slower_s >= found.wrong_s:
        said = [f"{name}: {slower}."]
    else:
        said = [f"{name}: what goes wrong here costs about {found.wrong_s:.2f} s a lap, by rule of"]
        said[0] += f" thumb; {slower}." if found.slower_s >= WORTH_S else " thumb."
    if found.differences and found.slower_s >= WORTH_S:
        parts = [difference(one.measure, one.usual, one.best, units) for one in found.differences]
        said.append(f"In that one {who} {' and '.join(parts)}.")
    for kind, count, of in found.events[:2]:
        said.append(f"In {count_of(count, of)} passes {EVENTS[kind][0]}.")
    often = [kind for kind, count, of in found.events if habit(count, of)]
    if often:
        said.append(REMEDY[often[0]])
    elif found.events:
        said.append("That is too little to change anything for: look whether it comes again.")
    if technique_first and again:
        said.append("Technique first here too.")
    elif technique_first:
        said.append(
            "Technique first: your release scatters by more than two steps of the adjuster "
            "change, so no setting can be judged here yet."
        )
    return " ".join(said)


def no_difference(full_laps: int) -> str:
    """Say that nothing is to be worked on, or that there is nothing to compare."""
    if full_laps < 2:
        return "Fewer than two full laps: there is nothing to hold a pass against yet."
    return (
        "Nothing stands out: no zone's usual pass loses 0.02 s or more to the best one, and no "
        "event is frequent."
    )


def evenness(zones: Sequence[DebriefZone], units: Units) -> str:
    """Say how even the driver is: where he brakes, and how he lets the brake off."""
    said = []
    points = {zone.name: sd for zone in zones if (sd := sd_of(zone, "brake_s_m")) is not None}
    if len(points) > 1:
        low, high = min(points, key=points.__getitem__), max(points, key=points.__getitem__)
        said.append(
            f"The brake point scatters by ± {format_length(_middle(points), units, 1)} in the "
            f"middle zone, least in {low} (± {format_length(points[low], units, 1)}), most in "
            f"{high} (± {format_length(points[high], units, 1)})."
        )
    release = {
        zone.name: zone.release_scatter_frac
        for zone in zones
        if zone.release_scatter_frac is not None
    }
    if len(release) > 1:
        high = max(release, key=release.__getitem__)
        said.append(
            f"While it is let off, the brake scatters by ± {format_percent(_middle(release))} of "
            f"its peak, most in {high} (± {format_percent(release[high])})."
        )
    return " ".join(said)


def sd_of(zone: DebriefZone, measure: str) -> float | None:
    """Scatter of a measure, of passes enough to have one."""
    found = next((one for one in zone.scatter if one.measure == measure), None)
    return None if found is None or found.passes < ENOUGH_PASSES else found.sd


def _middle(values: Mapping[str, float]) -> float:
    return median(values.values())


# ---------------------------------------------------------------- against the plan


def later_than_planned(one: AgainstPlan, units: Units) -> str:
    """Say how much later or earlier than planned the driver brakes, and how well that is known."""
    shown = format_length(abs(one.later_m), units)
    if float(f"{length_number(abs(one.later_m), units):.0f}") == 0.0:
        said = "as planned"
    else:
        said = f"{shown} {'later' if one.later_m > 0 else 'earlier'}"
    if one.give_or_take_m is None:
        return said
    return f"{said} ± {length_number(one.give_or_take_m, units):.0f}"


def _of_all(count: int, whole: int) -> str:
    """So many of the zones, in words."""
    return "every zone" if count == whole else f"{count} of {whole} zones"


def _zones(names: Sequence[str], whole: int) -> str:
    """The zones by name, but not a list of all of a long lap."""
    return "every zone" if len(names) == whole > MANY else listed(names)


def against_plan(zones: Sequence[DebriefZone]) -> str:
    """Say in which zones the driver kept to the plan's settings and brake points."""
    held = [(zone.name, zone.against_plan) for zone in zones if zone.against_plan is not None]
    if not held:
        return ""
    said = []
    driven = [
        (name, one, one.setting_driven) for name, one in held if one.setting_driven is not None
    ]
    others = [
        (name, one.setting, was)
        for name, one, was in driven
        if abs(was - one.setting) > SAME_SETTING
    ]
    if driven and not others:
        said.append("Every zone was driven at its planned setting.")
    elif len(others) > MANY and len({setting(was) for _, _, was in others}) == 1:
        planned = [one for _, one, _ in others]
        least, most = setting(min(planned)), setting(max(planned))
        said.append(
            f"Not at the planned setting: {setting(others[0][2])} driven in "
            f"{_of_all(len(others), len(driven))}, planned {least}"
            + ("." if least == most else f" to {most}.")
        )
    elif others:
        told = [
            f"{name} ({setting(was)} driven, {setting(one)} planned)" for name, one, was in others
        ]
        said.append(f"Not at the planned setting: {listed(told)}.")
    surely = [
        (name, one.later_m)
        for name, one in held
        if one.give_or_take_m is not None and abs(one.later_m) > max(one.give_or_take_m, 1.0)
    ]
    early, late = [n for n, m in surely if m < 0.0], [n for n, m in surely if m > 0.0]
    if early:
        said.append(
            f"Earlier on the brake than planned, beyond the scatter: {_zones(early, len(held))}."
        )
    if late:
        said.append(f"Later than planned, beyond the scatter: {_zones(late, len(held))}.")
    said.append(
        "The plan's brake points are for the speeds it comes in with; it knows neither traffic nor "
        "cold tyres."
    )
    return " ".join(said)


SAME_SETTING: Final = 1e-6
MANY: Final = 4
"""More zones of which the same is to be said are counted, not named."""


def setting(value: float) -> str:
    """Show a setting as it is dialled.

    >>> setting(51.5), setting(54.0), setting(3)
    ('51.5', '54', '3')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".")


# ---------------------------------------------------------------- against another driver

MINUS: Final = "\u2212"

COLUMNS: Final = {
    "time_s": "time",
    "brake_s_m": "brakes",
    "min_speed_mps": "lowest",
    "peak_decel_mps2": "hardest",
    "depth_frac": "depth",
    "brake_left_frac": "at turn-in",
    "release_shape_frac": "shape",
    "use_model_frac": "used, model",
    "setting": "setting",
}
"""What two drivers differ in, as a table heads it."""

SETTINGS: Final = {
    True: "Both drove the same setting: on equal cars, what differs is how they drive.",
    False: "The settings differ: balance and technique cannot be told apart. Compare both at one "
    "setting before either touches it.",
    None: "The logs do not say the settings: make sure they were the same before judging.",
}


def against_other(
    zones: Sequence[DebriefZone], other: str | None, same_setting: bool | None
) -> str:
    """Say where the time against another driver lies, and whether their settings were the same."""
    if other is None:
        return ""
    said = [SETTINGS[same_setting]]
    times = {
        zone.name: one.difference
        for zone in zones
        for one in zone.against_other
        if one.measure == "time_s"
    }
    if times:
        most = max(times, key=lambda name: abs(times[name]))
        total = sum(times.values())
        way = "behind" if total > 0 else "ahead of"
        where = f", most in {most} ({abs(times[most]):.2f} s)" if times[most] * total > 0.0 else ""
        said.append(
            f"In these zones together you are {abs(total):.2f} s a lap {way} {other}{where}."
        )
    return " ".join(said)


def columns_of(zones: Sequence[DebriefZone], units: Units) -> list[str]:
    """Measures in which two drivers differ in any zone by more than their passes scatter."""
    there = {one.measure for zone in zones for one in zone.against_other if differs(one, units)}
    return [measure for measure in COLUMNS if measure in there]


def differs(one: AgainstOther, units: Units) -> bool:
    """Whether a difference exceeds the scatter, and is seen in the values as they are printed."""
    return one.sure and reads_differently(one.measure, one.mine, one.theirs, units)


def difference_of(zone: DebriefZone, measure: str, units: Units) -> str:
    """Say what one driver does otherwise; nothing where it is no more than chance."""
    one = next((one for one in zone.against_other if one.measure == measure), None)
    if one is None or not differs(one, units):
        return ""
    size = abs(one.difference)
    if measure == "brake_s_m":
        return f"{format_length(size, units)} {'later' if one.difference > 0 else 'earlier'}"
    if measure == "setting":
        return f"{setting(one.mine)} / {setting(one.theirs)}"
    sign = "+" if one.difference > 0 else MINUS
    return f"{sign}{show(measure, size, units)}"
