"""A trial as text for people: the run sheet, what it can show, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from foreaft.cli.show import table
from foreaft.model.answers import Envelope
from foreaft.report.trial_words import FIRST_SIGHT, amount, chance
from foreaft.report.words import capital, format_setting, listed


def design(answer: Envelope[Any]) -> str:
    """What the trial can show, the rules, and the run sheet."""
    made = answer.result.design
    ways = {"front": "forward", "rear": "rearward"}
    lines = [
        f"Order of the laps that count: {made.order}   (a bar is a new stint)",
        f"{made.pairs} pairs of laps, {made.laps} laps driven in {made.stints} stints. "
        f"A bigger number goes {ways[made.higher_means]}.",
        "A steady drift of fuel, tyres and track cancels"
        + (", a bent one too." if len(made.settings) == 2 and made.pairs % 4 == 0 else "."),
        "",
        table(
            ("measured", "to see", "scatter", "laps per setting", "laps driven", "chance here"),
            [_endpoint(one) for one in made.endpoints],
        ),
        "",
        *(one.text for one in made.endpoints),
    ]
    if made.incidents is not None:
        lines.append(made.incidents.text)
    lines += [FIRST_SIGHT, "", "Before: three stops"]
    lines += [f"- {one}" for one in made.baseline]
    lines += ["", "Rules", *(f"- {one}" for one in made.rules), ""]
    rows = [
        (
            str(one.lap),
            str(one.stint),
            _at(one.setting, made),
            "yes" if one.counts else "",
            one.note,
        )
        for one in made.sheet
    ]
    lines.append(_left_last(("lap", "stint", "setting", "counts", "note"), rows))
    if answer.files:
        lines.append(
            f"\nWritten to {answer.files[0]}: fill it in, then: foreaft trial judge "
            f"{answer.files[0]}"
        )
    return "\n".join(lines)


def _endpoint(one: Any) -> tuple[str, ...]:
    needed = "never" if one.pairs_needed is None else str(one.pairs_needed)
    driven = "never" if one.laps_needed is None else str(one.laps_needed)
    return (
        one.words + (" *" if one.primary else ""),
        amount(one.difference, one.unit),
        amount(one.scatter_sd, one.unit),
        needed,
        driven,
        f"{100 * one.power_frac:.0f} %",
    )


def _left_last(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    """A table whose last column is text."""
    numbers = table(head[:-1], [row[:-1] for row in rows]).splitlines()
    width = max(len(line) for line in numbers)
    said = [head[-1], *(row[-1] for row in rows)]
    return "\n".join(
        f"{line.ljust(width)}  {text}" for line, text in zip(numbers, said, strict=True)
    )


def stops(answer: Envelope[Any]) -> str:
    """The stops as driven, where the crossover lies, and what comes next."""
    made = answer.result.stops
    ways = {"front": "forward", "rear": "rearward"}
    rows = [
        (str(number), f"{one.setting:g}", FIRST_SAID[one.first])
        for number, one in enumerate(made.stops, 1)
    ]
    lines = [
        made.text,
        made.next,
        "",
        _left_last(("stop", "setting", "went first"), rows),
        "",
        f"A bigger number goes {ways[made.higher_means]}.",
    ]
    if made.anchor is not None:
        lines += [
            "The car file may say of it:",
            "  [anchor]",
            f"  setting = {made.anchor.setting:g}",
            f'  first_to_let_go = "{made.anchor.first_to_let_go}"',
        ]
    return "\n".join(lines)


FIRST_SAID = {
    "front": "a front wheel",
    "rear": "a rear wheel",
    "together": "both ends together",
    "none": "none locked",
}


def verdict(answer: Envelope[Any]) -> str:
    """The summary, then every comparison, incidents and the plan."""
    made = answer.result.verdict
    lines = [*made.summary, ""]
    rows = [_comparison(one, made) for one in made.comparisons]
    head = ("measured", "setting", "effect", "from", "to", "pairs", "p", "verdict", "would show")
    if rows:
        lines += [
            f"Against {_at(made.against, made)}; {made.laps_counted} of {made.laps} laps count."
        ]
        lines += [table(head, rows), ""]
    shown = [one for one in made.comparisons if one.text not in made.summary]
    lines += [one.text for one in shown if _near(one, made)]
    lines += _blind([one for one in shown if one.verdict == "cannot_tell"], made)
    lines += [one.text for one in made.incidents]
    if made.plan:
        lines += ["", "The plan"]
        lines += _plan(made)
        lines.append("Nothing was planned again: weigh this, then change the files and plan anew.")
    return "\n".join(lines)


def _plan(made: Any) -> list[str]:
    """What becomes of each setting of the plan; zones of which the same is to be said together."""
    same: dict[tuple[float, str], list[str]] = {}
    for one in made.plan:
        said = f"{one.finding}; {one.text}"
        same.setdefault((one.planned_setting, said), []).append(one.zone_name)
    return [
        f"- {listed(names)} at {_at(planned, made)}: {said}."
        for (planned, said), names in same.items()
    ]


def _at(setting: float, made: Any) -> str:
    return format_setting(setting, made.step)


def _near(one: Any, made: Any) -> bool:
    """Whether a comparison is none only because others were looked at too: its row is too short."""
    return bool(one.verdict == "no_difference_shown" and one.p <= made.level)


def _blind(told: Sequence[Any], made: Any) -> list[str]:
    """Why something cannot be told, once for all of which the same is to be said."""
    why: dict[tuple[float, str], list[str]] = {}
    for one in told:
        why.setdefault((one.setting, one.text.partition(": ")[2]), []).append(one.words)
    return [
        f"{capital(listed(names))}, {_at(setting, made)}: {said}"
        for (setting, said), names in why.items()
    ]


def _comparison(one: Any, made: Any) -> tuple[str, ...]:
    name, at = one.words + (" *" if one.primary else ""), _at(one.setting, made)
    if one.effect is None:
        return (name, at, "", "", "", str(one.pairs), "", "cannot tell", "")
    said = one.verdict.replace("_", " ")
    least = one.smallest_shown
    seen = "" if least is None else amount(least, one.unit)
    return (name, at, *one.shown, str(one.pairs), chance(one.p_adjusted), said, seen)
