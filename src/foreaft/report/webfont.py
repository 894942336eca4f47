"""The few letters a page shows, cut from the typeface, so that the page needs no installed font.

A WOFF 1.0 file (W3C Recommendation, 2012) of the glyphs of the text and their components; glyph
numbers are kept and the rest is left empty (OpenType specification 1.9, ``glyf`` and ``loca``).
A part is not the typeface: it goes by a name of ours, as the typeface's licence asks.
"""

from __future__ import annotations

import base64
import struct
import zlib
from typing import Final

from foreaft.base.fonts import font_files
from foreaft.report.measure import Style, glyph_numbers, table_places

WEB_FAMILY: Final = "Briefing Sans"
MOST_BYTES: Final = 150_000
"""A page does without rather than carry more than this for both styles."""

_KEPT: Final = ("OS/2", "cmap", "glyf", "head", "hhea", "hmtx", "loca", "maxp", "name", "post")
_HINTING: Final = ("cvt ", "fpgm", "prep")
_WORDS, _MORE, _SCALE, _XY_SCALE, _MATRIX = 0x1, 0x20, 0x8, 0x40, 0x80


def face_css(shown: str) -> str:
    """Write the ``@font-face`` rules for the characters of a text; nothing if they grow large."""
    weights: tuple[tuple[Style, int], ...] = (("regular", 400), ("bold", 700))
    rules = []
    for style, weight in weights:
        data = base64.b64encode(cut(style, frozenset(shown))).decode("ascii")
        rules.append(
            f'@font-face{{font-family:"{WEB_FAMILY}";font-weight:{weight};'
            f'src:url(data:font/woff;base64,{data}) format("woff")}}'
        )
    css = "\n".join(rules)
    return css if len(css) <= MOST_BYTES else ""


def cut(style: Style, letters: frozenset[str]) -> bytes:
    """Cut the glyphs of some characters out of one style, as a WOFF file."""
    data = font_files()[style].read_bytes()
    places = table_places(data)
    tables = {tag: data[at : at + size] for tag, (at, size) in places.items()}
    numbers = glyph_numbers(style)
    codes = {ord(one): numbers[ord(one)] for one in letters if ord(one) in numbers}
    offsets = _offsets(tables)
    glyphs = _with_parts({0, *codes.values()}, tables["glyf"], offsets)
    count = max(glyphs) + 1
    tables["glyf"], tables["loca"] = _emptied(glyphs, count, tables["glyf"], offsets)
    tables["cmap"] = _character_map(codes)
    tables["hmtx"] = _advances(tables, count)
    tables["head"] = tables["head"][:50] + struct.pack(">h", 1) + tables["head"][52:]
    tables["hhea"] = tables["hhea"][:34] + struct.pack(">H", count)
    tables["maxp"] = tables["maxp"][:4] + struct.pack(">H", count) + tables["maxp"][6:]
    tables["name"] = _names()
    tables["post"] = struct.pack(">I", 0x00030000) + tables["post"][4:32]
    return _woff({tag: tables[tag] for tag in (*_KEPT, *_HINTING) if tag in tables})


def _offsets(tables: dict[str, bytes]) -> list[int]:
    """Read where each glyph starts; the short form counts in pairs of bytes."""
    loca = tables["loca"]
    if struct.unpack_from(">h", tables["head"], 50)[0]:
        return list(struct.unpack(f">{len(loca) // 4}I", loca))
    return [2 * half for half in struct.unpack(f">{len(loca) // 2}H", loca)]


def _with_parts(wanted: set[int], glyf: bytes, offsets: list[int]) -> set[int]:
    """Add the glyphs that composite glyphs are made of."""
    found: set[int] = set()
    waiting = sorted(wanted)
    while waiting:
        glyph = waiting.pop()
        if glyph not in found:
            found.add(glyph)
            waiting += _parts(glyf[offsets[glyph] : offsets[glyph + 1]])
    return found


def _parts(glyph: bytes) -> list[int]:
    if not glyph or struct.unpack_from(">h", glyph)[0] >= 0:
        return []
    parts, at, more = [], 10, True
    while more:
        flags, part = struct.unpack_from(">HH", glyph, at)
        parts.append(part)
        at += 8 if flags & _WORDS else 6
        at += 2 if flags & _SCALE else 4 if flags & _XY_SCALE else 8 if flags & _MATRIX else 0
        more = bool(flags & _MORE)
    return parts


def _emptied(glyphs: set[int], count: int, glyf: bytes, offsets: list[int]) -> tuple[bytes, bytes]:
    body, starts = b"", [0]
    for glyph in range(count):
        if glyph in glyphs:
            piece = glyf[offsets[glyph] : offsets[glyph + 1]]
            body += piece + bytes(-len(piece) % 4)
        starts.append(len(body))
    return body, struct.pack(f">{len(starts)}I", *starts)


def _advances(tables: dict[str, bytes], count: int) -> bytes:
    """Write a full entry for every glyph kept; short entries repeat the last advance."""
    hmtx = tables["hmtx"]
    long_count = struct.unpack_from(">H", tables["hhea"], 34)[0]
    entries = b""
    for glyph in range(count):
        if glyph < long_count:
            entries += hmtx[4 * glyph : 4 * glyph + 4]
        else:
            bearing = 4 * long_count + 2 * (glyph - long_count)
            entries += hmtx[4 * long_count - 4 : 4 * long_count - 2] + hmtx[bearing : bearing + 2]
    return entries


def _character_map(codes: dict[int, int]) -> bytes:
    """Write a ``cmap`` of format 12, one group per character."""
    groups = b"".join(struct.pack(">III", code, code, codes[code]) for code in sorted(codes))
    table = struct.pack(">HHIII", 12, 0, 16 + len(groups), 0, len(codes)) + groups
    return struct.pack(">HHHHI", 0, 1, 3, 10, 12) + table


def _names() -> bytes:
    """Write the least ``name`` table browsers accept: family, style, full and PostScript name."""
    texts = {1: WEB_FAMILY, 2: "Regular", 4: WEB_FAMILY, 6: WEB_FAMILY.replace(" ", "")}
    records, body = b"", b""
    for number, words in texts.items():
        raw = words.encode("utf-16-be")
        records += struct.pack(">HHHHHH", 3, 1, 0x409, number, len(raw), len(body))
        body += raw
    return struct.pack(">HHH", 0, len(texts), 6 + len(records)) + records + body


def _checksum(table: bytes) -> int:
    padded = table + bytes(-len(table) % 4)
    words: tuple[int, ...] = struct.unpack(f">{len(padded) // 4}I", padded)
    return sum(words) & 0xFFFFFFFF


def _woff(tables: dict[str, bytes]) -> bytes:
    entries, body = b"", b""
    start = 44 + 20 * len(tables)
    plain = 12 + 16 * len(tables)
    for tag in sorted(tables):
        raw = tables[tag]
        packed = zlib.compress(raw, 9)
        packed = packed if len(packed) < len(raw) else raw
        entries += tag.encode("ascii") + struct.pack(
            ">IIII", start + len(body), len(packed), len(raw), _checksum(raw)
        )
        body += packed + bytes(-len(packed) % 4)
        plain += len(raw) + -len(raw) % 4
    head = struct.pack(
        ">IIIHHIHHIIIII",
        0x774F4646,
        0x00010000,
        start + len(body),
        len(tables),
        0,
        plain,
        1,
        0,
        0,
        0,
        0,
        0,
        0,
    )
    return head + entries + body
