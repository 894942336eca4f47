"""The job ``debrief``: what each zone of each lap was like, what went wrong, what to work on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from foreaft.base.errors import CannotTell, InputError
from foreaft.files.sheet import slug
from foreaft.jobs.common import (
    Cancelled,
    Notes,
    Progress,
    envelope,
    never,
    silent,
    stopping,
)
from foreaft.jobs.debrief_ground import (
    Ground,
    ground_of,
    main_of,
    read_plan,
    sessions_of,
)
from foreaft.jobs.debrief_untold import cannot_tell
from foreaft.jobs.log_faces import channel_faces, done_faces, run_face
from foreaft.jobs.log_words import LogWords
from foreaft.jobs.requests import DebriefRequest
from foreaft.jobs.situation import title_of
from foreaft.jobs.stop import scale_known
from foreaft.laps import advice
from foreaft.laps.advice import usual_passes
from foreaft.laps.match import Zone
from foreaft.laps.measure import Measured, against_best, best_passes
from foreaft.laps.session import Session
from foreaft.logs.read import Log
from foreaft.logs.recording import Recording
from foreaft.model.answers import (
    DoneFace,
    Envelope,
    Input,
    Plan,
    ZonePlan,
)
from foreaft.model.answers_debrief import (
    AgainstOther,
    AgainstPlan,
    Debrief,
    DebriefCircuit,
    DebriefEvent,
    DebriefLap,
    DebriefPass,
    DebriefZone,
    Scatter,
    WorkOn,
)
from foreaft.model.car import CarArrays
from foreaft.model.fields import plain
from foreaft.physics import envelope as env
from foreaft.physics import trim as tr
from foreaft.report import debrief_words as words
from foreaft.track.stations import short_way

STEPS: Final = 2
"""A release that scatters by more than so many steps change is to be worked on first."""

SCATTERED: Final = (
    "brake_s_m",
    "approach_speed_mps",
    "min_speed_mps",
    "brake_nominal_m",
    "peak_decel_mps2",
    "mfdd_mps2",
    "depth_frac",
    "brake_left_frac",
    "release_shape_frac",
    "use_shown_frac",
    "use_model_frac",
    "time_s",
)
OTHER: Final = (
    "brake_s_m",
    "min_speed_mps",
    "peak_decel_mps2",
    "depth_frac",
    "brake_left_frac",
    "release_shape_frac",
    "use_model_frac",
    "setting",
    "time_s",
)
"""What two drivers are compared by; what each used of what his own log shows is no measure."""


@dataclass(frozen=True, eq=False)
class Looked:
    """A debrief with the sessions it was made from, for whoever draws it."""

    answer: Envelope[Debrief]
    sessions: tuple[Session, ...]
    others: tuple[Session, ...]
    plan: Plan | None


def debrief(
    request: DebriefRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> Envelope[Debrief]:
    """Debrief the logs of one driver on one circuit.

    Raises
    ------
    InputError
        If a file is wrong or a log has no speed.
    CannotTell
        If the log shows no laps, or is of another circuit.
    """
    return debriefed(request, progress, cancelled).answer


def debriefed(
    request: DebriefRequest, progress: Progress = silent, cancelled: Cancelled = never
) -> Looked:
    """Do the work of `debrief`, and keep the sessions for the pictures."""
    progress = stopping(progress, cancelled)
    notes = Notes()
    plan = None if request.plan is None else read_plan(request.plan)
    ground = ground_of(request, plan, notes, progress)
    logs = _logs(request, progress)
    own = logs[: len(request.logs)]
    recordings = [one for log in own for one in log.recordings]
    done = [one for log in own for one in done_faces(log.done)]
    two = request.against is not None
    sessions = sessions_of(recordings, ground, None, notes, progress, named=two)
    others: list[Session] = []
    other_driver: str | None = None
    for against in logs[len(own) :]:
        other_driver = against.driver_name
        try:
            others = sessions_of(
                against.recordings, ground, main_of(sessions), notes, progress, named=two
            )
        except CannotTell as error:  # two logs are in play: say which
            where = f"{error.because}; this is of {Path(against.file).name}"
            raise CannotTell(error.what, where, error.would_settle) from error
    names = (next((one.driver_name for one in own if one.driver_name), None), other_driver)
    _tell_closure(main_of(sessions), notes)
    result = _Result(request, ground, plan, tuple(sessions), tuple(others), names, notes).debrief(
        done
    )
    _tell_unbraked(ground, result, notes)
    inputs = dict(ground.inputs)
    for k, one in enumerate(sessions):
        inputs.setdefault(
            "log" if k == 0 else f"log_{k + 1}",
            Input(
                id=slug(Path(one.recording.file).stem),
                revision=one.recording.sha256[:12],
                file=one.recording.file,
            ),
        )
    if others:
        first = others[0].recording
        inputs["against"] = Input(
            id=slug(Path(first.file).stem), revision=first.sha256[:12], file=first.file
        )
    asked = {role: one.revision for role, one in inputs.items()} | {
        "driver_name": request.driver_name,
        "maps": request.maps,
        "mapping": [None if one.mapping is None else plain(one.mapping) for one in logs],
    }
    answer = envelope("debrief", result, asked, notes, inputs=inputs)
    return Looked(answer, tuple(sessions), tuple(others), plan)


def _logs(request: DebriefRequest, progress: Progress) -> list[Log]:
    """The logs of the driver, and behind them that of the other one where there is one."""
    files = [*request.logs, *([request.against] if request.against else [])]
    words = LogWords(request.mapping, request.maps, len(files))
    found: list[Log] = []
    for number, file in enumerate(files):
        progress("logs", number, len(files))
        log = words.read(file)
        if number < len(request.logs):
            _check_new(file, log.recordings, [one for each in found for one in each.recordings])
        found.append(log)
    words.check()
    progress("logs", len(files), len(files))
    return found


def _check_new(file: Path, read: Sequence[Recording], before: Sequence[Recording]) -> None:
    """Refuse a log given twice: its passes would count twice, and scatter less than they do."""
    known = {one.sha256: one.file for one in before}
    for one in read:
        if one.sha256 in known:
            raise InputError(
                "this log was given twice",
                code="log_twice",
                key="log",
                value=str(file),
                allowed=f"each log once; it is the same as {known[one.sha256]}",
                hint="leave one of them out",
            )


def _tell_unbraked(ground: Ground, result: Debrief, notes: Notes) -> None:
    """Name the zones of the circuit that the table leaves out."""
    there = {zone.zone_id for zone in result.zones}
    missing = [f"{one.zone_id} {one.name}" for one in ground.known if one.zone_id not in there]
    if missing:
        notes.warn("zone_not_braked", f"no braking was found in {', '.join(missing)}")


CLOSES_M: Final = 20.0
"""A lap drawn from speed and turning that misses its start by more is bent visibly (assumption)."""


def _tell_closure(session: Session, notes: Notes) -> None:
    """Warn where the circuit was drawn without position and hardly closes."""
    gap = session.closure
    if session.drawn and gap is not None and gap.gap_m > CLOSES_M:
        notes.warn(
            "circuit_open",
            f"the circuit was drawn from speed and turning, and misses its start by "
            f"{gap.gap_m:.0f} m: its shape is rough; places along the lap hold, as they come from "
            "the distance and the bends",
        )


# ---------------------------------------------------------------- what goes out


@dataclass(frozen=True, eq=False)
class _Result:
    """Everything the answer is made from; one method per part of it."""

    request: DebriefRequest
    ground: Ground
    plan: Plan | None
    sessions: tuple[Session, ...]
    others: tuple[Session, ...]
    said_names: tuple[str | None, str | None]
    """Who drove, as the heads of the logs say; of this driver and of the other."""
    notes: Notes

    @property
    def first(self) -> Session:
        return main_of(self.sessions)

    def debrief(self, done: list[DoneFace]) -> Debrief:
        rows, full = self.pooled(self.sessions)
        theirs, their_full = self.pooled(self.others)
        theirs = [r for z in self.first.zones for r in usual_passes(theirs, their_full, z.zone_id)]
        zones = [self.zone(zone, rows, theirs, full) for zone in self.first.zones]
        work, same = self.work_on(rows, theirs, full, zones), self.same_setting(rows, theirs)
        recording = self.sessions[0].recording
        return Debrief(
            driver_name=self.driver_name,
            car_name=None if self.ground.car is None else self.ground.car.name,
            circuit_name=self.ground.circuit_name,
            run=run_face(recording),
            runs=[run_face(one.recording) for one in self.sessions],
            channels=channel_faces(recording),
            done=[*done, *done_faces(recording.done)],
            log_notes=list(dict.fromkeys(recording.notes)),
            lap_method=self.first.split.method,
            laps=self.laps(),
            circuit=self.circuit(),
            zones=zones,
            passes=self.passes(rows, theirs),
            events=self.events(),
            anti_lock=self.first.anti_lock,
            other_name=self.other_name,
            same_setting=same,
            cannot_tell=cannot_tell(self.first, self.ground.car is not None),
            work_on=work,
            laps_said=words.few(len(full)) if work else words.no_difference(len(full)),
            even_said=words.evenness(zones, self.request.units)
            if len(full) >= words.ENOUGH_PASSES
            else "",
            plan_said=words.against_plan(zones),
            other_said=words.against_other(zones, self.other_name, same),
        )

    @property
    def driver_name(self) -> str:
        """As asked, else as the log's head says it, else the file's name."""
        file = Path(self.sessions[0].recording.file)
        return self.request.driver_name or self.said_names[0] or title_of(file)

    @property
    def other_name(self) -> str | None:
        """The same of the other driver; the file's name where both heads say the same."""
        if not self.others:
            return None
        file, said = Path(self.others[0].recording.file), self.said_names[1]
        distinct = said if said != self.said_names[0] else None
        return self.request.other_name or distinct or title_of(file)

    def lap_id(self, session: Session, lap_id: str) -> str:
        """Lap ids are those of the first session; of further ones they carry its number."""
        pool = self.sessions if session in self.sessions else self.others
        number = pool.index(session)
        return lap_id if number == 0 else f"R{number + 1}-{lap_id}"

    def pooled(self, sessions: Sequence[Session]) -> tuple[list[Measured], frozenset[str]]:
        """The passes of several sessions as one, each held against the best of all."""
        rows: list[Measured] = []
        full: set[str] = set()
        for session in sessions:
            full |= {self.lap_id(session, one) for one in session.full}
            rows += [replace(r, lap_id=self.lap_id(session, r.lap_id)) for r in session.rows]
        return list(against_best(rows, full)), frozenset(full)

    def laps(self) -> list[DebriefLap]:
        return [
            DebriefLap(
                lap_id=self.lap_id(session, lap.lap_id),
                run_id=session.recording.run_id,
                start_s=lap.start_s,
                duration_s=lap.duration_s,
                kind=lap.kind,
            )
            for session in self.sessions
            for lap in session.split.laps
        ]

    def circuit(self) -> DebriefCircuit:
        first = self.first
        closed = first.closure
        made = "speed_and_turning" if first.drawn else "position"
        return DebriefCircuit(
            length_m=first.placed.stations.length_m,
            made_from="file" if closed is None else made,  # type: ignore[arg-type]
            closure_gap_m=None if closed is None else closed.gap_m,
            closure_heading_rad=None if closed is None else closed.heading_gap_rad,
            off_m=first.moved,
        )

    def zone(
        self,
        zone: Zone,
        rows: Sequence[Measured],
        theirs: Sequence[Measured],
        full: frozenset[str],
    ) -> DebriefZone:
        own = advice.usual_passes(rows, full, zone.zone_id)
        scatter = advice.release_scatter(self.first, zone)
        effect = self.two_steps(zone, own)
        lost = advice.spread_of(own, "lost_s")
        best = best_passes(own, full).get(zone.zone_id)
        return DebriefZone(
            zone_id=zone.zone_id,
            name=zone.name,
            direction=zone.direction,
            brake_s_m=zone.brake_s_m,
            turn_in_s_m=zone.turn_in_s_m,
            apex_s_m=zone.apex_s_m,
            apex_radius_m=zone.apex_radius_m,
            passes=len([row for row in rows if row.zone_id == zone.zone_id]),
            best_lap_id=None if best is None else best.lap_id,
            lost_usual_s=None if lost is None or lost.count < 2 else lost.middle,
            scatter=[one for name in SCATTERED for one in self.scatter(own, name)],
            release_scatter_frac=scatter,
            two_steps_frac=effect,
            technique_first=None if scatter is None or effect is None else scatter > effect,
            against_plan=self.against_plan(zone, own),
            against_other=self.against_other(zone, own, theirs),
        )

    def two_steps(self, zone: Zone, own: Sequence[Measured]) -> float | None:
        """What two steps of the adjuster change of the straight-line limit, as a part of it."""
        car, arrays = self.ground.car, self.ground.arrays
        if car is None or arrays is None or car.adjuster is None or not scale_known(car):
            return None
        setting = advice.spread_of(own, "setting")
        here = setting.middle if setting is not None else self.planned_setting(zone)
        if here is None and car.anchor is not None:
            here = car.anchor.setting
        speeds = advice.spread_of(own, "approach_speed_mps")
        if here is None or speeds is None:
            return None
        at = [here, here - STEPS * car.adjuster.step, here + STEPS * car.adjuster.step]
        inside = [s for s in at if arrays.settings.min() <= s <= arrays.settings.max()]
        if at[0] not in inside or len(inside) < 2:
            return None
        order = np.argsort(arrays.settings)
        shares = np.interp(inside, arrays.settings[order], arrays.share[0][order])
        limits = [_limit(arrays, float(share), 0.8 * speeds.middle) for share in shares]
        return max(abs(one / limits[0] - 1.0) for one in limits[1:])

    def planned(self, zone: Zone) -> ZonePlan | None:
        if self.plan is None:
            return None
        return next((one for one in self.plan.zones if one.zone_id == zone.zone_id), None)

    def planned_setting(self, zone: Zone) -> float | None:
        found = self.planned(zone)
        return None if found is None else found.setting

    def against_plan(self, zone: Zone, own: Sequence[Measured]) -> AgainstPlan | None:
        planned = self.planned(zone)
        length = self.first.placed.stations.length_m
        brake = advice.spread_of(own, "brake_s_m", length)
        approach = advice.spread_of(own, "approach_speed_mps")
        depth = advice.spread_of(own, "depth_frac")
        if planned is None or planned.brake_s_m is None:
            return None
        if brake is None or depth is None or approach is None:
            return None
        setting = advice.spread_of(own, "setting")
        later = short_way(brake.middle, planned.brake_s_m, length)
        return AgainstPlan(
            setting=planned.setting,
            setting_driven=None if setting is None else setting.middle,
            brake_s_m=planned.brake_s_m,
            later_m=later,
            give_or_take_m=None
            if brake.sd is None
            else advice.SURE * brake.sd / float(np.sqrt(brake.count)),
            approach_mps=planned.approach_speed_mps,
            approach_driven_mps=approach.middle,
            depth_frac=planned.depth_frac,
            depth_driven_frac=depth.middle,
        )

    def against_other(
        self, zone: Zone, own: Sequence[Measured], theirs: Sequence[Measured]
    ) -> list[AgainstOther]:
        other = [row for row in theirs if row.zone_id == zone.zone_id]
        length = self.first.placed.stations.length_m
        found = []
        for measure in OTHER:
            if measure in advice.BY_RELEASE and not self.brakes_known:
                continue
            one = advice.compared(own, other, measure, length)
            if one is not None:
                found.append(AgainstOther(**vars(one)))
        return found

    @property
    def brakes_known(self) -> bool:
        """Whether every log has a brake channel."""
        every = (*self.sessions, *self.others)
        return all("brake" in one.series.sources for one in every)

    def scatter(self, own: Sequence[Measured], measure: str) -> list[Scatter]:
        found = advice.spread_of(own, measure, self.first.placed.stations.length_m)
        if found is None:
            return []
        return [Scatter(measure=measure, median=found.middle, sd=found.sd, passes=found.count)]

    def passes(self, rows: Sequence[Measured], theirs: Sequence[Measured]) -> list[DebriefPass]:
        best = best_passes(theirs, {row.lap_id for row in theirs})
        other = {zone_id: row.time_s for zone_id, row in best.items()}
        return [_pass(row, other.get(row.zone_id)) for row in rows]

    def events(self) -> list[DebriefEvent]:
        found = []
        for session in self.sessions:
            for one in session.events:
                at = int(session.series.index(one.start_s))
                s = session.placed.s_m[at] % session.placed.stations.length_m
                found.append(
                    DebriefEvent(
                        lap_id=self.lap_id(session, one.lap_id),
                        zone_id=one.zone_id,
                        kind=one.kind,
                        axle=one.axle,
                        wheel=one.wheel,
                        start_s=one.start_s,
                        duration_s=one.duration_s,
                        s_m=float(s) if np.isfinite(s) else None,
                        confidence_frac=one.confidence_frac,
                        channels=list(one.channels),
                    )
                )
        return found

    def same_setting(self, rows: Sequence[Measured], theirs: Sequence[Measured]) -> bool | None:
        """Whether both drivers drove every zone at the same setting; None where nobody says."""
        if not theirs:
            return None
        known = []
        for zone in self.first.zones:
            pair = [
                advice.spread_of([r for r in pool if r.zone_id == zone.zone_id], "setting")
                for pool in (rows, theirs)
            ]
            if pair[0] is None or pair[1] is None:
                return None
            known.append(abs(pair[0].middle - pair[1].middle) < 1e-6)
        return all(known) if known else None

    def work_on(
        self,
        rows: Sequence[Measured],
        theirs: Sequence[Measured],
        full: frozenset[str],
        zones: Sequence[DebriefZone],
    ) -> list[WorkOn]:
        events = [
            replace(one, lap_id=self.lap_id(session, one.lap_id))
            for session in self.sessions
            for one in session.events
        ]
        length = self.first.placed.stations.length_m
        found = advice.work_on(
            self.first.zones, rows, events, full, length, theirs, brake_known=self.brakes_known
        )
        by_id = {zone.zone_id: zone for zone in zones}
        made: list[WorkOn] = []
        for one in found:
            zone = by_id[one.zone_id]
            text = words.work_on(
                zone.name,
                one,
                self.other_name,
                zone.technique_first,
                self.request.units,
                again=any(by_id[before.zone_id].technique_first for before in made),
            )
            made.append(WorkOn(zone_id=one.zone_id, text=text, gain_s=one.gain_s))
        return made


def _limit(arrays: CarArrays, share: float, speed: float) -> float:
    """Pedal the car takes in a straight line before its first axle goes. [N]"""
    road, out, found = np.zeros(tr.ROAD_SIZE), np.zeros(tr.TRIM_SIZE), np.zeros(env.LIMITS_SIZE)
    road[tr.GRIP], road[tr.SPEED] = 1.0, speed
    env.limits(arrays.vector[0], arrays.table[0], share, road, out, found)
    return float(min(found[env.FRONT], found[env.REAR]))


def _pass(row: Measured, other_best: float | None) -> DebriefPass:
    against = None
    if other_best is not None and row.time_s is not None:
        against = row.time_s - other_best
    return DebriefPass(
        lap_id=row.lap_id,
        zone_id=row.zone_id,
        brake_s_m=_known(row.brake_s_m),
        release_s_m=_known(row.release_s_m),
        approach_speed_mps=row.approach_speed_mps,
        min_speed_mps=row.min_speed_mps,
        brake_distance_m=row.brake_distance_m,
        brake_distance_nominal_m=row.brake_nominal_m,
        mfdd_mps2=row.mfdd_mps2,
        mean_decel_mps2=row.mean_decel_mps2,
        peak_decel_mps2=row.peak_decel_mps2,
        depth_frac=_known(row.depth_frac),
        brake_left_frac=row.brake_left_frac,
        release_shape_frac=row.release_shape_frac,
        release_s=row.release_s,
        grip_use_frac=row.use_model_frac,
        grip_use_front_frac=row.use_front_frac,
        grip_use_rear_frac=row.use_rear_frac,
        grip_use_shown_frac=row.use_shown_frac,
        pressure_share_frac=row.pressure_share_frac,
        setting=row.setting,
        time_s=row.time_s,
        lost_s=row.lost_s,
        lost_other_s=against,
        slip_difference_frac=row.slip_difference_frac,
        steer_excess_rad=row.steer_excess_rad,
        spoilt=row.spoilt,
    )


def _known(value: float) -> float | None:
    """A place the lap has; None off the laps that could be placed."""
    return value if np.isfinite(value) else None
