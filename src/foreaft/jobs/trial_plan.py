"""What a trial does to a plan: which of its settings it supports, contradicts or leaves alone.

Nothing is planned again: a trial knows the settings it drove, a plan weighs all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final, Literal

from foreaft.files.sheet import slug
from foreaft.jobs.common import Notes
from foreaft.learn.trial import Stopped
from foreaft.model.answers import Plan
from foreaft.model.answers_trial import TrialComparison, TrialPlanLine
from foreaft.report.trial_words import further_to_the_rear, pair_of
from foreaft.report.words import format_setting

ZONE_LIKE: Final = re.compile(r"z\d+_")

Finding = Literal["supported", "contradicted", "mixed", "untouched"]


def plan_lines(
    plan: Plan,
    told: Sequence[TrialComparison],
    over: Sequence[Stopped],
    notes: Notes,
) -> list[TrialPlanLine]:
    """Hold a trial against each zone of a plan and against its lap setting."""
    _warn_of_strangers(plan, told, notes)
    lines = []
    for zone in plan.zones:
        names = {slug(zone.zone_id), slug(zone.name)}
        ours = [one for one in told if _of(one.endpoint, names)]
        lines.append(_line(plan, (zone.zone_id, zone.name), zone.setting, ours, over))
    whole = [one for one in told if _of(one.endpoint, {"lap"})]
    lines.append(_line(plan, (None, "whole lap"), plan.lap_setting.setting, whole, over))
    return lines


def _warn_of_strangers(plan: Plan, told: Sequence[TrialComparison], notes: Notes) -> None:
    """Name columns that look like a zone's but are of no zone of the plan."""
    ids = {slug(zone.zone_id) for zone in plan.zones}
    looks = dict.fromkeys(one.endpoint for one in told if ZONE_LIKE.match(one.endpoint))
    strange = [one for one in looks if not _of(one, ids)]
    if strange:
        notes.warn(
            "zone_not_in_plan",
            f"{', '.join(strange[:8])}: of no zone of this plan; its zones are "
            f"{', '.join(sorted(ids))}",
        )


def _of(endpoint: str, names: set[str]) -> bool:
    return any(endpoint.startswith(name.replace("-", "_") + "_") for name in names)


def _line(
    plan: Plan,
    zone: tuple[str | None, str],
    planned: float,
    told: Sequence[TrialComparison],
    over: Sequence[Stopped],
) -> TrialPlanLine:
    finding, text = _found(plan, planned, told, over)
    return TrialPlanLine(
        zone_id=zone[0], zone_name=zone[1], planned_setting=planned, finding=finding, text=text
    )


def _found(
    plan: Plan, planned: float, told: Sequence[TrialComparison], over: Sequence[Stopped]
) -> tuple[Finding, str]:
    way, half = plan.adjuster.higher_means, 0.5 * plan.adjuster.step
    step = plan.adjuster.step
    shown = format_setting(planned, step)
    for one in over:
        over_at = f"{format_setting(one.setting, step)} was not safe in the trial"
        if abs(planned - one.setting) < half:
            return "contradicted", over_at
        if further_to_the_rear(planned, one.setting, way):
            return "contradicted", f"{over_at}, and {shown} lies further to the rear"
    votes = list(_votes(planned, step, told, {one.setting for one in over}))
    if not votes:
        return "untouched", f"the trial says nothing of {shown} here"
    good = [why for yes, why in votes if yes is True]
    bad = [why for yes, why in votes if yes is False]
    if good and bad:
        return "mixed", "; ".join(good + bad)
    if good or bad:
        return ("supported", "; ".join(good)) if good else ("contradicted", "; ".join(bad))
    return "untouched", "; ".join(why for _, why in votes)


def _votes(
    planned: float, step: float, told: Sequence[TrialComparison], ended: set[float]
) -> Iterator[tuple[bool | None, str]]:
    """Yield what each comparison says of the planned setting: for it, against it, or neither."""
    half = 0.5 * step
    for one in told:
        if min(abs(planned - one.setting), abs(planned - one.against)) >= half:
            continue
        pair = pair_of(one.endpoint, one.setting, one.against, step)
        if one.better is None:
            said = {"difference": "a difference, but which way is better is not in its name"}
            if {one.setting, one.against} & ended:
                said = {"difference": "a difference, but one of them was not safe"}
            shown = said.get(one.verdict, one.verdict.replace("_", " "))
            yield None, f"{pair}: {shown}"
        else:
            better = format_setting(one.better, step)
            yield abs(one.better - planned) < half, f"{pair}: {better} is better"
