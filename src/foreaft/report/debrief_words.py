"""What a debrief says in words: what to work on, what cannot be told, what went wrong.

Plain arguments in, sentences out; every number of a sentence comes from the session.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from foreaft.base.units import g_from_mps2
from foreaft.report.words import Units, format_length, format_loss, format_percent, format_speed

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
        return f"pressed {way} ({g(best):.2f} against {g(usual):.2f} g at the most)"
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


def work_on(
    name: str,
    gain_s: float,
    against: str,
    differences: Sequence[tuple[str, float, float]],
    events: Sequence[tuple[str, int, int]],
    technique_first: bool | None,
    units: Units,
    again: bool = False,
) -> str:
    """Say one thing to work on in a short paragraph.

    Parameters
    ----------
    against : str
        Whose best pass the usual one is held against: ``own``, or the other driver's name.
    differences : sequence of (measure, usual, best)
    events : sequence of (kind, passes with it, passes)
        What to do about it is said of the first one that is a habit.
    again : bool
        Whether it has been said of another zone what technique first means.
    """
    whose = "your own best" if against == "own" else f"{against}'s best"
    said = [f"{name}: {gain_s:.2f} s a lap lie between your usual pass and {whose}."]
    if differences:
        parts = [difference(*one, units) for one in differences]
        who = "There you" if against == "own" else f"There {against}"
        said.append(f"{who} {' and '.join(parts)}.")
    for kind, count, of in events[:2]:
        said.append(f"In {count_of(count, of)} passes {EVENTS[kind][0]}.")
    often = [kind for kind, count, of in events if habit(count, of)]
    if often:
        said.append(REMEDY[often[0]])
    elif events:
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
