"""The job ``limit`` on the demo and on real circuits, and what it refuses.

Circuits: TUMFTM racetrack-database at e59595d1 (LGPL-3.0), not part of the project.
"""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from foreaft.base.errors import Cancelled, InputError, MissingPart
from foreaft.cli import main
from foreaft.files.classes import demo_folder
from foreaft.jobs.common import to_json
from foreaft.jobs.limit import limit
from foreaft.jobs.plan import plan
from foreaft.jobs.requests import LimitRequest, PlanRequest, Quick
from foreaft.model.answers import Envelope, Limit, LimitZone

DEMO = Path(str(demo_folder()))
CAR, SHEET, CIRCUIT = DEMO / "car.toml", DEMO / "sheet.csv", DEMO / "brackwater.csv"

PLACES_S = 1e-3
"""What 100 places are known to cost against 400 (tests/optimum)."""


def asked(**more):
    return LimitRequest(**({"car": CAR, "sheet": SHEET, "samples": 0} | more))


@cache
def mill() -> Envelope[Limit]:
    return limit(asked(zone="Mill"))


def check_zone(zone: LimitZone) -> None:
    """Ordered, worked out twice with nearly the same result, and inside what a car can do."""
    lap, planned, band, free = zone.ways
    assert None not in {way.time_s for way in zone.ways}, [way.status for way in zone.ways]
    assert free.time_s <= band.time_s <= min(lap.time_s, planned.time_s)
    # Under the trim's own rule, place by place: no single setting may beat the free one.
    assert band.time_s <= min(lap.steady_time_s, planned.steady_time_s) * 1.003 + PLACES_S
    for way in zone.ways[:3]:
        assert way.time_s == pytest.approx(way.steady_time_s, rel=0.01)
        assert way.brake_distance_m <= zone.stretch_m
    assert zone.plan_leaves_s == pytest.approx(planned.time_s - band.time_s)
    assert zone.lap_setting_leaves_s >= 0.0


def test_one_zone_of_the_sheet():
    result = mill().result
    assert [zone.name for zone in result.zones] == ["Mill"]
    zone = result.zones[0]
    check_zone(zone)
    assert result.total.plan_leaves_s == pytest.approx(zone.plan_leaves_s)
    assert result.total.lap_time_plan_s is None
    assert zone.profile.s_m[-1] == 0.0
    assert zone.profile.speed_mps[-1] == pytest.approx(zone.apex_speed_mps)
    low, high = zone.ways[2].share_low_frac, zone.ways[2].share_high_frac
    assert zone.ways[0].share_low_frac == pytest.approx(zone.ways[0].share_high_frac)
    assert low < zone.ways[0].share_low_frac < high


def test_what_a_setting_leaves_in_a_corner_is_hundredths():
    """checks.md 6.2: about 0.025 s a corner for the best constant share of two axles."""
    assert 0.002 < mill().result.zones[0].lap_setting_leaves_s < 0.08


def test_the_same_request_gives_the_same_answer():
    again = [to_json(limit(asked(zone="z02", points=50))) for _ in range(2)]
    assert again[0] == again[1]


def test_a_plan_from_a_file_gives_its_settings(tmp_path):
    made = plan(PlanRequest(car=CAR, sheet=SHEET, samples=0))[0]
    zones = [zone.model_copy(update={"setting": 53.0}) for zone in made.result.zones]
    moved = made.model_copy(update={"result": made.result.model_copy(update={"zones": zones})})
    file = tmp_path / "plan.json"
    file.write_text(to_json(moved), "utf-8")
    answer = limit(asked(zone="Mill", plan=file, points=60))
    assert answer.result.zones[0].ways[1].setting == 53.0
    assert answer.result.lap_setting == made.result.lap_setting.setting


def test_a_plan_of_another_circuit_is_refused(tmp_path):
    file = tmp_path / "plan.json"
    file.write_text(to_json(plan(PlanRequest(car=CAR, sheet=SHEET, samples=0))[0]), "utf-8")
    with pytest.raises(InputError, match="another circuit") as caught:
        limit(LimitRequest(car=CAR, circuit=CIRCUIT, samples=0, plan=file))
    assert caught.value.code == "plan_of_another"


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"schema": "foreaft.plan/1"}', "\x00"])
def test_a_file_that_is_no_plan_is_refused(tmp_path, text):
    file = tmp_path / "plan.json"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        limit(asked(plan=file))
    assert caught.value.code == "not_a_plan"
    assert caught.value.file == str(file)


def test_a_plan_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        limit(asked(plan=tmp_path / "gone.json"))


def test_an_unknown_zone_is_refused_with_those_there_are():
    with pytest.raises(InputError) as caught:
        limit(asked(zone="Nowhere"))
    assert caught.value.code == "unknown_zone"
    assert "Mill" in caught.value.allowed


def test_a_corner_too_fast_for_the_car_is_refused(tmp_path):
    sheet = tmp_path / "sheet.csv"
    head = "name,approach_kmh,min_kmh,radius_m,depth_frac,direction,hand_time_s\n"
    sheet.write_text(head + "Fast,240,160,60,0.8,left,1.0\n", "utf-8")
    with pytest.raises(InputError, match="too fast") as caught:
        limit(asked(sheet=sheet))
    assert caught.value.code == "corner_too_fast"
    assert caught.value.unit == "km/h"
    assert caught.value.value == 160.0


@pytest.mark.parametrize("points", ["39", "401", "0", "-1"])
def test_points_out_of_range_are_refused(points, capsys):
    code = main(["limit", "--car", str(CAR), "--sheet", str(SHEET), "--points", points])
    assert code == 2
    assert "from 40, to 400" in capsys.readouterr().err


def test_the_table(capsys):
    typed = ["limit", "--car", str(CAR), "--sheet", str(SHEET), "--samples", "0"]
    assert main([*typed, "--zone", "mill", "--points", "60"]) == 0
    said = capsys.readouterr().out
    assert "Mill" in said
    assert "without any margin" in said
    assert max(len(line) for line in said.split("Caution")[0].splitlines()) <= 100


def test_json_alone(capsys):
    typed = ["limit", "--car", str(CAR), "--sheet", str(SHEET), "--samples", "0", "--json"]
    assert main([*typed, "--zone", "mill", "--points", "60"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "foreaft.limit/1"


def test_it_stops_between_zones():
    with pytest.raises(Cancelled):
        limit(asked(), cancelled=lambda: True)


def test_progress_is_told_zone_by_zone():
    told = []
    limit(asked(zone="Mill", points=40), progress=lambda *one: told.append(one))
    assert told[-1] == ("zones", 1, 1)


def test_without_the_solver_nothing_is_begun(monkeypatch):
    def gone(name):
        raise ModuleNotFoundError(name=name)

    monkeypatch.setattr("foreaft.optimum.symbols.importlib.import_module", gone)
    with pytest.raises(MissingPart) as caught:
        limit(asked())
    assert caught.value.exit_code == 3


def test_a_zone_without_an_answer_is_left_out_and_said(monkeypatch):
    monkeypatch.setattr("foreaft.optimum.zone.MOST_ITERATIONS", 3)
    answer = limit(asked(zone="Mill", points=40))
    assert [one.code for one in answer.warnings] == ["not_solved"]
    assert answer.result.total.left_out == ["z02"]
    assert answer.result.total.plan_leaves_s == 0.0
    assert {way.status for way in answer.result.zones[0].ways} == {"Maximum_Iterations_Exceeded"}


@pytest.mark.slow
@pytest.mark.parametrize("place", [SHEET, CIRCUIT], ids=["sheet", "circuit"])
def test_every_zone_of_the_demo(place):
    key = "circuit" if place == CIRCUIT else "sheet"
    answer = limit(LimitRequest(car=CAR, samples=0, **{key: place}))
    for zone in answer.result.zones:
        check_zone(zone)
    total = answer.result.total
    assert total.left_out == []
    summed = sum(zone.plan_leaves_s for zone in answer.result.zones)
    assert total.plan_leaves_s == pytest.approx(summed)
    if key == "circuit":
        assert total.lap_time_plan_s - total.lap_time_range_s == pytest.approx(summed)
        assert 80.0 < total.lap_time_range_s < 110.0


@pytest.mark.slow
@pytest.mark.open_data
@pytest.mark.parametrize("name", ["BrandsHatch", "Zandvoort"])
def test_every_zone_of_real_circuits(open_data: Callable[[str], Path], name):
    file = open_data(f"circuits/tumftm/{name}.csv")
    quick = Quick(today=0.0, higher="front", first="front")
    answer = limit(LimitRequest(car="gt-mid", circuit=file, quick=quick, samples=0))
    assert len(answer.result.zones) >= 8
    assert answer.result.total.left_out == []
    for zone in answer.result.zones:
        check_zone(zone)


@pytest.mark.parametrize("where", ["zone", "lap"])
def test_a_plan_whose_setting_is_no_number_is_refused(tmp_path, where):
    """JSON of other programs may say NaN; nothing is nearest to that."""
    made = json.loads(to_json(plan(PlanRequest(car=CAR, sheet=SHEET, samples=0))[0]))
    if where == "zone":
        made["result"]["zones"][1]["setting"] = float("nan")
    else:
        made["result"]["lap_setting"]["setting"] = float("nan")
    file = tmp_path / "plan.json"
    file.write_text(json.dumps(made), "utf-8")
    with pytest.raises(InputError) as caught:
        limit(asked(zone="Mill", plan=file, points=60))
    assert caught.value.file == str(file)


def test_a_folder_is_no_plan(tmp_path):
    with pytest.raises(InputError) as caught:
        limit(asked(plan=tmp_path))
    assert caught.value.code == "not_a_plan"


def test_what_interrupts_the_solver_stops_the_job():
    """The solver's library keeps a KeyboardInterrupt to itself; it must not become a lost zone."""

    def interrupt(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    def progress(what: str, done: int, of: int) -> None:
        if what == "zones" and done == 0:
            signal.setitimer(signal.ITIMER_REAL, 0.5)

    before = signal.signal(signal.SIGALRM, interrupt)
    try:
        with pytest.raises((Cancelled, KeyboardInterrupt)):
            limit(asked(), progress)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
