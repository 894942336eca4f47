"""Symptoms, in the browser and on a phone: two taps to the next setting, and back."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser


def reports(app: Any) -> list[str]:
    """Lines of all histories of the library."""
    files = (app.house.library / "history").glob("*.jsonl")
    return [line for one in files for line in one.read_text("utf-8").splitlines()]


def test_two_taps_on_a_phone_give_the_next_setting_and_undo_takes_it_back(
    app: Any, expect: Any
) -> None:
    app.set_viewport_size({"width": 390, "height": 844})
    app.open("/symptoms")
    app.get_by_role("button", name="Weir").click()
    app.get_by_role("button", name="It was loose on entry").click()
    answer = app.get_by_role("region", name="Next setting")
    expect(answer.locator("output")).to_be_visible()
    expect(app.get_by_role("button", name="Take back the report of Weir")).to_be_visible()
    assert len(reports(app)) == 1
    assert app.evaluate("document.documentElement.scrollWidth") <= 390
    app.reload()
    expect(answer.locator("output")).to_be_visible()
    app.get_by_role("button", name="Take back the report of Weir").click()
    expect(app.get_by_text("Nothing reported yet")).to_be_visible()
    expect(answer).to_have_count(0)
    assert reports(app) == []


def test_the_keyboard_is_enough(app: Any, expect: Any) -> None:
    app.open("/symptoms?zone=z02")
    lower = app.get_by_role("button", name="One step rearward, lower")
    lower.focus()
    before = app.get_by_role("group", name="It happened at").locator("output").text_content()
    app.keyboard.press("Enter")
    expect(app.get_by_role("group", name="It happened at").locator("output")).not_to_have_text(
        before
    )
    app.get_by_role("button", name="It was fine").focus()
    app.keyboard.press("Space")
    expect(app.get_by_role("region", name="Next setting")).to_be_visible()
    app.get_by_role("button", name="Undo").focus()
    app.keyboard.press("Enter")
    expect(app.get_by_role("button", name="It was fine")).to_be_visible()
    assert reports(app) == []
