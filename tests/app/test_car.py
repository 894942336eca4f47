"""A car's page in the browser: numbers edited in place, two tabs, and what nobody should type."""

from __future__ import annotations

import json
import urllib.request
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def car_text(app: Any) -> str:
    return str((app.house.library / "cars" / "halden-gt.toml").read_text("utf-8"))


def test_the_adjuster_comes_first(app: Any, expect: Any) -> None:
    app.open("/car/halden-gt")
    expect(app.get_by_text("both ends let go together nearest to")).to_be_visible()
    expect(app.get_by_role("img", name="Front share at each setting")).to_be_visible()


def test_a_number_is_edited_saved_and_taken_back(app: Any, expect: Any) -> None:
    app.open("/car/halden-gt")
    mass = app.get_by_label("Mass as run")
    expect(mass).to_have_value("1360 ±8")
    mass.fill("1340 to 1350")
    mass.press("Tab")
    expect(app.get_by_role("button", name="Undo")).to_be_enabled()
    assert "low = 1340" in car_text(app).replace("1340.0", "1340")
    assert "# An invented car" in car_text(app), "comments stay"
    app.get_by_role("button", name="Undo").click()
    expect(app.get_by_label("Mass as run")).to_have_value("1360 ±8")


def test_a_number_that_cannot_be_is_refused_and_kept(app: Any, expect: Any) -> None:
    before_all = car_text(app)
    app.open("/car/halden-gt")
    height = app.get_by_label("Centre of gravity above the road")
    height.fill("45")
    height.press("Tab")
    expect(app.get_by_role("alert").first).to_contain_text("allowed")
    app.reload()
    expect(app.get_by_label("Centre of gravity above the road")).to_have_value("45")
    assert car_text(app) == before_all


def test_two_tabs_lose_nothing(app: Any, expect: Any) -> None:
    """The second to save is told, and both versions are there."""
    app.open("/car/halden-gt")
    mass = app.get_by_label("Mass as run")
    expect(mass).to_be_visible()
    # Another program saves between this tab's look and its save, before the tab hears of it.
    heard = _call(app, "GET", "library")
    app.route("**/api/library", lambda route: route.fulfill(json=heard))
    found = _call(app, "GET", "library/cars/halden-gt")
    change = {"changes": {"wheelbase_m": 2.61}, "based_on": found["item"]["revision"]}
    _call(app, "PATCH", "library/cars/halden-gt", change)
    mass.fill("1345")
    mass.press("Tab")
    expect(app.get_by_role("alert").first).to_contain_text("elsewhere")
    expect(mass).to_have_value("1345")
    assert "2.61" in car_text(app)
    past = _call(app, "GET", "library/cars/halden-gt/past")
    assert any(one["refused"] for one in past)


def test_a_car_called_script_is_a_car(app: Any, expect: Any) -> None:
    found = _call(app, "GET", "library/cars/halden-gt")
    name = "<script>alert(1)</script>"
    text = found["text"].replace('name = "Halden GT"', f'name = "{name}"')
    text = text.replace('id = "halden-gt"', 'id = "odd"')
    _call(app, "PUT", "library/cars/odd", {"text": text, "based_on": None})
    app.open("/car/odd?car=cars/odd")
    expect(app.get_by_role("heading", level=1)).to_have_text(name)


def _call(app: Any, method: str, path: str, body: object = None) -> Any:
    ask = urllib.request.Request(
        f"{app.house.address}/api/{path}",
        method=method,
        data=None if body is None else json.dumps(body).encode(),
        headers={"Content-Type": "application/json"},
    )
    with urllib.request.urlopen(ask, timeout=30) as answer:
        return json.loads(answer.read())
