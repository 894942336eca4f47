"""A thousand trials with nothing to find, and a thousand with something: rates as promised."""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt

import numpy as np
import pytest
from numpy.typing import NDArray

from foreaft.learn import design as de
from foreaft.learn import statistics as st
from foreaft.learn import trial as tr

TRIALS, LEVEL = 1000, 0.05
STANDARD_ERROR = sqrt(LEVEL * (1 - LEVEL) / TRIALS)
MOST = LEVEL + 2 * STANDARD_ERROR  # 6.4 %
ASK = tr.Ask(against=56.0, primary="lap_time_s", level=LEVEL, power=0.8, seed=1)
SHEET = de.run_sheet((56.0, 53.0), 4, de.Habits(1, 1, 13))

Noise = Callable[[np.random.Generator, int], NDArray[np.float64]]
NOISES: dict[str, Noise] = {
    "normal": lambda rng, n: rng.normal(0.0, 1.0, n),
    "skewed": lambda rng, n: rng.exponential(1.0, n) - 1.0,
    "long tails": lambda rng, n: rng.standard_t(3, n),
}


def laps_of(
    rng: np.random.Generator, noise: Noise, zones: int = 0, shift: float = 0.0
) -> list[tr.Lap]:
    """One trial: fuel 0.07 s a lap, a track that comes in, tyres of each stint apart."""
    names = ["lap_time_s", *(f"z{i}_time_s" for i in range(1, zones + 1))]
    stint = rng.normal(0.0, 0.5, 1 + SHEET[-1].stint)
    slope = rng.normal(0.04, 0.03, 1 + SHEET[-1].stint)
    hit = 0.4 * np.column_stack([noise(rng, len(SHEET)) for _ in names])
    laps = []
    for run, row in zip(SHEET, hit, strict=True):
        base = stint[run.stint] - 0.07 * run.lap + slope[run.stint] * run.lap
        base += shift if run.setting == 53.0 else 0.0
        values = dict(zip(names, (float(base + one) for one in row), strict=True))
        laps.append(tr.Lap(run.lap, run.stint, run.setting, run.kind == "counted", values=values))
    return laps


@pytest.mark.slow
@pytest.mark.parametrize("kind", list(NOISES))
def test_nothing_is_called_a_difference_as_often_as_the_level_says(kind: str) -> None:
    rng = np.random.default_rng(20)
    by_t = by_shuffling = 0
    for _ in range(TRIALS):
        pairs = tr.pair_up(laps_of(rng, NOISES[kind]), "lap_time_s", 53.0, 56.0)
        found = st.effect(pairs, LEVEL)
        assert found is not None
        by_t += found.p <= LEVEL
        told = st.shuffled(pairs, 1)
        assert told is not None
        by_shuffling += told[0] <= LEVEL
    assert by_t / TRIALS <= MOST
    assert by_shuffling / TRIALS <= MOST
    if kind == "normal":  # exact there: not only no more often, but as often
        assert by_t / TRIALS >= LEVEL - 2 * STANDARD_ERROR


@pytest.mark.slow
def test_many_zones_together_are_wrong_no_more_often() -> None:
    """Six zones, any of them called a difference."""
    rng = np.random.default_rng(21)
    names = [f"z{i}_time_s" for i in range(1, 7)]
    wrong = alone = 0
    for _ in range(TRIALS):
        laps = laps_of(rng, NOISES["normal"], zones=6)
        effects = [st.effect(tr.pair_up(laps, one, 53.0, 56.0), LEVEL) for one in names]
        chances = [one.p for one in effects if one is not None]
        assert len(chances) == len(names)
        wrong += min(st.holm(chances)) <= LEVEL
        alone += min(chances) <= LEVEL
    assert wrong / TRIALS <= MOST
    assert alone / TRIALS > 0.15, "without counting them together one in four would be wrong"


def test_the_verdict_is_that_of_the_chances_counted_together() -> None:
    names = [f"z{i}_time_s" for i in range(1, 7)]
    ask = tr.Ask(against=56.0, primary=None, level=LEVEL, power=0.8, seed=1)
    rng, seen = np.random.default_rng(3), set()
    for _ in range(12):
        told = tr.compare(laps_of(rng, NOISES["normal"], 6, shift=0.35), names, ask)
        adjusted = st.holm([one.effect.p for one in told if one.effect is not None])
        assert [one.p_adjusted for one in told] == adjusted
        for one, p in zip(told, adjusted, strict=True):
            assert (one.verdict == "difference") == (p <= LEVEL)
            seen.add(one.verdict)
    assert seen == {"difference", "no_difference_shown"}


@pytest.mark.slow
def test_the_whole_comparison_on_null_trials() -> None:
    rng = np.random.default_rng(22)
    told = [tr.compare(laps_of(rng, NOISES["normal"]), ["lap_time_s"], ASK) for _ in range(TRIALS)]
    wrong = sum(one.verdict == "difference" for [one] in told)
    assert abs(wrong / TRIALS - LEVEL) <= 2 * STANDARD_ERROR


@pytest.mark.slow
@pytest.mark.parametrize(("shift", "scatter"), [(0.5, 0.4), (0.9, 0.4)])
def test_a_true_difference_is_shown_as_often_as_promised(shift: float, scatter: float) -> None:
    """Pairs as the design asks for; 99 % of a binomial's spread, both sides."""
    pairs_wanted = st.pairs_needed(shift, scatter, LEVEL, 0.8)
    assert pairs_wanted is not None
    promised = st.power_of(shift, st.error_of(scatter, pairs_wanted), pairs_wanted - 2, LEVEL)
    sheet = de.run_sheet((56.0, 53.0), pairs_wanted // 2, de.Habits(1, 1, 13))
    rng, seen = np.random.default_rng(23), 0
    for _ in range(TRIALS):
        laps = [
            tr.Lap(
                run.lap,
                run.stint,
                run.setting,
                run.kind == "counted",
                values={
                    "x_s": float(
                        rng.normal(0.0, scatter) - 0.06 * run.lap + shift * (run.setting == 53.0)
                    )
                },
            )
            for run in sheet
        ]
        found = st.effect(tr.pair_up(laps, "x_s", 53.0, 56.0), LEVEL)
        assert found is not None
        seen += found.p <= LEVEL
    assert promised >= 0.8
    assert abs(seen / TRIALS - promised) <= 2.576 * sqrt(promised * (1 - promised) / TRIALS)


@pytest.mark.slow
def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng, held = np.random.default_rng(24), 0
    for _ in range(TRIALS):
        laps = laps_of(rng, NOISES["normal"], shift=0.3)
        found = st.effect(tr.pair_up(laps, "lap_time_s", 53.0, 56.0), LEVEL)
        assert found is not None
        held += found.low <= 0.3 <= found.high
    assert abs(held / TRIALS - 0.95) <= 2 * STANDARD_ERROR


@pytest.mark.slow
@pytest.mark.parametrize("truth", [0.2, 0.5, 1.3])
def test_the_interval_of_the_crossover_holds_the_truth(truth: float) -> None:
    """A straight line through zero at ``truth`` of the way from 56 to 53, well seen."""
    rng, held, told = np.random.default_rng(25), 0, 0
    for _ in range(TRIALS):
        laps = [
            tr.Lap(
                run.lap,
                run.stint,
                run.setting,
                run.kind == "counted",
                values={
                    "slip_difference_frac": float(
                        0.05 * (truth - (56.0 - run.setting) / 3.0) + rng.normal(0.0, 0.012)
                    )
                },
            )
            for run in SHEET
        ]
        pairs = tr.pair_up(laps, "slip_difference_frac", 53.0, 56.0)
        found = st.effect(pairs, LEVEL)
        assert found is not None
        place = st.zero_between(pairs, found, LEVEL)
        if place is not None:
            told += 1
            held += place[1] <= truth <= place[2]
    assert told > 0.9 * TRIALS
    # The bound takes the fewest degrees of freedom of two independent scatters, 6; had they
    # none to lack, it would hold 98.6 %.
    assert 0.95 - 2 * sqrt(0.05 * 0.95 / told) <= held / told <= 0.986
