"""The demonstration: what the page and its numbers hold, and what is refused."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from foreaft.base.errors import InputError
from foreaft.drive.scene import Scene
from foreaft.drive.trace import LOCKED, Happening
from foreaft.report import demonstration, demonstration_charts, demonstration_look, style
from foreaft.report.demonstration_data import MOST_SAMPLES, STEP_S, body, film
from foreaft.report.demonstration_frame import Area, Box, Camera, Words, panel
from foreaft.report.demonstration_words import instants
from report.demonstration_fixture import APEX_M, damaged, run, scene, trace

VOID = {"meta", "link", "input", "br"}


class Tags(HTMLParser):
    """Collect elements, identities, addresses and text; complain about tags that do not nest."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.names: Counter[str] = Counter()
        self.ids: Counter[str] = Counter()
        self.referred: set[str] = set()
        self.addresses: list[str] = []
        self.text: list[str] = []
        self.feed(html)
        self.wrong += self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names[tag] += 1
        for key, value in attrs:
            if key == "id":
                self.ids[value or ""] += 1
            if key in {"src", "href", "action", "data", "poster", "srcset", "xlink:href"}:
                self.addresses.append(value or "")
            if key in {"aria-labelledby", "aria-describedby", "for"}:
                self.referred |= set((value or "").split())
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def html(made: Scene) -> str:
    return demonstration.page(film(made)).decode()


def packed(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="scene">(.*?)</script>', page, re.S)
    assert found

    def refuse(word: str) -> float:
        raise AssertionError(f"{word} is no number of JSON")

    data: dict[str, Any] = json.loads(found[1], parse_constant=refuse)
    return data


def numbers(channel: dict[str, Any]) -> np.ndarray:
    """What the script makes of a stored channel."""
    return channel["u"] * np.cumsum(channel["d"])


@pytest.mark.parametrize(
    "made",
    [
        scene(),
        scene("clean", "rotation"),
        scene("lock_up", edges=False, units="imperial"),
        scene(
            "clean", "lock_up", brake=None, turn_in=None, release=None, apex=None, zone_name=None
        ),
    ],
    ids=["three", "two", "one without edges", "no marks"],
)
def test_the_page_is_whole_and_asks_for_nothing(made: Scene) -> None:
    page = html(made)
    tags = Tags(page)
    assert not tags.wrong
    assert max(tags.ids.values()) == 1
    assert tags.referred <= set(tags.ids)
    assert all(one.startswith("data:") for one in tags.addresses)
    assert re.findall(r"url\((?!data:)", page) == []
    assert "@import" not in page
    assert not re.search(r"\b(fetch|XMLHttpRequest|WebSocket|importScripts|sendBeacon)\b", page)
    assert "NaN" not in json.dumps(packed(page))
    assert tags.names["canvas"] == len(made.runs)
    assert len(page) < 1_500_000


def test_the_page_says_every_sentence_label_and_caution() -> None:
    made = scene()
    said = " ".join(Tags(html(made)).text)
    for one in made.runs:
        assert one.outcome.sentence in said
        assert one.label in said
    for caution in made.cautions:
        assert caution in said
    assert "Bigger number = more FRONT; one step is 0.5." in said
    assert "2.50 s: the inside front locks, for 0.60 s" in said


def test_the_usual_cautions_stand_where_a_scene_brings_none() -> None:
    assert "For a closed circuit only" in html(scene(cautions=()))


def test_names_stay_names() -> None:
    evil = "<script>alert(1)</script>&\"'</style>"
    made = scene("clean", title=evil, car_name=evil, circuit_name=evil, zone_name=evil)
    made = replace(made, runs=(run("clean", label=evil), run("lock_up", label="]]>" + evil)))
    page = html(made)
    tags = Tags(page)
    assert not tags.wrong
    assert tags.names["script"] == 2
    assert tags.names["style"] == 1
    assert evil in "".join(tags.text)
    assert "<script>alert" not in page


def test_the_same_scene_gives_the_same_bytes() -> None:
    assert html(scene()) == html(scene())


def test_front_and_rear_keep_their_colours() -> None:
    for ours, common in (
        (demonstration_look.LIGHT, style.LIGHT),
        (demonstration_look.DARK, style.DARK),
    ):
        assert ours["front"] == common["front"]
        assert ours["rear"] == common["rear"]


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize("colours", [demonstration_look.LIGHT, demonstration_look.DARK])
@pytest.mark.parametrize(
    ("upon", "seen", "least"),
    # WCAG 2.2: 1.4.3 asks 4.5 of text, 1.4.11 asks 3 of what has to be recognised.
    [("paper", "ink", 4.5), ("paper", "soft", 4.5), ("paper", "front", 4.5), ("paper", "rear", 4.5)]
    + [("verge", "ink", 4.5), ("verge", "soft", 4.5), ("road", "ink", 4.5), ("road", "soft", 3.0)]
    + [(f"wheel{i}", f"sign{i}", 3.0) for i in (1, 2, 3)]
    + [("body", "front", 3.0), ("body", "rear", 3.0), ("paper", "edge", 3.0)],
)
def test_everything_can_be_told_apart(
    colours: dict[str, str], upon: str, seen: str, least: float
) -> None:
    high, low = sorted((luminance(colours[upon]), luminance(colours[seen])), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= least


# ---------------------------------------------------------------- the numbers


def test_stored_numbers_are_the_run() -> None:
    made = scene("lock_up")
    data = packed(html(made))
    stored, driven = data["runs"][0], made.runs[0].trace
    time = stored["step"] * np.arange(len(stored["x"]["d"]))
    assert stored["step"] == STEP_S
    origin_x = np.mean(film(made).road.line[:, 0])
    # Half of what one unit is worth, and what the shape between two samples may hide.
    assert np.allclose(
        numbers(stored["x"]) + origin_x, np.interp(time, driven.time_s, driven.x_m), atol=0.0051
    )
    speed = np.hypot(driven.speed_mps, driven.side_speed_mps)
    assert np.allclose(numbers(stored["speed"]), np.interp(time, driven.time_s, speed), atol=0.0101)


def test_a_short_lock_is_not_thinned_away() -> None:
    state = np.zeros_like(trace("clean").wheel_state)
    state[251, 1] = LOCKED
    made = scene("clean")
    made = replace(made, runs=(run("clean", trace=damaged("clean", wheel_state=state)),))
    assert np.max(film(made).reels[0].state[:, 1]) == LOCKED


def test_a_long_run_is_stored_at_wider_steps() -> None:
    count = int(MOST_SAMPLES * STEP_S / 2.0)
    long = trace("clean", seconds=float(count))
    made = replace(scene("clean"), runs=(run("clean", trace=long),) * 3)
    reels = film(made).reels
    assert sum(len(one.time_s) for one in reels) <= MOST_SAMPLES + len(reels)
    assert reels[0].duration_s == pytest.approx(count, abs=0.1)


def test_a_run_that_starts_late_is_shown_from_zero() -> None:
    late = replace(scene("lock_up"), runs=(run("lock_up", trace=trace("lock_up", start_s=40.0)),))
    outcome = replace(
        late.runs[0].outcome,
        happenings=tuple(
            replace(one, start_s=one.start_s + 40.0) for one in late.runs[0].outcome.happenings
        ),
    )
    late = replace(late, runs=(replace(late.runs[0], outcome=outcome),))
    assert html(late) == html(scene("lock_up"))


def test_when_a_place_is_reached() -> None:
    made = film(scene("clean"))
    reel = made.reels[0]
    time = reel.reaches(APEX_M)
    assert time is not None
    assert float(np.interp(time, reel.time_s, reel.s_m)) == pytest.approx(APEX_M, abs=1.2)
    assert reel.reaches(1e4) is None
    assert reel.reaches(-1.0) is None


def test_what_the_line_asks_is_the_yaw_rate_of_a_car_that_follows_it() -> None:
    reel = film(scene("clean")).reels[0]
    middle = (reel.s_m > 165.0) & (reel.s_m < 215.0)
    # The car of the fixture keeps to the line: the two differ by smoothing over the line's points.
    assert np.allclose(
        reel.road_rate_radps[middle], reel.yaw_rate_radps[middle], atol=0.05, rtol=0.05
    )


def test_the_car_is_drawn_to_scale() -> None:
    made = scene()
    drawn = body(made.size)
    front, rear = drawn.wheels[:2], drawn.wheels[2:]
    assert front[0, 0] - rear[0, 0] == pytest.approx(made.size.wheelbase_m)
    assert front[0, 1] - front[1, 1] == pytest.approx(made.size.track_front_m)
    assert rear[0, 1] - rear[1, 1] == pytest.approx(made.size.track_rear_m)
    # Moments of the axles' weights about the centre of gravity cancel.
    weight = made.size.front_weight_frac
    assert weight * front[0, 0] + (1.0 - weight) * rear[0, 0] == pytest.approx(0.0)


def test_a_camera_puts_ahead_up_and_left_left() -> None:
    view = Camera(10.0, 20.0, 0.5 * np.pi, 4.0, 100.0, 200.0)  # looking north
    east, north = view.see(np.array([[13.0, 20.0], [10.0, 25.0]]))
    assert east == pytest.approx([112.0, 200.0])
    assert north == pytest.approx([100.0, 180.0])


def test_each_state_has_a_sign_and_a_word() -> None:
    made = film(scene("lock_up"))
    shapes = panel(made, made.reels[0], 2.8, Box(460.0, 330.0))
    words = {one.text for one in shapes if isinstance(one, Words)}
    assert {"locked", "near"} <= words
    fills = {one.fill for one in shapes if isinstance(one, Area)}
    assert {"wheel1", "wheel3", "front", "rear"} <= fills


def test_the_storyboard_shows_what_went_wrong() -> None:
    made = film(scene())
    told = [[one.words for one in instants(made, reel)] for reel in made.reels]
    assert told[0] == ["braking begins", "turn-in", "brakes released as planned", "apex"]
    assert "the inside front locks" in told[1]
    assert "the tail comes out" in told[2]
    for reel in made.reels:
        times = [one.time_s for one in instants(made, reel)]
        assert times == sorted(times)
        assert 0.0 <= times[0] <= times[-1] <= reel.duration_s


def test_charts_of_all_runs_share_their_scales() -> None:
    made = film(scene())
    shared = demonstration_charts.scales(made)
    ends = [
        re.findall(r'class="s-ink now"', demonstration_charts.draw(made, reel, shared, f"c{i}"))
        for i, reel in enumerate(made.reels)
    ]
    assert [len(one) for one in ends] == [1, 1, 1]
    fastest = max(float(np.max(reel.speed_mps)) for reel in made.reels)
    assert 3.6 * fastest <= shared.speed.high


# ---------------------------------------------------------------- what is refused


def _nan(name: str) -> np.ndarray:
    values = np.array(getattr(trace("clean"), name), dtype=np.float64)
    values[7] = np.nan
    return values


def _backward() -> np.ndarray:
    time = np.array(trace("clean").time_s)
    time[20] = time[10]
    return time


BROKEN = {
    "one sample": ("trace_short", lambda: _short(1)),
    "a moment": ("trace_short", lambda: _short(5)),
    "speed": ("trace_not_a_number", lambda: damaged("clean", speed_mps=_nan("speed_mps"))),
    "load": ("trace_not_a_number", lambda: damaged("clean", load_N=_nan("load_N"))),
    "time": ("trace_not_in_order", lambda: damaged("clean", time_s=_backward())),
    "state": (
        "trace_not_a_state",
        lambda: damaged("clean", wheel_state=np.full((601, 4), 9, dtype=np.int8)),
    ),
}


def _short(count: int) -> Any:
    whole = trace("clean")
    columns = {name: getattr(whole, name)[:count] for name in whole.__dataclass_fields__}
    return replace(whole, **columns)


@pytest.mark.parametrize("what", BROKEN)
def test_a_damaged_run_is_refused_and_nothing_written(what: str, tmp_path: Path) -> None:
    code, broken = BROKEN[what]
    made = scene("clean", "lock_up")
    made = replace(made, runs=(made.runs[0], run("lock_up", trace=broken())))
    with pytest.raises(InputError) as refused:
        demonstration.write(tmp_path, made)
    assert refused.value.code == code
    assert "57.0, 5 steps forward" in str(refused.value.key)
    assert list(tmp_path.iterdir()) == []


def test_a_car_without_adjuster_is_shown() -> None:
    nothing = damaged("clean", setting=np.full(601, np.nan))
    made = replace(
        scene("clean"), step=None, higher_means=None, runs=(run("clean", trace=nothing),)
    )
    page = html(made)
    packed(page)
    assert "Bigger number" not in page


@pytest.mark.parametrize(
    "change",
    [
        {"runs": ()},
        {"line_s_m": np.array([0.0]), "line_x_m": np.array([0.0]), "line_y_m": np.array([0.0])},
        {"left_x_m": None},
        {"line_x_m": np.full(261, np.nan)},
        {"line_s_m": np.zeros(261)},
    ],
    ids=["no run", "one point", "half an edge", "no numbers", "no distance"],
)
def test_a_scene_that_cannot_be_drawn_is_refused(change: dict[str, Any]) -> None:
    with pytest.raises(InputError) as refused:
        film(replace(scene("clean"), **change))
    assert refused.value.code in {"scene_runs", "scene_road"}


def test_a_happening_outside_the_run_has_no_button() -> None:
    late = Happening("spin", 99.0, 0.0, 400.0)
    outcome = replace(run("clean").outcome, happenings=(late,))
    made = replace(scene("clean"), runs=(run("clean", outcome=outcome),))
    assert 'data-time="99' not in html(made)


def test_a_name_the_title_says_is_not_said_again() -> None:
    made = scene("clean", title="Marrow 4 Cup: Long Left, Tidewater Ring")
    assert 'class="who">Marrow' not in html(made)
    other = scene("clean", title="Braking")
    assert 'class="who">Marrow 4 Cup · Tidewater Ring · Long Left<' in html(other)


def test_a_plan_and_twelve_others_stay_a_page_that_can_be_sent() -> None:
    made = replace(scene("clean"), runs=(run("lock_up"),) * 13)
    assert len(html(made)) < 1_500_000
