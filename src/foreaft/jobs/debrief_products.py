"""Everything a debrief is handed over as, in one folder: all of it or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from foreaft.files.atomic import write_folder
from foreaft.jobs.common import Progress, silent, to_json
from foreaft.jobs.debrief import Looked
from foreaft.jobs.debrief_ground import main_of
from foreaft.jobs.debrief_traces import traces
from foreaft.laps.advice import usual_passes
from foreaft.laps.grip import bulged
from foreaft.laps.match import Pass, Zone
from foreaft.laps.measure import Measured, best_passes
from foreaft.laps.session import Session
from foreaft.model.answers_debrief import DebriefZone
from foreaft.report.debrief_data import Floats, Mark, PassStrip, Role, ZoneStrips
from foreaft.report.debrief_page import products
from foreaft.report.words import Units
from foreaft.track.stations import short_way

STEP_M: Final = 2.0
BEFORE_M: Final = 25.0
AFTER_M: Final = 40.0
DRAWN_MOST: Final = 12
"""So many passes are laid over each other; more are a grey band nobody reads."""

DIRECTIONS: Final = 13
ENOUGH: Final = 5


def hand_over(
    looked: Looked, folder: Path, units: Units = "metric", progress: Progress = silent
) -> list[Path]:
    """Write the debrief and its laps (JSON), its page as HTML and PDF, and its pictures.

    What ``progress`` raises stops the work before anything is written.

    Raises
    ------
    InputError
        If the folder cannot be written.
    MissingPart
        If the typesetter is not installed.
    """
    zones = looked.answer.result.zones
    drawn = []
    for number, zone in enumerate(zones):
        progress("pages", number, len(zones) + 1)
        drawn.append(zone_strips(looked, zone))
    made: dict[str, bytes | str] = {"debrief.json": to_json(looked.answer)}
    made["traces.json"] = traces(looked)
    progress("pages", len(zones), len(zones) + 1)
    made |= products(looked.answer, drawn, units)
    progress("pages", len(zones) + 1, len(zones) + 1)
    write_folder(folder, made)
    return [folder / name for name in made]


def zone_strips(looked: Looked, face: DebriefZone) -> ZoneStrips:
    """All that is drawn of one zone: of the longest session, and the other driver's best pass."""
    session = main_of(looked.sessions)
    zone = next(one for one in session.zones if one.zone_id == face.zone_id)
    length = session.placed.stations.length_m
    brake = short_way(face.brake_s_m, zone.apex_s_m, length)
    s = np.arange(
        short_way(zone.entry_s_m, zone.apex_s_m, length) - BEFORE_M,
        max(short_way(zone.exit_s_m, zone.apex_s_m, length), AFTER_M),
        STEP_M,
    )
    rows = usual_passes(session.rows, session.full, zone.zone_id)
    best = _best(session, zone)
    strips = [
        _strip(session, zone, one, s, "best" if one.lap_id == best else "usual")
        for one in _drawn(session, zone, rows, best)
    ]
    for other in looked.others[:1]:
        theirs = _best(other, zone)
        strips += [
            _strip(other, zone, one, s, "other")
            for one in other.passes
            if one.zone_id == zone.zone_id and one.lap_id == theirs
        ]
    cloud = _cloud(session, zone, rows, best)
    plan = None if face.against_plan is None else face.against_plan.brake_s_m
    shown = next((one for one in face.scatter if one.measure == "use_shown_frac"), None)
    return ZoneStrips(
        zone_id=zone.zone_id,
        name=zone.name,
        s_m=s,
        passes=tuple(strips),
        passes_all=len(rows),
        brake_s_m=brake,
        turn_in_s_m=short_way(zone.turn_in_s_m, zone.apex_s_m, length),
        plan_brake_s_m=None if plan is None else short_way(plan, zone.apex_s_m, length),
        marks=_marks(session, zone),
        use_shown_frac=None if shown is None else shown.median,
        brake_known=session.series.brake_frac is not None,
        other_name=looked.answer.result.other_name,
        **cloud,
    )


def _best(session: Session, zone: Zone) -> str | None:
    """The lap of a session's best pass of a zone."""
    found = best_passes(session.rows, session.full).get(zone.zone_id)
    return None if found is None else found.lap_id


def _drawn(session: Session, zone: Zone, rows: Sequence[Measured], best: str | None) -> list[Pass]:
    """The best pass and others spread evenly over the session."""
    laps = [row.lap_id for row in rows]
    picked = np.unique(np.linspace(0, len(laps) - 1, min(len(laps), DRAWN_MOST)).astype(int))
    wanted = {laps[i] for i in picked} | ({best} if best is not None else set())
    return [one for one in session.passes if one.zone_id == zone.zone_id and one.lap_id in wanted]


def _strip(session: Session, zone: Zone, one: Pass, s: Floats, role: Role) -> PassStrip:
    """One pass at equal steps of place."""
    series, length = session.series, session.placed.stations.length_m
    rate = series.rate_hz
    first = max(one.braking.low - round(20.0 * rate), 0)
    part = slice(first, min(one.braking.low + round(12.0 * rate), len(series.time_s)))
    own = session.placed.s_m[part]
    turns = np.round((session.placed.s_m[one.braking.low] - zone.apex_s_m) / length)
    here = own - zone.apex_s_m - turns * length
    good = np.isfinite(here)
    rising = np.maximum.accumulate(here[good])

    def along(values: Floats) -> Floats:
        if len(rising) < 2:
            return np.full(len(s), np.nan)
        return np.asarray(np.interp(s, rising, values[part][good], left=np.nan, right=np.nan))

    return PassStrip(one.lap_id, role, along(series.speed_mps), along(session.evidence.level))


def _marks(session: Session, zone: Zone) -> tuple[Mark, ...]:
    length = session.placed.stations.length_m
    found = []
    for event in session.events:
        at = int(session.series.index(event.start_s))
        s = session.placed.s_m[at]
        if event.zone_id == zone.zone_id and np.isfinite(s) and event.kind != "unused":
            place = short_way(float(s) % length, zone.apex_s_m, length)
            speed = float(session.series.speed_mps[at])
            found.append(Mark(place, speed, event.kind, event.axle))
    return tuple(found)


def _cloud(
    session: Session, zone: Zone, rows: Sequence[Measured], best: str | None
) -> dict[str, Floats]:
    """Samples of the passes while braking, the best pass in order, and what was shown."""
    laps = {row.lap_id for row in rows}
    parts = [
        (one.lap_id, slice(int(one.braking.start), one.braking.low + 1))
        for one in session.passes
        if one.zone_id == zone.zone_id and one.lap_id in laps
    ]
    every = np.concatenate([np.arange(p.start, p.stop) for _, p in parts]) if parts else _NONE
    mine = [np.arange(p.start, p.stop) for lap, p in parts if lap == best]
    chosen = mine[0] if mine else _NONE
    chosen = chosen[:: max(1, round(session.series.rate_hz / 25.0))]
    decel, side = session.decel_mps2, session.side_mps2
    return {
        "decel_mps2": decel[every],
        "side_mps2": side[every],
        "best_decel_mps2": decel[chosen],
        "best_side_mps2": side[chosen],
        "shown_mps2": _shown_by_direction(session, every),
    }


_NONE: Final = np.zeros(0, dtype=np.int64)


def _shown_by_direction(session: Session, at: NDArray[np.int64]) -> Floats:
    """What the car showed at this zone's speeds, in each direction from straight to sideways."""
    if len(at) == 0:
        return np.zeros(0)
    speeds = session.series.speed_mps[at]
    near = (session.series.speed_mps >= speeds.min()) & (session.series.speed_mps <= speeds.max())
    angle = np.arctan2(session.side_mps2, np.maximum(session.decel_mps2, 0.0))
    edges = np.linspace(0.0, 0.5 * np.pi, DIRECTIONS)
    half = 0.5 * (edges[1] - edges[0])
    found = np.full(DIRECTIONS, np.nan)
    for k, edge in enumerate(edges):
        here = near & (np.abs(angle - edge) <= half) & np.isfinite(session.shown_mps2)
        if here.sum() >= ENOUGH:
            found[k] = float(np.median(session.shown_mps2[here]))
    known = np.flatnonzero(np.isfinite(found))
    if len(known) < 2:
        return np.zeros(0)
    return bulged(np.interp(np.arange(DIRECTIONS), known, found[known]), edges)
