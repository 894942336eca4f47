"""The first part of the job ``trial``: a run sheet that can show what is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from math import ceil
from pathlib import Path
from typing import Final

import numpy as np

from foreaft.base.errors import InputError
from foreaft.base.units import GRAVITY_MPS2
from foreaft.files.trial_laps import read_laps, unit_of, write_laps
from foreaft.jobs.common import Notes, envelope
from foreaft.jobs.load import known_adjuster, load_car, load_conditions, load_driver, way_of
from foreaft.jobs.requests import TrialDesignRequest, TrialEndpointAsk
from foreaft.jobs.trial_scatter import driven, laps_for_scatter
from foreaft.learn import design as de
from foreaft.learn import statistics as st
from foreaft.learn import trial as tr
from foreaft.model.adjuster import WHOLE_STEPS, Adjuster
from foreaft.model.answers import Axle, Envelope
from foreaft.model.answers_trial import (
    Trial,
    TrialDesign,
    TrialEndpoint,
    TrialIncidents,
    TrialRun,
)
from foreaft.model.car import Car
from foreaft.report import trial_words as words
from foreaft.report.words import format_setting

LAP_TIME: Final = "lap_time_s"

SETTLE_LAPS: Final = {"novice": 2, "club": 1, "pro": 1}
"""Laps after a change that do not count (common practice, no source)."""

MOST_SETTINGS: Final = 5

SLIP: Final = "slip_difference_frac"

MORE_THAN_EXPECTED: Final = 1.5
"""A difference asked for that is so many times what is to be expected is told of (assumption)."""

COUNTED_EVENTS: Final = ("front_events", tr.REAR_COLUMN)


@dataclass(frozen=True)
class _Wanted:
    """One endpoint with its scatter, and how strictly it is judged."""

    name: str
    difference: float
    scatter: float
    level: float

    def needed(self, power: float) -> int | None:
        """Pairs that show the difference."""
        return st.pairs_needed(self.difference, self.scatter, self.level, power)


def design(request: TrialDesignRequest) -> Envelope[Trial]:
    """Make the run sheet of a trial, and say what it can show.

    As many laps as the first endpoint needs, as far as the stints allow.

    Raises
    ------
    InputError
        If a setting, an endpoint or a file is wrong, or a stint is too short.
    CannotTell
        If nobody has said which way the adjuster counts.
    """
    notes = Notes()
    settings, higher, known_step = _settings(request)
    step = words.step_of(settings) if known_step is None else known_step
    habits = _habits(request, notes, len(settings))
    wanted = _wanted(request, notes, len(settings) - 1)
    blocks = _blocks(request, wanted[0], settings, habits)
    sheet = de.run_sheet(settings, blocks, habits)
    told = [
        _endpoint(one, wanted[0], 2 * blocks, settings, habits, request.power) for one in wanted
    ]
    told = [_with_expected(one, request, settings, notes) for one in told]
    if told[0].power_frac < request.power:
        notes.warn(
            "trial_too_short",
            f"{request.stints} stints give {words.name_of(told[0].name)} a chance of "
            f"{100 * told[0].power_frac:.0f} % to show the difference; asked were "
            f"{100 * request.power:.0f} %. More stints, or settings further apart.",
        )
    made = TrialDesign(
        settings=list(settings),
        higher_means=higher,
        order=de.in_words(sheet, partial(format_setting, step=step)),
        step=step,
        pairs=2 * blocks,
        stints=sheet[-1].stint,
        laps=len(sheet),
        stint_laps=request.stint_laps,
        settle_laps=habits.settle_laps,
        warm_laps=habits.warm_laps,
        level=request.level,
        power_frac=request.power,
        sheet=[_run(one, settings[0]) for one in sheet],
        endpoints=told,
        incidents=_incidents(request, 2 * blocks),
        baseline=words.baseline_of(settings, known_step),
        rules=words.rules_of(settings, habits.settle_laps, step),
    )
    asked = request.model_dump(mode="json", exclude={"car", "driver", "scatter_from"})
    return envelope("trial", Trial(design=made, verdict=None), {"design": asked}, notes)


def write_sheet(answer: Envelope[Trial], file: Path) -> Envelope[Trial]:
    """Write the run sheet of a design as a file to be filled in and judged.

    Raises
    ------
    InputError
        If the file exists or cannot be written.
    """
    made = answer.result.design
    if made is None:
        raise TypeError("only a design has a run sheet")
    measured = [one.name for one in made.endpoints]
    columns = ["lap", "stint", "setting", "keep", *measured, *COUNTED_EVENTS, "note"]
    empty = [""] * (len(measured) + len(COUNTED_EVENTS))
    rows = [
        [
            one.lap,
            one.stint,
            format_setting(one.setting, made.step),
            "yes" if one.counts else "no",
            *empty,
            one.note,
        ]
        for one in made.sheet
    ]
    write_laps(file, columns, rows)
    return answer.model_copy(update={"files": [str(file)]})


def _settings(request: TrialDesignRequest) -> tuple[tuple[float, ...], Axle, float | None]:
    """Settings with the forward one first, which way they count, and the step if it is known."""
    adjuster = known_adjuster(load_car(request.car)[0]) if request.car is not None else None
    higher = way_of(
        adjuster,
        request.higher,
        what="which setting comes first",
        because="a trial begins with the forward setting, and nobody has said which way the "
        "number counts",
    )
    different = len(set(request.settings))
    if different < len(request.settings) or not 2 <= different <= MOST_SETTINGS:
        raise InputError(
            "these settings do not make a trial",
            code="trial_settings",
            key="settings",
            value=", ".join(f"{one:g}" for one in request.settings),
            allowed=f"2 to {MOST_SETTINGS} settings, each once",
            hint="name each setting once; the order on track is the sheet's",
        )
    if adjuster is not None:
        _on_the_scale(request.settings, adjuster)
    ordered = sorted(request.settings, reverse=higher == "front")
    return tuple(ordered), higher, adjuster.step if adjuster is not None else None


def _on_the_scale(settings: Sequence[float], adjuster: Adjuster) -> None:
    for one in settings:
        steps = (one - adjuster.min) / adjuster.step
        if not adjuster.min <= one <= adjuster.max or abs(steps - round(steps)) > WHOLE_STEPS:
            raise InputError(
                "the adjuster of this car has no such setting",
                code="setting_unknown",
                key="settings",
                value=one,
                allowed=f"{adjuster.min:g} to {adjuster.max:g} in steps of {adjuster.step:g}",
                hint="take settings the adjuster shows",
            )


def _habits(request: TrialDesignRequest, notes: Notes, settings: int) -> de.Habits:
    settle = request.settle_laps
    if settle is None:
        driver, _ = load_driver(request.driver)
        settle = SETTLE_LAPS[driver.level]
        said = "common practice, no source: one, for a novice two"
        notes.assume("settle_laps", settle, "laps", said)
    habits = de.Habits(request.warm_laps, settle, request.stint_laps)
    least = de.shortest_stint(settings, habits)
    if request.stint_laps < least:
        raise InputError(
            "a stint, out-lap and in-lap counted, is too short to go through the settings and back",
            code="stint_too_short",
            key="stint-laps",
            value=request.stint_laps,
            allowed=f"{least} or more",
            unit="laps",
            hint="longer stints, fewer settings, or fewer laps that do not count",
        )
    return habits


def _wanted(request: TrialDesignRequest, notes: Notes, others: int) -> list[_Wanted]:
    """Endpoints with their scatter, the first one alone, the rest sharing the level."""
    asks = list(request.endpoints)
    names = [one.name for one in asks]
    for one in asks:
        _check_name(one, names)
    if LAP_TIME not in names:
        lap = TrialEndpointAsk(name=LAP_TIME, difference=request.lap_difference_s)
        asks.append(lap)
        notes.assume(
            "lap_time_difference",
            request.lap_difference_s,
            "s",
            "smallest difference of lap time asked for; two points of balance are worth 0.03 to "
            "0.10 s (common practice, no source)",
        )
    laps = None if request.scatter_from is None else _scatter_laps(request.scatter_from, notes)
    rest = max(1, (len(asks) - 1) * others)
    return [
        _Wanted(
            one.name,
            one.difference,
            _scatter(one, laps, request, notes),
            request.level / (others if i == 0 else rest),
        )
        for i, one in enumerate(asks)
    ]


def _scatter_laps(file: Path, notes: Notes) -> tuple[tr.Lap, ...]:
    """Laps of a sheet, or of a debrief as JSON."""
    if file.suffix.lower() == ".json":
        return laps_for_scatter(file, notes)
    return driven(read_laps(file), 1)


def _check_name(one: TrialEndpointAsk, names: list[str]) -> None:
    if unit_of(one.name) is None or names.count(one.name) > 1:
        raise InputError(
            "this cannot be the name of something measured",
            code="endpoint_name",
            key="endpoint",
            value=one.name,
            allowed="a small-letter name, each once, that ends in its unit, such as z03_time_s or "
            "slip_difference_frac",
            hint="use the name of the column the laps will have",
        )


def _scatter(
    one: TrialEndpointAsk,
    laps: tuple[tr.Lap, ...] | None,
    request: TrialDesignRequest,
    notes: Notes,
) -> float:
    """Scatter as given, as it is in the driver's laps, or for lap time as the driver file says."""
    if one.scatter_sd is not None:
        return one.scatter_sd
    found = None if laps is None else tr.lap_scatter(laps, one.name)
    if found:
        notes.assume(f"{one.name}.scatter_sd", found, unit_of(one.name) or "", "from these laps")
        return found
    if one.name != LAP_TIME:
        raise InputError(
            f"the scatter of {one.name} from lap to lap is not known",
            code="scatter_unknown",
            key="endpoint",
            value=one.name,
            allowed="a third number, or --scatter-from with five laps in a row at one setting",
            hint="drive six laps at one setting, debrief the log with --out FOLDER, and give "
            "--scatter-from FOLDER/debrief.json; a debrief knows lap_time_s, z03_time_s, "
            "z03_distance_m and the other measures of a pass by their names",
        )
    driver, file = load_driver(request.driver)
    notes.assume(
        "lap_time_s.scatter_sd",
        driver.lap_time_sd_s,
        "s",
        f"driver {driver.name}" + ("" if file else ": common practice, no source"),
    )
    return driver.lap_time_sd_s


def _blocks(
    request: TrialDesignRequest, first: _Wanted, settings: tuple[float, ...], habits: de.Habits
) -> int:
    room = de.blocks_in(request.stints, settings, habits)
    if room < de.FEWEST_BLOCKS:
        raise InputError(
            "one stint of this length gives no verdict",
            code="stint_too_short",
            key="stints",
            value=request.stints,
            allowed="2 or more, or a longer stint",
            unit="stints",
            hint="each setting must be gone to and come from at least twice",
        )
    needed = first.needed(request.power)
    return room if needed is None else min(room, max(de.FEWEST_BLOCKS, ceil(needed / 2)))


def _endpoint(
    one: _Wanted,
    first: _Wanted,
    pairs: int,
    settings: tuple[float, ...],
    habits: de.Habits,
    power: float,
) -> TrialEndpoint:
    error, freedom = st.error_of(one.scatter, pairs), pairs - 2
    needed = one.needed(power)
    laps = None if needed is None else _laps_driven(ceil(needed / 2), settings, habits)
    found = st.power_of(one.difference, error, freedom, one.level)
    least = st.smallest_shown(error, freedom, one.level, power)
    told = None if needed is None or laps is None else (needed, laps)
    return TrialEndpoint(
        name=one.name,
        words=words.name_of(one.name),
        unit=unit_of(one.name) or "",
        primary=one is first,
        difference=one.difference,
        scatter_sd=one.scatter,
        level=one.level,
        pairs_needed=needed,
        laps_needed=laps,
        power_frac=found,
        smallest_shown=least,
        text=words.endpoint_text(one.name, told, pairs, found, least),
    )


AT_MPS, AT_MPS2 = 40.0, GRAVITY_MPS2
"""Where the slip that a car file lets expect is worked out: about the middle of a straight stop, at
the deceleration to which a log's slips are brought."""


def _with_expected(
    one: TrialEndpoint,
    request: TrialDesignRequest,
    settings: tuple[float, ...],
    notes: Notes,
) -> TrialEndpoint:
    """Add what the car file lets expect of front minus rear slip, the least of the comparisons."""
    if one.name != SLIP or request.car is None:
        return one
    slips = _slip_differences(load_car(request.car)[0], settings)
    if slips is None:
        return one
    moved = min(abs(each - slips[0]) for each in slips[1:])
    if one.difference > MORE_THAN_EXPECTED * moved:
        notes.warn(
            "more_than_expected",
            f"{words.name_of(one.name)}: {words.amount(one.difference, one.unit)} is asked for, "
            f"and by the car file these settings move it by about {words.amount(moved, one.unit)}: "
            "a trial made for the former will not see the latter",
        )
    text = f"{one.text} By the car file it moves by about {words.amount(moved, one.unit)}."
    return one.model_copy(update={"expected": moved, "text": text})


def _slip_differences(car: Car, settings: tuple[float, ...]) -> list[float] | None:
    """Front minus rear slip of the nominal car at each setting, in a straight stop."""
    from foreaft.jobs.stop import arrays_of, scale_known  # brings the physics along
    from foreaft.learn.straight import Moments, acting, slips

    if not scale_known(car):
        return None
    arrays = arrays_of(car, load_conditions(None)[0])
    order = np.argsort(arrays.settings)
    share = np.interp(settings, arrays.settings[order], arrays.share[0][order])
    same = np.ones(len(share))
    when = Moments(AT_MPS * same, AT_MPS2 * same, same > 0.0, share)
    front, rear = slips(arrays.table[0], acting(arrays.vector[0], when))
    return [float(each) for each in front - rear]


DRAWN_UP: Final = 100
"""So many blocks are drawn up to count their laps; of more, nobody drives one."""


def _laps_driven(blocks: int, settings: tuple[float, ...], habits: de.Habits) -> int:
    drawn = min(max(blocks, de.FEWEST_BLOCKS), DRAWN_UP)
    return ceil(len(de.run_sheet(settings, drawn, habits)) * max(blocks / drawn, 1.0))


def _run(one: de.Run, forward: float) -> TrialRun:
    return TrialRun(
        lap=one.lap,
        stint=one.stint,
        setting=one.setting,
        kind=one.kind,
        counts=one.kind == "counted",
        passage=one.passage,
        note=words.note_of(one, forward),
    )


def _incidents(request: TrialDesignRequest, counted: int) -> TrialIncidents | None:
    if request.incidents is None:
        return None
    first, second = request.incidents
    if first == second:
        raise InputError(
            "the two rates are the same",
            code="out_of_range",
            key="incidents",
            value=first,
            allowed="two different rates",
            hint="such as --incidents 0.20 0.05",
        )
    passes = st.passes_needed((first, second), request.level, request.power)
    shown = "more passes than anybody drives" if passes is None else f"{passes} passes"
    return TrialIncidents(
        rate_from_frac=first,
        rate_to_frac=second,
        passes_needed=passes,
        laps_counted=counted,
        text=f"Incidents, {100 * first:g} % to {100 * second:g} % of passes: {shown} at each "
        f"setting; this sheet has {counted} counted laps at each, times the zones pooled.",
    )
