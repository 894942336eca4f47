"""Sampled cars: the nominal one first, the same seed the same bytes, and only cars that fit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from foreaft.base.errors import Cancelled, CannotTell, InputError
from foreaft.files.classes import load_class
from foreaft.jobs.load import anchored, known_adjuster, load_driver
from foreaft.jobs.requests import Quick
from foreaft.jobs.situation import SIDE_USE, gentle_decel
from foreaft.model.car import Car, draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.plan import ensemble
from foreaft.plan.anchor import anchored_shares, straight_crossover
from foreaft.plan.arrange import ZoneArrays, ZoneRoad, arrange
from foreaft.plan.ensemble import apex_speeds, fields, gather
from foreaft.plan.human import driver_row
from foreaft.track.sheet import sheet_stations

DRY = Conditions()
SAMPLES = 10


def quick_car(first: str = "front", higher: str = "front", **told: Any) -> Car:
    """A mid-engined GT of which the class and the answers to three questions are known."""
    answers = Quick(today=54.0, higher=higher, first=first, **told)
    return anchored(load_class("gt-mid"), answers)


def zones(*rows: tuple[float, float, float]) -> ZoneArrays:
    """Typed zones: approach and apex speed [m/s], radius [m]."""
    roads = []
    for approach, apex, radius in rows:
        road = sheet_stations(approach, apex, radius, 0.6, "left")
        stations = road.stations
        roads.append(
            ZoneRoad(
                stations=stations,
                reach_mps=np.full(len(stations.s_m), approach),
                turn_in_s_m=float(stations.s_m[road.turn_in_at]),
                apex_s_m=float(stations.s_m[road.apex_at]),
                approach_mps=approach,
                apex_mps=apex,
                depth_frac=0.6,
                at_turn_in_frac=0.4,
                room_m=stations.length_m,
            )
        )
    return arrange(roads, gentle_decel(quick_car(), DRY))


TWO = ((60.0, 20.0, 35.0), (55.0, 35.0, 95.0))


def test_first_row_is_the_nominal_car() -> None:
    car = quick_car("together")
    cars = gather(car, DRY, 3, SAMPLES, None)
    alone = gather(car, DRY, 99, 0, None)
    assert cars.nominal_fits
    assert len(cars.arrays.vector) == SAMPLES + 1
    for one, other in zip(cars.arrays[:2], alone.arrays[:2], strict=True):
        assert one[0].tobytes() == other[0].tobytes()
    assert cars.draws["mass_kg"][0] == pytest.approx(1360.0)  # middle of 1300 to 1420
    assert np.ptp(cars.draws["mass_kg"]) > 0.0


def test_same_seed_same_bytes_other_seed_other_cars() -> None:
    one, same, other = (gather(quick_car(), DRY, seed, SAMPLES, None) for seed in (5, 5, 6))
    for a, b in zip(one.arrays, same.arrays, strict=True):
        assert a.tobytes() == b.tobytes()
    assert one.arrays.vector[1:].tobytes() != other.arrays.vector[1:].tobytes()
    assert one.arrays.share[1:].tobytes() != other.arrays.share[1:].tobytes()


def test_threads_do_not_change_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    cars = gather(quick_car(), DRY, 2, SAMPLES, None)
    row, places = driver_row(load_driver("club")[0]), zones(*TWO)
    answers = []
    for threads in (1, 4):
        monkeypatch.setattr(ensemble, "THREADS", threads)
        answers.append(fields(cars.arrays, places, row, SIDE_USE).tobytes())
    assert answers[0] == answers[1]


def test_cancel_is_heard_between_cars() -> None:
    cars = gather(quick_car(), DRY, 2, SAMPLES, None)
    row = driver_row(load_driver("club")[0])
    seen: list[int] = []
    with pytest.raises(Cancelled):
        fields(
            cars.arrays,
            zones(*TWO),
            row,
            SIDE_USE,
            lambda done, of: seen.append(done),
            lambda: len(seen) >= 3,
        )
    assert 3 <= len(seen) < SAMPLES + 1


@pytest.mark.parametrize(
    ("first", "low", "high"),
    [("front", 0.0, 0.2), ("rear", -0.2, 0.0), ("together", -0.03, 0.03)],
)
def test_todays_setting_lies_on_the_told_side_of_the_crossover(
    first: str, low: float, high: float
) -> None:
    cars = gather(quick_car(first), DRY, 4, SAMPLES, None)
    at_today = cars.arrays.share[:, list(cars.arrays.settings).index(54.0)]
    ahead = at_today - cars.crossover_share
    assert np.all((ahead >= low) & (ahead <= high))


@pytest.mark.parametrize("higher", ["front", "rear"])
def test_share_rises_the_way_the_adjuster_counts(higher: str) -> None:
    cars = gather(quick_car(higher=higher), DRY, 4, SAMPLES, None)
    steps = np.diff(cars.arrays.share, axis=1)
    assert np.all(steps > 0.0 if higher == "front" else steps < 0.0)


@pytest.mark.parametrize("grip", [0.6, 1.2])
def test_what_was_seen_in_the_dry_is_not_read_by_the_grip_of_another_day(grip: float) -> None:
    """The adjuster's numbers and the cars that fit the anchor are the same in any weather."""
    car, day = quick_car(), DRY.replace(grip_scale=grip)
    dry, other = gather(car, DRY, 1, 8, None), gather(car, day, 1, 8, None)
    np.testing.assert_array_equal(other.arrays.share, dry.arrays.share)
    for key, values in dry.draws.items():
        np.testing.assert_array_equal(other.draws[key], values)
    less = np.sign(1.0 - grip)  # with less grip less load goes forward
    assert (less * (dry.crossover_share - other.crossover_share) > 0.01).all()


def test_mid_corner_answers_keep_cars_of_their_kind() -> None:
    """What pushes has a stiff front axle and grip at the rear: common practice, no source."""
    pushes, neutral = (
        gather(quick_car(mid_corner=word), DRY, 4, 64, None) for word in ("pushes", "neutral")
    )
    for key in ("roll_front_frac", "tyre.rear_grip_frac"):
        assert pushes.draws[key][1:].mean() > neutral.draws[key][1:].mean()
    assert 0.0 < neutral.kept_frac < 1.0


def test_apex_speeds_follow_the_grip_of_the_class() -> None:
    """At the least and the most friction of the class, 20 m/s needs no more and no less radius."""
    car = quick_car()
    arrays = vectors(car, draw(car, 1, 30), DRY)
    # 2.5 g at 20 m/s is beyond any tyre of the class; 1 g is not.
    assert np.all(apex_speeds(arrays, zones((60.0, 20.0, 400.0 / 24.5))) < 20.0)
    assert np.all(apex_speeds(arrays, zones((60.0, 20.0, 400.0 / 9.8))) > 20.0)


def test_sheet_no_car_can_drive_cannot_be_told() -> None:
    with pytest.raises(CannotTell) as told:
        gather(quick_car(), DRY, 1, SAMPLES, zones((60.0, 20.0, 400.0 / 24.5)))
    assert "corner" in str(told.value)


def test_anchor_that_contradicts_the_car_cannot_be_told() -> None:
    """A known share far forward of the crossover, and still the rear is said to go first."""
    car = load_class("gt-mid")
    adjuster = car.adjuster
    assert adjuster is not None
    known = adjuster.replace(
        meaning="torque_share", min=60.0, max=90.0, step=1.0, higher_means="front",
        reference_setting=None, share_per_unit_frac=None,
    )  # fmt: skip
    car = car.replace(
        adjuster=known,
        brakes=car.brakes.replace(front_share_frac=None),
        anchor={"setting": 88.0, "first_to_let_go": "rear"},
    )
    with pytest.raises(CannotTell):
        gather(car, DRY, 1, SAMPLES, None)
    fits = car.replace(anchor={"setting": 88.0, "first_to_let_go": "front"})
    assert gather(fits, DRY, 1, SAMPLES, None).kept_frac == 1.0


def test_unknown_direction_is_refused() -> None:
    car = load_class("gt-mid")
    with pytest.raises(CannotTell) as told:
        known_adjuster(car)
    assert "higher_means" in str(told.value)
    told_today = quick_car()
    adjuster = told_today.adjuster
    assert adjuster is not None
    unknown = told_today.replace(adjuster=adjuster.replace(higher_means=None))
    draws = draw(told_today, 1, 3)
    arrays = vectors(told_today, draws, DRY)
    crossover = straight_crossover(arrays.vector, arrays.table, 30.0)
    with pytest.raises((CannotTell, InputError)):
        anchored_shares(unknown, arrays, draws, crossover, 1)


def test_unknown_number_without_anchor_is_refused() -> None:
    car = load_class("gt-mid")
    assert car.adjuster is not None
    car = car.replace(adjuster=car.adjuster.replace(higher_means="front"))
    with pytest.raises(CannotTell):
        known_adjuster(car)
