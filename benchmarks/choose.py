"""How fast the programme is, against the same recursion in NumPy, in plain Python, and by trying.

Run: ``python benchmarks/choose.py``.
All ways must give the same lowest cost, or the script fails.
"""

from __future__ import annotations

import itertools
import platform
import statistics
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from foreaft.plan.choose import FORBIDDEN, Choice, Problem, choose, frontier
from machine import slowness

ZONES, SETTINGS, CHANGES = 12, 40, 3
SAMPLES = 200
TARGET_MS = 10.0
US_PER_STEP2 = 300.0


def lap(seed: int, zones: int = ZONES, settings: int = SETTINGS) -> Problem:
    """Invent a lap: in each zone the cost rises with the square of the distance to its best."""
    rng = np.random.default_rng(seed)
    best = settings * rng.uniform(0.1, 0.9, zones)
    away = np.arange(settings) - best[:, None]
    cost = US_PER_STEP2 * away**2 + rng.uniform(0.0, 500.0, away.shape)
    return Problem(
        cost_us=np.rint(cost).astype(np.int64),
        allowed=np.ones(cost.shape, dtype=bool),
        survivable=np.ones(cost.shape, dtype=bool),
        steps_max=np.full(zones, settings),
        forward=np.arange(settings),
        change_cost_us=5000,
        forget_frac=0.05,
    )


def moves(problem: Problem) -> np.ndarray:
    """Return [zone, from, to] in microseconds: the price of the move and of driving the zone."""
    cost = problem.cost_us
    settings = np.arange(cost.shape[1])
    worse = np.maximum(0, cost[:, :, None] - cost[:, None, :])
    price = problem.change_cost_us + np.rint(problem.forget_frac * worse).astype(np.int64)
    steps = np.abs(settings[:, None] - settings)
    price[:, steps == 0] = 0
    far = steps > problem.steps_max[:, None, None]
    risky = ~problem.survivable[:, :, None] & (steps > 0)
    return np.where(far | risky | ~problem.allowed[:, None, :], FORBIDDEN, price + cost[:, None, :])


def in_numpy(problem: Problem, changes_max: int) -> int:
    """Run the recursion with whole tables, all first settings at once."""
    move = moves(problem)
    zones, settings = problem.cost_us.shape
    stay = move[:, np.arange(settings), np.arange(settings)]
    closing = move[0].copy()  # [setting of the last zone, first setting]
    layers = [np.where(np.eye(settings, dtype=bool), closing, FORBIDDEN)] + [closing] * changes_max
    for zone in range(zones - 1, 0, -1):
        kept = [layer + stay[zone][:, None] for layer in layers]
        changed = [
            (move[zone][:, :, None] + layer[None, :, :]).min(axis=1) for layer in layers[:-1]
        ]
        pairs = zip(kept[1:], changed, strict=True)
        layers = [kept[0], *[np.minimum(one, two) for one, two in pairs]]
        layers = [np.minimum(layer, FORBIDDEN) for layer in layers]
    return int(np.diagonal(layers[-1]).min())


def in_python(problem: Problem, changes_max: int) -> int:
    """Run the recursion with lists and loops."""
    move = moves(problem).tolist()
    zones, settings = problem.cost_us.shape
    every = range(settings)
    lowest = FORBIDDEN
    for first in every:
        closing = [move[0][one][first] for one in every]
        only = [cost if one == first else FORBIDDEN for one, cost in enumerate(closing)]
        layers = [only] + [closing] * changes_max
        for zone in range(zones - 1, 0, -1):
            rows = move[zone]
            above = [[layers[0][one] + rows[one][one] for one in every]]
            for n in range(1, changes_max + 1):
                same, fewer = layers[n], layers[n - 1]
                changed = [min(map(int.__add__, fewer, row)) for row in rows]
                kept = [same[one] + rows[one][one] for one in every]
                above.append(list(map(min, kept, changed)))
            layers = above
        lowest = min(lowest, layers[-1][first])
    return lowest


def by_trying(problem: Problem, changes_max: int) -> int:
    """Try every assignment."""
    move = moves(problem).tolist()
    zones, settings = problem.cost_us.shape
    lowest = FORBIDDEN
    for plan in itertools.product(range(settings), repeat=zones):
        if sum(plan[zone - 1] != plan[zone] for zone in range(zones)) <= changes_max:
            cost = sum(move[zone][plan[zone - 1]][plan[zone]] for zone in range(zones))
            lowest = min(lowest, cost)
    return lowest


def milliseconds(work: Callable[[], object], repeats: int) -> float:
    """Give the median time of a call, after one that does not count."""
    work()
    taken = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return 1e3 * statistics.median(taken)


def compare(problem: Problem, ways: dict[str, tuple[Callable[[Problem, int], int], int]]) -> float:
    """Print the time of every way and its ratio to the kernel's, which is returned. [ms]"""
    ours = milliseconds(lambda: choose(problem, CHANGES), 50)
    cost_us = choose(problem, CHANGES).cost_us
    print(f"  {'compiled (product)':24}{ours:12.3f} ms   cost {cost_us} us")
    for name, (way, repeats) in ways.items():
        found = way(problem, CHANGES)
        if found != cost_us:
            raise SystemExit(f"{name} finds {found} us, the product {cost_us} us")
        taken = milliseconds(lambda way=way: way(problem, CHANGES), repeats)
        print(f"  {name:24}{taken:12.3f} ms   same cost, {taken / ours:8.0f} times slower")
    return ours


def samples() -> None:
    """Print the time of many sampled cars on one thread and on two."""
    many = [lap(seed) for seed in range(SAMPLES)]

    def solve(problem: Problem) -> list[Choice | None]:
        return frontier(problem, CHANGES)

    one = milliseconds(lambda: [solve(problem) for problem in many], 5)
    with ThreadPoolExecutor(2) as pool:
        two = milliseconds(lambda: list(pool.map(solve, many)), 5)
    print(f"{SAMPLES} samples, frontier of each, 12 zones x 40 settings x 3 changes")
    print(f"  one thread {one:.0f} ms, two threads {two:.0f} ms, ratio {one / two:.2f}")
    large = [lap(seed, 20, 120) for seed in range(16)]
    one = milliseconds(lambda: [choose(problem, 8) for problem in large], 3)
    with ThreadPoolExecutor(2) as pool:
        two = milliseconds(lambda: list(pool.map(lambda each: choose(each, 8), large)), 3)
    print("16 large ones, 20 zones x 120 settings x 8 changes: the kernel alone counts")
    print(f"  one thread {one:.0f} ms, two threads {two:.0f} ms, ratio {one / two:.2f}")


def main() -> None:
    """Measure and print; exit with 1 where answers differ or twice the target is not met."""
    print(f"Python {platform.python_version()}, NumPy {np.__version__}, {platform.machine()}")
    print(f"{ZONES} zones x {SETTINGS} settings x {CHANGES} changes, nothing forbidden")
    ours = compare(lap(1), {"NumPy": (in_numpy, 5), "plain Python": (in_python, 1)})
    print("the same, the hand reaches 6 steps and the safe settings lie around the best")
    near = lap(1)
    safe = near.cost_us < np.quantile(near.cost_us, 0.7)
    compare(
        replace(near, steps_max=np.full(ZONES, 6), survivable=safe),
        {"NumPy": (in_numpy, 5), "plain Python": (in_python, 1)},
    )
    print(f"7 zones x 6 settings x {CHANGES} changes")
    compare(lap(2, 7, 6), {"every plan tried": (by_trying, 1), "NumPy": (in_numpy, 5)})
    samples()
    print(f"target {TARGET_MS:g} ms: {ours:.2f} ms")
    if ours > 2.0 * slowness() * TARGET_MS:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
