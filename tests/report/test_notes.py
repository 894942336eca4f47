"""The small print of the page: whole sentences, the important ones stay, nothing runs into another.

What is on paper is read from its pixels.
"""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from PIL import Image

from foreaft.model.answers import Warn
from foreaft.report import briefing, notes
from report import fixture
from report.test_map_labels import MAPS

MM_PER_INCH = 25.4
PAGE_MM = 210.0
FOOTER_MM = 4.0
"""The line with the versions has letters of 2.3 mm; what stands higher is more than that line."""

LONG = (
    "The lap setting is more than two steps from what is run today: go there one step at a time, "
    "straight stops first, and stop where the car says so"
)


def inked(png: bytes) -> tuple[np.ndarray, float]:
    """Whether each pixel of a page is inked, and the pixels of a millimetre."""
    grey = np.asarray(Image.open(io.BytesIO(png)).convert("L"))
    return grey < 200, grey.shape[0] / PAGE_MM


def blocks_from_below(png: bytes) -> list[tuple[float, float]]:
    """Bands of ink with at least 0.7 mm of paper between them: bottom and height, in mm."""
    ink, per_mm = inked(png)
    rows = np.flatnonzero(ink.any(axis=1))[::-1]
    breaks = np.flatnonzero(-np.diff(rows) > 0.7 * per_mm)
    parts = np.split(rows, breaks + 1)
    return [(float(p[0]) / per_mm, float(p[0] - p[-1]) / per_mm) for p in parts]


def page(kind: str, warnings: int = 1) -> bytes:
    plan = MAPS[kind]()
    told = [Warn(code="class_only", text=f"{LONG} ({i})") for i in range(warnings)]
    envelope = fixture.envelope(plan).model_copy(update={"warnings": told})
    data = briefing.gather(envelope, plan, None, "metric", None)
    return briefing.make_page(plan, data, "metric")["briefing.png"]


@pytest.mark.parametrize("warnings", [0, 1, 6, 40])
@pytest.mark.parametrize("kind", ["unsure", "sheet", "twenty", "restless"])
def test_no_text_runs_into_the_last_line_or_the_margins(kind: str, warnings: int) -> None:
    png = page(kind, warnings)
    last, height = blocks_from_below(png)[0]
    assert last < PAGE_MM - 4.0
    assert height < FOOTER_MM
    ink, per_mm = inked(png)
    side = round(8.5 * per_mm)
    assert not ink[:, :side].any()
    assert not ink[:, -side:].any()


def test_the_reader_of_pixels_sees_a_clash() -> None:
    """The test above can fail: the same page with a bar of ink down to the last line."""
    png = page("full")
    picture = Image.open(io.BytesIO(png)).convert("L")
    tall = picture.height
    picture.paste(0, (200, round(0.9 * tall), 220, round(0.965 * tall)))
    out = io.BytesIO()
    picture.save(out, "png")
    assert blocks_from_below(out.getvalue())[0][1] > FOOTER_MM


def test_what_is_left_out_is_whole_sentences_and_the_least_important() -> None:
    plan = fixture.unsure_plan()
    everything = notes.notes(plan, [LONG, "second", "third"], "All settings are relative.")
    assert all(re.match(r"([A-Z]|\w+\.\w)", one.text) for one in everything)
    assert all(one.text.endswith(".") for one in everything)
    for count in range(notes.count_to(everything, 0), len(everything) + 1):
        kept = notes.kept(everything, count)
        said = " ".join(one["text"] for one in kept)
        inside = [one for one in everything if one.text in said]
        assert len(inside) == count
        left = [one for one in everything if one not in inside]
        assert all(a.rank <= b.rank for a in inside for b in left)
        assert (notes.MORE in said) == bool(left)
    least = [one.text for one in everything if one.rank == 0]
    assert any("relative" in one for one in least)
    assert any("cannot tell" in one for one in least)


def test_one_test_for_two_things_is_said_once() -> None:
    plan = fixture.plan()
    both = [one.model_copy(update={"measurement": "ask the maker"}) for one in plan.matters]
    said = [one.text for one in notes.notes(plan.model_copy(update={"matters": both}), [], "")]
    assert sum("ask the maker" in one for one in said) == 1
    assert any("cg height m" in one and "22" in one for one in said)
