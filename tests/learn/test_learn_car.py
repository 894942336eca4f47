"""What learn writes: the anchor of the car file, and what a single braking may not say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from foreaft.laps.brakings import brakings
from foreaft.laps.series import series_of
from foreaft.learn import car as lc
from foreaft.learn import crossover as cr
from foreaft.learn import foot
from foreaft.learn import straight as st
from foreaft.learn.fit import Fit
from foreaft.learn.observe import Observed, observe
from foreaft.learn.verdict import Column, judge
from foreaft.logs.recording import Channel
from foreaft.model.car import draw, vectors
from foreaft.model.conditions import Conditions
from foreaft.physics import tyre as tab
from foreaft.physics.motion import crossover_share
from learn.learn_coverage import Case, case_of

Learnt = tuple[Case, Observed, lc.Known, Fit, cr.Crossover]


@pytest.fixture(scope="module")
def learnt() -> Learnt:
    """A mid-engined GT, stopped at both ends of its adjuster, and what is learned of it."""
    case = case_of(100_004, ends=True, stops=3)
    seen = observe(series_of(case.recording))
    what = lc.known(case.prior, Conditions(), None, 1)
    ratio = lc.ratio_of(seen, what)
    assert ratio is not None
    shown = cr.crossover(seen, ratio)
    assert shown is not None
    return case, seen, what, lc.fitted(seen, what, 1), shown


def test_a_crossover_that_is_learned_becomes_the_anchor(learnt: Learnt) -> None:
    case, seen, what, found, shown = learnt
    place = lc.crossover_of(what, found, shown)
    assert place.inside
    judged = [judge(one, seen.firm) for one in lc.columns_of(seen, what, found)]
    told = lc.lock_crossover(what, found, place)
    assert told is not None
    anchor = lc.written(what, found, judged, told, "draws.csv", "a log").car.anchor
    assert anchor is not None
    assert anchor.first_to_let_go == "together"
    # The true car at the limit: where its share is what lets both ends go together.
    true = vectors(case.truth, draw(case.truth, 0, 0), Conditions())
    even = crossover_share(true.vector[0], true.table[0], lc.LOCK_SPEED_MPS)
    lock = float(np.interp(even, true.share[0], true.settings))
    assert told.low <= lock <= told.high
    assert told.high - told.low < 0.5 * (case.settings[-1] - case.settings[0])
    assert case.prior.adjuster is not None
    assert abs(anchor.setting - told.setting) <= 0.5 * case.prior.adjuster.step
    # Where both slip alike in a gentler stop is another setting, and further from that.
    assert abs(anchor.setting - lock) < abs(place.setting - lock)
    assert what.car.anchor is not None
    assert anchor.setting != what.car.anchor.setting


def test_without_both_sides_of_it_the_anchor_stays_as_it_was_asked(learnt: Learnt) -> None:
    _, seen, what, found, shown = learnt
    judged = [judge(one, seen.firm) for one in lc.columns_of(seen, what, found)]
    for place in (None, replace(shown, driven=(-23.0, -22.0))):
        lock = lc.lock_crossover(what, found, place)
        assert lock is None
        car = lc.written(what, found, judged, lock, "draws.csv", "a log").car
        assert car.anchor == what.car.anchor


def test_cars_that_do_not_agree_with_the_slips_leave_the_crossover_to_them(learnt: Learnt) -> None:
    _, _, what, found, shown = learnt
    far = replace(shown, setting=500.0, low=499.0, high=501.0)
    told = lc.crossover_of(what, found, far)
    assert told.setting == far.setting
    # As wide as the straight line may bend, and no narrower than its scatter.
    assert told.low < far.low
    assert told.high > far.high


def test_a_straight_line_that_bends_a_little_does_not_overrule_the_cars(learnt: Learnt) -> None:
    _, _, what, found, shown = learnt
    place = lc.crossover_of(what, found, shown)
    reach = 0.5 * (place.high - place.low)
    near = replace(
        shown,
        setting=place.high + 1.5 * reach,
        low=place.high + 0.5 * reach,
        high=place.high + 2.5 * reach,
    )
    assert lc.crossover_of(what, found, near).setting == place.setting


def test_one_braking_contradicts_no_file() -> None:
    z = np.random.default_rng(4).standard_normal(4000)
    column = Column("x", "", z, 4.0 + 0.3 * z, 4.0)
    assert judge(column, 3).verdict == "contradictory"
    one = judge(column, 1)
    assert one.verdict == "not_identifiable"
    assert one.estimate is None


def test_slip_gives_as_the_curve_says(learnt: Learnt) -> None:
    """Against a difference of the slips themselves at one part in a thousand less grip."""
    case = learnt[0]
    made = vectors(case.truth, draw(case.truth, 0, 0), Conditions())
    car, table = made.vector[0], made.table[0]
    decel = np.array([3.0, 6.0, 9.0])
    act = st.acting(car, st.Moments(30.0 + 0.0 * decel, decel, decel > 0.0, 0.6 + 0.0 * decel))
    less = table.copy()
    less[:, tab.MU_X : tab.MU_X + tab.LOAD_KNOTS] *= 0.999
    before, after = st.slips(table, act), st.slips(less, act)
    for told, a, b in zip(st.give(table, *before), before, after, strict=True):
        assert told == pytest.approx((b - a) / 0.001, rel=0.03)  # curves are tables of 401 points


def test_brakings_whose_first_touch_passes_the_peak_are_used_after_it(learnt: Learnt) -> None:
    """A wheel that dips for a moment and comes back spoils that moment, not the braking."""
    case, seen = learnt[0], learnt[1]
    log, name = case.recording, "wheel_speed_front_left_radps"
    braked = np.unique(seen.pieces.braking[seen.pieces.braked])
    begin = [seen.pieces.time_s[seen.pieces.braking == one].min() - 0.6 for one in braked]
    one = log[name]
    dip = np.any([np.abs(one.time_s - t) < 0.03 for t in begin], axis=0)
    dipped = Channel(name, name, "", one.time_s, np.where(dip, 0.85 * one.value, one.value), "used")
    again = observe(series_of(replace(log, channels={**log.channels, name: dipped})))
    assert again.plateaus >= len(braked)
    assert again.firm >= 0.8 * seen.firm


def test_stops_at_two_pedals_asked_for_are_two_groups() -> None:
    asked = [("56", level) for level in (0.54, 0.55, 0.56, 0.75, 0.74, 0.76)]
    assert len({name for name, _ in foot.alike(asked)}) == 2
    # Nobody can say whether this driver meant it: the stops are left out.
    unsure = [("56", level) for level in (0.50, 0.62, 0.66, 0.85)]
    assert foot.alike(unsure) == []


def test_the_mean_depth_of_zones_that_differ_has_an_interval_that_holds_it() -> None:
    """Eight zones from 0.1 to 0.9 deep, six passes each: missed about once in ten."""
    rng = np.random.default_rng(6)
    deep = np.linspace(0.1, 0.9, 8)
    inside, wide = 0, []
    for _ in range(200):
        rows = [
            (zone, mean + 0.08 * float(rng.standard_normal()))
            for zone, mean in enumerate(deep)
            for _ in range(6)
        ]
        found = foot.mean_of(rows)
        assert found is not None
        inside += found.low <= 0.5 <= found.high
        wide.append(found.high - found.low)
    # 180 expected; three standard deviations of a binomial are 13.
    assert 167 <= inside <= 193
    # 0.08 over the root of 48 passes; not what zones differ by, 0.27.
    assert np.median(wide) == pytest.approx(2.0 * 1.68 * 0.08 / np.sqrt(48.0), rel=0.1)


def test_laps_tell_a_depth_no_finer_than_its_places_and_a_scatter_no_smaller() -> None:
    """Passes that agree to the last figure leave the doubt about turn-in and apex, 0.05 at 1.645
    standard deviations; what a driver corrects on laps lets the scatter reach down, never up."""
    found = foot.depth([(zone, 0.5) for zone in range(8) for _ in range(6)])
    assert found is not None
    assert (found.low, found.high) == pytest.approx((0.5 - 0.0822, 0.5 + 0.0822), abs=1e-4)
    levels = [(k, 1.0 + 0.05 * (-1) ** n) for k in range(4) for n in range(6)]
    bare, lapped = foot.scatter(levels), foot.scatter_of_laps(levels)
    assert bare is not None
    assert lapped is not None
    assert lapped.low < 0.6 * bare.low
    assert (lapped.value, lapped.high) == (bare.value, bare.high)


def test_a_pedal_let_go_from_the_hit_on_was_not_held(learnt: Learnt) -> None:
    """Into a turn the foot comes off all the way: what differs there is not how it holds."""
    series = series_of(learnt[0].recording)
    one = brakings(series)[0]
    level = foot.held(series, one)
    assert level is not None
    assert series.brake_frac is not None
    since = np.arange(len(series.time_s)) / series.rate_hz - one.start / series.rate_hz
    fading = series.brake_frac * np.clip(1.0 - 0.4 * np.maximum(since - 0.3, 0.0), 0.0, 1.0)
    assert foot.held(replace(series, brake_frac=fading), one) is None
    # Held for a second and let go then: what was held counts, and not the rest.
    late = series.brake_frac * np.clip(1.0 - 0.8 * np.maximum(since - 1.7, 0.0), 0.0, 1.0)
    assert foot.held(replace(series, brake_frac=late), one) == pytest.approx(level, rel=0.04)
