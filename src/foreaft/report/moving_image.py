"""Driven runs side by side as one moving image for a video guide: same scene, same bytes.

GIF counts time in hundredths of a second (GIF89a, graphic control extension), so that a picture
stands for 0.07 s: a little over 14 a second.
"""

from __future__ import annotations

import io
from math import ceil
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from foreaft.base.errors import MissingPart
from foreaft.base.fonts import font_files
from foreaft.report import demonstration_look as look
from foreaft.report import demonstration_words as said
from foreaft.report.demonstration_data import Film
from foreaft.report.demonstration_frame import (
    Area,
    Box,
    Shape,
    Stroke,
    Words,
    arrow,
    panel,
    wheel_shapes,
)
from foreaft.report.measure import shorten, text_width
from foreaft.report.words import capital, caution_short

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

WIDTH: Final = 960
PICTURE_S: Final = 0.07
"""How long one picture stands."""
HOLD_FIRST_S: Final = 0.77
HOLD_LAST_S: Final = 2.03
"""Multiples of a picture, so that nothing is rounded."""
MOST_S: Final = 14.0
"""Longest stretch shown at full speed; of a longer run, the one with the first trouble."""
HALF_BELOW_S: Final = 7.0
"""A shorter stretch is shown at half speed."""
BEFORE_S: Final = 5.0
"""Shown before the first trouble where a run is too long to be shown whole."""
SIDE_BY_SIDE: Final = 4
"""More runs than this cannot be made out at this width; the first ones are shown."""
FINER: Final = 2
"""Drawn this much larger and brought down, for smooth edges."""
COLOURS: Final = (96, 48, 24)
"""Fewer are tried where the image grows too large."""
MOST_BYTES: Final = 6_000_000
EXACT: Final = ("paper", "ink", "front", "rear", "road", "verge", "wheel1", "wheel2")
"""Colours that keep their shade whatever else the palette has to hold."""

DASHES_MOST: Final = 2000

MARGIN: Final = 16.0
HEAD: Final = 54.0
NAME: Final = 26.0
VIEW: Final = 330.0
LINE: Final = 19.0
FOOT: Final = 52.0


class Stretch(NamedTuple):
    """What is shown: from, to, and how fast."""

    start_s: float
    end_s: float
    rate: float

    @property
    def times(self) -> list[float]:
        """Times of the pictures; the last one is the end."""
        step = PICTURE_S * self.rate
        count = ceil((self.end_s - self.start_s) / step - 1e-9)
        return [self.start_s + i * step for i in range(count)] + [self.end_s]


def stretch(film: Film) -> Stretch:
    """Choose what is shown and how fast."""
    whole = film.duration_s
    start, end = 0.0, whole
    if whole > MOST_S:
        troubles = [one.start_s for reel in film.reels[:SIDE_BY_SIDE] for one in reel.happenings]
        start = min(max(min(troubles, default=0.0) - BEFORE_S, 0.0), whole - MOST_S)
        end = start + MOST_S
    return Stretch(start, end, 0.5 if end - start < HALF_BELOW_S else 1.0)


def make(film: Film) -> bytes:
    """Make the moving image.

    Raises
    ------
    MissingPart
        If Pillow or the fonts are not installed.
    """
    try:
        import PIL.Image as _  # noqa: F401
    except ImportError as error:
        raise MissingPart(
            "The library that writes images is not installed.",
            code="missing_images",
            hint="Install the package pillow.",
        ) from error
    sheet = _Sheet(film, stretch(film))
    made = b""
    for colours in COLOURS:
        made = _film_strip(sheet, colours)
        if len(made) <= MOST_BYTES:
            break
    return made


def _film_strip(sheet: _Sheet, colours: int) -> bytes:
    times = sheet.shown.times
    palette = _palette(sheet, times, colours)
    pictures = [_reduce(sheet.picture(time), palette) for time in times]
    stand = [round(1000 * PICTURE_S)] * len(times)
    stand[0] += round(1000 * HOLD_FIRST_S)
    stand[-1] += round(1000 * HOLD_LAST_S)
    out = io.BytesIO()
    pictures[0].save(
        out,
        "GIF",
        save_all=True,
        append_images=pictures[1:],
        duration=stand,
        loop=0,
        disposal=1,
        optimize=False,
    )
    return out.getvalue()


def _palette(sheet: _Sheet, times: list[float], colours: int) -> Image:
    """One palette for all pictures: colours of the look, and blends of a few pictures."""
    from PIL import Image as Images
    from PIL import ImageColor

    few = [sheet.picture(times[int(i)]) for i in np.linspace(0, len(times) - 1, 5)]
    together = Images.new("RGB", (few[0].width, sum(one.height for one in few)))
    for row, one in enumerate(few):
        together.paste(one, (0, row * one.height))
    found = together.quantize(colours, method=Images.Quantize.MEDIANCUT).getpalette() or []
    exact = [part for role in EXACT for part in ImageColor.getrgb(look.LIGHT[role])[:3]]
    palette = Images.new("P", (1, 1))
    palette.putpalette(exact + found[: 3 * colours])
    return palette


def _reduce(picture: Image, palette: Image) -> Image:
    """Bring a picture to the palette; Pillow's search is a near one, so the plain colours are set.

    Flat areas then stay flat, which keeps the image small too.
    """
    from PIL import Image as Images
    from PIL import ImageColor

    reduced = picture.quantize(palette=palette, dither=Images.Dither.NONE)
    place = np.array(reduced)
    parts = np.asarray(picture, dtype=np.int32)
    packed = (parts[:, :, 0] << 16) | (parts[:, :, 1] << 8) | parts[:, :, 2]
    for index, role in enumerate(EXACT):
        red, green, blue = ImageColor.getrgb(look.LIGHT[role])[:3]
        place[packed == (red << 16 | green << 8 | blue)] = index
    exact = Images.fromarray(place)
    exact.putpalette(palette.getpalette() or [])
    return exact


# ---------------------------------------------------------------- one picture


class _Sheet:
    """All that does not move, drawn once, and the pictures on it."""

    def __init__(self, film: Film, shown: Stretch) -> None:
        self.reels = film.reels[:SIDE_BY_SIDE]
        self.film = film
        self.shown = shown
        self.fonts: dict[tuple[float, bool], Any] = {}
        count = len(self.reels)
        gap = 10.0
        self.box = Box((WIDTH - 2 * MARGIN - (count - 1) * gap) / count, VIEW)
        self.lefts = [MARGIN + i * (self.box.width + gap) for i in range(count)]
        self.lines = [_wrapped(capital(one.sentence), self.box.width, 14.5) for one in self.reels]
        rows = max(len(one) for one in self.lines)
        self.height = int(HEAD + NAME + VIEW + 8.0 + rows * LINE + FOOT)
        self.ground = self._draw((WIDTH, self.height), self._still())

    def picture(self, time_s: float) -> Image:
        """Draw everything at one time."""
        sheet = self.ground.copy()
        for left, reel in zip(self.lefts, self.reels, strict=True):
            shapes = panel(self.film, reel, time_s, self.box)
            shapes += self._border()
            size = (round(self.box.width), round(self.box.height))
            sheet.paste(self._draw(size, shapes), (round(left), int(HEAD + NAME)))
        clock = Words(112.0, 27.0, f"{time_s:.2f} s", 22.0, bold=True, anchor="end")
        sheet.paste(self._draw((116, 34), [clock]), (WIDTH - 16 - 112, 0))
        return sheet

    def _border(self) -> list[Shape]:
        w, h = self.box.width - 0.5, self.box.height - 0.5
        frame = np.array([[0.5, 0.5], [w, 0.5], [w, h], [0.5, h], [0.5, 0.5]])
        split = np.array([[self.box.road_width, 0.0], [self.box.road_width, h]])
        return [Stroke(split, "rule", 1.0), Stroke(frame, "edge", 1.0)]

    def _still(self) -> list[Shape]:
        scene = self.film.scene
        title = shorten(scene.title, 620.0, 20.0, "bold")
        names = [scene.car_name, scene.circuit_name]
        parts = [one for one in names if one not in scene.title]
        if len(self.reels) < len(self.film.reels):
            parts.append(f"{len(self.reels)} of {len(self.film.reels)} runs")
        under = " · ".join([*parts, said.adjuster(scene)]).rstrip(" ·")
        speed = "half speed" if self.shown.rate < 1.0 else "full speed"
        if self.shown.end_s - self.shown.start_s < self.film.duration_s - 1e-9:
            speed += ", a part of the run"
        shapes: list[Shape] = [
            Words(MARGIN, 26.0, title, 20.0, bold=True),
            Words(MARGIN, 45.0, shorten(under, 620.0, 13.0), 13.0, "soft"),
            Words(WIDTH - MARGIN, 48.0, speed, 13.0, "soft", anchor="end"),
        ]
        rows = zip(self.lefts, self.reels, self.lines, strict=True)
        for left, reel, lines in rows:
            name = shorten(reel.label, self.box.width, 16.0, "bold")
            shapes.append(Words(left, HEAD + 18.0, name, 16.0, bold=True))
            y = HEAD + NAME + VIEW + 8.0
            shapes += [
                Words(left, y + (i + 0.75) * LINE, line, 14.5) for i, line in enumerate(lines)
            ]
        return [*shapes, *self._key()]

    def _key(self) -> list[Shape]:
        y = self.height - 30.0
        shapes: list[Shape] = []
        x = MARGIN
        for state, word in enumerate(look.STATE_WORDS):
            corners = np.array([[x, y - 10], [x + 9, y - 10], [x + 9, y + 7], [x, y + 7]])
            shapes += wheel_shapes(corners, state, 1.2)
            shapes.append(Words(x + 14.0, y + 3.0, word, 13.0, "soft"))
            x += 32.0 + text_width(word, 13.0)
        shapes += arrow(np.array([x, y - 1]), np.array([22.0, 0.0]), "front")
        shapes.append(Words(x + 28.0, y + 3.0, "force of a wheel", 13.0, "soft"))
        x += 48.0 + text_width("force of a wheel", 13.0)
        going = "where the car is going"
        shapes.append(Stroke(np.array([[x, y - 1], [x + 22, y - 1]]), "ink", 1.6, (4.0, 3.0)))
        shapes.append(Words(x + 28.0, y + 3.0, going, 13.0, "soft"))
        x += 48.0 + text_width(going, 13.0)
        if len(self.film.reels) > 1:
            shapes.append(Stroke(np.array([[x, y - 1], [x + 22, y - 1]]), "soft", 1.2, (3.0, 3.0)))
            words = f"outline: {self.film.reels[0].label}"
            words = shorten(words, WIDTH - MARGIN - x - 28.0, 13.0)
            shapes.append(Words(x + 28.0, y + 3.0, words, 13.0, "soft"))
        caution = f"From a model, not a recording. {caution_short()}"
        shapes.append(Words(MARGIN, self.height - 8.0, caution, 12.0, "soft"))
        return shapes

    def _draw(self, size: tuple[int, int], shapes: list[Shape]) -> Image:
        from PIL import Image as Images
        from PIL import ImageDraw as Draws

        large = Images.new("RGB", (size[0] * FINER, size[1] * FINER), look.LIGHT["paper"])
        pen = Draws.Draw(large)
        for one in shapes:
            if isinstance(one, Area):
                self._area(pen, one)
            elif isinstance(one, Stroke):
                self._stroke(pen, one)
            else:
                self._words(pen, one)
        return large.reduce(FINER)

    def _area(self, pen: ImageDraw, one: Area) -> None:
        points = _flat(one.points)
        pen.polygon(points, fill=look.LIGHT[one.fill])
        if one.edge is not None:
            self._line(pen, np.vstack([one.points, one.points[:1]]), one.edge, one.width)

    def _stroke(self, pen: ImageDraw, one: Stroke) -> None:
        parts = [one.points] if one.dash is None else _dashes(one.points, one.dash)
        for part in parts:
            self._line(pen, part, one.role, one.width)

    def _line(self, pen: ImageDraw, points: Any, role: str, width: float) -> None:
        pen.line(
            _flat(points), fill=look.LIGHT[role], width=max(1, round(FINER * width)), joint="curve"
        )

    def _words(self, pen: ImageDraw, one: Words) -> None:
        from PIL import ImageFont

        key = (one.size, one.bold)
        if key not in self.fonts:
            file = font_files()["bold" if one.bold else "regular"]
            self.fonts[key] = ImageFont.truetype(
                str(file), one.size * FINER, layout_engine=ImageFont.Layout.BASIC
            )
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[one.anchor]
        pen.text(
            (one.x * FINER, one.y * FINER),
            one.text,
            fill=look.LIGHT[one.role],
            font=self.fonts[key],
            anchor=anchor,
        )


def _flat(points: Any) -> list[tuple[float, float]]:
    return [(FINER * float(x), FINER * float(y)) for x, y in points]


def _dashes(points: Any, dash: tuple[float, float]) -> list[Any]:
    """Cut a line into its dashes."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    period = dash[0] + dash[1]
    parts = []
    for i in range(min(ceil(along[-1] / period), DASHES_MOST)):
        low, high = i * period, min(i * period + dash[0], along[-1])
        inner = along[(along > low) & (along < high)]
        at = np.concatenate([[low], inner, [high]])
        parts.append(np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)]))
    return parts


def _wrapped(text: str, width: float, size: float, most: int = 4) -> list[str]:
    """Break a sentence into lines of a width; the last one is shortened if it has to be."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_width(longer, size) > width:
            lines.append(line)
            longer = word
        line = longer
    lines.append(line)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [shorten(one, width, size) for one in lines]
