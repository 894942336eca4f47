"""The planned settings out of a plan written before."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.files.read import read_text
from foreaft.jobs.common import Notes
from foreaft.model.answers import Input, ZoneFace

SCHEMA = "foreaft.plan/1"


@dataclass(frozen=True)
class Planned:
    """What is taken from a plan's file."""

    file: Path
    settings: Mapping[str, float]
    """Setting by zone."""
    revisions: Mapping[str, str]
    """Of the files the plan was made from, by role; empty where it does not say."""


def read_planned(file: Path) -> Planned:
    """Return settings and origin of a plan.

    Raises
    ------
    InputError
        If the file is no plan.
    """
    text = read_text(file)
    try:
        answer: Any = json.loads(text)
        schema = answer["schema"]
        settings = {str(one["zone_id"]): float(one["setting"]) for one in answer["result"]["zones"]}
        inputs = answer.get("inputs", {})
        revisions = {str(role): str(one["revision"]) for role, one in inputs.items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _refused(file, "this is no plan", "file", file.name, SCHEMA) from error
    if schema != SCHEMA:
        raise _refused(file, "this is no plan", "schema", str(schema), SCHEMA)
    return Planned(file, settings, revisions)


def warn_of_another(
    revisions: Mapping[str, str], inputs: Mapping[str, Input], notes: Notes
) -> None:
    """Say where a plan was made for another car or other conditions; it is driven all the same."""
    for role in ("car", "conditions"):
        if role in revisions and revisions[role] != inputs[role].revision:
            which = "another car" if role == "car" else "other conditions"
            notes.warn(
                "plan_of_another",
                f"the plan was made for {which}, or its file has changed since; its settings are "
                "driven here all the same",
            )


def planned_settings(
    planned: Planned,
    faces: Sequence[ZoneFace],
    settings: NDArray[np.float64],
    zones_revision: str,
) -> list[int]:
    """Return the index of the planned setting of each zone.

    Raises
    ------
    InputError
        If the plan is of another circuit or sheet, has not these zones, or a setting the adjuster
        has not.
    """
    file = planned.file
    told = planned.revisions.get("zones", zones_revision)
    if told != zones_revision:
        what = "this plan was made for another circuit or sheet, or its file has changed since"
        raise _refused(file, what, "inputs.zones.revision", told, zones_revision)
    indices = []
    for face in faces:
        if face.zone_id not in planned.settings:
            raise _refused(
                file,
                "the plan has not all zones of this circuit or sheet",
                "zones",
                face.zone_id,
                ", ".join(planned.settings),
            )
        setting = planned.settings[face.zone_id]
        nearest = int(np.abs(settings - setting).argmin())
        if not abs(settings[nearest] - setting) <= 1e-6:  # also where it is no number
            raise _refused(
                file,
                "the plan has a setting this adjuster has not",
                "setting",
                f"{setting:g}",
                f"{settings.min():g} to {settings.max():g}",
            )
        indices.append(nearest)
    return indices


def _refused(file: Path, message: str, key: str, value: str, allowed: str) -> InputError:
    return InputError(
        message,
        code="not_the_plan",
        file=file,
        key=key,
        value=value,
        allowed=allowed,
        hint="give the plan.json that foreaft plan --out wrote for this car and circuit",
    )
