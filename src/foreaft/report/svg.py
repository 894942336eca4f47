"""A very small writer of SVG: elements, escaping, and numbers rounded so that bytes are stable."""

from __future__ import annotations

import re
from math import isfinite
from typing import Final

from foreaft.base.fonts import FAMILY

Value = str | int | float

# XML 1.0, production 2: characters that may not stand in a document even when escaped.
_FORBIDDEN: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
FONT_STACK: Final = f"{FAMILY}, system-ui, sans-serif"


class Markup(str):
    """Text that is markup already and is not escaped again."""

    __slots__ = ()


def num(value: float) -> str:
    """Write a coordinate with at most two decimals, never ``-0``.

    >>> num(1.0), num(-0.001), num(2.345)
    ('1', '0', '2.35')

    Raises
    ------
    ValueError
        If the number is not finite: there is no such place on paper.
    """
    if not isfinite(value):
        raise ValueError(f"{value} cannot be drawn")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def escape(text: str) -> str:
    """Make any text safe as content or attribute; what XML forbids becomes a replacement mark."""
    text = _FORBIDDEN.sub("\ufffd", text)
    for raw, safe in (("&", "&amp;"), ("<", "&lt;"), (">", "&gt;"), ('"', "&quot;")):
        text = text.replace(raw, safe)
    return text


def el(name: str, *children: str, **attributes: Value | None) -> Markup:
    """Write one element.

    Attribute names: a final underscore is dropped (``class_``), others become hyphens.
    Children that are not `Markup` are escaped.

    >>> el("text", "a < b", x=1.0, class_="f-ink")
    '<text x="1" class="f-ink">a &lt; b</text>'
    """
    parts = [f"<{name}"]
    for key, value in attributes.items():
        if value is None:
            continue
        shown = escape(value) if isinstance(value, str) else num(value)
        parts.append(f' {_attribute(key)}="{shown}"')
    if not children:
        return Markup("".join(parts) + "/>")
    inner = "".join(c if isinstance(c, Markup) else escape(c) for c in children)
    return Markup("".join(parts) + f">{inner}</{name}>")


def group(*children: str, **attributes: Value | None) -> Markup:
    """Write a group of elements."""
    return el("g", *children, **attributes)


def path(points: list[tuple[float, float]], *, closed: bool = False) -> str:
    """Write the ``d`` of a polyline."""
    body = "L".join(f"{num(x)} {num(y)}" for x, y in points)
    return f"M{body}{'Z' if closed else ''}"


def document(
    width: float, height: float, *children: str, name: str, title: str, desc: str, unit: str = ""
) -> str:
    """Write a whole picture with its title and its description for who cannot see it.

    Parameters
    ----------
    width, height : float
        Size of the drawing.
    name : str
        Prefix of the identities inside, so that several pictures share one page.
    unit : str
        Unit of the printed size, such as ``mm``; without one the picture takes the width given.
    """
    size: dict[str, Value | None] = {}
    if unit:
        size = {"width": f"{num(width)}{unit}", "height": f"{num(height)}{unit}"}
    body = el(
        "svg",
        el("title", title, id=f"{name}-title"),
        el("desc", desc, id=f"{name}-desc"),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {num(width)} {num(height)}",
        **size,
        role="img",
        aria_labelledby=f"{name}-title {name}-desc",
        font_family=FONT_STACK,
    )
    return body + "\n"


def _attribute(key: str) -> str:
    if key in {"viewBox", "patternUnits", "patternTransform"}:
        return key
    return key.removesuffix("_").replace("_", "-")
