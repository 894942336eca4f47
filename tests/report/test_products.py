"""All products of a plan: complete, one page, self-contained, the same every time, quick."""

from __future__ import annotations

import base64
import hashlib
import io
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFont

from foreaft.model.answers import Plan
from foreaft.report import briefing, circuit_map, page, words
from foreaft.report.measure import text_width
from foreaft.report.typeset import to_svg
from machine import slowness
from report import fixture
from report.test_svg import PLANS

A5_POINTS = b"/MediaBox[0 0 419.52756 595.2756]"  # ISO 216: 148 x 210 mm
LEAST_PT = 6.5
TESTS = Path(__file__).resolve().parents[1]


def made(plan: Plan, **more: object) -> dict[str, bytes]:
    return page.products(fixture.envelope(plan), plan, **more)


class Reader(HTMLParser):
    """Collects tags with attributes, and text by tag."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(document: bytes) -> Reader:
    reader = Reader()
    reader.feed(document.decode())
    return reader


@pytest.mark.parametrize("kind", PLANS)
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_the_briefing_is_one_page_of_a5(kind: str, units: str) -> None:
    pdf = made(PLANS[kind](), units=units)["briefing.pdf"]
    assert b"/Count 1/" in pdf
    assert pdf.count(A5_POINTS) == 1


def test_a_briefing_with_more_to_say_than_a_page_holds_says_less() -> None:
    plan = fixture.restless_plan()
    data = briefing.gather(fixture.envelope(plan), plan, None, "metric", None)
    data["cautions"] = [data["cautions"][3]] * 7
    assert b"/Count 1/" in briefing.make_page(plan, data, "metric")["briefing.pdf"]
    data["cautions"] = [data["cautions"][3]] * 200
    with pytest.raises(ValueError, match="does not fit"):
        briefing.make_page(plan, data, "metric")


def test_endless_names_leave_the_page_one() -> None:
    endless = "Neverending " * 60
    plan = fixture.plan(
        names=[f"{name} {endless}" for name in fixture.NAMES],
        car_name=endless,
        circuit_name=endless,
        driver_name=endless,
        conditions_name=endless,
    )
    everything = made(plan)
    assert b"/Count 1/" in everything["briefing.pdf"]
    assert endless.strip() in "".join(read(everything["briefing.html"]).text)


def test_no_letter_of_the_page_is_too_small() -> None:
    source = (briefing.TEMPLATES / "briefing.typ").read_text("utf-8")
    sizes = [float(size) for size in re.findall(r"size: ([\d.]+)pt", source)]
    assert min(sizes) >= LEAST_PT


@pytest.mark.parametrize("kind", ["full", "sheet", "long", "long sheet", "odd names"])
def test_no_letter_of_the_printed_map_is_too_small(kind: str) -> None:
    names = [f"T{i}" for i in range(24)]
    more = {"long sheet": lambda: fixture.plan([54.0] * 24, names, outline=False)}
    plan = (PLANS | more)[kind]()
    layouts = briefing.LAYOUTS[:2] if len(plan.zones) <= briefing.ZONES_MOST else [("grid", 86.0)]
    for _, map_mm in layouts:
        picture = circuit_map.draw(plan, tallest=map_mm / briefing.MAP_MM_PER_PX)
        wide, tall = map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', picture).groups())
        points_per_px = min(130.0 / wide, map_mm / tall) * 72.0 / 25.4
        sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', picture)]
        assert min(sizes) * points_per_px >= LEAST_PT


def test_the_map_in_the_svg_of_the_page_carries_its_own_letters() -> None:
    """A picture inside an SVG gets no typeface from the page, and a wider one is cut off."""
    plan = fixture.plan()
    data = briefing.gather(fixture.envelope(plan), plan, None, "metric", None)
    (sheet,) = to_svg(*briefing.typeset_page(plan, data, "metric"))
    inside = re.findall(rb"data:image/svg\+xml;base64,([A-Za-z0-9+/=]+)", sheet)
    picture = base64.b64decode(inside[0]).decode()
    faces = re.findall(
        r'font-family:"([^"]+)";font-weight:(\d+);src:url\(data:font/woff;base64,([^)]+)\)', picture
    )
    first = re.search(r'<svg[^>]* font-family="([^",]+)', picture)
    assert first is not None
    assert {(name, weight) for name, weight, _ in faces} == {(first[1], "400"), (first[1], "700")}
    bold = next(data for _, weight, data in faces if weight == "700")
    font = ImageFont.truetype(io.BytesIO(base64.b64decode(bold)), 1000)
    words_of_a_change = re.findall(r">([\d.]+ [FR])<", picture)
    assert words_of_a_change
    for said in words_of_a_change:  # as wide as the pill was made for
        assert font.getlength(said) == pytest.approx(text_width(said, 1000.0, "bold"), rel=0.02)


@pytest.mark.parametrize("kind", PLANS)
def test_the_web_page_asks_nobody_for_anything(kind: str) -> None:
    document = made(PLANS[kind]())["briefing.html"]
    reader = read(document)
    tags = {tag for tag, _ in reader.tags}
    assert not tags & {"script", "link", "img", "iframe", "object", "embed", "base", "image", "use"}
    for tag, attributes in reader.tags:
        assert not {"src", "href", "xlink:href", "srcset", "action"} & set(attributes), tag
        assert not [name for name in attributes if name.startswith("on")], tag
    document = re.sub(rb"data:font/woff;base64,[\w+/=]+", b"data:", document)
    hosts = set(re.findall(rb"(?:https?:)?//[\w.]+", document))
    assert hosts <= {b"http://www.w3.org"}  # the name of SVG, which nothing is fetched from
    assert set(re.findall(rb"url\(([a-z]+:)", document)) <= {b"data:"}
    assert b"@import" not in document


@pytest.mark.parametrize("kind", PLANS)
def test_the_web_page_is_made_for_everybody(kind: str) -> None:
    plan = PLANS[kind]()
    reader = read(made(plan)["briefing.html"])
    first = dict(reader.tags)
    assert first["html"]["lang"] == "en"
    assert "title" in first
    levels = [int(tag[1]) for tag, _ in reader.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= one + 1 for one, later in pairwise(levels))
    tables = sum(tag == "table" for tag, _ in reader.tags)
    assert tables == sum(tag == "caption" for tag, _ in reader.tags)
    heads = [attributes for tag, attributes in reader.tags if tag == "th"]
    assert all(attributes.get("scope") in {"row", "col"} for attributes in heads)
    pictures = [attributes for tag, attributes in reader.tags if tag == "svg"]
    assert len(pictures) == 3 + len(plan.zones)
    ids = [attributes["id"] for _, attributes in reader.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for attributes in pictures:
        assert attributes["role"] == "img"
        assert set(attributes["aria-labelledby"].split()) <= set(ids)


def test_names_are_shown_and_never_run() -> None:
    plan = fixture.odd_names_plan()
    reader = read(made(plan)["briefing.html"])
    said = "".join(reader.text)
    for name in [plan.car_name, plan.circuit_name, plan.driver_name, *(z.name for z in plan.zones)]:
        assert name in said
    assert "script" not in {tag for tag, _ in reader.tags}


@pytest.mark.parametrize("kind", PLANS)
def test_the_web_page_says_all_of_it(kind: str) -> None:
    plan = PLANS[kind]()
    said = "".join(read(made(plan)["briefing.html"]).text)
    for zone in plan.zones:
        assert zone.reason in said
    for caution in words.cautions():
        assert caution in said
    assert "model 3" in said
    for point in plan.frontier:
        assert f"{(plan.frontier[0].cost_us - point.cost_us) / 1e6:.3f}" in said


@pytest.mark.parametrize(
    "plan",
    [
        fixture.unsure_plan(),
        fixture.plan([55.5, 53.5, 54.5], step=1.0, low=47.5, high=60.5),
    ],
    ids=["quarters", "by one from a half"],
)
def test_the_cost_table_holds_every_setting_of_every_zone(plan: Plan) -> None:
    rows = briefing._costs(plan)
    assert [float(row["setting"]) for row in rows] == [cell.setting for cell in plan.zones[0].field]
    for column, zone in enumerate(plan.zones):
        best = min(cell.cost_us for cell in zone.field if cell.feasible)
        for row, cell in zip(rows, zone.field, strict=True):
            expected = f"{(cell.cost_us - best) / 1000:.0f}" if cell.feasible else ""
            assert row["cells"][column]["loss"] == expected
        chosen = [row["setting"] for row in rows if row["cells"][column]["chosen"]]
        assert [float(one) for one in chosen] == [zone.setting]


@pytest.mark.parametrize("kind", ["small", "reversed", "restless"])
def test_no_setting_has_a_decimal_too_many(kind: str) -> None:
    """In steps of one no picture may show a setting such as 54.0."""
    plan = PLANS[kind]()
    assert plan.adjuster.step == 1.0
    everything = made(plan)
    for name in ("staircase.svg", "map.svg", "distance.svg"):
        assert not re.search(rb">[^<]*\b\d+\.\d+[^<]*</text>", everything[name]), name


def test_the_frontier_says_gains_with_their_sign_and_repeats_no_row() -> None:
    plan = fixture.plan()
    first = plan.frontier[0]
    worse = first.model_copy(update={"changes": 4, "cost_us": first.cost_us + 20000})
    plan = plan.model_copy(update={"frontier": [first, first, plan.frontier[1], worse]})
    rows = briefing._frontier(plan)
    assert [row["changes"] for row in rows] == [0, 1, 4]
    assert [row["gain"] for row in rows] == ["+0.000", "+0.012", "-0.020"]


def test_a_plan_too_restless_for_the_sticker_says_so_in_the_briefing() -> None:
    said = "".join(read(made(fixture.restless_plan())["briefing.html"]).text)
    assert "The 4 changes do not fit the sticker" in said
    assert "do not fit" not in "".join(read(made(fixture.plan())["briefing.html"]).text)


def test_the_briefing_says_when_changes_are_not_worth_it_and_where_to_go_when_lost() -> None:
    idle = "".join(read(made(fixture.idle_plan())["briefing.html"]).text)
    assert "Changes gain next to nothing: 53.0 all lap is as good." in idle
    assert (
        "Lost count of the clicks, or something changed on the car: go to 55.5; nothing planned is "
        "further forward." in idle
    )
    assert "next to nothing: " not in "".join(
        read(made(fixture.tenth_plan())["briefing.html"]).text
    )


def test_the_same_plan_gives_the_same_bytes_in_any_process(tmp_path: Path) -> None:
    code = (
        "import hashlib; from foreaft.report import page; from report import fixture\n"
        "p = fixture.unsure_plan(); w = fixture.wet_plan()\n"
        "m = page.products(fixture.envelope(p), p, w)\n"
        "print({n: hashlib.sha256(b).hexdigest() for n, b in sorted(m.items())})"
    )
    plan = fixture.unsure_plan()
    here = page.products(fixture.envelope(plan), plan, fixture.wet_plan())
    digests = {n: hashlib.sha256(b).hexdigest() for n, b in sorted(here.items())}
    for seed in ("1", "2"):
        there = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(TESTS), "TZ": "Asia/Tokyo"}
        out = subprocess.run(
            [sys.executable, "-c", code], env=there, cwd=tmp_path, capture_output=True, check=True
        )
        assert out.stdout.decode().strip() == str(digests)


def test_products_are_written_and_listed(tmp_path: Path) -> None:
    plan = fixture.small_plan()
    paths = page.write_products(
        fixture.envelope(plan), plan, tmp_path, wet_plan=fixture.wet_plan(), date="2031-05-12"
    )
    assert sorted(tmp_path.iterdir()) == paths
    assert {path.name for path in paths} == {
        "briefing.html",
        "briefing.pdf",
        "briefing.png",
        "distance.svg",
        "map.svg",
        "share-01.svg",
        "share-02.svg",
        "share-03.svg",
        "staircase.svg",
        "sticker-wet.png",
        "sticker.pdf",
        "sticker.png",
    }


@pytest.mark.timing
@pytest.mark.parametrize("make", [fixture.plan, fixture.long_plan])
def test_all_products_in_two_seconds(make: Callable[[], Plan]) -> None:
    plan = make()
    start = time.perf_counter()
    page.products(fixture.envelope(plan), plan, fixture.wet_plan())
    assert time.perf_counter() - start < 2.0 * slowness()


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 820])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", ["full", "odd names", "long", "single"])
def test_the_web_page_in_a_browser(
    kind: str, scheme: str, width: int, page: object, tmp_path: Path
) -> None:
    """Nothing wider than the screen, the font at work, the sheet in the scheme's colour."""
    from foreaft.report import style

    file = tmp_path / "briefing.html"
    file.write_bytes(made(PLANS[kind]())["briefing.html"])
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    states = page.evaluate(
        "document.fonts.ready.then(() => [...document.fonts].map(font => font.status))"
    )
    assert states == ["loaded", "loaded"]
    assert [url for url in asked if not url.startswith("data:")] == [file.as_uri()]
    colour = page.evaluate("getComputedStyle(document.querySelector('svg rect')).fill")
    sheet = {"light": style.LIGHT, "dark": style.DARK}[scheme]["paper"]
    assert colour == "rgb({}, {}, {})".format(*(int(sheet[i : i + 2], 16) for i in (1, 3, 5)))


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_wide_table_shows_on_a_phone_that_it_goes_on(
    scheme: str, page: object, tmp_path: Path
) -> None:
    """Its right edge is shaded while there is more to the right, and no longer at the end."""
    file = tmp_path / "briefing.html"
    file.write_bytes(made(fixture.plan())["briefing.html"])
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": 390, "height": 800})
    page.goto(file.as_uri())
    wide = page.locator(".scroll.costs")
    assert wide.evaluate("one => one.scrollWidth > one.clientWidth")

    def contrast() -> float:
        picture = Image.open(io.BytesIO(wide.screenshot())).convert("L")
        right = np.asarray(picture, dtype=float)[:, -4:-1]
        middle = np.asarray(picture, dtype=float)[:, -60:-20]
        return float(abs(np.median(right) - np.median(middle)))

    shaded = contrast()
    wide.evaluate("one => { one.scrollLeft = one.scrollWidth }")
    assert shaded > 10.0
    assert contrast() < 4.0
