"""The jobs as the server offers them: what each is asked, what it answers, and how it is run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from pydantic import Field

from foreaft.jobs.common import Cancelled, Progress
from foreaft.jobs.requests import (
    AdviseRequest,
    DebriefRequest,
    IdealRequest,
    LearnRequest,
    LimitRequest,
    LiveRequest,
    PlanRequest,
    ReadRequest,
    RecordRequest,
    Request,
    ShowRequest,
    StopRequest,
    TrialRequest,
    ZonesRequest,
    ZoneViewRequest,
)
from foreaft.model import answers
from foreaft.model.answers import Envelope
from foreaft.model.answers_debrief import Debrief
from foreaft.model.answers_learn import Learn
from foreaft.model.answers_live import Live
from foreaft.model.answers_record import Record
from foreaft.model.answers_show import Show
from foreaft.model.answers_trial import Trial
from foreaft.model.answers_zone import ZoneView

Told = Envelope[Any] | list[Envelope[Any]]
Run = Callable[[Any, Path | None, Progress, Cancelled], Told]


class CheckRequest(Request):
    """A file of the library to be looked at."""

    file: Path


class HistoryRequest(Request):
    """Whose history of settings: of one car, circuit (or zone sheet) and driver.

    ``take_back`` is the mark of a report (``report`` in its line) that is taken out of it first.
    """

    car: Path | str
    circuit: Path | None = None
    sheet: Path | None = None
    driver: Path | str | None = None
    take_back: str | None = Field(default=None, pattern="^[0-9a-f]{12}$")


@dataclass(frozen=True)
class Job:
    """One job: ``run`` is given the request, a folder for its products, progress and cancel."""

    name: str
    does: str
    request: type[Request]
    answer: Any
    lane: Literal["quick", "heavy"]
    run: Run
    needs_folder: bool = False


def _plan(asked: PlanRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.plan import plan
    from foreaft.jobs.products import hand_over

    made = plan(asked, progress, cancelled)
    if out is not None:
        files = [str(one) for one in hand_over(made, out)]
        made = [one.model_copy(update={"files": files}) for one in made]
    return made if len(made) > 1 else made[0]


def _stop(asked: StopRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.stop import stop

    return stop(asked)


def _ideal(asked: IdealRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.ideal_share import ideal

    return ideal(asked)


def _zones(asked: ZonesRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.zones import zones

    return zones(asked)


def _advise(
    asked: AdviseRequest, out: Path | None, progress: Progress, cancelled: Cancelled
) -> Told:
    from foreaft.jobs.advise import advise

    return advise(asked, progress, cancelled)


def _zone(
    asked: ZoneViewRequest, out: Path | None, progress: Progress, cancelled: Cancelled
) -> Told:
    from foreaft.jobs.zone_view import zone_view

    return zone_view(asked, progress, cancelled)


def _history(
    asked: HistoryRequest, out: Path | None, progress: Progress, cancelled: Cancelled
) -> Told:
    from foreaft.jobs.advise import history

    return history(asked.car, asked.circuit or asked.sheet, asked.driver, asked.take_back)


def _read(asked: ReadRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.read_log import read

    return read(asked)


def _debrief(
    asked: DebriefRequest, out: Path | None, progress: Progress, cancelled: Cancelled
) -> Told:
    from foreaft.jobs.debrief import debriefed
    from foreaft.jobs.debrief_products import hand_over

    looked = debriefed(asked, progress, cancelled)
    if out is None:
        return looked.answer
    files = [str(one) for one in hand_over(looked, out, asked.units, progress)]
    return looked.answer.model_copy(update={"files": files})


def _learn(asked: LearnRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.learn import learn

    return learn(asked, out, progress, cancelled)


def _trial(asked: TrialRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.trial import trial, write_sheet

    made = trial(asked)
    sheet = out is not None and made.result.design is not None
    return write_sheet(made, out / "trial-laps.csv") if out is not None and sheet else made


def _show(asked: ShowRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.show import show, write_show

    made, scene = show(asked, progress, cancelled)
    if out is None:
        return made
    files = [str(one) for one in write_show(made, scene, out)]
    return made.model_copy(update={"files": files})


def _limit(asked: LimitRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.limit import limit

    return limit(asked, progress, cancelled)


def _record(
    asked: RecordRequest, out: Path | None, progress: Progress, cancelled: Cancelled
) -> Told:
    from foreaft.jobs.record import record

    if out is None:
        raise TypeError("a record is always given a folder")
    return record(asked, out, progress, cancelled)


def _check(asked: CheckRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.check import check

    return check(asked.file)


def _live(asked: LiveRequest, out: Path | None, progress: Progress, cancelled: Cancelled) -> Told:
    from foreaft.jobs.live import Desk, live

    return live(asked, Desk())


LIVE: Final = Job(
    "live", "The plan while a slider moves", LiveRequest, Envelope[Live], "quick", _live
)
"""Has a route of its own, which keeps what a moved slider leaves alone."""

_ALL: Final = (
    Job(
        "plan",
        "A setting for each braking zone, and one for a lap nobody adjusts; one answer for each "
        "of the conditions",
        PlanRequest,
        Envelope[answers.Plan] | list[Envelope[answers.Plan]],
        "heavy",
        _plan,
    ),
    Job("stop", "One straight stop", StopRequest, Envelope[answers.Stop], "quick", _stop),
    Job("ideal", "The ideal share", IdealRequest, Envelope[answers.Ideal], "quick", _ideal),
    Job("zones", "Braking zones", ZonesRequest, Envelope[answers.Zones], "quick", _zones),
    Job("zone", "One zone, wheel by wheel", ZoneViewRequest, Envelope[ZoneView], "quick", _zone),
    Job("advise", "What to try next", AdviseRequest, Envelope[answers.Advice], "quick", _advise),
    Job("history", "Reports so far", HistoryRequest, Envelope[answers.Report], "quick", _history),
    Job("read", "What a log holds", ReadRequest, Envelope[answers.ReadLog], "quick", _read),
    Job("debrief", "What laps were like", DebriefRequest, Envelope[Debrief], "heavy", _debrief),
    Job("learn", "What logs show of a car", LearnRequest, Envelope[Learn], "heavy", _learn),
    Job("trial", "Design or judge a trial", TrialRequest, Envelope[Trial], "quick", _trial),
    Job("show", "A wrong setting, driven", ShowRequest, Envelope[Show], "heavy", _show),
    Job("limit", "The physical limit", LimitRequest, Envelope[answers.Limit], "heavy", _limit),
    Job("record", "Invented laps", RecordRequest, Envelope[Record], "heavy", _record, True),
    Job("check", "What a file holds", CheckRequest, Envelope[answers.Report], "quick", _check),
)
JOBS: Final[dict[str, Job]] = {job.name: job for job in _ALL}
