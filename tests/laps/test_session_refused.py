"""What holds no braking, or no movement, is refused with a reason."""

from __future__ import annotations

import numpy as np
import pytest

from foreaft.base.errors import CannotTell
from foreaft.laps.brakings import brakings
from foreaft.laps.series import series_of
from foreaft.laps.session import look_at
from laps.driven import Driven, recording_of, session


@pytest.fixture(scope="module")
def driven() -> Driven:
    return session(3, uses=(0.9, 0.8, 0.9, 0.9, 0.9), start_s_m=300.0, extra_s_m=400.0)


def changed(driven: Driven, **values: float):
    """The run with some channels held at one value; a speed is that of the way driven too."""
    time = driven.recording["speed_mps"].time_s
    kept = ("speed_mps", "lap_count", "position_x_m", "position_y_m", "yaw_rate_radps")
    columns = {name: driven.recording[name].value for name in kept}
    return recording_of(columns | {k: np.full(len(time), v) for k, v in values.items()}, time)


def test_a_run_without_braking_has_no_brakings(driven: Driven) -> None:
    assert brakings(series_of(changed(driven, speed_mps=25.0))) == ()


def test_a_run_without_braking_is_refused(driven: Driven) -> None:
    with pytest.raises(CannotTell, match="never brakes"):
        look_at(changed(driven, speed_mps=25.0))


def test_a_car_that_stands_is_refused(driven: Driven) -> None:
    with pytest.raises(CannotTell, match="does not move"):
        look_at(changed(driven, speed_mps=0.0))


def test_a_pass_across_a_hole_in_the_log_is_left_out(driven: Driven) -> None:
    """Three seconds without a row, from before a brake point: nothing is known of that pass."""
    time = driven.recording["speed_mps"].time_s
    names = ("speed_mps", "lap_count", "position_x_m", "position_y_m", "yaw_rate_radps")
    whole = {name: driven.recording[name].value for name in names}
    before = look_at(recording_of(whole, time))
    spoilt = before.passes[len(before.passes) // 2]
    at = float(time[int(spoilt.braking.start)])
    kept = (time < at - 1.0) | (time > at + 2.0)
    after = look_at(recording_of({k: v[kept] for k, v in whole.items()}, time[kept]))
    starts = [float(after.series.time_s[int(one.braking.start)]) for one in after.passes]
    assert len(after.passes) == len(before.passes) - 1
    assert not [start for start in starts if at - 1.2 < start < at + 2.2]
