"""What a plan asks of the hand: its changes in driving order, and the short code of each zone."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

from foreaft.model.answers import Axle, Plan, ZonePlan
from foreaft.report.measure import covered
from foreaft.report.words import towards

CODE_LENGTH: Final = 4
_NUMBERED: Final = re.compile(r"(?:turn|corner|t|c)?\s*0*(\d{1,3}[a-z]?)\b", re.IGNORECASE)


class Change(NamedTuple):
    """One move of the adjuster: its two zones as places in the plan, and what it does."""

    after: int
    before: int
    setting: float
    steps: int
    axle: Axle
    hand_needed_s: float | None
    hand_time_s: float | None


def codes(plan: Plan) -> list[str]:
    """Give each zone of a plan its code, the same on every product."""
    return short_codes([zone.name for zone in plan.zones])


def short_codes(names: list[str]) -> list[str]:
    """Give each name a code of at most four characters.

    A numbered corner keeps its number (``Turn 5`` is ``T5``); a name is cut to four letters, and
    where two are then alike, to two letters of each of its first two words.
    Where that does not tell all of them apart, or the typeface lacks their letters, all get their
    number in driving order instead, as ``Z1``.

    >>> short_codes(["Turn 1", "Step In", "Step Out", "Weir"])
    ['T1', 'STIN', 'STOU', 'WEIR']
    """
    found = [_code(name) for name in names]
    found = [
        _code_of_two(name) if found.count(code) > 1 else code
        for name, code in zip(names, found, strict=True)
    ]
    if all(found) and len(set(found)) == len(found):
        return found
    return [f"Z{number}" for number in range(1, len(found) + 1)]


def base_setting(plan: Plan) -> float:
    """Give the setting carried over the start line: the last zone's."""
    return plan.zones[-1].setting


def changes(plan: Plan) -> list[Change]:
    """List the changes of a lap in driving order, the one across the start line first."""
    return [
        _change(plan, after, before)
        for after, before in _pairs(len(plan.zones))
        if steps_between(plan, plan.zones[after], plan.zones[before])
    ]


def steps_between(plan: Plan, one: ZonePlan, other: ZonePlan) -> int:
    """Count the adjuster's steps from one zone to another, the way its numbers count."""
    return round((other.setting - one.setting) / plan.adjuster.step)


def _pairs(count: int) -> list[tuple[int, int]]:
    return [((before - 1) % count, before) for before in range(count)]


def _change(plan: Plan, after: int, before: int) -> Change:
    one, other = plan.zones[after], plan.zones[before]
    steps = steps_between(plan, one, other)
    hand = [
        step
        for step in plan.steps
        if (step.from_zone_id, step.to_zone_id) == (one.zone_id, other.zone_id)
    ]
    return Change(
        after,
        before,
        other.setting,
        steps,
        towards(steps, plan.adjuster.higher_means),
        hand[0].hand_needed_s if hand else None,
        hand[0].hand_time_s if hand else None,
    )


def _code(name: str) -> str:
    numbered = _NUMBERED.match(name.strip())
    if numbered:
        return f"T{numbered.group(1)}"
    letters = "".join(letter for letter in name if letter.isalnum())
    return letters[:CODE_LENGTH].upper()[:CODE_LENGTH] if covered(letters) else ""


def _code_of_two(name: str) -> str:
    words = ["".join(letter for letter in word if letter.isalnum()) for word in name.split()]
    half = CODE_LENGTH // 2
    letters = "".join(word[:half] for word in words[:2])
    return letters.upper()[:CODE_LENGTH] if covered(letters) else ""
