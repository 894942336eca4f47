"""Everything a plan is handed over as, in one folder: all of it or nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from foreaft.files.atomic import write_folder
from foreaft.jobs.common import to_json
from foreaft.model.answers import Envelope, Plan
from foreaft.report.page import products
from foreaft.report.words import Units


def hand_over(
    plans: list[Envelope[Plan]],
    folder: Path,
    units: Units = "metric",
    date: str | None = None,
) -> list[Path]:
    """Write plan (JSON), briefing, sticker and figures of each plan.

    The first plan is the one handed over; one for a lower grip goes on the back of its sticker.
    Further plans stand in a folder of their own, named after their conditions.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    dry, rest = plans[0], plans[1:]
    wet = _wettest(plans)
    made: dict[str, bytes | str] = {}
    made |= _one(dry, wet, units, date, "")
    for other in rest:
        made |= _one(other, None, units, date, f"{_slug(other.result.conditions_name)}/")
    write_folder(folder, made)
    return [folder / name for name in made]


def _one(
    answer: Envelope[Plan], wet: Plan | None, units: Units, date: str | None, prefix: str
) -> dict[str, bytes | str]:
    made: dict[str, Any] = {"plan.json": to_json(answer)}
    made |= products(answer, answer.result, wet, units, date)
    return {prefix + name: data for name, data in made.items()}


def _wettest(plans: list[Envelope[Plan]]) -> Plan | None:
    """What the back of the sticker is for: the first plan for low grip, as its first step."""
    for one in plans:
        if one.result.first_step_setting is not None:
            return first_step(one.result)
    return None


def first_step(plan: Plan) -> Plan:
    """The plan for low grip as it is to be begun: one setting for the lap, half of the way."""
    first = plan.first_step_setting
    if first is None:
        return plan
    ahead = plan.adjuster.step if plan.adjuster.higher_means == "front" else -plan.adjuster.step
    lost = min(max(first + ahead, plan.adjuster.min), plan.adjuster.max)
    return plan.model_copy(
        update={
            "zones": [zone.model_copy(update={"setting": first}) for zone in plan.zones],
            "steps": [],
            "total": plan.total.model_copy(update={"changes": 0}),
            "lap_setting": plan.lap_setting.model_copy(update={"setting": first}),
            "panic_setting": lost,
        }
    )


def _slug(name: str) -> str:
    return "".join(c if c.isalnum() else "-" for c in name.lower()).strip("-") or "conditions"
