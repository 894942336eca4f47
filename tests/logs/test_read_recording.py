"""Channels on one time base, and clocks that rise whatever they were given."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from foreaft.base.errors import InputError
from foreaft.logs.clock import sessions_of
from foreaft.logs.recording import Channel, Recording


def channel(name: str, time: list[float], value: list[float]) -> Channel:
    return Channel(name, name, "", np.array(time), np.array(value), "used")


def recording(*channels: Channel, others: tuple[Channel, ...] = ()) -> Recording:
    by_name = {one.name or "": one for one in channels}
    return Recording("a", "a" * 64, "log.csv", 1, 1, 0.0, by_name, others)


STEPS = [0.0, 0.1, 0.2, 0.3, 5.0, 5.1, 5.2]


def test_short_steps_are_bridged_and_drop_outs_are_not() -> None:
    one = channel("speed_mps", STEPS, [0.0, 1.0, 2.0, 3.0, 50.0, 51.0, 52.0])
    found = one.at(np.array([-0.1, 0.0, 0.05, 0.3, 0.31, 2.0, 4.99, 5.0, 5.15, 5.2, 5.3]))
    nan = np.nan
    true = [nan, 0.0, 0.5, 3.0, nan, nan, nan, 50.0, 51.5, 52.0, nan]
    np.testing.assert_allclose(found, true, atol=1e-12)


def test_what_is_held_is_never_between() -> None:
    one = channel("gear", STEPS, [1.0, 2.0, 2.0, 3.0, 4.0, 5.0, 5.0])
    found = one.at(np.array([0.05, 0.1, 0.29, 2.0, 5.09, 5.25, 9.0]))
    np.testing.assert_array_equal(found, [1.0, 2.0, 2.0, np.nan, 4.0, 5.0, np.nan])


def test_what_was_written_at_its_changes_holds_for_ever() -> None:
    one = channel("setting", [0.0, 60.0, 300.0], [54.0, 55.0, 56.0])
    found = one.at(np.array([59.0, 60.0, 299.0, 1000.0]))
    np.testing.assert_array_equal(found, [54.0, 55.0, 55.0, 56.0])


def test_a_common_time_base() -> None:
    whole = recording(
        channel("speed_mps", [0.0, 1.0, 2.0], [0.0, 10.0, 20.0]),
        channel("gear", [0.5, 1.5], [1.0, 2.0]),
    )
    times, values = whole.common(2.0)
    np.testing.assert_allclose(times, [0.0, 0.5, 1.0, 1.5, 2.0])
    np.testing.assert_allclose(values["speed_mps"], [0.0, 5.0, 10.0, 15.0, 20.0])
    np.testing.assert_array_equal(values["gear"], [np.nan, 1.0, 1.0, 2.0, 2.0])
    assert set(whole.common(2.0, "gear")[1]) == {"gear"}


def test_empty_channels_are_no_trouble() -> None:
    one = channel("speed_mps", [], [])
    assert one.rate_hz == 0.0
    assert np.isnan(one.at(np.array([0.0, 1.0]))).all()
    whole = recording(one)
    assert whole.duration_s == 0.0
    assert whole.samples == 0


def test_what_is_missing_names_what_it_may_be() -> None:
    asked = Channel(
        None, "Speed", "", np.arange(3.0), np.arange(3.0), "asked", "?", ("speed_mps:km/h",)
    )
    whole = recording(others=(asked,))
    with pytest.raises(InputError) as caught:
        whole.need("speed_mps")
    assert '--map "Speed=speed_mps:km/h"' in caught.value.hint
    recording(channel("speed_mps", [0.0], [1.0])).need("speed_mps")


TIMES = st.lists(
    st.one_of(st.integers(-1000, 1000).map(float), st.floats(-200.0, 200.0), st.just(np.nan)),
    max_size=80,
)


@given(TIMES, st.integers(1, 30))
@settings(max_examples=300)
def test_clocks_rise_and_no_row_is_taken_twice(times: list[float], steady: int) -> None:
    clock = np.array([*times, *(1e4 + 0.1 * np.arange(steady))])

    def never(one: np.ndarray, other: np.ndarray) -> np.ndarray:
        return np.zeros(len(one), dtype=bool)

    sessions, _ = sessions_of([clock], None, [never])
    taken = [row for one in sessions for row in one.rows[0].tolist()]
    assert len(taken) == len(set(taken))
    for one in sessions:
        assert (np.diff(one.times[0]) > 0.0).all()
        assert len(one.rows[0]) == len(one.times[0]) >= 10
    for one, after in pairwise(sessions):
        apart = after.times[0][0] - one.times[0][-1]
        assert apart > 60.0 or apart < 0.0  # a pause, or a clock that began anew
