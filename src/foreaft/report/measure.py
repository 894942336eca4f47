"""How wide a text is in the one typeface, so that labels fit before they are drawn.

Reads three tables of the TrueType file (OpenType specification 1.9: ``head``, ``hmtx`` with
``hhea``, ``cmap`` format 4); kerning is left out, which makes widths a little too large, the safe
side.
"""

from __future__ import annotations

import struct
import unicodedata
from functools import cache
from typing import Final, Literal, NamedTuple

from foreaft.base.fonts import font_files

Style = Literal["regular", "bold"]

CAP_HEIGHT_EM: Final = 0.723
"""Height of Lato Bold's capitals over the size of the type; measured on its flat letters."""

WIDE_EM: Final = 1.0
NARROW_EM: Final = 0.6
"""Assumed for characters the typeface lacks; another one stands in for them."""


class Widths(NamedTuple):
    """Advance of every character of one style, in parts of the type size."""

    advance_em: dict[int, float]


@cache
def widths(style: Style) -> Widths:
    """Read the advances of one style from its font file."""
    data = font_files()[style].read_bytes()
    tables = table_places(data)
    units_per_em = struct.unpack_from(">H", data, tables["head"][0] + 18)[0]
    long_count = struct.unpack_from(">H", data, tables["hhea"][0] + 34)[0]
    advances = struct.unpack_from(f">{2 * long_count}H", data, tables["hmtx"][0])[::2]
    glyphs = glyph_numbers(style)
    last = long_count - 1
    return Widths({code: advances[min(g, last)] / units_per_em for code, g in glyphs.items()})


@cache
def glyph_numbers(style: Style) -> dict[int, int]:
    """Read which glyph of one style stands for which character."""
    data = font_files()[style].read_bytes()
    return _glyphs(data, table_places(data)["cmap"][0])


def text_width(text: str, size: float, style: Style = "regular") -> float:
    """Width of one line of text, in the unit of ``size``."""
    table = widths(style).advance_em
    return size * sum(table.get(ord(letter), _stand_in(letter)) for letter in text)


def covered(text: str) -> bool:
    """Tell whether the typeface has every character of the text."""
    table = widths("regular").advance_em
    return all(ord(letter) in table for letter in set(text))


def shorten(text: str, width: float, size: float, style: Style = "regular") -> str:
    """Cut a text to a width, ending it in an ellipsis where something was left off."""
    if text_width(text, size, style) <= width:
        return text
    kept = text
    while kept and text_width(kept.rstrip() + "…", size, style) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def _stand_in(letter: str) -> float:
    if unicodedata.combining(letter):
        return 0.0
    return WIDE_EM if unicodedata.east_asian_width(letter) in "WF" else NARROW_EM


def table_places(data: bytes) -> dict[str, tuple[int, int]]:
    """Read where the tables of a TrueType file lie, and how long they are."""
    count = struct.unpack_from(">H", data, 4)[0]
    entries = (struct.unpack_from(">4sIII", data, 12 + 16 * i) for i in range(count))
    return {tag.decode("ascii"): (offset, size) for tag, _, offset, size in entries}


def _glyphs(data: bytes, cmap: int) -> dict[int, int]:
    """Map character codes to glyphs by the subtable of format 4 (the basic plane)."""
    count = struct.unpack_from(">H", data, cmap + 2)[0]
    for index in range(count):
        at = cmap + struct.unpack_from(">HHI", data, cmap + 4 + 8 * index)[2]
        if struct.unpack_from(">H", data, at)[0] == 4:
            return _segments(data, at)
    return {}


def _segments(data: bytes, at: int) -> dict[int, int]:
    count = struct.unpack_from(">H", data, at + 6)[0] // 2
    ends = struct.unpack_from(f">{count}H", data, at + 14)
    starts = struct.unpack_from(f">{count}H", data, at + 16 + 2 * count)
    deltas = struct.unpack_from(f">{count}H", data, at + 16 + 4 * count)
    ranges_at = at + 16 + 6 * count
    offsets = struct.unpack_from(f">{count}H", data, ranges_at)
    found: dict[int, int] = {}
    for i in range(count):
        for code in range(starts[i], min(ends[i], 0xFFFE) + 1):
            glyph = code
            if offsets[i]:
                place = ranges_at + 2 * i + offsets[i] + 2 * (code - starts[i])
                glyph = struct.unpack_from(">H", data, place)[0]
                if glyph == 0:
                    continue
            if (glyph + deltas[i]) & 0xFFFF:
                found[code] = (glyph + deltas[i]) & 0xFFFF
    return found
