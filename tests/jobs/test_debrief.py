"""The job ``debrief`` against made logs with their truth, and what it hands over."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from foreaft.base.errors import CannotTell, InputError
from foreaft.cli import main
from foreaft.files.classes import demo_folder
from foreaft.jobs.debrief import debrief, debriefed
from foreaft.jobs.debrief_products import hand_over
from foreaft.jobs.record import record
from foreaft.jobs.requests import DebriefRequest, RecordRequest
from foreaft.logs.truth import Truth
from foreaft.model.answers_debrief import Debrief
from laps.event_block import Counts, matched

DEMO = Path(str(demo_folder()))
ON_DEMO: dict[str, Any] = {
    "car": DEMO / "car.toml",
    "circuit": DEMO / "brackwater.csv",
    "driver": "club",
}
Made = tuple[Path, Truth]


def made(folder: Path, **asked: Any) -> Made:
    answer = record(RecordRequest(**{**ON_DEMO, **asked}), folder)
    log, truth = (Path(one) for one in answer.files)
    return log, Truth.model_validate_json(truth.read_bytes())


@pytest.fixture(scope="module")
def full(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Eight laps of a club driver: all channels at 100 Hz with noise, delays and drop-outs."""
    return made(tmp_path_factory.mktemp("full"), laps=8, logger="full", seed=1)


@pytest.fixture(scope="module")
def told(full: Made) -> Debrief:
    return debrief(DebriefRequest(logs=[full[0]], **ON_DEMO)).result


def clock_of(result: Debrief, lap_id: str) -> float:
    """What the log's clock shows at the start of a lap's session. [s]"""
    run_id = next(lap.run_id for lap in result.laps if lap.lap_id == lap_id)
    return next(run.start_s for run in result.runs if run.run_id == run_id)


def brake_errors(result: Debrief, truth: Truth) -> np.ndarray:
    """Brake point found less true, of each pass of both. [m]"""
    starts = {lap.lap_id: lap.start_s + clock_of(result, lap.lap_id) for lap in result.laps}
    length = result.circuit.length_m
    off = []
    for lap in truth.laps:
        for zone in lap.zones:
            if zone.brake_s_m is None:
                continue
            for one in result.passes:
                start = starts[one.lap_id]
                if one.zone_id != zone.zone_id or one.brake_s_m is None:
                    continue
                if abs(start - lap.start_s) < 5.0:
                    gap = one.brake_s_m - zone.brake_s_m
                    off.append((gap + 0.5 * length) % length - 0.5 * length)
    return np.array(off)


def counts_of(result: Debrief, truth: Truth, kind: str) -> Counts:
    """How many events of a kind are found and true; see `laps.event_block`."""
    found = [
        e.model_copy(update={"start_s": e.start_s + clock_of(result, e.lap_id)})
        for e in result.events
    ]
    return matched(found, [e for lap in truth.laps for e in lap.events], kind)


@pytest.mark.slow
def test_zones_lie_within_three_metres_of_the_truth(full: Made, told: Debrief) -> None:
    off = brake_errors(told, full[1])
    assert len(off) > 85
    assert np.mean(np.abs(off) < 3.0) > 0.95
    assert abs(np.median(off)) < 1.5


@pytest.mark.slow
def test_without_a_brake_channel_too(tmp_path: Path) -> None:
    """The club logger: a 25 Hz receiver and accelerometers, nothing of the brakes."""
    log, truth = made(tmp_path, laps=8, logger="club", seed=1)
    answer = debrief(DebriefRequest(logs=[log], **ON_DEMO)).result
    off = brake_errors(answer, truth)
    assert len(off) > 85
    assert np.mean(np.abs(off) < 3.0) > 0.95
    untold = " ".join(one.what for one in answer.cannot_tell)
    assert "lock-ups" in untold
    assert "pedal" in untold
    assert not [one for one in answer.events if one.kind in ("lock_up", "rotation")]


@pytest.mark.slow
@pytest.mark.parametrize(("hz", "least"), [(100.0, 0.95), (25.0, 0.90)])
def test_lock_ups_are_found_and_none_is_made_up(tmp_path: Path, hz: float, least: float) -> None:
    """Over two drivers and settings; other events have a block of their own, `laps.event_block`."""
    locks = Counts()
    for number, (seed, level, setting) in enumerate(((1, "club", 53.5), (14, "club", 56.0))):
        log, truth = made(
            tmp_path / str(number),
            laps=8,
            logger="full",
            seed=seed,
            driver=level,
            settings=[setting],
            table_hz=hz,
        )
        answer = debrief(DebriefRequest(logs=[log], **ON_DEMO)).result
        locks += counts_of(answer, truth, "lock_up")
    assert locks.there >= 15
    assert locks.precision >= least
    assert locks.recall >= least


@pytest.mark.slow
def test_a_class_is_enough_though_nobody_said_which_way_its_adjuster_counts(full: Made) -> None:
    answer = debrief(DebriefRequest(logs=[full[0]], car="gt-mid", circuit=ON_DEMO["circuit"]))
    assert any(one.grip_use_frac is not None for one in answer.result.passes)


@pytest.mark.slow
def test_the_line_of_one_lap_is_nobody_s_usual_line(full: Made) -> None:
    """Without a circuit file the circuit is made of one lap; the others lie beside it."""
    answer = debrief(DebriefRequest(logs=[full[0]], car=ON_DEMO["car"])).result
    assert answer.circuit.made_from == "position"
    wide = counts_of(answer, full[1], "wide")
    assert wide.right == wide.found


@pytest.mark.slow
def test_the_answer_keeps_the_contract(told: Debrief) -> None:
    assert told.run.run_id
    assert {lap.kind for lap in told.laps} <= {"full", "in", "out", "slow", "partial"}
    assert [zone.name for zone in told.zones][:3] == ["Lintel", "Weir", "Quarry Hairpin"]
    one = next(p for p in told.passes if p.zone_id == "z03" and p.lap_id == "L03")
    assert one.grip_use_frac is not None
    assert 0.4 < one.grip_use_frac < 1.1
    assert one.pressure_share_frac is not None
    assert one.mfdd_mps2 is not None
    assert one.mfdd_mps2 < one.peak_decel_mps2
    # Depth as driven: the demo's club driver lets go at 0.4 of the hairpin, 0.9 of Lintel.
    depth = {z.zone_id: {s.measure: s.median for s in z.scatter}["depth_frac"] for z in told.zones}
    assert depth["z03"] == pytest.approx(0.4, abs=0.1)
    assert depth["z01"] == pytest.approx(0.9, abs=0.1)
    assert 1 <= len(told.work_on) <= 3
    assert all(any(ch.isdigit() for ch in work.text) for work in told.work_on)


@pytest.mark.slow
def test_the_driver_is_who_the_head_of_the_log_says(full: Made, told: Debrief) -> None:
    assert '"' not in told.driver_name
    assert told.driver_name == "club"  # the demo's driver here is the level of that name
    named = DebriefRequest(logs=[full[0]], driver_name="Ann", **ON_DEMO)
    assert debrief(named).result.driver_name == "Ann"


@pytest.mark.slow
def test_products_are_written_and_the_same_twice(full: Made, tmp_path: Path) -> None:
    looked = debriefed(DebriefRequest(logs=[full[0]], driver_name="<Ann> & Co", **ON_DEMO))
    first = hand_over(looked, tmp_path / "a")
    again = hand_over(looked, tmp_path / "b")
    assert [one.read_bytes() for one in first] == [one.read_bytes() for one in again]
    page = (tmp_path / "a" / "debrief.html").read_text("utf-8")
    assert "&lt;Ann&gt; &amp; Co" in page
    assert "<script" not in page
    assert "http" not in page.replace("http://www.w3.org", "")
    assert (tmp_path / "a" / "debrief.pdf").read_bytes().startswith(b"%PDF")
    assert json.loads((tmp_path / "a" / "debrief.json").read_text("utf-8"))["schema"] == (
        "foreaft.debrief/1"
    )


@pytest.mark.slow
def test_two_drivers_at_the_same_setting(full: Made, tmp_path: Path) -> None:
    other, _ = made(tmp_path, laps=5, logger="full", seed=3, driver="pro", settings=[53.5])
    asked = DebriefRequest(logs=[full[0]], against=other, other_name="Ben", **ON_DEMO)
    result = debrief(asked).result
    assert result.other_name == "Ben"
    assert result.same_setting is True
    compared = {one.measure for zone in result.zones for one in zone.against_other}
    assert {"brake_s_m", "time_s", "depth_frac"} <= compared
    assert all(
        (abs(one.difference) > one.give_or_take) == one.sure
        for zone in result.zones
        for one in zone.against_other
        if one.give_or_take is not None
    )
    assert any(one.lost_other_s is not None for one in result.passes)


def two_in_one(folder: Path, uses: tuple[float, float]) -> Path:
    """Laps of one car at two uses of its limit, four each, one after the other in one log."""
    lines: list[str] = []
    for number, use in enumerate(uses):
        driver = folder / f"{number}.toml"
        about = f'schema = "foreaft.driver/1"\nid = "d{number}"\nname = "d"\nlevel = "pro"\n'
        driver.write_text(f"{about}use_of_limit_frac = {use}\n", "utf-8")
        asked: dict[str, Any] = {
            "laps": 4,
            "seed": 5 + number,
            "settings": [51.5],
            "table_hz": 50.0,
        }
        log, _ = made(folder / str(number), driver=str(driver), **asked)
        own = log.read_text("utf-8").splitlines()
        head = next(i for i, line in enumerate(own) if line.startswith("Time,")) + 2
        clock, lap = (own[head - 2].split(",").index(name) for name in ("Time", "Lap number"))
        rows = [line.split(",") for line in own[head:]]
        if lines:
            before = lines[-1].split(",")
            for row in rows:
                row[clock] = f"{float(row[clock]) + float(before[clock]) + 0.02:.2f}"
                row[lap] = str(int(row[lap]) + int(before[lap]))
            own = []
        lines += [*own[:head], *(",".join(row) for row in rows)]
    both = folder / "both.csv"
    both.write_text("\n".join(lines) + "\n", "utf-8")
    return both


@pytest.mark.slow
def test_braking_left_unused_is_that_of_the_timid_laps(tmp_path: Path) -> None:
    """Truth is what the drivers were told to use: 0.92 of the limit, and 0.62 in the later laps."""
    log = two_in_one(tmp_path, (0.92, 0.62))
    asked = {**ON_DEMO, "driver": None}
    result = debrief(DebriefRequest(logs=[log], **asked)).result
    straight = {}
    for zone in result.zones:
        speed = next(s.median for s in zone.scatter if s.measure == "approach_speed_mps")
        straight[zone.zone_id] = (zone.turn_in_s_m - zone.brake_s_m) / speed
    timid = {f"L{number:02d}" for number in (5, 6, 7, 8)}
    told = {(e.zone_id, e.lap_id) for e in result.events if e.kind == "unused"}
    # Shorter straight parts than 0.6 s have no room for half a second of it.
    there = {(zone, lap) for zone, s in straight.items() if s > 0.6 for lap in timid}
    assert len(there) >= 16
    assert len(told & there) / len(there) >= 0.95
    assert len(told & there) / len(told) >= 0.95
    assert not [e for e in result.events if e.kind == "double_stab"]


@pytest.mark.slow
def test_without_circuit_or_car_it_still_says_what_it_can(full: Made) -> None:
    result = debrief(DebriefRequest(logs=[full[0]])).result
    assert result.circuit.made_from == "position"
    assert result.circuit.closure_gap_m is not None
    assert result.car_name is None
    assert len(result.zones) >= 11
    assert all(one.grip_use_frac is None for one in result.passes)
    assert any("car file" in one.because for one in result.cannot_tell)


@pytest.mark.slow
def test_a_log_of_another_circuit_is_refused(full: Made, open_data: Callable[[str], Path]) -> None:
    elsewhere = open_data("circuits/tumftm/Zandvoort.csv")
    with pytest.raises(CannotTell, match="where on the circuit"):
        debrief(DebriefRequest(logs=[full[0]], circuit=elsewhere))


@pytest.mark.open_data
@pytest.mark.slow
def test_an_open_log_of_a_real_lap(open_data: Callable[[str], Path]) -> None:
    """Putnam Park at 25 Hz, an autonomous car braking gently (GPL-3.0, Chrosniak et al. 2024)."""
    log = open_data("laps/putnam_av21/Putnam_park2023_run4_2.csv")
    result = debrief(DebriefRequest(logs=[log])).result
    kinds = [lap.kind for lap in result.laps]
    assert kinds[0] == "out"
    assert kinds.count("full") == 1
    # The circuit is 1.78 miles long (common knowledge of the venue, from memory): 2.86 km.
    assert result.circuit.length_m == pytest.approx(2860.0, rel=0.02)
    assert result.circuit.closure_gap_m is not None
    assert result.circuit.closure_gap_m < 5.0
    assert not [one for one in result.events if one.kind == "lock_up"]
    # Its brake channel is a command nobody has named yet: it is there, and that is said.
    assert any("brake_ped_cmd(kPa) is not used" in one.because for one in result.cannot_tell)


@pytest.mark.parametrize(
    ("text", "code"),
    [("{", "plan_unreadable"), ('{"schema": "foreaft.stop/1"}', "plan_unreadable")],
)
def test_what_is_no_plan_is_refused(tmp_path: Path, text: str, code: str) -> None:
    plan = tmp_path / "plan.json"
    plan.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        debrief(DebriefRequest(logs=[tmp_path / "none.csv"], plan=plan))
    assert caught.value.code == code


def test_a_missing_log_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["debrief", str(tmp_path / "none.csv"), "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["schema"] == "foreaft.error/1"


@pytest.mark.slow
def test_without_position_places_come_from_the_curvature(full: Made) -> None:
    """Speed, yaw rate and lateral acceleration alone place most brake points within 3 m."""
    maps = ["Latitude=ignored", "Longitude=ignored"]
    result = debrief(DebriefRequest(logs=[full[0]], maps=maps, **ON_DEMO)).result
    off = brake_errors(result, full[1])
    assert len(off) > 80
    assert np.mean(np.abs(off) < 3.0) > 0.85
    assert np.mean(np.abs(off) < 6.0) > 0.97
    assert "which line was driven" in [one.what for one in result.cannot_tell]


@pytest.mark.slow
def test_speed_and_a_lap_counter_are_enough_on_a_known_circuit(full: Made) -> None:
    """No position and no turning: the way since the line says where, the circuit how it bends."""
    gone = ("Latitude", "Longitude", "Yaw rate", "Acceleration Y", "Steering wheel angle")
    maps = [f"{name}=ignored" for name in gone]
    result = debrief(DebriefRequest(logs=[full[0]], maps=maps, **ON_DEMO)).result
    off = brake_errors(result, full[1])
    assert len(off) > 80
    assert np.mean(np.abs(off) < 6.0) > 0.9
    assert all(one.grip_use_shown_frac is None for one in result.passes)
    assert not [one for one in result.events if one.kind in ("unused", "wide", "rotation")]
    assert "neither position nor turning" in " ".join(one.because for one in result.cannot_tell)
    with pytest.raises(CannotTell) as caught:
        debrief(DebriefRequest(logs=[full[0]], maps=maps))
    assert "give the circuit" in (caught.value.would_settle or "")


@pytest.mark.slow
def test_a_deceleration_made_of_the_position_makes_up_no_events(full: Made) -> None:
    """Time and place alone: zones and brake points hold, what swings by itself is not told."""
    head = full[0].read_text("utf-8").splitlines()
    names = next(line for line in head if line.startswith("Time,")).split(",")
    kept = {"Time", "Latitude", "Longitude"}
    maps = [f"{name}=ignored" for name in names if name not in kept]
    result = debrief(DebriefRequest(logs=[full[0]], maps=maps, circuit=ON_DEMO["circuit"])).result
    off = brake_errors(result, full[1])
    assert np.mean(np.abs(off) < 10.0) > 0.9
    assert not [one for one in result.events if one.kind in ("unused", "double_stab")]
    told = " ".join(one.because for one in result.cannot_tell)
    assert "speed and deceleration are made of the position" in told
    advice = " ".join(one.text for one in result.work_on)
    assert "let the brake off" not in advice
    assert "brake left" not in advice
