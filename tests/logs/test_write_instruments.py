"""What a logger measures: rates, noise, errors, delays and drop-outs as it says."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2, poisson

from foreaft.base.errors import InputError
from foreaft.logs.channels import CHANNELS
from foreaft.logs.instruments import LOGGERS, Errors, Log, Samples, logger_of, measure
from logs.waves import one_sensor, run

RARE = 1e-5
"""A test of chance fails once in so many seeds; ours are fixed."""


def only(log: Log, name: str, session: int = 0) -> Samples:
    return next(one for one in log.sessions[session].samples if one.name == name)


def level(seconds: float, value: float = 40.0) -> dict[str, np.ndarray]:
    t = np.arange(int(seconds * 100.0) + 1) / 100.0
    return {"time_s": t, "speed_mps": np.full(len(t), value)}


@pytest.mark.parametrize("rate", [1.0, 10.0, 25.0, 100.0, 500.0])
def test_a_sensor_keeps_its_rate(rate: float) -> None:
    one = only(measure([level(60.0)], one_sensor(rate, Errors()), 1), "speed_mps")
    assert len(one.time_s) == int(60.0 * rate) + 1
    np.testing.assert_allclose(np.diff(one.time_s), 1.0 / rate, rtol=0, atol=1e-12)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_noise_has_the_spread_it_says(seed: int) -> None:
    sd, resolution = 0.2, 0.05
    errors = Errors(noise_sd=sd, resolution=resolution)
    one = only(measure([level(600.0)], one_sensor(50.0, errors), seed), "speed_mps")
    count = len(one.value)
    # Rounding adds the variance of an even spread over one step.
    statistic = np.sum((one.value - 40.0) ** 2) / (sd**2 + resolution**2 / 12.0)
    assert chi2.ppf(RARE, count) < statistic < chi2.isf(RARE, count)
    # White: neighbours know nothing of each other; the correlation has a spread of 1 / sqrt(n).
    around = one.value - one.value.mean()
    neighbours = np.sum(around[1:] * around[:-1]) / np.sum(around**2)
    assert abs(neighbours) < 5.0 / np.sqrt(count)


def test_offset_and_scale_are_those_told() -> None:
    made = run(600.0)
    log = measure([made], one_sensor(100.0, Errors(0.1, 0.5, 0.05)), 7)
    told, one = log.errors[0], only(log, "speed_mps")
    slope, offset = np.polyfit(made["speed_mps"], one.value, 1)
    about = made["speed_mps"] - made["speed_mps"].mean()
    spread = 0.1 / np.sqrt(np.sum(about**2))
    assert abs(slope - (1.0 + told.scale)) < 5.0 * spread
    assert abs(offset - told.offset) < 5.0 * spread * made["speed_mps"].mean()
    assert told.scale != 0.0
    assert told.offset != 0.0


def test_drawn_errors_scatter_as_they_say() -> None:
    drawn = [measure([level(1.0)], one_sensor(10.0, Errors(0, 0.5, 0.02)), s) for s in range(300)]
    for name, sd in (("offset", 0.5), ("scale", 0.02)):
        values = np.array([getattr(one.errors[0], name) for one in drawn])
        statistic = np.sum(values**2) / sd**2
        assert chi2.ppf(RARE, 300) < statistic < chi2.isf(RARE, 300)


def test_a_sensor_is_as_late_as_it_says() -> None:
    made = run()
    one = only(measure([made], one_sensor(100.0, Errors(), delay_s=0.25), 1), "speed_mps")
    late = one.time_s >= 0.25
    true = 45.0 + 12.0 * np.sin(0.05 * 2.0 * np.pi * (one.time_s - 0.25))
    # Between two samples a wave is off the straight line by (2 pi f step)^2 / 8 of its size.
    np.testing.assert_allclose(one.value[late], true[late], rtol=0, atol=12.0 * 0.00314**2 / 8)


def test_a_step_comes_through_a_filter_as_an_exponential() -> None:
    made = level(5.0, 0.0)
    made["speed_mps"][100:] = 1.0
    one = only(measure([made], one_sensor(100.0, Errors(), low_pass_s=0.5), 1), "speed_mps")
    # The sample at which the step stands has already moved one step of time on.
    expected = 1.0 - np.exp(-(one.time_s[100:] - 1.0 + 0.01) / 0.5)
    np.testing.assert_allclose(one.value[100:], expected, rtol=0, atol=1e-12)


def test_a_wander_has_its_spread_and_its_time() -> None:
    errors = Errors(wander_sd=2.0, wander_s=1.0)
    one = only(measure([level(4000.0)], one_sensor(10.0, errors), 3), "speed_mps")
    around = one.value - 40.0
    # As good as one independent number every two time constants.
    assert abs(np.std(around) / 2.0 - 1.0) < 5.0 / np.sqrt(2.0 * 4000.0 / 2.0)
    after_one = np.corrcoef(around[10:], around[:-10])[0, 1]
    assert abs(after_one - np.exp(-1.0)) < 5.0 / np.sqrt(4000.0 / 2.0)


def test_drop_outs_come_as_often_and_last_as_long_as_asked() -> None:
    logger = one_sensor(10.0, Errors(), drop_outs_per_h=20.0, drop_out_s=3.0)
    runs = [level(3600.0) for _ in range(10)]
    log = measure(runs, logger, 5)
    found = [one for session in log.sessions for one in session.drop_outs]
    # Two that touch are one: of 200 about 200 x 20/h x 3 s = 3 do.
    assert poisson.ppf(RARE, 190.0) <= len(found) <= poisson.isf(RARE, 200.0)
    lengths = np.array([one.duration_s for one in found])
    assert abs(lengths.mean() - 3.0) < 5.0 * 3.0 / np.sqrt(len(found))
    for number, session in enumerate(log.sessions):
        time = only(log, "speed_mps", number).time_s
        missing = int(3600.0 * 10.0) + 1 - len(time)
        silent = sum(one.duration_s for one in session.drop_outs)
        assert abs(missing - 10.0 * silent) <= len(session.drop_outs)
        for one in session.drop_outs:
            assert not np.any((time >= one.start_s) & (time <= one.start_s + one.duration_s))


def test_a_setting_is_written_when_it_changes_and_at_the_end() -> None:
    made = run(25.0)
    one = only(measure([made], logger_of("full"), 1), "setting")
    assert one.time_s.tolist() == [0.0, 10.0, 20.0, 25.0]
    assert one.value.tolist() == [54.5, 54.0, 53.5, 53.5]


def test_the_clean_logger_measures_what_was() -> None:
    made = run(10.0)
    log = measure([made], logger_of("clean"), 1)
    assert {one.name for one in log.sessions[0].samples} == set(CHANNELS) - {"time_s"}
    for one in log.sessions[0].samples:
        np.testing.assert_array_equal(one.value, made[one.name])
        np.testing.assert_array_equal(one.time_s, made["time_s"])


def test_one_channel_does_not_depend_on_the_others() -> None:
    made = run(20.0)
    few = {name: made[name] for name in ("time_s", "yaw_rate_radps", "pressure_rear_Pa")}
    whole, part = (measure([one], logger_of("dirty"), 9) for one in (made, few))
    for name in ("yaw_rate_radps", "pressure_rear_Pa"):
        np.testing.assert_array_equal(only(whole, name).value, only(part, name).value)


def test_another_seed_is_another_log() -> None:
    one, same, other = (measure([run(5.0)], logger_of("full"), seed) for seed in (1, 1, 2))
    np.testing.assert_array_equal(only(one, "speed_mps").value, only(same, "speed_mps").value)
    assert one.errors == same.errors
    assert one.errors != other.errors
    assert np.any(only(one, "speed_mps").value != only(other, "speed_mps").value)


def test_sessions_share_a_logger_but_not_its_noise() -> None:
    log = measure([level(10.0), level(10.0)], one_sensor(100.0, Errors(0.1, 1.0)), 4)
    first, second = (only(log, "speed_mps", n).value for n in (0, 1))
    assert np.any(first != second)
    assert abs(first.mean() - second.mean()) < 5.0 * 0.1 * np.sqrt(2.0 / len(first))


@pytest.mark.parametrize("name", LOGGERS)
def test_loggers_measure_channels_of_the_catalogue(name: str) -> None:
    names = [channel for sensor in LOGGERS[name].sensors for channel in sensor.channels]
    assert set(names) <= set(CHANNELS)
    assert len(names) == len(set(names))


@given(st.floats(1e-4, 100.0), st.floats(-1e3, 1e3))
@settings(max_examples=50)
def test_rounding_keeps_to_its_steps(resolution: float, value: float) -> None:
    log = measure([level(1.0, value)], one_sensor(10.0, Errors(resolution=resolution)), 1)
    found = only(log, "speed_mps").value
    assert np.all(np.abs(found - value) <= 0.51 * resolution + 1e-9)


def bad(**changes: np.ndarray) -> list[dict[str, np.ndarray]]:
    return [level(1.0) | changes]


@pytest.mark.parametrize(
    "runs",
    [
        [],
        [{}],
        [{"time_s": np.zeros(1), "speed_mps": np.zeros(1)}],
        bad(time_s=np.zeros(101)),
        bad(speed_mps=np.zeros(7)),
        bad(speed_mps=np.full(101, np.inf)),
        [{"time_s": np.arange(101.0)}],
        [{"time_s": np.array([0.0, 1e9]), "speed_mps": np.zeros(2)}],
    ],
    ids=["none", "empty", "one sample", "no time", "shape", "infinite", "nothing", "a lifetime"],
)
def test_what_is_no_run_is_refused(runs: list[dict[str, np.ndarray]]) -> None:
    with pytest.raises(InputError) as caught:
        measure(runs, one_sensor(100.0, Errors()), 1)
    assert caught.value.code == "not_recordable"
    assert caught.value.hint


def test_an_unknown_logger_is_refused() -> None:
    with pytest.raises(InputError, match="no such logger"):
        logger_of("perfect")
