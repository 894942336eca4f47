"""What learn says of logs by the car in motion: near the truth where it can, silent where not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from foreaft.laps.series import series_of
from foreaft.learn import car as lc
from foreaft.learn import crossover as cr
from foreaft.learn import settle
from foreaft.learn import straight as st
from foreaft.learn.observe import Observed, observe
from foreaft.learn.verdict import Judged, judge
from foreaft.logs.instruments import LOGGERS
from foreaft.logs.mapping import typed
from foreaft.logs.read import read_log
from foreaft.logs.recording import Channel, Recording
from foreaft.model.car import draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import layout as at
from learn.learn_coverage import Case, case_of, prior_of, true_crossover

WHEELS = tuple(
    f"wheel_speed_{end}_{side}_radps" for end in ("front", "rear") for side in ("left", "right")
)
PRESSURES = ("pressure_front_Pa", "pressure_rear_Pa")


@pytest.fixture(scope="module")
def ends() -> Case:
    """A mid-engined GT, stopped at both ends of its adjuster."""
    case = case_of(100_004, ends=True, stops=3)
    assert case.prior.id == "gt-mid"
    return case


def told(case: Case, recording: Recording) -> tuple[Observed, lc.Known, dict[str, list[Judged]]]:
    seen = observe(series_of(recording))
    what = lc.known(case.prior, Conditions(), None, 1)
    found = lc.fitted(seen, what, 1)
    judged: dict[str, list[Judged]] = {}
    for column in lc.columns_of(seen, what, found):
        judged.setdefault(column.key, []).append(judge(column))
    return seen, what, judged


def without(recording: Recording, *names: str) -> Recording:
    kept = {name: one for name, one in recording.channels.items() if name not in names}
    return replace(recording, channels=kept)


def changed(
    recording: Recording, name: str, value: Callable[[np.ndarray], np.ndarray]
) -> Recording:
    one = recording[name]
    new = Channel(name, name, "", one.time_s, value(one.value), "used")
    return replace(recording, channels={**recording.channels, name: new})


def test_force_share_within_a_hundredth_with_wheels_pressures_and_both_ends(ends: Case) -> None:
    _, _, judged = told(ends, ends.recording)
    assert len(judged["force_share_frac"]) == 2
    for one in judged["force_share_frac"]:
        assert one.verdict == "learned"
        assert one.estimate == pytest.approx(
            ends.numbers[f"force_share_frac@{one.setting:g}"], abs=0.01
        )


def test_the_crossover_holds_the_true_one(ends: Case) -> None:
    seen, what, _ = told(ends, ends.recording)
    ratio = lc.ratio_of(seen, what)
    assert ratio is not None
    place = cr.crossover(seen, ratio)
    assert place is not None
    true = true_crossover(ends, place.decel_mps2, place.speed_mps)
    assert place.low <= true <= place.high


def test_equal_line_pressures_without_wheels_are_no_half_share(ends: Case) -> None:
    """One setting, both pressures the same: nothing says how much of the force is in front."""
    log = without(ends.recording, *WHEELS, "setting")
    rear = changed(log, "pressure_rear_Pa", lambda _: log["pressure_front_Pa"].value)
    seen = observe(series_of(rear), setting=0.0)
    what = lc.known(ends.prior, Conditions(), None, 1)
    judged = [judge(one) for one in lc.columns_of(seen, what, lc.fitted(seen, what, 1))]
    share = next(one for one in judged if one.key == "force_share_frac")
    assert share.verdict == "not_identifiable"
    assert share.estimate is None
    where = settle.situation_of(seen)
    assert "pistons" in settle.because(share, where)
    assert settle.would_settle(share, where) == settle.STOPS


def test_cars_without_a_share_at_the_end_of_the_adjuster_are_left_out() -> None:
    """A wide range of what a step does reaches past everything in front for some cars."""
    prior = prior_of("touring-front-drive")
    what = lc.known(prior, Conditions(), None, 1)
    wild = what.prior.draws[:6].copy()
    wild[2:4, what.prior.keys.index("brakes.front_share_frac")] = 0.985
    assert what.possible(wild).tolist() == [True, True, False, False, True, True]


def test_without_a_setting_the_share_is_nobodys(ends: Case) -> None:
    seen, _, judged = told(ends, without(ends.recording, "setting"))
    assert "force_share_frac" not in judged
    assert judged["brakes.front_share_frac"][0].verdict in ("not_identifiable", "not_attempted")
    assert settle.next_test(settle.situation_of(seen)).startswith("say what the adjuster showed")


@pytest.mark.parametrize("noise", [0.02, 0.05])
def test_slip_in_the_noise_widens_or_refuses(ends: Case, noise: float) -> None:
    """The same stops with wheel sensors far worse: no axle is told from the other."""
    log = without(ends.recording, *PRESSURES, "brake_pedal_frac")
    rng = np.random.default_rng(1)
    for name in WHEELS:
        log = changed(log, name, lambda v: v * (1.0 + noise * rng.standard_normal(len(v))))
    seen, what, judged = told(ends, log)
    ratio = lc.ratio_of(seen, what)
    assert ratio is None or cr.crossover(seen, ratio) is None
    assert all(one.verdict != "learned" for one in judged.get("force_share_frac", []))
    assert judged["brakes.front_share_frac"][0].verdict != "learned"


def test_outliers_move_the_share_by_little(ends: Case) -> None:
    """Every tenth second one wheel speed is nonsense for a moment."""
    log = ends.recording
    name = WHEELS[0]
    wild = changed(log, name, lambda v: np.where(np.arange(len(v)) % 1000 < 15, 1.3 * v, v))
    _, _, clean = told(ends, log)
    _, _, dirty = told(ends, wild)
    for one, other in zip(clean["force_share_frac"], dirty["force_share_frac"], strict=True):
        assert other.estimate == pytest.approx(one.estimate, abs=0.01)


def test_pieces_stop_where_a_wheel_passes_its_peak(ends: Case) -> None:
    """A plateau of the grip, or of anti-lock, is not taken for a brake that does nothing more."""
    log = ends.recording
    seen = observe(series_of(log))
    late = seen.pieces.time_s[seen.pieces.braked].max()
    for name in WHEELS[:2]:  # both front wheels stand from the last braking's middle on
        time = log[name].time_s
        log = changed(log, name, lambda v, t=time: np.where(t > late - 0.8, 0.1 * v, v))  # type: ignore[misc]
    locked = observe(series_of(log))
    braked = locked.pieces.time_s[locked.pieces.braked]
    assert braked.max() < late - 0.8
    assert locked.plateaus == seen.plateaus + 1


@pytest.mark.open_data
def test_gentle_braking_of_a_real_car_refuses_the_share(open_data: Callable[[str], Path]) -> None:
    """Slips at the noise, radii off by a calibration error, one line pressure that is a command."""
    file = open_data("laps/putnam_av21/Putnam_park2023_run4_2.csv")
    log = read_log(file, None, typed(["brake_ped_cmd(kPa)=pressure_front_Pa:kPa"]))
    seen = observe(series_of(log.recordings[0]), setting=0.0)
    what = lc.known(prior_of("single-seater-wings"), Conditions(), None, 1)
    # The command is written some tenths of a second after what it does; nothing is moved by that.
    assert seen.delay_s is not None
    assert -0.4 < seen.delay_s < -0.1
    found = lc.columns_of(seen, what, lc.fitted(seen, what, 1, False))
    judged = [judge(one, seen.firm) for one in found]
    assert "contradictory" not in {one.verdict for one in judged}  # one braking says too little
    share = next(one for one in judged if one.key == "force_share_frac")
    assert share.verdict in ("not_identifiable", "narrowed")
    assert share.narrower_to > 0.5
    # A road speed made of turns holds a radius of the logger's own: nothing of the car's is read.
    radius = next(one for one in judged if one.key == "wheel.radius_front_m")
    assert radius.verdict == "not_identifiable"
    # What is read is how the four differ: by half a percent, to within a tenth of that.
    assert np.ptp(seen.radius_m) / seen.radius_m.mean() > 0.003
    assert np.nanmax(seen.radius_error_m / seen.radius_m) < 0.002


@pytest.mark.parametrize("seed", [510_003, 510_005, 510_006])
def test_what_is_fitted_is_what_the_car_in_motion_does(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the true numbers, by a logger without errors, nothing is left over in the middle.

    Wheels that slip slow down by less than the car: left out, 3e-3 of the deceleration is missing.
    A mean of speeds beside a mean of their logarithms is 2e-3 of slip.
    """
    monkeypatch.setitem(LOGGERS, "full", LOGGERS["clean"])
    case = case_of(seed, ends=True)
    made = vectors(case.truth, draw(case.truth, 0, 0), Conditions())
    p = observe(series_of(case.recording)).pieces
    p = p.of(p.braked)
    share = np.interp(p.setting, made.settings, made.share[0])
    car, table = made.vector[0], made.table[0]
    when = st.Moments(p.speed_mps, p.decel_mps2, p.braked, share, p.change_mps3)
    front, rear = st.settled(car, table, when)
    force = sum(
        case.numbers[f"gain_{axle}_N_per_Pa"] * getattr(p, f"{axle}_Pa")
        for axle in ("front", "rear")
    )
    decel = st.decel_of(car, p.speed_mps, force, front, rear)
    slow = p.speed_mps < 22.0
    assert slow.sum() > 5
    assert np.median(np.log(p.decel_mps2 / decel)) == pytest.approx(0.0, abs=6e-4)
    slip = 1.0 - np.exp(p.wheel_front) * car[at.RADIUS_FRONT] / p.speed_mps
    assert np.median((slip - front)[slow]) == pytest.approx(0.0, abs=9e-4)
