"""The demonstration in the browser: driven, played in its frame, there again after a reload."""

from __future__ import annotations

import re
from typing import Any

import pytest

pytestmark = pytest.mark.browser

LONG_MS = 240_000
"""A show drives the car in motion; the first one on a machine compiles the physics too."""


def test_a_wrong_setting_is_driven_and_plays(app: Any, expect: Any) -> None:
    app.open("/show?zone=z08")
    app.get_by_label("settings I pick").check()
    app.get_by_role("button", name="48.0").click()
    expect(app.get_by_role("button", name="48.0")).to_have_attribute("aria-pressed", "true")
    app.get_by_role("button", name="Drive it").click()
    runs = app.locator(".runs li")
    expect(runs).to_have_count(2, timeout=LONG_MS)
    expect(runs.nth(1)).to_contain_text("to the rear")
    stage = app.frame_locator("iframe.stage")
    expect(
        stage.get_by_role("button", name="Pause").or_(stage.get_by_role("button", name="Play"))
    ).to_be_visible()
    app.reload()
    expect(app.locator(".runs li")).to_have_count(2, timeout=LONG_MS)
    assert "try=48" in app.url


def test_the_moved_plan_is_the_same_on_plan_show_and_card(app: Any, expect: Any) -> None:
    """Grip moved on Plan: the same setting of a zone on all three pages, and said on each."""
    app.open("/plan?changes=0")  # one setting for the lap, which the sticker then shows
    grip = app.get_by_label("Grip", exact=True)
    expect(grip).to_be_visible(timeout=LONG_MS)
    grip.fill("0.96")  # below 0.95 the sticker says where to begin instead
    card = app.get_by_role("link", name="Make the card")
    expect(app).to_have_url(re.compile("grip=0.96"))
    expect(card).to_be_visible(timeout=LONG_MS)
    settings = app.locator(".reasons .chosen").all_text_contents()
    assert len(set(settings)) == 1
    rail = app.get_by_role("navigation", name="Parts of the job")
    rail.get_by_role("link", name="Show").click()
    moved = app.get_by_role("note", name="Moved away from the files")
    expect(moved).to_contain_text("grip 96 %")
    app.get_by_label("Where", exact=True).select_option("z08")
    expect(app.get_by_text(f"Planned here: {settings[7]}.")).to_be_visible(timeout=LONG_MS)
    app.get_by_role("button", name="Drive it").click()
    expect(app.locator(".runs li.planned strong")).to_have_text(settings[7], timeout=LONG_MS)
    app.get_by_label("some steps to either side").check()
    expect(app.get_by_text("These runs are older")).to_be_visible()
    rail.get_by_role("link", name="Card").click()
    expect(moved).to_contain_text("grip 96 %")
    sheet = app.locator(".sheet svg")
    expect(sheet).to_contain_text("for grip 96\u00a0%", timeout=LONG_MS)
    expect(sheet).to_contain_text(settings[7].removesuffix(".0").split(".")[0])
    app.get_by_role("button", name="Back to the files").click()
    expect(moved).to_have_count(0)
    assert "grip" not in app.url


def test_a_show_is_stopped(app: Any, expect: Any) -> None:
    app.open("/show?zone=z01&repeat=400")
    app.get_by_role("button", name="Drive it").click()
    app.get_by_role("button", name="Stop").click(timeout=LONG_MS)
    expect(app.get_by_role("button", name="Drive it")).to_be_enabled(timeout=LONG_MS)
