"""A car file made of a class: it is a car of its own, with the adjuster as it was told."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from foreaft.files.classes import class_names, load_class
from foreaft.files.toml import parse
from foreaft.jobs.load import anchored
from foreaft.jobs.requests import Quick
from foreaft.model.car import Car

QUICK: dict[str, Any] = {"today": 54, "higher": "rear", "first": "front", "step": 0.5}


@pytest.mark.parametrize("name", class_names())
@pytest.mark.parametrize("more", [{}, {"lowest": 48, "highest": 60}])
def test_a_kept_car_is_the_car_that_was_asked_with(
    client: TestClient, name: str, more: dict[str, Any]
) -> None:
    quick = QUICK | more
    asked = {"id": "my-car", "name": 'My "car"', "quick": quick}
    text = client.post(f"/api/classes/{name}/car", json=asked).json()["text"]
    made, meant = parse(text, Car), anchored(load_class(name), Quick(**quick))
    assert (made.id, made.name) == ("my-car", 'My "car"')
    assert made.anchor == meant.anchor
    assert made.adjuster is not None
    assert meant.adjuster is not None
    unit, asked_unit = made.adjuster.share_per_unit_frac, meant.adjuster.share_per_unit_frac
    assert made.adjuster.replace(share_per_unit_frac=asked_unit) == meant.adjuster
    assert unit is not None
    assert asked_unit is not None
    assert (unit.low, unit.high) == pytest.approx((asked_unit.low, asked_unit.high), rel=1e-5)
    saved = client.put("/api/library/cars/my-car", json={"text": text, "based_on": None})
    assert saved.status_code == 200, saved.text


def test_without_answers_it_says_what_the_class_says(client: TestClient) -> None:
    asked = {"id": "my-car", "name": "Mine"}
    text = client.post("/api/classes/gt-mid/car", json=asked).json()["text"]
    kept = client.get("/api/classes/gt-mid").json()["text"]
    differ = [b for a, b in zip(kept.splitlines(), text.splitlines(), strict=True) if a != b]
    assert differ == ['id = "my-car"', 'name = "Mine"']


def test_there_are_only_the_classes_there_are(client: TestClient) -> None:
    answer = client.get("/api/classes/spaceship")
    assert 400 <= answer.status_code < 500
    assert answer.json()["code"] == "class_unknown"
