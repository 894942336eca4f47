"""Driven runs as text for people."""

from __future__ import annotations

from foreaft.cli.show import table
from foreaft.drive.wording import say_pressed
from foreaft.model.answers import Envelope
from foreaft.model.answers_show import Show, ShowRun
from foreaft.report.words import NBSP, format_setting, say_moved


def runs(answer: Envelope[Show]) -> str:
    """One sentence per setting, and how often it went wrong where that was asked."""
    result = answer.result
    where = result.circuit_name if result.zone_name is None else result.zone_name
    step = result.adjuster.step
    foot = say_pressed(result.press_frac)
    foot = foot and f", {foot}"
    lines = [
        f"\n{result.car_name} at {where}, {result.driver_name}, {result.conditions_name}. "
        f"A bigger number means more {result.adjuster.higher_means}.",
        *filter(None, [say_moved(result.moved)]),
        f"The car in motion, with the same brake point and pedal at every setting{foot}.",
        "",
    ]
    lines += [f"{_setting(one, result, step)}: {one.sentence}." for one in result.runs]
    often = [one for one in result.runs if one.often is not None]
    if often:
        lines += ["", table(HEAD, [_often(one, result, step) for one in often])]
    elif all(one.kind == "clean" for one in result.runs):
        lines += ["", _all_clean(result)]
    if result.press_frac != 1.0 and result.runs[0].kind != "clean":
        lines += [
            "",
            "Pressed like this even the planned setting goes wrong; with --press nearer to 1 the "
            "settings tell apart.",
        ]
    if answer.files:
        lines += ["", "Written:", *(f"  {file}" for file in answer.files)]
    return "\n".join([*lines, ""])


HEAD = ("setting", "runs", "went wrong", "in 100", "only locked a wheel")


def _all_clean(result: Show) -> str:
    """Say that nothing went wrong, and how to see what would."""
    adjuster = result.adjuster
    ends = {adjuster.min, adjuster.max} <= {one.setting for one in result.runs}
    where = "at either end of the adjuster" if ends and result.zone_id else "at any of them"
    harder = "a larger --press" if result.press_frac > 1.0 else "--press 1.1"
    return (
        f"Nothing goes wrong {where}, because the pedal stays below the limit; {harder} shows a "
        "harder foot, --repeat 200 how often each goes wrong with this driver's scatter."
    )


def _setting(one: ShowRun, result: Show, step: float) -> str:
    if result.zone_id is None:
        return "Each zone's own" if one.steps_from_plan == 0 else f"{one.steps_from_plan:+d} steps"
    return format_setting(one.setting, step)


def _often(one: ShowRun, result: Show, step: float) -> tuple[str, ...]:
    found = one.often
    assert found is not None  # asked before
    span = f"{100 * found.low_frac:.0f} to {100 * found.high_frac:.0f}{NBSP}%"
    return (
        _setting(one, result, step),
        str(found.runs),
        str(found.wrong),
        span,
        str(found.kinds.get("lock_up", 0)),
    )
