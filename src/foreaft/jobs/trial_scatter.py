"""The laps of a debrief: how a driver's numbers scatter, and what a trial made of the log."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
from pydantic import ValidationError

from foreaft.base.errors import CannotTell, InputError
from foreaft.files.sheet import slug
from foreaft.files.trial_laps import LapRow, LapSheet, unit_of
from foreaft.jobs.common import Notes
from foreaft.learn import trial as tr
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief, DebriefPass

SHORT: Final = {"brake_distance_m": "distance_m"}
"""Measures that a sheet of laps names more shortly."""

NOT_MEASURED: Final = frozenset({"lap_id", "zone_id", "setting", "lost_s", "lost_other_s"})

OVER_THE_LAP: Final = ("slip_difference_frac", "steer_excess_rad")
"""Measures of a pass that move alike in every zone, and so are told of the whole lap as well."""


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
    passes, over_laps = _by_lap(result), _over_laps(result)
    kinds: dict[tuple[float | None, ...], int] = {}
    runs: dict[str, int] = {}
    laps = []
    for number, lap in enumerate(result.laps, 1):
        own = passes.get(lap.lap_id, [])
        driven = tuple(one.setting for one in sorted(own, key=lambda one: one.zone_id))
        values = {"lap_time_s": lap.duration_s} | over_laps.get(lap.lap_id, {})
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


def laps_to_judge(file: Path, named: Sequence[str], notes: Notes) -> LapSheet:
    """Take the laps of a debrief as a sheet: lap time, zone times, and other measures ``named``.

    What the log shows of the two ends over the lap comes first, as in ``OVER_THE_LAP``.

    A lap counts if it is a full one, with one setting all round; front and rear events are zones
    in which such an end locked or the car rotated, where the log can show them.

    Raises
    ------
    InputError
        If the file is not there or holds no debrief.
    CannotTell
        If the log does not say the setting of any lap.
    """
    result = _read(file).result
    passes, over_laps = _by_lap(result), _over_laps(result)
    seen = not any(one.what == "lock-ups" for one in result.cannot_tell)
    stints: dict[str, int] = {}
    rows, unclear = [], []
    for number, lap in enumerate(result.laps, 1):
        own = passes.get(lap.lap_id, [])
        settings = {one.setting for one in own}
        stint = stints.setdefault(lap.run_id, len(stints) + 1)
        if len(settings) != 1 or None in settings:
            unclear += [lap.lap_id] if lap.kind == "full" else []
            continue
        values = {"lap_time_s": lap.duration_s} | over_laps.get(lap.lap_id, {})
        values |= {
            name: value
            for one in own
            for name, value in _measures(one)
            if name in named or name.endswith("_time_s")
        }
        events = _events(result, own) if seen else {}
        setting = float(own[0].setting or 0.0)
        full = lap.kind == "full"
        rows.append(LapRow(number, number, stint, setting, full, len(own), values, events))
    if not rows:
        raise CannotTell(
            "whether the setting makes a difference",
            because="the log does not carry the adjuster's setting, or it was moved on every lap",
            would_settle="the setting as a channel of the log, or a sheet of laps filled in by "
            "hand: foreaft trial design",
        )
    if unclear:
        notes.warn(
            "laps_of_two_settings",
            f"{', '.join(unclear[:12])}: the setting was moved on the way round, or is not known; "
            "left out",
        )
    known = {name for row in rows for name in row.values}
    first = [name for name in OVER_THE_LAP if name in known]
    return LapSheet(
        file=str(file),
        rows=tuple(rows),
        endpoints=(*first, *sorted(known - set(first))),
        events=tuple(EVENTS) if seen else (),
        has_keep=False,
        has_passes=True,
        from_log=True,
    )


def driven(rows: LapSheet, settle_laps: int) -> tuple[tr.Lap, ...]:
    """The laps of a sheet; the first after a change count only where its column says so."""
    laps = tuple(
        tr.Lap(r.lap, r.stint, r.setting, bool(r.keep), r.passes, r.values, r.events)
        for r in rows.rows
    )
    if rows.has_keep:
        return laps
    settled = tr.settle(laps, settle_laps)
    return tuple(
        replace(lap, keep=lap.keep and row.keep is not False)
        for lap, row in zip(settled, rows.rows, strict=True)
    )


EVENTS: Final = {"front_events": "front", "rear_events": "rear"}
SURE: Final = 0.5
"""An event less sure than this is not counted (assumption)."""


def _events(result: Debrief, passes: Sequence[DebriefPass]) -> dict[str, int]:
    """In how many passes of a lap an end let go first.

    A car that rotates lets go at the rear, unless the front had let go before: then it is the
    front biting again that turns it, and a setting further forward would make that worse.
    """
    here = {(one.lap_id, one.zone_id) for one in passes}
    zones: dict[str, set[str]] = {"front": set(), "rear": set()}
    for one in sorted(result.events, key=lambda one: one.start_s):
        passed = (one.lap_id, one.zone_id) in here
        if not passed or one.confidence_frac < SURE:
            continue
        if one.kind == "lock_up" and one.axle is not None:
            zones[one.axle].add(one.zone_id)
        elif one.kind == "rotation" and one.zone_id not in zones["front"]:
            zones["rear"].add(one.zone_id)
    return {name: len(zones[axle]) for name, axle in EVENTS.items()}


def _by_lap(result: Debrief) -> dict[str, list[DebriefPass]]:
    passes: dict[str, list[DebriefPass]] = {}
    for one in result.passes:
        passes.setdefault(one.lap_id, []).append(one)
    return passes


def _over_laps(result: Debrief) -> dict[str, dict[str, float]]:
    """What moves alike in every zone, of each full lap."""
    full = {one.lap_id for one in result.laps if one.kind == "full"}
    found: dict[str, dict[str, float]] = {}
    for name in OVER_THE_LAP:
        known = {
            (one.lap_id, one.zone_id): float(getattr(one, name))
            for one in result.passes
            if one.lap_id in full and getattr(one, name) is not None
        }
        for lap_id, value in _levels(known).items():
            found.setdefault(lap_id, {})[name] = value
    return found


def _levels(known: Mapping[tuple[str, str], float]) -> dict[str, float]:
    """The mean over its zones of each lap, as if no lap lacked any; by least squares.

    Model: value = lap + zone, the zones' parts none in the mean.
    """
    laps, zones = (sorted({key[i] for key in known}) for i in (0, 1))
    if not zones:
        return {}
    design = np.zeros((len(known) + 1, len(laps) + len(zones)))
    for row, (lap, zone) in enumerate(known):
        design[row, [laps.index(lap), len(laps) + zones.index(zone)]] = 1.0
    design[-1, len(laps) :] = 1.0
    found = np.linalg.lstsq(design, np.array([*known.values(), 0.0]), rcond=None)[0]
    return {lap: float(value) for lap, value in zip(laps, found, strict=False)}


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
