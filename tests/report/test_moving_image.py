"""The moving image: it opens, lasts as long as the run, and moves."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from PIL import Image, ImageChops

from foreaft.drive.trace import Happening
from foreaft.report import demonstration, moving_image
from foreaft.report.demonstration_data import film
from foreaft.report.moving_image import HOLD_FIRST_S, HOLD_LAST_S, PICTURE_S, stretch
from report.demonstration_fixture import run, scene, trace


@cache
def made() -> bytes:
    return moving_image.make(film(scene("clean", "lock_up")))


def opened() -> Image.Image:
    return Image.open(io.BytesIO(made()))


def test_it_opens_and_keeps_its_size() -> None:
    with opened() as image:
        assert image.format == "GIF"
        assert image.width == 960
        assert image.info["loop"] == 0
    assert len(made()) < moving_image.MOST_BYTES


def test_it_lasts_as_long_as_the_run_at_the_speed_it_says() -> None:
    shown = stretch(film(scene("clean", "lock_up")))
    assert shown.rate == 0.5
    lasts = 0
    with opened() as image:
        count = image.n_frames
        for number in range(count):
            image.seek(number)
            lasts += image.info["duration"]
    run_s = (lasts / 1000.0 - HOLD_FIRST_S - HOLD_LAST_S) * shown.rate
    # The last picture is the end of the run and stands for one picture more.
    assert run_s == pytest.approx(6.0, abs=1.5 * PICTURE_S)
    assert count == len(shown.times)


def test_its_pictures_differ() -> None:
    with opened() as image:
        image.seek(20)
        early = image.convert("RGB")
        image.seek(90)
        late = image.convert("RGB")
    for left in (16, 490):
        panel = (left, 90, left + 250, 400)
        assert ImageChops.difference(early.crop(panel), late.crop(panel)).getbbox()


def test_paper_is_white() -> None:
    with opened() as image:
        image.seek(50)
        assert image.convert("RGB").getpixel((700, 10)) == (255, 255, 255)


def test_the_same_scene_gives_the_same_bytes() -> None:
    short = scene("clean")
    short = replace(short, runs=(run("clean", trace=trace("clean", seconds=0.6)),))
    assert moving_image.make(film(short)) == moving_image.make(film(short))


def test_a_lap_is_shown_about_its_first_trouble() -> None:
    outcome = replace(run("clean").outcome, happenings=(Happening("spin", 50.0, 0.0, 900.0),))
    lap = replace(
        scene("clean"), runs=(run("clean", trace=trace("clean", seconds=90.0), outcome=outcome),)
    )
    shown = stretch(film(lap))
    assert shown.start_s < 50.0 < shown.end_s
    assert shown.end_s - shown.start_s == pytest.approx(moving_image.MOST_S)
    assert shown.rate == 1.0


def test_both_files_are_written(tmp_path: Path) -> None:
    short = replace(scene("clean"), runs=(run("clean", trace=trace("clean", seconds=0.6)),))
    paths = demonstration.write(tmp_path, short)
    assert [one.name for one in paths] == ["show.html", "show.gif"]
    assert all(one.is_file() for one in paths)
    assert {one.name for one in tmp_path.iterdir()} == {"show.html", "show.gif"}


def test_the_moving_image_may_be_left_out(tmp_path: Path) -> None:
    short = replace(scene("clean"), runs=(run("clean", trace=trace("clean", seconds=0.6)),))
    paths = demonstration.write(tmp_path, short, image=False)
    assert [one.name for one in paths] == ["show.html"]
    assert {one.name for one in tmp_path.iterdir()} == {"show.html"}


def test_strange_names_can_be_drawn() -> None:
    strange = "Ö" * 90 + " 試験 " + "\u202e" + "<b>"
    short = scene("clean", title=strange, car_name=strange)
    label = run("clean", label=strange, trace=trace("clean", seconds=0.3))
    assert moving_image.make(film(replace(short, runs=(label,))))


def test_of_many_runs_the_first_are_shown() -> None:
    short = run("clean", trace=trace("clean", seconds=0.3))
    four = replace(scene("clean"), runs=(short,) * moving_image.SIDE_BY_SIDE)
    seven = replace(four, runs=(*four.runs, short, short, short))
    few, many = (Image.open(io.BytesIO(moving_image.make(film(one)))) for one in (four, seven))
    assert few.size == many.size
    # Only the head differs, which says how many of the runs are seen; elsewhere each image has
    # blends of its own at the edges of shapes.
    differ = ImageChops.difference(few.convert("L"), many.convert("L"))
    box = differ.point([0] * 64 + [255] * 192).getbbox()
    assert box is not None
    assert box[3] <= moving_image.HEAD
