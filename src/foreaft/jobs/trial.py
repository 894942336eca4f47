"""The job ``trial``: a run sheet that can show what is asked, and a verdict from the laps.

The stops that come before it are judged in :mod:`foreaft.jobs.trial_stops`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import ceil
from pathlib import Path
from typing import Final

from foreaft.base.errors import CannotTell, InputError
from foreaft.files.trial_laps import LapSheet, read_laps, unit_of, write_laps
from foreaft.jobs.common import Notes, envelope
from foreaft.jobs.load import known_adjuster, load_car, load_driver, way_of
from foreaft.jobs.requests import (
    TrialDesignRequest,
    TrialEndpointAsk,
    TrialJudgeRequest,
    TrialRequest,
)
from foreaft.jobs.trial_plan import plan_lines
from foreaft.jobs.trial_scatter import laps_for_scatter, laps_to_judge
from foreaft.jobs.trial_stops import judge_stops
from foreaft.learn import design as de
from foreaft.learn import statistics as st
from foreaft.learn import trial as tr
from foreaft.model.adjuster import WHOLE_STEPS, Adjuster
from foreaft.model.answers import Axle, Envelope, Plan
from foreaft.model.answers_trial import (
    Trial,
    TrialComparison,
    TrialDesign,
    TrialEndpoint,
    TrialIncidents,
    TrialRate,
    TrialRun,
    TrialStopped,
    TrialVerdict,
)
from foreaft.report import trial_words as words
from foreaft.report.words import count_of, format_setting

LAP_TIME: Final = "lap_time_s"

SETTLE_LAPS: Final = {"novice": 2, "club": 1, "pro": 1}
"""Laps after a change that do not count (common practice, no source)."""

MOST_SETTINGS: Final = 5

FIRST: Final = "slip_difference_frac"
"""What a log is judged by where nothing was named before."""

COUNTED_EVENTS: Final = ("front_events", tr.REAR_COLUMN)


def trial(request: TrialRequest) -> Envelope[Trial]:
    """Design a trial, judge one, or judge the stops before it.

    Raises
    ------
    InputError, CannotTell
        See :func:`design`, :func:`judge` and :func:`foreaft.jobs.trial_stops.judge_stops`.
    """
    if request.stops is not None:
        return judge_stops(request.stops)
    if request.judge is not None:
        return judge(request.judge)
    if request.design is not None:
        return design(request.design)
    raise TypeError("a request holds one of the three, by construction")


# ---------------------------------------------------------------- design


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
    per_block = len(de.run_sheet(settings, 20, habits)) / 20.0
    told = [_endpoint(one, wanted[0], 2 * blocks, per_block, request.power) for one in wanted]
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
    driven = None if request.scatter_from is None else _scatter_laps(request.scatter_from, notes)
    rest = max(1, (len(asks) - 1) * others)
    return [
        _Wanted(
            one.name,
            one.difference,
            _scatter(one, driven, request, notes),
            request.level / (others if i == 0 else rest),
        )
        for i, one in enumerate(asks)
    ]


def _scatter_laps(file: Path, notes: Notes) -> tuple[tr.Lap, ...]:
    """Laps of a sheet, or of a debrief as JSON."""
    if file.suffix.lower() == ".json":
        return laps_for_scatter(file, notes)
    return _driven(read_laps(file), 1)


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
    driven: tuple[tr.Lap, ...] | None,
    request: TrialDesignRequest,
    notes: Notes,
) -> float:
    """Scatter as given, as it is in the driver's laps, or for lap time as the driver file says."""
    if one.scatter_sd is not None:
        return one.scatter_sd
    found = None if driven is None else tr.lap_scatter(driven, one.name)
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
    one: _Wanted, first: _Wanted, pairs: int, per_block: float, power: float
) -> TrialEndpoint:
    error, freedom = st.error_of(one.scatter, pairs), pairs - 2
    needed = one.needed(power)
    laps = None if needed is None else ceil(per_block * needed / 2)
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


# ---------------------------------------------------------------- verdict


def judge(request: TrialJudgeRequest) -> Envelope[Trial]:
    """Judge the laps of a trial: effects, incidents, the stop rule, and what it does to a plan.

    Raises
    ------
    InputError
        If the file, a column or a setting is wrong.
    CannotTell
        If there are not two settings, or nothing was measured or counted.
    """
    notes = Notes()
    rows = _rows(request, notes)
    laps, endpoints = _pooled(_driven(rows, request.settle_laps), rows, request)
    _check_laps(laps, rows)
    _warn_of_laps(laps, rows, notes)
    plan = _plan(request)
    ask = _ask(request, laps, rows, [*endpoints])
    step = _shown_step(laps, rows, plan)
    compared = tr.compare(laps, endpoints, ask)
    if rows.from_log:  # its zero is only as good as radii of wheels that a drive shaft turns
        compared = [replace(one, crossover=None) for one in compared]
    rates = tr.incidents(laps, rows.events, ask)
    over = list(tr.stopped(laps))
    ended = {one.setting for one in over}
    told = [_comparison(one, ask, ended, step, request.primary is not None) for one in compared]
    _warn_of_shape(compared, ask, step, notes)
    _warn_of_way(told, plan, notes)
    made = TrialVerdict(
        settings=list(dict.fromkeys(lap.setting for lap in laps)),
        against=ask.against,
        laps=len(laps),
        laps_counted=sum(lap.keep for lap in laps),
        level=ask.level,
        power_frac=ask.power,
        step=step,
        comparisons=told,
        incidents=[_rate(one, ask.level, rows.has_passes, step) for one in rates],
        stopped=[_stopped(one, step) for one in over],
        plan=[] if plan is None else plan_lines(plan, told, over, notes),
        summary=_summary(told, over, ask, step),
    )
    asked = request.model_dump(mode="json", exclude={"laps", "plan"})
    answer = Trial(design=None, verdict=made)
    return envelope("trial", answer, {"judge": asked}, notes, seed=request.seed)


def _rows(request: TrialJudgeRequest, notes: Notes) -> LapSheet:
    """Laps of a sheet, or of a debrief as JSON."""
    if request.laps.suffix.lower() != ".json":
        return read_laps(request.laps)
    named = [*request.pools.values(), [request.primary] if request.primary else []]
    return laps_to_judge(request.laps, [name for each in named for name in each], notes)


def _plan(request: TrialJudgeRequest) -> Plan | None:
    if request.plan is None:
        return None
    from foreaft.jobs.limit import read_plan  # brings the physics along

    return read_plan(request.plan).result


def _driven(rows: LapSheet, settle_laps: int) -> tuple[tr.Lap, ...]:
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


def _pooled(
    laps: tuple[tr.Lap, ...], rows: LapSheet, request: TrialJudgeRequest
) -> tuple[tuple[tr.Lap, ...], tuple[str, ...]]:
    """Add each pool, the mean of its columns, as one more endpoint."""
    for name, columns in request.pools.items():
        units = {unit_of(one) for one in (name, *columns)}
        missing = [one for one in columns if one not in rows.endpoints]
        if missing or not columns or None in units or len(units) > 1 or name in rows.endpoints:
            raise InputError(
                "these columns cannot be pooled under this name",
                code="pool",
                file=request.laps,
                key="pool",
                value=" ".join((name, *columns)),
                allowed="a new name and columns of the file, all ending in the same unit: "
                + ", ".join(rows.endpoints),
                hint="such as --pool deep_time_s z02_time_s z05_time_s",
            )
        laps = tuple(_with_pool(lap, name, columns) for lap in laps)
    return laps, (*request.pools, *rows.endpoints)


def _with_pool(lap: tr.Lap, name: str, columns: list[str]) -> tr.Lap:
    if any(one not in lap.values for one in columns):
        return lap
    mean = sum(lap.values[one] for one in columns) / len(columns)
    return replace(lap, values={**lap.values, name: mean})


def _check_laps(laps: tuple[tr.Lap, ...], rows: LapSheet) -> None:
    settings = {lap.setting for lap in laps}
    if len(settings) < 2:
        raise CannotTell(
            "whether the setting makes a difference",
            because=f"all laps were driven at {min(settings):g}",
            would_settle="laps at a second setting, in turn with the first: make a run sheet",
        )
    counted = any(any(lap.events.values()) for lap in laps)
    if not counted and not any(lap.values for lap in laps if lap.keep):
        raise CannotTell(
            "whether the setting makes a difference",
            because="no lap that counts has anything measured, and no incidents were counted",
            would_settle="times or other columns filled in, on laps with keep = yes",
        )


def _warn_of_laps(laps: tuple[tr.Lap, ...], rows: LapSheet, notes: Notes) -> None:
    if tr.REAR_COLUMN not in rows.events:
        notes.warn(
            "stop_rule_unchecked",
            "nobody wrote down rear events, so whether a setting was safe was not looked at: a "
            f"column {tr.REAR_COLUMN} counts them lap by lap",
        )
    loose = tr.unsettled(laps)
    if loose and rows.has_keep:
        shown = ", ".join(str(one) for one in loose[:8])
        notes.warn(
            "unsettled_laps",
            f"laps {shown} count although they are the first after a change or of a stint; what "
            "the setting before left in tyres, brakes and habit is in them",
        )
    _warn_of_incidents(laps, notes)


def _warn_of_incidents(laps: tuple[tr.Lap, ...], notes: Notes) -> None:
    """Say in which times incidents are; laps that count for none of them have none to be in."""
    settled = {lap.lap: lap.keep for lap in tr.settle(laps, 1)}
    hurt = [lap for lap in laps if settled[lap.lap] and any(lap.events.values())]
    within, out = (sum(lap.keep is keep for lap in hurt) for keep in (True, False))
    if within:
        notes.warn(
            "incident_laps_counted",
            f"{count_of(within, 'lap')} with an incident {'counts' if within == 1 else 'count'} "
            "too: what went wrong there is in the times, as a part of what the setting does",
        )
    if out:
        notes.warn(
            "incident_laps_left_out",
            f"{count_of(out, 'lap')} with an incident {'is' if out == 1 else 'are'} not in the "
            "times: what an incident costs is not in them either, it stands beside them",
        )


def _ask(
    request: TrialJudgeRequest, laps: tuple[tr.Lap, ...], rows: LapSheet, endpoints: list[str]
) -> tr.Ask:
    settings = list(dict.fromkeys(lap.setting for lap in laps))
    against = settings[0] if request.against is None else request.against
    if against not in settings:
        raise InputError(
            "no lap was driven at this setting",
            code="setting_unknown",
            file=request.laps,
            key="against",
            value=against,
            allowed=", ".join(f"{one:g}" for one in settings),
            hint="compare with a setting of the file",
        )
    if request.primary is not None and request.primary not in endpoints:
        raise InputError(
            "the file has no such column",
            code="endpoint_name",
            file=request.laps,
            key="primary",
            value=request.primary,
            allowed=", ".join(endpoints),
            hint="name the endpoint the trial was made for",
        )
    primary = request.primary
    if primary is None and rows.from_log and FIRST in endpoints:
        primary = FIRST
    return tr.Ask(against, primary, request.level, request.power, request.seed)


def _nothing_gained(told: list[TrialComparison]) -> list[str]:
    """Where slip or steer differ, but nothing that would make one setting the better one."""
    gains = [one for one in told if words.says_better(one.endpoint) and one.effect is not None]
    acts = any(one.verdict == "difference" for one in told)
    if not acts or not gains or any(one.verdict == "difference" for one in gains):
        return []
    return [words.nothing_gained_text([(one.endpoint, one.smallest_shown) for one in gains])]


def _shown_step(laps: tuple[tr.Lap, ...], rows: LapSheet, plan: Plan | None) -> float:
    """The step by which settings are shown: the plan's adjuster's, else as they were typed."""
    if plan is not None:
        return plan.adjuster.step
    return words.step_of([lap.setting for lap in laps], rows.places)


def _warn_of_way(told: list[TrialComparison], plan: Plan | None, notes: Notes) -> None:
    """Say where slip grows at the other end than the plan's adjuster lets it."""
    if plan is None:
        return
    way = 1.0 if plan.adjuster.higher_means == "front" else -1.0
    for one in told:
        turned = (one.effect or 0.0) * (one.setting - one.against) * way < 0.0
        if one.endpoint == FIRST and one.verdict == "difference" and turned:
            notes.warn(
                "counts_other_way",
                f"{one.words} moves the other way than the plan's adjuster counts: look on the car "
                "which way the number counts, and which wheel speeds are the front ones, before "
                "you use either",
            )


def _warn_of_shape(compared: list[tr.Compared], ask: tr.Ask, step: float, notes: Notes) -> None:
    """Say where shuffling, which assumes no shape of the scatter, would judge otherwise."""
    for one in compared:
        least = one.p_shuffled_least
        if one.effect is None or one.p_shuffled is None or least is None or least > ask.level:
            continue
        if (one.p_shuffled <= ask.level) != (one.effect.p <= ask.level):
            notes.warn(
                "trial_near_the_line",
                f"{words.pair_of(one.endpoint, one.setting, one.against, step)}: shuffling the "
                f"pairs gives p {words.chance(one.p_shuffled)}, the t test "
                f"{words.chance(one.effect.p)}; it is a near thing, drive more pairs",
            )


def _comparison(
    one: tr.Compared, ask: tr.Ask, ended: set[float], step: float, named: bool
) -> TrialComparison:
    """One comparison; a setting that the stop rule ended is never the better one."""
    found, primary = one.effect, one.endpoint == ask.primary
    better, unsafe = None, None
    if found is not None and one.verdict == "difference":
        better = words.better_of(one.endpoint, one.setting, one.against, found.estimate)
        if better in ended:
            better, unsafe = None, better
    low, high = (None, None) if one.resampled is None else one.resampled
    crossover = one.crossover if one.verdict == "difference" else None
    at, at_low, at_high = (None, None, None) if crossover is None else crossover
    return TrialComparison(
        endpoint=one.endpoint,
        words=words.name_of(one.endpoint),
        unit=unit_of(one.endpoint) or "",
        primary=primary,
        setting=one.setting,
        against=one.against,
        pairs=one.pairs,
        effect=None if found is None else found.estimate,
        low=None if found is None else found.low,
        high=None if found is None else found.high,
        shown=[] if found is None else words.amounts(found, unit_of(one.endpoint) or ""),
        p=None if found is None else found.p,
        p_adjusted=one.p_adjusted,
        counted_together=one.counted_together,
        p_shuffled=one.p_shuffled,
        resampled_low=low,
        resampled_high=high,
        smallest_shown=one.smallest_shown,
        crossover_setting=at,
        crossover_low=at_low,
        crossover_high=at_high,
        verdict=one.verdict,
        better=better,
        text=words.comparison_text(one, better, ask.level, step, unsafe)
        + (words.FIRST_WHY[named] if primary else ""),
    )


def _rate(one: tr.Rate, level: float, has_passes: bool, step: float) -> TrialRate:
    return TrialRate(
        kind=one.kind,
        setting=one.setting,
        events=one.events,
        passes=one.passes,
        rate_frac=one.events / one.passes,
        low_frac=one.low,
        high_frac=one.high,
        p=one.p,
        p_adjusted=one.p_adjusted,
        text=words.rate_text(one, level, "passes" if has_passes else "laps", step),
    )


def _stopped(one: tr.Stopped, step: float) -> TrialStopped:
    return TrialStopped(
        setting=one.setting,
        at_lap=one.at_lap,
        laps_after=list(one.laps_after),
        text=words.stopped_text(one, step),
    )


def _summary(
    told: list[TrialComparison], over: list[tr.Stopped], ask: tr.Ask, step: float
) -> list[str]:
    """Give the verdict in a few sentences, safety first."""
    said = [words.stopped_text(one, step) for one in over]
    shown = [one for one in told if one.verdict == "difference"]
    first = [one for one in told if one.primary]
    if not shown and told:
        blind = all(one.verdict == "cannot_tell" for one in told)
        said.append(
            "Cannot tell: too few pairs of laps in both orders."
            if blind
            else "No difference shown between the settings."
        )
    said += [one.text for one in (*first, *(one for one in shown if not one.primary))]
    said += _nothing_gained(told)
    together = max((one.counted_together for one in told if not one.primary), default=1)
    if together > 1:
        said.append(
            f"{together} comparisons {'besides ' if first else ''}were looked at together; the "
            "chance that any of them is called a difference by luck is at most "
            f"{100 * ask.level:.0f} % (Holm)."
        )
    return said
