"""How a driver's numbers scatter from lap to lap, out of a debrief of his log."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from foreaft.base.errors import InputError
from foreaft.files.sheet import slug
from foreaft.files.trial_laps import unit_of
from foreaft.jobs.common import Notes
from foreaft.learn import trial as tr
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief, DebriefPass

SHORT: Final = {"brake_distance_m": "distance_m"}
"""Measures that a sheet of laps names more shortly."""

NOT_MEASURED: Final = frozenset({"lap_id", "zone_id", "setting", "lost_s", "lost_other_s"})


def laps_for_scatter(file: Path, notes: Notes) -> tuple[tr.Lap, ...]:
    """Take the laps of a debrief, each full lap with everything measured in its zones.

    A measure is named as in a sheet of laps: zone, then the name, as ``z03_time_s``.
    Laps follow each other within a run; those at other settings are kept apart.

    Raises
    ------
    InputError
        If the file is not there or holds no debrief.
    """
    result = _read(file).result
    passes: dict[str, list[DebriefPass]] = {}
    for one in result.passes:
        passes.setdefault(one.lap_id, []).append(one)
    kinds: dict[tuple[float | None, ...], int] = {}
    runs: dict[str, int] = {}
    laps = []
    for number, lap in enumerate(result.laps, 1):
        own = passes.get(lap.lap_id, [])
        driven = tuple(one.setting for one in sorted(own, key=lambda one: one.zone_id))
        values = {"lap_time_s": lap.duration_s}
        values |= {name: value for one in own for name, value in _measures(one)}
        laps.append(
            tr.Lap(
                lap=number,
                stint=runs.setdefault(lap.run_id, len(runs) + 1),
                setting=float(kinds.setdefault(driven, len(kinds))),
                keep=lap.kind == "full",
                values=values,
            )
        )
    if any(one.setting is None for one in result.passes):
        notes.warn(
            "scatter_setting_unknown",
            "the debrief does not know the setting of every pass: the scatter is right only if the "
            "adjuster was left alone",
        )
    return tuple(laps)


def _measures(one: DebriefPass) -> Iterator[tuple[str, float]]:
    zone = slug(one.zone_id).replace("-", "_")
    for name, value in one.model_dump().items():
        told = f"{zone}_{SHORT.get(name, name)}"
        if value is not None and name not in NOT_MEASURED and unit_of(told) is not None:
            yield told, float(value)


def _read(file: Path) -> Envelope[Debrief]:
    try:
        return Envelope[Debrief].model_validate_json(file.read_bytes())
    except OSError as error:
        raise _no_debrief(file, None, "this file cannot be read") from error
    except ValidationError as error:
        key = ".".join(str(part) for part in error.errors()[0]["loc"]) or None
        raise _no_debrief(file, key, "this file holds no debrief") from error


def _no_debrief(file: Path, key: str | None, message: str) -> InputError:
    return InputError(
        message,
        code="not_a_debrief",
        file=file,
        key=key,
        allowed="one debrief as JSON, schema foreaft.debrief/1",
        hint="debrief.json of foreaft debrief --out FOLDER, or what foreaft debrief --json printed",
    )
