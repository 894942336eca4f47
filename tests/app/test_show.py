"""The demonstration in the browser: driven, played in its frame, there again after a reload."""

from __future__ import annotations

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


def test_a_show_is_stopped(app: Any, expect: Any) -> None:
    app.open("/show?zone=z01&repeat=400")
    app.get_by_role("button", name="Drive it").click()
    app.get_by_role("button", name="Stop").click(timeout=LONG_MS)
    expect(app.get_by_role("button", name="Drive it")).to_be_enabled(timeout=LONG_MS)
