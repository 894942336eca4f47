"""The writer of SVG, and every picture as a well-formed document of its own."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from foreaft.report import briefing, circuit_map, share, staircase
from foreaft.report.measure import text_width
from foreaft.report.svg import el, escape, num
from report import fixture

SVG = "{http://www.w3.org/2000/svg}"
ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}
PLANS = {
    "full": fixture.plan,
    "sheet": fixture.sheet_plan,
    "unsure": fixture.unsure_plan,
    "small": fixture.small_plan,
    "single": fixture.single_plan,
    "long": fixture.long_plan,
    "odd names": fixture.odd_names_plan,
    "reversed": fixture.reversed_plan,
    "restless": fixture.restless_plan,
}


@given(st.text())
def test_any_text_survives_as_content_and_attribute(words: str) -> None:
    tree = ElementTree.fromstring(el("text", words, note=words))
    # XML 1.0, section 2.11 and 3.3.3: line ends and white space in attributes are normalised.
    kept = re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", words)
    assert (tree.text or "") == kept.replace("\r\n", "\n").replace("\r", "\n")
    assert " ".join(tree.attrib["note"].split()) == " ".join(kept.split())


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0"), (-0.004, "0"), (10.0, "10"), (1.005001, "1.01"), (-2.5, "-2.5")],
)
def test_numbers_are_rounded_to_two_decimals(value: float, shown: str) -> None:
    assert num(value) == shown


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_place_is_not_drawn(value: float) -> None:
    with pytest.raises(ValueError, match="cannot be drawn"):
        num(value)


def test_markup_is_escaped_once() -> None:
    assert el("g", el("text", "a & b")) == "<g><text>a &amp; b</text></g>"
    assert escape('<"&">') == "&lt;&quot;&amp;&quot;&gt;"


@pytest.mark.parametrize("kind", PLANS)
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_every_picture_is_well_formed_and_says_what_it_shows(kind: str, units: str) -> None:
    plan = PLANS[kind]()
    drawn = briefing.figures(plan, units)
    assert len(drawn) == 3 + len(plan.zones)
    for name, picture in drawn.items():
        root = ElementTree.fromstring(picture)
        assert root.tag == f"{SVG}svg", name
        assert root.find(f"{SVG}title").text
        assert root.find(f"{SVG}desc").text
        ids = [one.attrib["id"] for one in root.iter() if "id" in one.attrib]
        assert len(ids) == len(set(ids))
        uses = set(re.findall(r"url\(#([^)]+)\)", picture))
        assert uses <= set(ids), name
        inks = {one.tag for one in root.iter()}
        assert f"{SVG}script" not in inks
        assert f"{SVG}image" not in inks


@pytest.mark.parametrize("kind", PLANS)
def test_no_picture_draws_text_outside_its_sheet(kind: str) -> None:
    for name, picture in briefing.figures(PLANS[kind](), "metric").items():
        root = ElementTree.fromstring(picture)
        _, _, wide, tall = map(float, root.attrib["viewBox"].split())
        for one in root.iter(f"{SVG}text"):
            size = float(one.attrib["font-size"])
            width = text_width(one.text, size, "bold" if "font-weight" in one.attrib else "regular")
            part = ANCHORS[one.attrib.get("text-anchor", "start")]
            left = float(one.attrib["x"]) - part * width
            assert left > -1.0, (name, one.text)
            assert left + width < wide + 1.0, (name, one.text)
            assert 0.0 < float(one.attrib["y"]) < tall, (name, one.text)


def test_the_stairs_stand_in_the_column_of_each_setting() -> None:
    """A marker's place is read back from the picture against the axis' own tick labels."""
    plan = fixture.plan()
    root = ElementTree.fromstring(staircase.draw(plan))
    ticks = {
        float(one.text): float(one.attrib["x"])
        for one in root.iter(f"{SVG}text")
        if one.attrib.get("text-anchor") == "middle" and re.fullmatch(r"\d\d\.\d\d", one.text)
    }
    (low, x_low), (high, x_high) = min(ticks.items()), max(ticks.items())
    rings = [one for one in root.iter(f"{SVG}circle") if float(one.attrib["r"]) in {4.5, 7.0}]
    seen = [
        low + (float(one.attrib["cx"]) - x_low) / (x_high - x_low) * (high - low) for one in rings
    ]
    assert seen == pytest.approx([zone.setting for zone in plan.zones], abs=0.02)


@pytest.mark.parametrize(
    ("make", "left"), [(fixture.plan, "REAR"), (fixture.reversed_plan, "FRONT")]
)
def test_both_ends_of_the_adjuster_are_named(make: object, left: str) -> None:
    root = ElementTree.fromstring(staircase.draw(make()))
    ends = {
        one.text: float(one.attrib["x"])
        for one in root.iter(f"{SVG}text")
        if one.text in {"FRONT", "REAR"}
    }
    assert min(ends, key=ends.get) == left


def test_map_places_lie_on_the_outline_and_the_scale_bar_is_true() -> None:
    plan = fixture.plan()
    root = ElementTree.fromstring(circuit_map.draw(plan))
    line = plan.outline
    # Both drawn from the same outline: pixels per metre from its extent, read off the road's path.
    road = next(root.iter(f"{SVG}path")).attrib["d"]
    xs = [float(pair.split()[0]) for pair in re.findall(r"[-\d.]+ [-\d.]+", road)]
    per_metre = (max(xs) - min(xs)) / (max(line.x_m) - min(line.x_m))
    label = next(one for one in root.iter(f"{SVG}text") if re.fullmatch(r"\d+ m", one.text))
    lines = [one.attrib["d"] for one in root.iter(f"{SVG}path")]
    bar = [line for line in lines if line.count("L") == 3][-1]
    places = [float(pair.split()[0]) for pair in re.findall(r"[-\d.]+ [-\d.]+", bar)]
    assert (max(places) - min(places)) / per_metre == pytest.approx(
        float(label.text.split()[0]), rel=0.01
    )


def test_travel_arrow_points_the_way_the_distance_grows() -> None:
    plan = fixture.plan()
    track = circuit_map._fit(plan.outline, circuit_map.TALLEST)
    root = ElementTree.fromstring(circuit_map._travel(track))
    shaft = [
        tuple(map(float, p.split()))
        for p in re.findall(r"[-\d.]+ [-\d.]+", root.find("path").attrib["d"])
    ]
    (x0, y0), (x1, y1) = track.at(0.0), track.at(20.0)
    along = (shaft[1][0] - shaft[0][0]) * (x1 - x0) + (shaft[1][1] - shaft[0][1]) * (y1 - y0)
    assert along > 0


@pytest.mark.parametrize("count", [1, 3, 24])
def test_the_hand_moves_between_the_last_apex_and_the_brake_point(count: int) -> None:
    from foreaft.report.changes import changes

    settings = [54.0] + [53.0] * (count - 1)
    plan = fixture.plan(settings, [f"T{i}" for i in range(count)])
    track = circuit_map._fit(plan.outline, circuit_map.TALLEST)
    for change in changes(plan):
        here = circuit_map.hand_s_m(plan, change, track) % plan.outline.length_m
        start = plan.zones[change.after].apex_s_m % plan.outline.length_m
        end = plan.zones[change.before].brake_s_m % plan.outline.length_m
        lap = plan.outline.length_m
        assert (here - start) % lap < (end - start) % lap


def test_zones_alone_are_drawn_before_there_is_a_plan() -> None:
    plan = fixture.plan()
    picture = circuit_map.zones_map(plan.outline, list(plan.zones), "imperial")
    root = ElementTree.fromstring(picture)
    said = [one.text for one in root.iter(f"{SVG}text")]
    assert {"GATE", "MILL", "HAIR", "LAST"} <= set(said)
    assert "139 mph" in root.find(f"{SVG}desc").text  # 62 m/s
    with pytest.raises(ValueError, match="without a place"):
        circuit_map.zones_map(plan.outline, list(fixture.sheet_plan().zones))


def test_a_hill_is_not_closed() -> None:
    lap = fixture.plan().outline
    half = len(lap.s_m) // 2
    hill = lap.model_copy(
        update={"x_m": lap.x_m[:half], "y_m": lap.y_m[:half], "s_m": lap.s_m[:half]}
    )
    paths = [
        next(ElementTree.fromstring(circuit_map.zones_map(line, [])).iter(f"{SVG}path"))
        for line in (lap, hill)
    ]
    assert [one.attrib["d"].endswith("Z") for one in paths] == [True, False]


def test_a_zone_with_hardly_any_braking_still_has_a_picture() -> None:
    plan = fixture.plan()
    short = {name: values[:1] for name, values in plan.zones[0].profile.model_dump().items()}
    profile = type(plan.zones[0].profile)(**short)
    zone = plan.zones[0].model_copy(update={"profile": profile})
    assert "Too little braking" in ElementTree.fromstring(share.draw(plan, zone))[-1].text


def test_phases_are_found_in_the_profile() -> None:
    """The invented profile brakes from its start, turns in at 0.55 of the way, ends at 0.95."""
    zone = fixture.plan().zones[0]
    length = -zone.profile.s_m[0]
    found = dict(share.phase_places(zone.profile))
    assert list(found) == ["brake", "turn-in", "release", "apex"]
    spacing = length / 40
    assert found["brake"] == pytest.approx(-length, abs=1.01 * spacing)
    # Curvature grows from zero at 0.55 and passes its tenth a little later.
    assert -0.45 * length < found["turn-in"] < -0.3 * length
    assert found["release"] == pytest.approx(-0.05 * length, abs=1.01 * spacing)
    assert found["apex"] == 0.0


def test_an_ideal_that_runs_off_as_the_pedal_comes_up_does_not_set_the_frame() -> None:
    zone = fixture.plan().zones[0]
    calm = share._axes(zone)
    pairs = zip(zone.profile.ideal_torque_share_frac, zone.profile.pedal_frac, strict=True)
    wild = [0.0 if ideal is not None and pedal < 0.3 else ideal for ideal, pedal in pairs]
    assert 0.0 in wild
    profile = zone.profile.model_copy(update={"ideal_torque_share_frac": wild})
    there = share._axes(zone.model_copy(update={"profile": profile}))
    assert there.low == pytest.approx(calm.low, abs=0.02)
    assert there.high - there.low < 0.1


def test_the_field_ends_where_the_numbers_begin() -> None:
    root = ElementTree.fromstring(staircase.draw(fixture.plan()))
    cells = [one for one in root.iter(f"{SVG}rect") if one.attrib.get("height") == "25"]
    right = max(float(one.attrib["x"]) + float(one.attrib["width"]) for one in cells)
    numbers = [
        float(one.attrib["x"])
        for one in root.iter(f"{SVG}text")
        if one.attrib["font-size"] == "12" and re.fullmatch(r"\d\d\.\d\d", one.text)
    ]
    assert min(float(one.attrib["x"]) for one in cells) == pytest.approx(staircase.LEFT, abs=0.01)
    assert right < min(numbers) < right + 10.0
