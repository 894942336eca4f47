"""The font files are there, and their digits share one width."""

from __future__ import annotations

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
