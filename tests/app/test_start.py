"""The first answer, in the browser: four questions, and what is typed is never lost."""

from __future__ import annotations

import json
import re
import time
import urllib.request
from typing import Any

import pytest

from foreaft.files.toml import read_car

pytestmark = pytest.mark.browser

CORNERS = "Corner\tEntry km/h\tApex km/h\tTurn\nQuarry\t255\t60\tR\nMill\t205\t105,5\tL\n"


def fill(app: Any) -> None:
    """Answer the four questions."""
    app.get_by_label("Class of car, or a car of the library").select_option("gt-mid")
    app.get_by_text("Paste or drop them from a spreadsheet").click()
    app.get_by_label("Rows of corners").fill(CORNERS)
    app.get_by_role("button", name="Read these rows").click()
    app.get_by_label("Today's setting").fill("54")
    app.get_by_role("group", name="A bigger number").get_by_label("front").check()
    app.get_by_role("group", name="At today's setting").get_by_label("the front").check()


def answered(app: Any) -> Any:
    """The big number."""
    return app.locator("section", has=app.get_by_role("heading", name="One setting")).locator(
        "output"
    )


def test_the_first_answer_comes_within_a_minute_and_stays(app: Any, expect: Any) -> None:
    app.open("/start")
    begun = time.monotonic()
    fill(app)
    expect(answered(app)).to_be_visible()
    assert time.monotonic() - begun < 60
    number = answered(app).text_content()
    assert number is not None
    assert number.isdigit()  # the adjuster steps by 1: no decimals
    expect(app.get_by_text("steps either way").first).to_be_visible()
    expect(app.get_by_label("Mill: lowest speed")).to_have_value("105.5")
    app.reload()
    expect(app.get_by_label("Mill: lowest speed")).to_have_value("105.5")
    expect(answered(app)).to_be_visible()


def test_answers_to_what_is_typed_stand_in_no_list_and_old_ones_say_so(
    app: Any, expect: Any
) -> None:
    app.open("/start")
    fill(app)
    expect(answered(app)).to_be_visible()
    app.get_by_text("Trying 64 cars of this kind").wait_for()
    expect(app.get_by_text("Trying 64 cars of this kind")).to_have_count(0, timeout=300_000)
    before = answered(app).text_content()
    app.get_by_label("Today's setting").fill("40")
    expect(app.get_by_text("working out the new answer")).to_be_visible()
    expect(app.locator(".startanswer")).to_have_attribute("aria-busy", "true")
    expect(app.get_by_text("working out the new answer")).to_have_count(0)
    assert answered(app).text_content() != before
    with urllib.request.urlopen(f"{app.house.address}/api/work") as answer:
        assert json.loads(answer.read()) == []
    assert list((app.house.library / "works").iterdir()), "they are works nevertheless"


def test_car_and_corners_are_kept_and_taken_back(app: Any, expect: Any) -> None:
    app.open("/start")
    fill(app)
    expect(answered(app)).to_be_visible()
    app.get_by_role("button", name="Keep this car and corners").click()
    app.get_by_label("What do you call the car?").fill("Number 7")
    app.get_by_label("What do you call these corners?").fill("Sunday")
    app.get_by_role("button", name="Keep them").click()
    expect(app).to_have_url(re.compile(r"/plan\?"))
    assert "car=cars/number-7" in app.url
    assert "road=sheets/sunday" in app.url
    library = app.house.library
    car = read_car(library / "cars" / "number-7.toml")
    assert car.anchor is not None
    assert (car.name, car.anchor.setting) == ("Number 7", 54)
    assert (library / "sheets" / "sunday.csv").is_file()
    for _ in range(3):
        app.get_by_role("button", name="Undo").click()
    expect(app.get_by_text("Undone: Sunday kept")).to_be_visible()
    assert not (library / "sheets" / "sunday.csv").exists()
    assert not (library / "cars" / "number-7.toml").exists()


def test_a_corner_typed_too_fast_says_so_and_stays(app: Any, expect: Any) -> None:
    app.open("/start")
    fill(app)
    app.get_by_label("Quarry: lowest speed").fill("300")
    expect(app.get_by_text("must be below the speed").first).to_be_visible()
    expect(app.get_by_label("Quarry: lowest speed")).to_have_value("300")
