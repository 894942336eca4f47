"""One zone in a browser: scrubbed with the keys, settings compared, the next zone near at hand."""

from __future__ import annotations

from typing import Any

import pytest

from app.looking import violations

pytestmark = pytest.mark.browser


def opened(app: Any, path: str = "/zone/z03") -> None:
    app.set_default_timeout(240_000)  # the kernels are compiled at the first answer
    app.open(path)
    app.wait_for_selector(".tyre .use")


def uses(app: Any) -> list[str]:
    found: list[str] = app.locator(".tyre .use").all_text_contents()
    return found


def test_the_arrow_keys_drive_to_the_apex(app, expect):
    opened(app)
    before = uses(app)
    where = app.get_by_label("Where", exact=True)
    where.focus()
    app.keyboard.press("End")
    expect(app.locator(".slider output")).to_have_text("at the apex")
    assert len(before) == 4
    assert uses(app) != before


def test_two_settings_stand_one_in_the_other(app, expect):
    opened(app)
    app.get_by_label("Beside it, in outline").select_option("58")
    expect(app.locator(".tyre.other")).to_have_count(4)
    expect(app.locator(".answer")).to_contain_text("58.0 instead")
    assert "settings=" in app.url
    app.reload()
    expect(app.locator(".tyre.other")).to_have_count(4)
    app.go_back()  # the choice stands in the browser's own history
    expect(app.get_by_label("Beside it, in outline")).not_to_have_value("58")


def test_the_next_zone_is_one_press_away(app, expect):
    opened(app)
    app.get_by_role("navigation", name="Zones of the lap").get_by_role("link").last.click()
    expect(app.get_by_role("heading", level=1)).to_have_text("Step In")
    assert "/zone/z04" in app.url


def test_a_zone_that_is_not_there_is_said(app, expect):
    app.set_default_timeout(240_000)
    app.open("/zone/nowhere")
    expect(app.get_by_role("alert")).to_contain_text("there is no such zone")
    app.get_by_role("link", name="To the first zone").click()
    app.wait_for_selector(".tyre .use")


def test_the_page_is_open_to_everybody_and_fits_a_phone(app):
    opened(app)
    assert violations(app) == []
    app.set_viewport_size({"width": 390, "height": 844})
    assert app.evaluate("document.documentElement.scrollWidth") <= 390
