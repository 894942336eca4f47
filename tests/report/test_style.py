"""Colours readable by everybody: contrast, greys, and letters measured against another reader."""

from __future__ import annotations

import io
import string

import pytest
from PIL import Image, ImageDraw, ImageFont

from foreaft.base.fonts import font_files
from foreaft.report import style, webfont
from foreaft.report.measure import CAP_HEIGHT_EM, covered, shorten, text_width

THEMES = {"light": style.LIGHT, "dark": style.DARK}
AA_TEXT = 4.5
AA_GRAPHICS = 3.0
"""WCAG 2.2, success criteria 1.4.3 (text below 18 pt) and 1.4.11 (graphical objects)."""


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    red, green, blue = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    bright, dark = sorted([luminance(one), luminance(other)], reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_contrast_of_black_on_white() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2, definition


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("role", ["ink", "soft", "front", "rear"])
def test_text_on_the_sheet(theme: str, role: str) -> None:
    colours = THEMES[theme]
    assert contrast(colours[role], colours["paper"]) >= AA_TEXT
    # Rows of the table that carry a change, and the boxes of the strip.
    assert contrast(colours[role], colours["field1"]) >= AA_TEXT


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_words_about_the_ends_on_the_band_of_the_ideal_share(theme: str, axle: str) -> None:
    assert contrast(THEMES[theme][axle], THEMES[theme]["field2"]) >= AA_TEXT


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("shade", range(7))
def test_ink_on_every_shade_of_the_field(theme: str, shade: int) -> None:
    colours = THEMES[theme]
    assert contrast(colours["ink"], colours[f"field{shade}"]) >= AA_TEXT


@pytest.mark.parametrize("theme", THEMES)
def test_shades_run_one_way_in_grey(theme: str) -> None:
    greys = [luminance(THEMES[theme][f"field{shade}"]) for shade in range(7)]
    assert greys == sorted(greys, reverse=theme == "light")
    assert all(
        contrast(THEMES[theme][f"field{i}"], THEMES[theme][f"field{i + 1}"]) > 1.05
        for i in range(6)
    )


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_signs_stand_out_where_they_are_drawn(theme: str, axle: str) -> None:
    colours = THEMES[theme]
    for ground in ("paper", "field0", "field2"):
        assert contrast(colours[axle], colours[ground]) >= AA_GRAPHICS


def test_the_two_ends_differ_in_blue_and_yellow() -> None:
    """Red-green colour-blindness leaves blue against yellow: the ends lie on its two sides."""
    for colours in THEMES.values():
        front, rear = colours["front"], colours["rear"]
        assert int(front[5:7], 16) > int(front[1:3], 16) + 80
        assert int(rear[1:3], 16) > int(rear[5:7], 16) + 80


@pytest.mark.parametrize(
    ("loss_s", "shade"),
    [(0.0, 0), (0.0099, 0), (0.01, 1), (0.05, 3), (0.499, 5), (0.5, 6), (9.0, 6)],
)
def test_shade_of_a_loss(loss_s: float, shade: int) -> None:
    assert style.field_shade(loss_s) == shade


@pytest.mark.parametrize("kind", ["regular", "bold"])
def test_widths_agree_with_an_independent_reader(kind: str) -> None:
    """FreeType, through Pillow, reads the same file; one letter at a time, so without kerning."""
    font = ImageFont.truetype(str(font_files()[kind]), 2000)
    for letter in string.ascii_letters + string.digits + " .,%?-äßŁżΩЖ":
        assert text_width(letter, 2000.0, kind) == pytest.approx(font.getlength(letter), abs=1.0)


def test_capitals_have_the_height_the_sticker_counts_on() -> None:
    font = ImageFont.truetype(str(font_files()["bold"]), 2000)
    for letter in "FRTL147":
        top = font.getbbox(letter, anchor="ls")[1]
        assert -top / 2000 == pytest.approx(CAP_HEIGHT_EM, abs=0.0015), letter


def test_what_the_typeface_lacks_is_known() -> None:
    assert covered("Zoë Żółć Кривая Στροφή – 54.5")
    assert not covered("東")
    assert text_width("東", 10.0) == 10.0


def test_a_text_is_cut_to_its_width() -> None:
    assert shorten("Hairpin", 200.0, 10.0) == "Hairpin"
    cut = shorten("The Long Left behind the Old Mill", 60.0, 10.0)
    assert cut.endswith("…")
    assert text_width(cut, 10.0) <= 60.0


@pytest.mark.parametrize("kind", ["regular", "bold"])
def test_the_cut_font_draws_the_same_letters(kind: str) -> None:
    shown = string.printable + "Żó… – Ж"
    whole = ImageFont.truetype(str(font_files()[kind]), 64)
    part = ImageFont.truetype(io.BytesIO(webfont.cut(kind, frozenset(shown))), 64)
    assert part.getname()[0] == webfont.WEB_FAMILY
    for letter in (one for one in shown if one.isprintable()):
        pictures = []
        for font in (whole, part):
            picture = Image.new("L", (100, 100))
            ImageDraw.Draw(picture).text((15, 75), letter, font=font, fill=255, anchor="ls")
            pictures.append(picture.tobytes())
        assert pictures[0] == pictures[1], letter


def test_the_cut_font_is_small_or_left_out() -> None:
    assert 0 < len(webfont.face_css(string.printable)) < 80_000
    everything = "".join(map(chr, range(32, 0x2000)))
    assert webfont.face_css(everything) == ""
