"""One function per command: the request out of what was typed, the answer onto the screen."""

from __future__ import annotations

import sys
from argparse import Namespace
from pathlib import Path
from typing import Any, Final, get_args

from pydantic import ValidationError

from foreaft.base.errors import InputError
from foreaft.cli import show as shown
from foreaft.cli import show_record, show_trial
from foreaft.cli.progress import Progress, tell_if_cold
from foreaft.jobs.common import to_json
from foreaft.jobs.requests import (
    AdviseRequest,
    IdealRequest,
    LimitRequest,
    PlanRequest,
    Quick,
    ReadRequest,
    Request,
    ShowRequest,
    StopRequest,
    TrialDesignRequest,
    TrialEndpointAsk,
    TrialJudgeRequest,
    TrialStopAsk,
    TrialStopsRequest,
    ZonesRequest,
)
from foreaft.model.answers import Envelope


def plan(asked: Namespace) -> int:
    """``foreaft plan``."""
    from foreaft.jobs.plan import plan as job
    from foreaft.jobs.products import hand_over

    request = _request(PlanRequest, asked, quick=_quick(asked), line=_line(asked))
    tell_if_cold()
    with Progress() as progress:
        answers = job(request, progress)
    files = []
    if asked.out is not None:
        files = hand_over(answers, asked.out, asked.units, asked.date)
        answers = [one.model_copy(update={"files": [str(f) for f in files]}) for one in answers]
    if asked.json:
        _print_json(answers)
    else:
        for one in answers:
            print(shown.plan(one, asked.units))
        if len(answers) > 1:
            print("\n" + shown.side_by_side(answers))
        _print_files(asked.out, files)
    return 0


def stop(asked: Namespace) -> int:
    """``foreaft stop``."""
    from foreaft.jobs.stop import stop as job

    request = _request(StopRequest, asked, quick=_quick(asked))
    tell_if_cold()
    answer = job(request)
    _print(asked, answer, lambda: shown.stop(answer))
    return 0


def ideal(asked: Namespace) -> int:
    """``foreaft ideal``."""
    from foreaft.jobs.ideal_share import ideal as job

    request = _request(
        IdealRequest,
        asked,
        quick=_quick(asked),
        model=asked.model.replace("-", "_"),
        yaw_accel_radps2=asked.yaw_accel,
    )
    tell_if_cold()
    answer = job(request)
    _print(asked, answer, lambda: shown.ideal(answer))
    return 0


def limit(asked: Namespace) -> int:
    """``foreaft limit``."""
    from foreaft.jobs.limit import limit as job

    request = _request(LimitRequest, asked, quick=_quick(asked), line=_line(asked))
    tell_if_cold()
    with Progress() as progress:
        answer = job(request, progress)
    _print(asked, answer, lambda: shown.limit(answer))
    return 0


def show(asked: Namespace) -> int:
    """``foreaft show``."""
    from foreaft.cli import show_driven
    from foreaft.jobs.show import show as job
    from foreaft.jobs.show import write_show

    request = _request(ShowRequest, asked, quick=_quick(asked), line=_line(asked))
    tell_if_cold()
    with Progress() as progress:
        answer, scene = job(request, progress)
    if asked.out is not None:
        files = write_show(answer, scene, asked.out, asked.image)
        answer = answer.model_copy(update={"files": [str(file) for file in files]})
    _print(asked, answer, lambda: show_driven.runs(answer))
    return 0


def advise(asked: Namespace) -> int:
    """``foreaft advise``."""
    from foreaft.jobs.advise import advise as job

    if asked.history or asked.take_back is not None:
        return _history(asked)
    for name in ("zone", "symptom", "setting"):
        if getattr(asked, name) is None:
            raise InputError(
                f"--{name} is missing",
                code="missing_option",
                key=name,
                allowed="zone, symptom and setting together; or --history",
                hint="foreaft advise --help shows an example",
            )
    request = _request(
        AdviseRequest,
        asked,
        quick=_quick(asked),
        line=_line(asked),
        symptom=asked.symptom.replace("-", "_"),
        remember=not asked.forget,
    )
    tell_if_cold()
    with Progress() as progress:
        answer = job(request, progress)
    _print(asked, answer, lambda: shown.advise(answer))
    return 0


def _history(asked: Namespace) -> int:
    from foreaft.jobs.advise import history

    answer = history(asked.car, asked.circuit or asked.sheet, asked.driver, asked.take_back)
    _print(asked, answer, lambda: shown.report(answer))
    return 0


def trial(asked: Namespace) -> int:
    """``foreaft trial design``, ``foreaft trial judge`` and ``foreaft trial stops``."""
    parts = {"design": _trial_design, "judge": _trial_judge, "stops": _trial_stops}
    return parts[asked.part](asked)


def _trial_design(asked: Namespace) -> int:
    from foreaft.jobs.trial import design, write_sheet

    request = _request(
        TrialDesignRequest, asked, endpoints=[_endpoint(typed) for typed in asked.endpoint]
    )
    answer = design(request)
    if asked.out is not None:
        answer = write_sheet(answer, asked.out)
    _print(asked, answer, lambda: show_trial.design(answer))
    return 0


def _endpoint(typed: list[str]) -> TrialEndpointAsk:
    """``--endpoint NAME DIFFERENCE [SCATTER]``."""
    try:
        numbers = [float(word) for word in typed[1:]]
        names = ("difference", "scatter_sd")[: len(numbers)]
        return TrialEndpointAsk(name=typed[0], **dict(zip(names, numbers, strict=True)))
    except (ValueError, ValidationError) as error:
        raise InputError(
            "--endpoint cannot be used",
            code="command_line",
            key="endpoint",
            value=" ".join(typed),
            allowed="a name, the difference worth seeing, and perhaps the scatter: both above 0",
            hint="such as --endpoint z03_time_s 0.03 0.06",
        ) from error


def _trial_judge(asked: Namespace) -> int:
    from foreaft.jobs.trial import judge

    pools = {typed[0]: typed[1:] for typed in asked.pool}
    if len(pools) < len(asked.pool):
        raise InputError(
            "--pool names the same pool twice",
            code="command_line",
            key="pool",
            value=" ".join(typed[0] for typed in asked.pool),
            allowed="each name once",
            hint="put all columns of a pool after one --pool",
        )
    answer = judge(_request(TrialJudgeRequest, asked, pools=pools))
    _print(asked, answer, lambda: show_trial.verdict(answer))
    return 0


def _trial_stops(asked: Namespace) -> int:
    from foreaft.jobs.trial_stops import judge_stops

    if bool(asked.stops) == (asked.file is not None):
        raise InputError(
            "the stops are missing" if asked.file is None else "the stops are told twice",
            code="command_line",
            key="stop",
            value=None,
            allowed="either a file of stops, or --stop once for each",
            hint="such as --stop 56 front --stop 55 rear",
        )
    stops = [_stop(*typed) for typed in asked.stops]
    answer = judge_stops(_request(TrialStopsRequest, asked, stops=stops))
    _print(asked, answer, lambda: show_trial.stops(answer))
    return 0


def _stop(setting: str, first: str) -> TrialStopAsk:
    """``--stop SETTING FIRST``."""
    try:
        return TrialStopAsk.model_validate({"setting": float(setting), "first": first})
    except (ValueError, ValidationError) as error:
        raise InputError(
            "--stop cannot be used",
            code="command_line",
            key="stop",
            value=f"{setting} {first}",
            allowed="a setting, then front, rear, together or none",
            hint="such as --stop 56 front",
        ) from error


def zones(asked: Namespace) -> int:
    """``foreaft zones``."""
    from foreaft.jobs.zones import zones as job
    from foreaft.jobs.zones import zones_picture

    request = _request(ZonesRequest, asked, line=_line(asked))
    tell_if_cold()
    answer = job(request)
    if asked.picture is not None:
        zones_picture(request, answer, asked.picture)
        answer = answer.model_copy(update={"files": [str(asked.picture)]})
    _print(asked, answer, lambda: shown.zones(answer))
    return 0


def read(asked: Namespace) -> int:
    """``foreaft read``."""
    from foreaft.cli import show_log
    from foreaft.jobs.read_log import read as job

    request = _request(ReadRequest, asked)
    answer = job(request)
    _print(asked, answer, lambda: show_log.read(answer))
    return 0


def debrief(asked: Namespace) -> int:
    """``foreaft debrief``."""
    from foreaft.cli import show_debrief
    from foreaft.jobs.debrief import debriefed
    from foreaft.jobs.debrief_products import hand_over
    from foreaft.jobs.requests import DebriefRequest

    request = _request(DebriefRequest, asked, quick=None, line=_line(asked))
    tell_if_cold()
    with Progress() as progress:
        looked = debriefed(request, progress)
    answer = looked.answer
    if asked.out is not None:
        files = hand_over(looked, asked.out, asked.units)
        answer = answer.model_copy(update={"files": [str(one) for one in files]})
    _print(asked, answer, lambda: show_debrief.debrief(answer, asked.units))
    return 0


def learn(asked: Namespace) -> int:
    """``foreaft learn``."""
    from foreaft.cli import show_learn
    from foreaft.jobs.learn import learn as job
    from foreaft.jobs.requests import LearnRequest

    request = _request(LearnRequest, asked, quick=_quick(asked))
    with Progress() as progress:
        answer = job(request, asked.out, progress)
    _print(asked, answer, lambda: show_learn.learn(answer, asked.every))
    return 0


def record(asked: Namespace) -> int:
    """``foreaft record``."""
    from foreaft.jobs.record import record as job
    from foreaft.jobs.requests import RecordRequest

    request = _request(RecordRequest, asked, quick=_quick(asked), line=_line(asked))
    tell_if_cold()
    with Progress() as progress:
        answer = job(request, asked.out, progress)
    _print(asked, answer, lambda: show_record.record(answer))
    return 0


def check(asked: Namespace) -> int:
    """``foreaft check``: every file is looked at, the first error is raised after the last."""
    from foreaft.base.errors import ForeaftError
    from foreaft.jobs.check import check as job

    failed: list[ForeaftError] = []
    answers = []
    for file in asked.files:
        try:
            answers.append(job(file))
        except ForeaftError as error:
            failed.append(error)
            if not asked.json:
                print(f"foreaft: {error}", file=sys.stderr)
            continue
        if not asked.json:
            print(f"{file}: good")
            print(shown.report(answers[-1]))
            for line in shown.around(answers[-1])[: len(answers[-1].warnings)]:
                print(line)
    if failed and asked.json:
        raise failed[0]
    if asked.json:
        _print_json(answers)
    return failed[0].exit_code if failed else 0


def new(asked: Namespace) -> int:
    """``foreaft new``."""
    from foreaft.jobs.new import new as job

    answer = job(asked.kind, asked.file, asked.class_name)
    _print(
        asked,
        answer,
        lambda: f"Wrote {asked.file}. Read its comments, then: foreaft check {asked.file}",
    )
    return 0


def classes(asked: Namespace) -> int:
    """``foreaft classes``."""
    from foreaft.jobs.classes import classes as job

    answer = job()
    _print(asked, answer, lambda: shown.report(answer))
    return 0


def demo(asked: Namespace) -> int:
    """``foreaft demo``."""
    from foreaft.jobs.demo import demo as job

    tell_if_cold()
    with Progress() as progress:
        plans, files = job(asked.out, progress)
    if asked.json:
        _print_json(plans)
        return 0
    for one in plans:
        print(shown.plan(one))
    print(shown.side_by_side(plans))
    print("\nCar, circuit, driver and numbers of this demo are invented.")
    _print_files(asked.out, files)
    print("The same on pages in the browser: make app, or foreaft app where they are built.")
    return 0


def app(asked: Namespace) -> int:
    """``foreaft app``: serve until stopped."""
    from foreaft.web.serve import Wanted, serve

    names = ("library", "address", "port", "token", "largest_log_MB", "json")
    given = {name: getattr(asked, name) for name in names}
    serve(Wanted(**given, browser=not asked.no_browser))
    return 0


def doctor(asked: Namespace) -> int:
    """``foreaft doctor``."""
    from foreaft.jobs.doctor import doctor as job

    answer = job()
    _print(asked, answer, lambda: shown.report(answer))
    return 3 if answer.warnings else 0


def _quick(asked: Namespace) -> Quick | None:
    """The anchor, if any of it was typed; then the three that make it must be there."""
    names = ("today", "higher", "first", "mid_corner", "lowest", "highest", "step")
    given = {name: getattr(asked, name) for name in names}
    if all(value is None for value in given.values()):
        return None
    for name in names[:3]:
        if given[name] is None:
            raise InputError(
                f"--{name} is missing",
                code="missing_option",
                key=name,
                allowed="--today, --higher and --first together",
                hint="without one of the three the anchor does not hold",
            )
    quick: Quick = _checked(Quick, given)
    return quick


def _line(asked: Namespace) -> str | None:
    return None if asked.line is None else str(asked.line).replace("-", "_")


def _request(kind: type[Request], asked: Namespace, **more: Any) -> Any:
    """Fill a request from the options of the same names; ``more`` is what is typed otherwise."""
    typed = {name: getattr(asked, name) for name in kind.model_fields if name not in more}
    return _checked(kind, typed | more)


TYPED: Final = {
    "change_cost_s": "change-cost",
    "grip_scale": "grip",
    "fuel_kg": "fuel",
    "scatter_scale": "scatter",
    "yaw_accel_radps2": "yaw-accel",
    "settings": "setting",
    "press_frac": "press",
    "lap_difference_s": "lap-difference",
}
"""Options whose name on the command line is not that of the request."""

TYPED_IN: Final[dict[tuple[type[Request], str], str]] = {
    (TrialDesignRequest, "settings"): "settings"
}
"""Options of one command alone that are named otherwise than in `TYPED`."""


def _checked(kind: type[Request], given: dict[str, Any]) -> Any:
    try:
        return kind(**given)
    except ValidationError as error:
        first = error.errors()[0]
        key = str(first["loc"][0])
        option = TYPED_IN.get((kind, key)) or TYPED.get(key, key.replace("_", "-"))
        no_number = f"--{option} takes numbers, and this is none"
        raise InputError(
            no_number
            if first["type"] == "finite_number"
            else f"--{option} cannot be used: {first['msg'].lower()}",
            code="option_out_of_range",
            key=option,
            value=str(first.get("input")),
            allowed=_allowed(kind, key) or "see foreaft COMMAND --help",
            hint="correct this option",
        ) from error


def _allowed(kind: type[Request], key: str) -> str:
    """The limits of an option, read from the request's own field."""
    words = {"ge": "from", "gt": "above", "le": "to", "lt": "below"}
    field = kind.model_fields[key]
    rules = list(field.metadata)
    for one in get_args(field.annotation):  # of a list, what its numbers are held to
        rules += [rule for info in getattr(one, "__metadata__", ()) for rule in info.metadata]
    return ", ".join(
        f"{word} {getattr(rule, name):g}"
        for rule in rules
        for name, word in words.items()
        if getattr(rule, name, None) is not None
    )


def _print(asked: Namespace, answer: Envelope[Any], text: Any) -> None:
    if asked.json:
        print(to_json(answer), end="")
        return
    print(text())
    for line in shown.around(answer):
        print(line)


def _print_json(answers: list[Any]) -> None:
    """One answer as an object, several as a list."""
    if len(answers) == 1:
        print(to_json(answers[0]), end="")
        return
    print("[\n" + ",\n".join(to_json(one).rstrip() for one in answers) + "\n]")


def _print_files(folder: Path | None, files: list[Path]) -> None:
    if folder is None:
        print("Nothing was written; --out FOLDER writes the card and the figures.")
        return
    print(f"\nWritten into {folder}: {len(files)} files.")
    for name in ("briefing.pdf", "briefing.html", "sticker.pdf"):
        print(f"  {folder / name}")
