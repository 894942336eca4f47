"""The font files are there, and their digits share one width."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from PIL import ImageFont

from foreaft.base import fonts
from foreaft.base.errors import MissingPart


@pytest.mark.parametrize("style", ["regular", "bold"])
def test_digits_share_one_width(style: str) -> None:
    font = ImageFont.truetype(fonts.font_files()[style], 1000)
    assert font.getname()[0] == fonts.FAMILY
    assert len({font.getlength(digit) for digit in "0123456789"}) == 1


def test_a_missing_package_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fonts, "find_spec", lambda name: None)
    with pytest.raises(MissingPart, match="not installed"):
        fonts.font_files()


@pytest.mark.browser
def test_digits_line_up_in_a_browser(page: Any) -> None:
    data = base64.b64encode(fonts.font_files()["bold"].read_bytes()).decode()
    page.set_content(
        f"<style>@font-face {{ font-family: {fonts.FAMILY};"
        f"src: url(data:font/ttf;base64,{data}) }}"
        f"span {{ font: 40px {fonts.FAMILY}, monospace }}</style>"
        + "".join(f"<span>{digit * 5}</span><br>" for digit in "0123456789")
    )
    page.evaluate("document.fonts.ready")
    assert page.evaluate(f"document.fonts.check('40px {fonts.FAMILY}')")
    widths = page.eval_on_selector_all(
        "span", "all => all.map(one => one.getBoundingClientRect().width)"
    )
    assert max(widths) - min(widths) < 0.01
    assert widths[0] == pytest.approx(5 * 40 * 0.58, abs=0.5)  # the font's own 580 per 1000
