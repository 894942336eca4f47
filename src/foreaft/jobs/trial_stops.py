"""The first part of a trial: straight stops that find the crossover, judged before laps are driven.

No statistics: each stop says on which side of the crossover its setting lies, and the answer is
the gap that is left, or that the stops contradict each other.
"""

from __future__ import annotations

from typing import Final

from foreaft.base.errors import CannotTell, InputError
from foreaft.files.trial_stops import read_stops
from foreaft.jobs.common import Notes, envelope
from foreaft.jobs.load import known_adjuster, load_car, way_of
from foreaft.jobs.requests import TrialStopAsk, TrialStopsRequest
from foreaft.learn import stops as st
from foreaft.model.adjuster import WHOLE_STEPS, Adjuster
from foreaft.model.answers import Axle, Envelope
from foreaft.model.answers_trial import Trial, TrialAnchor, TrialStop, TrialStops
from foreaft.report import trial_stops_words as words

FEW: Final = 3


def judge_stops(request: TrialStopsRequest) -> Envelope[Trial]:
    """Say between which settings the crossover lies.

    Raises
    ------
    InputError
        If the file, a setting or the car is wrong.
    CannotTell
        If nobody has said which way the adjuster counts, or no wheel locked.
    """
    notes = Notes()
    adjuster = known_adjuster(load_car(request.car)[0]) if request.car is not None else None
    higher = way_of(
        adjuster,
        request.higher,
        what="on which side of the crossover a setting lies",
        because="nobody has said which way the number counts",
    )
    asked = _stops(request)
    for one in asked:
        if adjuster is not None:
            _on_the_scale(one.setting, adjuster)
    driven = [st.Stop(one.setting, one.first) for one in asked]
    found = st.crossover(driven, higher == "front")
    if found.finding == "nothing":
        raise CannotTell(
            "on which side of the crossover these settings lie",
            because="no wheel locked at any of the stops",
            would_settle="the same stops, squeezed until a wheel just locks, forward end first",
        )
    step = None if adjuster is None else adjuster.step
    quarrel = st.quarrel(driven, higher == "front")
    _warn(driven, found, higher, notes)
    made = TrialStops(
        higher_means=higher,
        stops=[TrialStop(setting=one.setting, first=one.first) for one in asked],
        finding=found.finding,
        forward_setting=found.forward,
        rear_setting=found.rear,
        anchor=_anchor(found, higher),
        contradict=[] if quarrel is None else list(quarrel.stops),
        text=words.finding_text(found, step)
        if quarrel is None
        else words.quarrel_text(quarrel, driven, step),
        next=words.next_text(found, higher, step)
        if quarrel is None
        else words.settle_text(quarrel, driven, step),
    )
    said = request.model_dump(mode="json", exclude={"car", "file"})
    said |= {"stops": [one.model_dump(mode="json") for one in asked]}
    answer = Trial(design=None, verdict=None, stops=made)
    return envelope("trial", answer, {"stops": said}, notes)


def _stops(request: TrialStopsRequest) -> list[TrialStopAsk]:
    if request.file is None:
        return list(request.stops)
    found = read_stops(request.file)
    return [TrialStopAsk.model_validate({"setting": at, "first": end}) for at, end in found]


def _on_the_scale(setting: float, adjuster: Adjuster) -> None:
    steps = (setting - adjuster.min) / adjuster.step
    if adjuster.min <= setting <= adjuster.max and abs(steps - round(steps)) <= WHOLE_STEPS:
        return
    raise InputError(
        "the adjuster of this car has no such setting",
        code="setting_unknown",
        key="stops",
        value=setting,
        allowed=f"{adjuster.min:g} to {adjuster.max:g} in steps of {adjuster.step:g}",
        hint="write the settings as the driver read them",
    )


def _warn(driven: list[st.Stop], found: st.Crossover, higher: Axle, notes: Notes) -> None:
    past = st.driven_past(driven, higher == "front")
    if past:
        which = f"stop{'s' if len(past) > 1 else ''} {', '.join(str(one) for one in past)}"
        notes.warn(
            "stops_past_rear_lock",
            f"{which}: a rear wheel had locked at this setting or further forward already; the "
            "first rear lock ends the stops",
        )
    if len(driven) < FEW:
        notes.warn(
            "few_stops",
            f"{len(driven)} stop{'s are' if len(driven) > 1 else ' is'} few: one missed or "
            "mistaken wheel changes the answer",
        )


def _anchor(found: st.Crossover, higher: Axle) -> TrialAnchor | None:
    """Give what the car file may say of it: the forward end of the gap, which is the safe one."""
    if found.finding == "contradictory":
        return None
    if found.finding in ("at", "same_setting") and found.forward is not None:
        return TrialAnchor(setting=found.forward, first_to_let_go="together")
    if found.forward is not None:
        return TrialAnchor(setting=found.forward, first_to_let_go="front")
    if found.rear is not None:
        return TrialAnchor(setting=found.rear, first_to_let_go="rear")
    return None
