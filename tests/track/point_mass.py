"""A point-mass speed profile for the tests alone: friction circle, power, drag, downforce.

The car is invented: 1300 kg, 300 kW, drag area 1.0 m2, lift area 1.5 m2, friction 1.3.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

AIR_KG_M3 = 1.2
GRAVITY = 9.81
TOP_MPS = 95.0


def flying_lap(stations, *, mu=1.3, mass=1300.0, power=300e3, cda=1.0, cla=1.5):
    """Speed at each station of a flying lap, or of a road entered at its corner speed."""
    kappa = np.abs(stations.curvature_1pm)
    drag, lift = 0.5 * AIR_KG_M3 * cda / mass, 0.5 * AIR_KG_M3 * cla / mass
    room = kappa - mu * lift  # v^2 k = mu (g + lift v^2)
    with np.errstate(divide="ignore", invalid="ignore"):
        corner = np.where(room > 1e-6, np.sqrt(mu * GRAVITY / room), TOP_MPS)
    limit = np.minimum(corner, TOP_MPS)

    def along(v, k):
        grip = mu * (GRAVITY + lift * v * v)
        return np.sqrt(max(0.0, grip**2 - (v * v * k) ** 2))

    def forward(v, k):
        return min(along(v, k), power / (mass * v)) - drag * v * v

    def backward(v, k):
        return along(v, k) + drag * v * v

    step, laps = stations.spacing_m, 2 if stations.closed else 1
    speed = limit.copy()
    ahead = list(range(len(limit))) * laps
    for order, push in ((ahead, forward), (ahead[::-1], backward)):
        for now, following in pairwise(order):
            square = speed[now] ** 2 + 2.0 * step * push(speed[now], kappa[now])
            speed[following] = min(speed[following], np.sqrt(max(1.0, square)))
    return speed
