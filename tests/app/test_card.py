"""The card in the browser: a plan made, seen as it prints, with its wet back, and printed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

LONG_MS = 400_000


def test_a_card_is_made_changed_and_printed(app: Any, expect: Any, tmp_path: Path) -> None:
    app.add_init_script(
        "window.said = []; window.speechSynthesis.speak = (one) => said.push(one.text);"
    )
    app.open("/card")
    app.get_by_label("For the rain").select_option("conditions/wet")
    app.get_by_role("button", name="Make the plan for both").click()
    sheets = app.locator(".sheet svg")
    expect(sheets).to_have_count(2, timeout=LONG_MS)
    app.get_by_label("Date").fill("3 May")
    expect(sheets.first).to_contain_text("3 May")
    letters = sheets.nth(1).locator("text").first
    assert letters.evaluate("one => getComputedStyle(one).fill") == "rgb(255, 255, 255)"
    app.get_by_role("button", name="Read out").click()
    said = app.evaluate("window.said")
    assert said[-1].startswith("If you lose count, go to ")
    expect(app.get_by_text("closed circuit").first).to_be_visible()
    sides = []
    for name in ("Picture of the front", "Picture of the wet side"):
        with app.expect_download(timeout=LONG_MS) as wanted:
            app.get_by_role("button", name=name).click()
        sides.append(Path(wanted.value.path()).read_bytes())
    assert all(one.startswith(b"\x89PNG") for one in sides)
    assert sides[0] != sides[1]
    with app.expect_download(timeout=LONG_MS) as wanted:
        app.get_by_role("button", name="Download PDF").click()
    assert Path(wanted.value.path()).read_bytes().startswith(b"%PDF")
    app.reload()
    expect(sheets).to_have_count(2, timeout=LONG_MS)
    app.get_by_label("Briefing").check()
    expect(app.locator(".briefing .sheet svg")).to_have_count(1, timeout=LONG_MS)
