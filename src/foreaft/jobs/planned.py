"""The planned settings out of a plan written before."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from foreaft.base.errors import InputError
from foreaft.files.read import read_text
from foreaft.model.answers import ZoneFace

SCHEMA = "foreaft.plan/1"


def planned_settings(
    file: Path, faces: Sequence[ZoneFace], settings: NDArray[np.float64]
) -> list[int]:
    """Return the index of the planned setting of each zone.

    Raises
    ------
    InputError
        If the file is no plan, has not these zones, or a setting the adjuster has not.
    """
    found = _read(file)
    indices = []
    for face in faces:
        if face.zone_id not in found:
            raise _refused(
                file,
                "the plan has not all zones of this circuit or sheet",
                "zones",
                face.zone_id,
                ", ".join(found),
            )
        setting = found[face.zone_id]
        nearest = int(np.abs(settings - setting).argmin())
        if abs(settings[nearest] - setting) > 1e-6:
            raise _refused(
                file,
                "the plan has a setting this adjuster has not",
                "setting",
                f"{setting:g}",
                f"{settings.min():g} to {settings.max():g}",
            )
        indices.append(nearest)
    return indices


def _read(file: Path) -> dict[str, float]:
    text = read_text(file)
    try:
        answer: Any = json.loads(text)
        if answer["schema"] != SCHEMA:
            raise ValueError(answer["schema"])
        return {str(one["zone_id"]): float(one["setting"]) for one in answer["result"]["zones"]}
    except (ValueError, KeyError, TypeError) as error:
        raise _refused(file, "this is no plan", "schema", str(error), SCHEMA) from error


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
