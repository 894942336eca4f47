"""The demonstration in a real browser: it plays, holds, and does what hands and keys ask."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from foreaft.report import demonstration
from foreaft.report.demonstration_data import film
from machine import slowness
from report.demonstration_fixture import scene

pytestmark = pytest.mark.browser

FRAME_S = 0.034
"""Two pictures of a screen at 60 Hz: as near as a clock told by pictures can be."""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    file: Path = tmp_path_factory.mktemp("show") / "show.html"
    file.write_bytes(demonstration.page(film(scene())))
    return file.as_uri()


@pytest.fixture
def show(page: Any, address: str) -> Any:
    """The page standing at its beginning, its time in the hands of the test."""
    asked: list[str] = []
    page.on("request", lambda one: asked.append(one.url))
    page.emulate_media(reduced_motion="reduce")
    open_at(page, address)
    page.clock.run_for(50)
    yield page
    assert asked == [address]


def open_at(page: Any, address: str) -> None:
    """Open the page and stop its time, which goes on only where a test says so."""
    page.clock.install(time=0)
    page.goto(address)
    page.clock.pause_at(3_600_000)


def clock(page: Any) -> float:
    shown = page.locator("#clock").inner_text()
    assert shown.endswith(" s")
    assert float(page.locator("#time").input_value()) == pytest.approx(float(shown[:-2]))
    return float(shown[:-2])


def pictures(page: Any) -> list[str]:
    code = "[...document.querySelectorAll('canvas')].map((one) => one.toDataURL())"
    drawn: list[str] = page.evaluate(code)
    return drawn


def choose(page: Any, name: str, value: str) -> None:
    page.locator(f"input[name={name}][value='{value}']").check()


def set_time(page: Any, time_s: float) -> None:
    page.locator("#time").fill(str(time_s))


def test_it_stands_still_where_less_motion_is_wished(show: Any) -> None:
    show.clock.run_for(500)
    assert clock(show) == 0.0
    assert show.get_by_role("button", name="Play").is_visible()


def test_it_plays_by_itself_otherwise(page: Any, address: str) -> None:
    page.emulate_media(reduced_motion="no-preference")
    open_at(page, address)
    before = clock(page)
    page.clock.run_for(500)
    assert clock(page) - before == pytest.approx(0.5, abs=FRAME_S)
    assert page.get_by_role("button", name="Pause").is_visible()


def test_playing_advances_and_pausing_holds(show: Any) -> None:
    before = pictures(show)
    show.get_by_role("button", name="Play").click()
    show.clock.run_for(1000)
    assert clock(show) == pytest.approx(1.0, abs=FRAME_S)
    assert all(a != b for a, b in zip(before, pictures(show), strict=True))
    show.get_by_role("button", name="Pause").click()
    held, drawn = clock(show), pictures(show)
    show.clock.run_for(1000)
    assert clock(show) == held
    assert pictures(show) == drawn


@pytest.mark.parametrize(("rate", "part"), [("0.5", 0.5), ("0.25", 0.25)])
def test_slower_is_slower(show: Any, rate: str, part: float) -> None:
    choose(show, "rate", rate)
    show.get_by_role("button", name="Play").click()
    show.clock.run_for(2000)
    assert clock(show) == pytest.approx(2.0 * part, abs=FRAME_S)


def test_it_ends_and_begins_again(show: Any) -> None:
    show.get_by_role("button", name="Play").click()
    show.clock.run_for(7000)
    assert clock(show) == pytest.approx(6.0)
    show.get_by_role("button", name="Play").click()
    show.clock.run_for(500)
    assert clock(show) == pytest.approx(0.5, abs=FRAME_S)
    show.get_by_role("button", name="Restart").click()
    assert clock(show) < 0.1


def test_it_plays_again_and_again_where_that_is_wished(show: Any) -> None:
    show.locator("input[name=repeat]").check()
    show.get_by_role("button", name="Play").click()
    show.clock.run_for(6500)
    assert clock(show) == pytest.approx(6.0)
    show.clock.run_for(1000)
    # A second of standing at the end, then from the beginning.
    assert clock(show) == pytest.approx(0.5, abs=3 * FRAME_S)


def test_the_slider_sets_all_views_and_traces(show: Any) -> None:
    before = pictures(show)
    set_time(show, 3.0)
    assert clock(show) == 3.0
    assert all(a != b for a, b in zip(before, pictures(show), strict=True))
    moved = "[...document.querySelectorAll('.now')].map((one) => one.getAttribute('transform'))"
    # 3 of 6 s: the middle of the traces, which are 390 - 34 - 8 wide.
    assert show.evaluate(moved) == ["translate(174.00 0)"] * 3
    assert "front left locked" in show.locator("#words1").inner_text()
    assert "3.00 seconds" in show.get_by_role("status").inner_text()


def test_keys(show: Any) -> None:
    show.keyboard.press("ArrowRight")
    assert clock(show) == pytest.approx(0.05)
    show.keyboard.press("Shift+ArrowRight")
    assert clock(show) == pytest.approx(0.55)
    show.keyboard.press("ArrowLeft")
    assert clock(show) == pytest.approx(0.5)
    show.keyboard.press("End")
    assert clock(show) == pytest.approx(6.0)
    show.keyboard.press("Home")
    assert clock(show) == 0.0
    show.keyboard.press("Space")
    show.clock.run_for(400)
    show.keyboard.press("Space")
    assert clock(show) == pytest.approx(0.4, abs=FRAME_S)
    show.locator("#time").focus()
    show.keyboard.press("ArrowRight")
    assert clock(show) == pytest.approx(0.45, abs=FRAME_S)


def test_keys_choose_among_speeds(show: Any) -> None:
    show.locator("input[name=rate][value='1']").focus()
    show.keyboard.press("ArrowRight")
    assert show.locator("input[name=rate][value='0.5']").is_checked()
    assert clock(show) == 0.0


def test_at_the_same_place(show: Any) -> None:
    choose(show, "align", "place")
    set_time(show, 3.4)
    # The run that locks brakes less: it is at this place sooner.
    gap = show.locator("#gap1").inner_text()
    assert gap.startswith("−")
    assert 0.02 < float(gap[1:-2]) < 1.0
    assert show.locator("#gap0").inner_text() == ""


def test_a_mistake_can_be_jumped_to(show: Any) -> None:
    show.get_by_role("button", name="2.90 s: the tail comes out").click()
    assert clock(show) == pytest.approx(2.9)


def test_whole_zone_and_forces_change_the_picture(show: Any) -> None:
    set_time(show, 3.0)
    seen = [pictures(show)[1]]
    choose(show, "camera", "whole")
    seen.append(pictures(show)[1])
    show.locator("input[name=push]").uncheck()
    seen.append(pictures(show)[1])
    show.locator("input[name=ghost]").uncheck()
    seen.append(pictures(show)[1])
    assert len(set(seen)) == 4


def test_traces_over_distance(show: Any) -> None:
    assert show.locator(".over-time").first.is_visible()
    choose(show, "axis", "distance")
    assert not show.locator(".over-time").first.is_visible()
    assert show.locator(".over-distance").first.is_visible()


def test_the_traces_can_be_pressed(show: Any) -> None:
    figure = show.locator("#charts0 svg")
    figure.scroll_into_view_if_needed()
    box = figure.bounding_box()
    x = box["x"] + box["width"] * (34.0 + 0.5 * 348.0) / 390.0
    show.mouse.click(x, box["y"] + 20.0)
    assert clock(show) == pytest.approx(3.0, abs=0.03)


def test_every_control_has_a_name_and_can_be_reached(show: Any) -> None:
    show.locator("body").focus()
    reached = []
    for _ in range(40):
        show.keyboard.press("Tab")
        found = show.evaluate(
            """() => {
              const one = document.activeElement;
              if (!one || one === document.body) return null;
              const label = one.labels && one.labels[0];
              const edge = getComputedStyle(one).outlineStyle;
              const beside = label && getComputedStyle(one.nextElementSibling).outlineStyle;
              return {
                name: one.getAttribute('aria-label') || (label || one).textContent.trim(),
                shown: edge !== 'none' || (beside && beside !== 'none'),
                key: one.id || one.name || one.textContent.trim(),
              };
            }"""
        )
        if found is None:
            break
        reached.append(found)
    assert all(one["name"] and one["shown"] for one in reached)
    keys = {one["key"] for one in reached}
    assert {"play", "restart", "time", "rate", "align", "camera", "axis", "push", "ghost"} <= keys
    for index in range(3):
        name = show.locator(f"#view{index}").get_attribute("aria-label")
        assert name
        assert show.get_by_role("img", name=name, exact=True).count() == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 700, 1280])
def test_it_fits_every_width(show: Any, width: int, scheme: str) -> None:
    show.emulate_media(color_scheme=scheme, reduced_motion="reduce")
    show.set_viewport_size({"width": width, "height": 800})
    assert show.evaluate("document.documentElement.scrollWidth") <= width
    corner = "document.getElementById('view0').getContext('2d').getImageData(3, 3, 1, 1).data[0]"
    for _ in range(50):  # the browser tells of a new scheme when it likes
        if (show.evaluate(corner) < 128) == (scheme == "dark"):
            return
    pytest.fail("the drawing keeps the colours of the other scheme")


def test_on_paper_there_is_a_storyboard_and_no_controls(show: Any) -> None:
    assert not show.locator(".story").is_visible()
    show.emulate_media(media="print")
    assert show.locator(".story svg").count() == 12
    assert show.locator(".story").is_visible()
    assert not show.locator("#controls").is_visible()
    assert not show.locator("canvas").first.is_visible()


def test_without_script_the_pictures_tell_it(chromium: Any, address: str) -> None:
    context = chromium.new_context(java_script_enabled=False)
    sheet = context.new_page()
    sheet.goto(address)
    assert sheet.locator(".story").is_visible()
    assert not sheet.locator("#controls").is_visible()
    assert not sheet.locator("canvas").first.is_visible()
    context.close()


@pytest.mark.timing
def test_a_picture_is_drawn_in_time(page: Any, address: str) -> None:
    page.emulate_media(reduced_motion="reduce")
    page.goto(address)
    took = page.evaluate(
        """() => {
          const slider = document.getElementById('time');
          const took = [];
          for (let i = 0; i < 120; i++) {
            const start = performance.now();
            slider.value = i * 0.05;
            slider.dispatchEvent(new Event('input', { bubbles: true }));
            took.push(performance.now() - start);
          }
          return took.sort((a, b) => a - b)[60];
        }"""
    )
    assert took < 8.0 * slowness()
