"""The job ``trial``: a verdict from the laps of a test of settings, and what it does to a plan.

Its run sheet is made in :mod:`foreaft.jobs.trial_design`, the stops that come before it are judged
in :mod:`foreaft.jobs.trial_stops`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from foreaft.base.errors import CannotTell, InputError
from foreaft.files.trial_laps import LapSheet, read_laps, unit_of
from foreaft.jobs.common import Notes, envelope
from foreaft.jobs.requests import TrialJudgeRequest, TrialRequest
from foreaft.jobs.trial_design import design, write_sheet
from foreaft.jobs.trial_plan import plan_lines
from foreaft.jobs.trial_scatter import driven, laps_to_judge
from foreaft.jobs.trial_stops import judge_stops
from foreaft.learn import trial as tr
from foreaft.model.answers import Envelope, Plan
from foreaft.model.answers_trial import (
    Trial,
    TrialComparison,
    TrialRate,
    TrialStopped,
    TrialVerdict,
)
from foreaft.report import trial_words as words
from foreaft.report.words import count_of

__all__ = ["design", "judge", "trial", "write_sheet"]

FIRST: Final = "slip_difference_frac"
"""What a log is judged by where nothing was named before."""


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
    laps, endpoints = _pooled(driven(rows, request.settle_laps), rows, request)
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
    if not rows.has_keep and not any(lap.keep for lap in laps):
        raise CannotTell(
            "whether the setting makes a difference",
            because="every lap is the first after a change of setting or of a stint, and such "
            "laps do not count",
            would_settle="two laps or more at a setting before the next change; or "
            "--settle-laps 0, where a lap settles at once, as on a rig",
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
