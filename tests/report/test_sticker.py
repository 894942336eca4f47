"""The sticker measured on its own picture, with a ruler of pixels.

Heights: common practice, no source (base number 18 to 20 mm, changes 12 to 15 mm, letters at
least 8 mm, gaps at least 6 mm between the flat tops and feet of lines).
"""

from __future__ import annotations

import io
from collections.abc import Callable
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from foreaft.model.answers import MovedNumber, Plan
from foreaft.report import sticker
from report import fixture

PX_PER_MM = sticker.PNG_PPI / 25.4
ROUNDING_MM = 0.15
"""Two pixels, and nothing more: round letters overshoot on top of that."""
OVERSHOOT = 0.025
"""Round digits stand out by a fortieth of their height; measured on the typeface."""

THREE = fixture.tenth_plan
FITTING = {
    "none": fixture.single_plan,
    "two": fixture.small_plan,
    "two in quarters": fixture.plan,
    "three": THREE,
    "three long": fixture.long_plan,
    "towards the rear": fixture.reversed_plan,
    "odd names": fixture.odd_names_plan,
}


def picture(plan: Plan) -> NDArray[np.bool_]:
    made = sticker.make(plan)
    return np.asarray(Image.open(io.BytesIO(made["sticker.png"])).convert("L")) < 128


def heights_mm(dark: NDArray[np.bool_], left_mm: float, right_mm: float) -> list[float]:
    """Measure every run of rows with ink between two upright lines."""
    rows = dark[:, round(left_mm * PX_PER_MM) : round(right_mm * PX_PER_MM)].any(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rows.astype(int), [0]])))
    return [float(b - a) / PX_PER_MM for a, b in zip(edges[::2], edges[1::2], strict=True)]


def within(height: float, low: float, high: float) -> bool:
    return low - ROUNDING_MM <= height <= high * (1.0 + OVERSHOOT) + ROUNDING_MM


@pytest.mark.parametrize("kind", FITTING)
def test_page_and_picture_have_the_size(kind: str) -> None:
    made = sticker.make(FITTING[kind]())
    assert b"/MediaBox[0 0 141.73228 255.1181]" in made["sticker.pdf"]  # 50 and 90 mm in points
    image = Image.open(io.BytesIO(made["sticker.png"]))
    assert image.size == (round(50.0 * PX_PER_MM), round(90.0 * PX_PER_MM))


@pytest.mark.parametrize("kind", FITTING)
def test_at_most_five_lines_and_each_high_enough(kind: str) -> None:
    plan = FITTING[kind]()
    found = [h for h in heights_mm(picture(plan), 4.8, 45.4) if h > 1.0]
    count = len(sticker.changes(plan))
    base, *middle, last = found
    assert within(base, 18.0, 20.0)
    assert within(last, 8.0, 8.0)
    if count:
        assert len(middle) == count
        assert all(within(height, 12.0, 15.0) for height in middle)
    else:
        assert [within(height, 8.0, 8.0) for height in middle] == [True]  # ALL LAP
    assert len(found) <= 5


def test_letters_of_end_and_place_are_eight_millimetres() -> None:
    dark = picture(THREE())
    ends = [h for h in heights_mm(dark, 40.5, 45.4) if h > 6.0]
    assert len(ends) >= 3
    assert all(within(height, 8.0, 8.0) for height in ends[:3])
    places = [h for h in heights_mm(dark, 4.8, 13.0) if 6.0 < h < 10.0]
    assert len(places) == 4  # three corners, and LOST?
    assert all(within(height, 8.0, 8.0) for height in places)


@pytest.mark.parametrize("kind", FITTING)
def test_gaps_between_lines(kind: str) -> None:
    dark = picture(FITTING[kind]())
    rows = dark[:, round(4.8 * PX_PER_MM) : round(45.4 * PX_PER_MM)].any(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rows.astype(int), [0]]))) / PX_PER_MM
    lines = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1.0]
    gaps = [top - foot for (_, foot), (top, _) in pairwise(lines)]
    assert min(gaps) >= 6.0 - 0.025 * (20.0 + 12.0) / 2.0 - ROUNDING_MM


@pytest.mark.parametrize(
    ("line", "height", "left", "right"), [(0, 20.0, 4.8, 45.0), (2, 15.0, 17.0, 38.0)]
)
def test_strokes_are_a_sixth_of_the_height(
    line: int, height: float, left: float, right: float
) -> None:
    """The uprights of a base number and of a change, both 44, a little above their feet."""
    plan = fixture.plan([54.0, 44.0, 44.0], ["T1", "T2", "T3"], step=1.0, low=40.0, high=60.0)
    dark = picture(plan)[:, round(left * PX_PER_MM) : round(right * PX_PER_MM)]
    rows = np.flatnonzero(np.diff(np.concatenate([[0], dark.any(axis=1).astype(int), [0]])))
    row = dark[rows[2 * line + 1] - round(0.8 * PX_PER_MM)]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    widths = (edges[1::2] - edges[::2]) / PX_PER_MM
    assert widths == pytest.approx([height / 6.0] * 2, rel=0.1)


@pytest.mark.parametrize("kind", FITTING)
def test_nothing_touches_the_edge(kind: str) -> None:
    dark = picture(FITTING[kind]())
    rim = round(0.6 * PX_PER_MM)
    assert not dark[:rim].any()
    assert not dark[-rim:].any()
    assert not dark[:, :rim].any()
    assert not dark[:, -rim:].any()


def test_content_keeps_clear_of_the_small_print() -> None:
    """Between the big letters and the edge texts there is a white line from top to foot."""
    for make in FITTING.values():
        dark = picture(make())
        for left, right in ((3.0, 4.8), (45.3, 47.4)):
            band = dark[:, round(left * PX_PER_MM) : round(right * PX_PER_MM)]
            assert (~band.any(axis=0)).sum() / PX_PER_MM > 0.2, make.__name__


def shown(plan: Plan, **more: object) -> list[str]:
    root = ElementTree.fromstring(sticker.draw(plan, **more))
    return [one.text for one in root.iter("{http://www.w3.org/2000/svg}text")]


def test_only_changes_in_driving_order() -> None:
    said = " ".join(shown(THREE()))
    assert said.startswith("54 .5 AFTER GAT 53 .0 R AFTER T3 55 .5 F AFTER LON 54 .5 R LOST? 55.5")


def test_whoever_counts_by_one_from_a_half_reads_halves() -> None:
    plan = fixture.plan([55.5, 53.5, 55.5], step=1.0, low=47.5, high=60.5)
    said = " ".join(shown(plan))
    assert said.startswith("55 .5 AFTER GAT 53 .5 R AFTER MIL 55 .5 F LOST? 56.5")
    assert sticker.describe(plan).startswith("Base 55.5; after GATE 53.5, 2 steps to the rear;")


def test_changes_that_gain_next_to_nothing_say_so_and_hide_nothing() -> None:
    said = "Changes gain next to nothing: 53.0 all lap is as good."
    assert said in shown(fixture.idle_plan())
    assert said in sticker.describe(fixture.idle_plan())
    assert "next to nothing" not in sticker.draw(THREE())
    bare, dark = picture(THREE()), picture(fixture.idle_plan())
    added = dark & ~bare
    assert added.any()
    assert not (bare & ~dark).any()
    near = np.zeros_like(added)  # half a tenth of a millimetre of paper round every letter
    for way in (-1, 1):
        near |= np.roll(added, way, axis=0) | np.roll(added, way, axis=1)
    assert not (near & bare & ~added).any()


def test_the_direction_and_a_caution_stand_on_every_side() -> None:
    for make in (THREE, fixture.reversed_plan, fixture.restless_plan, fixture.single_plan):
        for wet in (False, True):
            plan = make()
            small = " ".join(shown(plan, wet=wet, date="2031-05-12"))
            assert f"Bigger number = more {plan.adjuster.higher_means.upper()}" in small
            assert "Closed circuit only" in small
            assert "2031-05-12" in small
            assert plan.car_name in small


def test_a_change_too_many_is_never_dropped_in_silence() -> None:
    plan = fixture.restless_plan()
    words = shown(plan)
    assert words[:2] == [f"{plan.lap_setting.setting:.0f}", "ALL LAP"]
    assert "The plan has 4 changes;" in words
    assert "AFTER" not in words


def test_the_back_is_inverse_and_says_wet() -> None:
    made = sticker.make(fixture.plan(), fixture.wet_plan())
    assert b"/Count 2" in made["sticker.pdf"]
    front, back = (
        np.asarray(Image.open(io.BytesIO(made[name])).convert("L"))
        for name in ("sticker.png", "sticker-wet.png")
    )
    assert front.mean() > 150
    assert back.mean() < 105
    assert "WET" in shown(fixture.wet_plan(), wet=True)
    assert "WET" not in shown(fixture.plan())


def test_only_black_and_white() -> None:
    made = sticker.make(fixture.plan(), fixture.wet_plan())
    for name in ("sticker.png", "sticker-wet.png"):
        pixels = np.asarray(Image.open(io.BytesIO(made[name])).convert("RGB")).astype(int)
        assert np.ptp(pixels, axis=2).max() == 0


@pytest.mark.parametrize(
    "make", [fixture.plan, THREE, fixture.long_plan, fixture.reversed_plan, fixture.odd_names_plan]
)
def test_letters_are_never_squeezed_beyond_reading(make: Callable[[], Plan]) -> None:
    root = ElementTree.fromstring(sticker.draw(make()))
    moves = [one.attrib.get("transform", "") for one in root.iter()]
    squeezes = [float(move.split("scale(")[1].split()[0]) for move in moves if "scale(" in move]
    assert min(squeezes) >= 0.6


MOVED = [
    MovedNumber(key="grip_scale", value=0.8, in_file=1.0),
    MovedNumber(key="fuel_kg", value=40.0, in_file=None),
    MovedNumber(key="scatter_scale", value=1.55, in_file=1.0),
    MovedNumber(key="boldness", value=2.1, in_file=1.0),
    MovedNumber(key="changes_max", value=3.0, in_file=2.0),
]


@pytest.mark.parametrize("kind", FITTING)
def test_what_was_moved_from_the_files_stands_on_it_and_hides_nothing(kind: str) -> None:
    """All four numbers are printed, and the ink of the bare sticker is all still there."""
    bare = FITTING[kind]()
    plan = bare.model_copy(update={"moved": MOVED})
    said = " ".join(ElementTree.fromstring(sticker.draw(plan)).itertext()).replace("\u00a0", " ")
    for words in ("grip 80 %", "fuel 40 kg", "braking scatter × 1.55", "boldness 2.1"):
        assert words in said
    before, after = picture(bare), picture(plan)
    added = after & ~before
    assert not (before & ~after).any()
    rows = np.flatnonzero(added.any(axis=1))
    columns = np.flatnonzero(added.any(axis=0))
    assert (rows[-1] - rows[0]) / PX_PER_MM < sticker.GAP_MM  # it lies within one gap
    assert columns[-1] / PX_PER_MM < sticker.WIDTH_MM - sticker.EDGE_MM
    near = np.zeros_like(added)  # half a tenth of a millimetre of paper round every letter
    for way in (-1, 1):
        near |= np.roll(added, way, axis=0) | np.roll(added, way, axis=1)
    assert not (near & before & ~added).any()


def test_a_plan_of_the_files_says_nothing_of_them() -> None:
    assert "grip" not in sticker.draw(fixture.plan())
    only_changes = fixture.plan().model_copy(update={"moved": MOVED[-1:]})
    assert sticker.draw(only_changes) == sticker.draw(fixture.plan())  # its own lines show them
