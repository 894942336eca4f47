"""The card in the browser: a plan made, seen as it prints, with its wet back, and printed."""

from __future__ import annotations

import json
import re
import urllib.request
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser

LONG_MS = 400_000


@pytest.fixture
def forgiven() -> re.Pattern[str]:
    """An answer that refuses is shown by the page, also where a plan is not there any more."""
    return re.compile(r"Failed to load resource: .* status of (400|404|409|413|422)")


def works(app: Any) -> list[dict[str, Any]]:
    """What the server lists."""
    with urllib.request.urlopen(f"{app.house.address}/api/work") as answer:
        told: list[dict[str, Any]] = json.loads(answer.read())
        return told


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


def test_a_plan_kept_under_a_name_is_chosen_by_it_and_one_that_is_gone_is_told(
    app: Any, expect: Any
) -> None:
    app.open("/plan?grip=0.9&fuel=20&changes=2")
    app.get_by_label("Keep this plan as").wait_for(timeout=LONG_MS)
    name = app.get_by_label("Keep this plan as")
    expect(name).to_have_value("Halden GT, Brackwater, Dry, grip 90 %, fuel 20 kg, 2 changes")
    name.fill("Sunday race")
    app.get_by_role("button", name="Keep this plan").click()
    expect(app.get_by_text("Sunday race is in the library").first).to_be_visible()
    newest = works(app)[0]
    assert newest["title"] == "Halden GT, Brackwater, grip 90 %, fuel 20 kg, 2 changes"
    app.get_by_role("navigation").get_by_role("link", name="Library").click()
    first = app.get_by_role("region", name="Works").get_by_role("listitem").first
    expect(first).to_contain_text("Sunday Race")
    expect(first).to_contain_text(f"Plan: {newest['title']}")
    app.open("/card")
    choice = app.get_by_role("combobox", name="Plan")
    expect(choice.locator("option").nth(1)).to_contain_text("Sunday Race, ")
    assert newest["work_id"] not in choice.inner_html()
    choice.select_option("plans/sunday-race")
    expect(app.locator(".sheet svg").first).to_be_visible(timeout=LONG_MS)
    app.open(f"/card?plan=works/{newest['work_id']}-gone")
    expect(app.get_by_role("alert")).to_contain_text("not there any more")
    expect(choice).to_contain_text("one that is gone")
    app.get_by_role("button", name="Choose another plan").click()
    expect(choice).to_be_focused()
    choice.select_option("plans/sunday-race")
    expect(app.locator(".sheet svg").first).to_be_visible(timeout=LONG_MS)
    expect(app.get_by_role("alert")).to_have_count(0)
