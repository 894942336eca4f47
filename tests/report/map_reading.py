"""Reads a picture back into boxes of text and strokes of ink, knowing nothing of who drew it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from math import ceil, hypot
from xml.etree import ElementTree

from foreaft.report.measure import text_width

SVG = "{http://www.w3.org/2000/svg}"
ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}
CAPITALS_EM = 0.72
GRAZE_PX = 0.4
"""Rounded coordinates and the edge of a stroke may touch by so much."""

Rect = tuple[float, float, float, float]
Spot = tuple[float, float, float]


def text_box(one: ElementTree.Element) -> Rect:
    """Left, top, right, bottom of the capitals of one line of text."""
    size, bold = float(one.attrib["font-size"]), "font-weight" in one.attrib
    width = text_width(one.text or "", size, "bold" if bold else "regular")
    left = float(one.attrib["x"]) - ANCHORS[one.attrib.get("text-anchor", "start")] * width
    y = float(one.attrib["y"])
    return left, y - CAPITALS_EM * size, left + width, y


def rect_box(one: ElementTree.Element) -> Rect:
    x, y = float(one.attrib["x"]), float(one.attrib["y"])
    return x, y, x + float(one.attrib["width"]), y + float(one.attrib["height"])


def stroke_spots(one: ElementTree.Element) -> Iterator[Spot]:
    """Discs along a stroke, half a pixel apart."""
    radius = float(one.attrib.get("stroke-width", "0")) / 2.0
    text = one.attrib["d"]
    points = [tuple(map(float, pair.split())) for pair in re.findall(r"[-\d.]+ [-\d.]+", text)]
    if text.endswith("Z"):
        points.append(points[0])
    for (x0, y0), (x1, y1) in pairwise(points):
        count = max(1, ceil(2.0 * hypot(x1 - x0, y1 - y0)))
        for i in range(count + 1):
            yield x0 + (x1 - x0) * i / count, y0 + (y1 - y0) * i / count, radius


def labels_and_ink(picture: str) -> tuple[dict[str, Rect], list[Spot]]:
    """Boxes of all labels by what they say, and discs for every other mark on the sheet."""
    boxes: dict[str, Rect] = {}
    ink: list[Spot] = []

    def walk(node: ElementTree.Element) -> None:
        children = list(node)
        plates = [c for c in children if c.tag == f"{SVG}rect" and "x" in c.attrib]
        if plates:
            said = "".join(c.text or "" for c in children)
            boxes[f"flag {said} {len(boxes)}"] = rect_box(plates[0])
            return
        for child in children:
            if child.tag == f"{SVG}g":
                walk(child)
            elif child.tag == f"{SVG}text":
                boxes[f"{child.text} {len(boxes)}"] = text_box(child)
            elif child.tag == f"{SVG}path":
                ink.extend(stroke_spots(child))
            elif child.tag == f"{SVG}circle":
                edge = float(child.attrib.get("stroke-width", "0")) / 2.0
                radius = float(child.attrib["r"]) + edge
                ink.append((float(child.attrib["cx"]), float(child.attrib["cy"]), radius))

    walk(ElementTree.fromstring(picture))
    return boxes, ink


def clashes(picture: str) -> list[str]:
    """Name every label that lies on another, on ink, or off the sheet."""
    boxes, ink = labels_and_ink(picture)
    root = ElementTree.fromstring(picture)
    _, _, wide, tall = map(float, root.attrib["viewBox"].split())
    found = []
    for (one, a), (other, b) in combinations(boxes.items(), 2):
        across = min(a[2], b[2]) - max(a[0], b[0])
        down = min(a[3], b[3]) - max(a[1], b[1])
        if across > GRAZE_PX and down > GRAZE_PX:
            found.append(f"{one} on {other}")
    for name, (left, top, right, bottom) in boxes.items():
        if left < 0.0 or top < 0.0 or right > wide or bottom > tall:
            found.append(f"{name} off the sheet")
        hit = [
            (x, y)
            for x, y, r in ink
            if hypot(x - min(max(x, left), right), y - min(max(y, top), bottom)) < r - GRAZE_PX
            or (left + GRAZE_PX < x < right - GRAZE_PX and top + GRAZE_PX < y < bottom - GRAZE_PX)
        ]
        if hit:
            found.append(f"{name} on ink at {hit[0]}")
    return found
