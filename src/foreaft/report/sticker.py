"""The cockpit sticker: 50 x 90 mm, at most five lines, read in a glance on a straight.

Sizes are common practice, no source: base number 18 to 20 mm high, numbers of changes 12 to
15 mm, letters at least 8 mm, strokes a sixth of the height, gaps of at least 6 mm.
Letters are narrowed to fit and never lowered below those heights; the digits after the decimal
point are as high as letters.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from foreaft.model.answers import Plan
from foreaft.report.changes import Change, base_setting, changes, codes
from foreaft.report.measure import CAP_HEIGHT_EM, shorten, text_width
from foreaft.report.style import LETTER
from foreaft.report.svg import Markup, document, el, group, path
from foreaft.report.typeset import Files, to_pdf, to_png
from foreaft.report.words import (
    caution_short,
    count_steps,
    direction_of,
    format_setting,
    label_moved,
    say_hardly_worth,
)

WIDTH_MM: Final = 50.0
HEIGHT_MM: Final = 90.0
CHANGES_MOST: Final = 3
PNG_PPI: Final = 600.0

EDGE_MM: Final = 4.0
MARGIN_MM: Final = 2.0
LETTER_MM: Final = 8.0
CAPTION_MM: Final = 2.2
GAP_MM: Final = 6.0
GAP_MOST_MM: Final = 9.0
SPACE_MM: Final = 1.4
BASE_MM: Final = {True: 18.0, False: 20.0}
CHANGE_MM: Final = {True: 12.0, False: 15.0}
"""Heights where all five lines are used, and where there is more room."""

MOVED_MM: Final = 2.4
MOVED_A_LINE: Final = 2
"""Numbers moved away from the files stand in the gap below the base number, so many in a line."""

SQUEEZE_MOST: Final = 0.6
SQUEEZE_GOOD: Final = 0.72
SQUEEZE_LEAST: Final = 0.9
STEM_OF_CAP: Final = 0.155
"""Width of Lato Bold's uprights over their height, between the 4 (0.148) and the 1 (0.171)."""

SOURCE: Final = """#set document(title: "Brake balance sticker", date: none)
#set page(width: 50mm, height: 90mm, margin: 0mm)
#image("front.svg", width: 50mm, height: 90mm, fit: "contain", alt: "front of the sticker")
"""
BACK: Final = """#pagebreak()
#image("back.svg", width: 50mm, height: 90mm, fit: "contain", alt: "back of the sticker: wet")
"""


class Ink(NamedTuple):
    """The two colours of a side."""

    paper: str
    ink: str


DRY: Final = Ink("#ffffff", "#000000")
WET: Final = Ink("#000000", "#ffffff")


class Piece(NamedTuple):
    """Letters of one height."""

    words: str
    height: float

    @property
    def width(self) -> float:
        """Width before it is narrowed."""
        return text_width(self.words, self.height / CAP_HEIGHT_EM, "bold")


def draw(plan: Plan, *, wet: bool = False, date: str | None = None) -> str:
    """Draw one side of the sticker.

    A plan with more changes than the sticker holds is not cut short: the sticker then carries the
    lap setting for the whole lap, and says so.
    """
    ink = WET if wet else DRY
    moved = changes(plan)
    whole = not moved or len(moved) > CHANGES_MOST
    body = _whole_lap(plan, moved, ink, wet) if whole else _five_lines(plan, moved, ink, wet)
    return document(
        WIDTH_MM,
        HEIGHT_MM,
        el("rect", width=WIDTH_MM, height=HEIGHT_MM, fill=ink.paper),
        body,
        _edges(plan, ink, date),
        name="sticker-wet" if wet else "sticker",
        title="Cockpit sticker, wet" if wet else "Cockpit sticker",
        desc=describe(plan),
        unit="mm",
    )


def describe(plan: Plan) -> str:
    """Say the sticker in words."""
    step, moved, short = plan.adjuster.step, changes(plan), codes(plan)
    panic = f"Lost: {format_setting(plan.panic_setting, step)}."
    other = moved_words(plan)
    panic += f" Planned with {', '.join(other)}." if other else ""
    if not moved or len(moved) > CHANGES_MOST:
        return f"{format_setting(whole_lap_setting(plan), step)} all lap. {panic}"
    said = [
        f"after {short[c.after]} {format_setting(c.setting, step)}, "
        f"{count_steps(c.steps)} to the {c.axle}"
        for c in moved
    ]
    base = f"Base {format_setting(base_setting(plan), step)}; {'; '.join(said)}."
    return " ".join(filter(None, [base, hardly_worth(plan), panic]))


def whole_lap_setting(plan: Plan) -> float:
    """Give the one setting of a sticker without changes."""
    return plan.lap_setting.setting if changes(plan) else base_setting(plan)


def hardly_worth(plan: Plan) -> str:
    """Say that the plan's changes are as well left alone; empty where they are not."""
    gain_s = (plan.lap_setting.cost_us - plan.total.cost_us) / 1e6
    lap = format_setting(plan.lap_setting.setting, plan.adjuster.step)
    return say_hardly_worth(len(changes(plan)), gain_s, lap)


def make(plan: Plan, wet: Plan | None = None, date: str | None = None) -> dict[str, bytes]:
    """Make the sticker's files: PDF with the wet side as second page, and a PNG per side."""
    files, shown = typeset(plan, wet, date)
    pages = to_png(files, shown, PNG_PPI)
    names = ["sticker.png", "sticker-wet.png"]
    return {"sticker.pdf": to_pdf(files, shown)} | dict(zip(names, pages, strict=False))


def typeset(plan: Plan, wet: Plan | None, date: str | None) -> tuple[Files, str]:
    """Give source and text of the sticker, a page for each side."""
    files: Files = {"front.svg": draw(plan, date=date).encode()}
    source = SOURCE
    if wet is not None:
        files["back.svg"] = draw(wet, wet=True, date=date).encode()
        source += BACK
    files["main.typ"] = source.encode()
    return files, b"".join(files.values()).decode()


def _five_lines(plan: Plan, moved: list[Change], ink: Ink, wet: bool) -> Markup:
    full = len(moved) == CHANGES_MOST
    labels = _places(plan, moved)
    tall = CHANGE_MM[full]
    if _tightest(plan, moved, labels, tall) < SQUEEZE_GOOD:
        tall = CHANGE_MM[True]
    squeeze = _tightest(plan, moved, labels, tall)
    tops = _tops([BASE_MM[full], *[tall] * len(moved), LETTER_MM])
    base = format_setting(base_setting(plan), plan.adjuster.step)
    rows = [
        _change_line(_pieces(plan, change, label, tall), change, top + tall, squeeze, ink)
        for change, label, top in zip(moved, labels, tops[1:-1], strict=True)
    ]
    return group(
        _base_line(base, BASE_MM[full], tops[0], ink, wet),
        _moved_lines(plan, tops[0] + BASE_MM[full], ink),
        *rows,
        _hardly_line(plan, tops[-1], ink),
        _panic_line(plan, tops[-1], ink),
    )


def _tops(heights: list[float], below: float = 0.0) -> list[float]:
    """Share the height out: gaps as wide as there is room for, and no wider than looks well."""
    room = HEIGHT_MM - 2.0 * MARGIN_MM - below - sum(heights)
    gap = min(GAP_MOST_MM, room / (len(heights) - 1))
    tops, top = [], MARGIN_MM + (room - gap * (len(heights) - 1)) / 2.0
    for height in heights:
        tops.append(top)
        top += height + gap
    return tops


def _whole_lap(plan: Plan, moved: list[Change], ink: Ink, wet: bool) -> Markup:
    heights = [BASE_MM[False], LETTER_MM, LETTER_MM]
    shown = format_setting(whole_lap_setting(plan), plan.adjuster.step)
    tops = _tops(heights, below=16.0 if moved else 0.0)
    rows = [
        _base_line(shown, heights[0], tops[0], ink, wet),
        _moved_lines(plan, tops[0] + heights[0], ink),
        _line([Piece("ALL LAP", LETTER_MM)], tops[1] + LETTER_MM, ink),
        _panic_line(plan, tops[2], ink),
    ]
    if moved:
        note = [
            f"The plan has {len(moved)} changes;",
            "this sticker holds three.",
            "Learn them from the briefing,",
            "or drive this one setting.",
        ]
        y = HEIGHT_MM - MARGIN_MM - 3.4 * (len(note) - 1)
        rows += [
            _small(EDGE_MM + 0.7, y + 3.4 * line, words, 2.8, ink)
            for line, words in enumerate(note)
        ]
    return group(*rows)


def _places(plan: Plan, moved: list[Change]) -> list[str]:
    """Give the code of the corner after which the hand moves, shorter where it must be."""
    short = codes(plan)
    for length in (4, 3, 2):
        cut = [code if code[1:].isdigit() else code[:length] for code in short]
        if len(set(cut)) < len(cut):
            break
        labels = [cut[change.after] for change in moved]
        if _tightest(plan, moved, labels, CHANGE_MM[True]) >= SQUEEZE_MOST:
            return labels
    return [f"Z{change.after + 1}" for change in moved]


def _pieces(plan: Plan, change: Change, label: str, height: float) -> list[Piece]:
    """Give one line: the place, the number in one or two heights, the letter of the end."""
    number = _number(format_setting(change.setting, plan.adjuster.step), height)
    return [Piece(label, LETTER_MM), *number, Piece(LETTER[change.axle], LETTER_MM)]


def _tightest(plan: Plan, moved: list[Change], labels: list[str], height: float) -> float:
    """Give the squeeze that the tightest line needs; all lines then share it."""
    return min(
        _squeeze(_pieces(plan, change, label, height))
        for change, label in zip(moved, labels, strict=True)
    )


def _number(shown: str, height: float) -> list[Piece]:
    whole, point, rest = shown.partition(".")
    return [Piece(whole, height)] + ([Piece(point + rest, LETTER_MM)] if point else [])


def _squeeze(pieces: list[Piece]) -> float:
    """How far the pieces must be narrowed to fit between the edges."""
    gaps = 2.0 * SPACE_MM
    room = WIDTH_MM - 2.0 * EDGE_MM - 1.0 - gaps
    return min(SQUEEZE_LEAST, room / sum(piece.width for piece in pieces))


def _change_line(
    pieces: list[Piece], change: Change, bottom: float, squeeze: float, ink: Ink
) -> Markup:
    place, *digits, letter = pieces
    letter_x = WIDTH_MM - EDGE_MM - 0.5 - letter.width * squeeze
    digits_x = letter_x - SPACE_MM - sum(piece.width for piece in digits) * squeeze
    return group(
        _small(EDGE_MM + 0.7, bottom - LETTER_MM - 1.2, "AFTER", 2.6, ink),
        _letters(place, EDGE_MM + 0.5, bottom, squeeze, ink),
        *_row(digits, digits_x, bottom, squeeze, ink),
        _letters(letter, letter_x, bottom, squeeze, ink),
        _sign(letter_x + letter.width * squeeze / 2.0, bottom - LETTER_MM - 2.2, change, ink),
    )


def _sign(x: float, y: float, change: Change, ink: Ink) -> Markup:
    up = -1.0 if change.axle == "front" else 1.0
    corners = [(x, y + up * 1.7), (x - 2.6, y - up * 1.3), (x + 2.6, y - up * 1.3)]
    return el("path", d=path(corners, closed=True), fill=ink.ink)


def _base_line(shown: str, height: float, top: float, ink: Ink, wet: bool) -> Markup:
    """Write the base number; on the wet side the word stands above its decimals."""
    number, word = _number(shown, height), Piece("WET", LETTER_MM)
    beside = max([word, *number[1:]], key=lambda piece: piece.width)
    squeeze = _squeeze([number[0], beside] if wet else number)
    parts = _row(number, EDGE_MM + 0.5, top + height, squeeze, ink)
    if wet:
        at = WIDTH_MM - EDGE_MM - 0.5 - word.width * squeeze
        parts.append(_letters(word, at, top + LETTER_MM, squeeze, ink))
    return group(*parts)


def _moved_lines(plan: Plan, top: float, ink: Ink) -> Markup:
    """Write below the base number which numbers of the files were moved, in at most two lines."""
    words = moved_words(plan)
    half = (len(words) + 1) // 2 if len(words) > MOVED_A_LINE else len(words)
    lines = [", ".join(part) for part in (words[:half], words[half:]) if part]
    lines[:1] = [f"for {line}" for line in lines[:1]]
    return group(
        *[_fitted(line, top + 0.6 + MOVED_MM * (1 + row), ink) for row, line in enumerate(lines)]
    )


def _hardly_line(plan: Plan, top: float, ink: Ink) -> Markup:
    """Write above the last line, in its gap, that the changes are as well left alone."""
    return _fitted(hardly_worth(plan), top - 3.2, ink)


def _fitted(line: str, y: float, ink: Ink) -> Markup:
    """Write small letters, smaller still where a line would run over the edge."""
    if not line:
        return group()
    room = WIDTH_MM - 2.0 * EDGE_MM - 1.0
    size = min(MOVED_MM, MOVED_MM * room / text_width(line, MOVED_MM, "bold"))
    return _small(EDGE_MM + 0.7, y, line, size, ink)


def moved_words(plan: Plan) -> list[str]:
    """Name what was moved away from the files; of the changes the sticker says more itself."""
    own = ("changes_max", "change_cost_s")
    return [label_moved(one.key, one.value) for one in plan.moved if one.key not in own]


def _panic_line(plan: Plan, top: float, ink: Ink) -> Markup:
    shown = format_setting(plan.panic_setting, plan.adjuster.step)
    rule = [(EDGE_MM + 0.5, top - 2.2), (WIDTH_MM - EDGE_MM - 0.5, top - 2.2)]
    return group(
        el("path", d=path(rule), fill="none", stroke=ink.ink, stroke_width=0.5),
        _line([Piece(f"LOST? {shown}", LETTER_MM)], top + LETTER_MM, ink),
    )


def _line(pieces: list[Piece], bottom: float, ink: Ink) -> Markup:
    return group(*_row(pieces, EDGE_MM + 0.5, bottom, _squeeze(pieces), ink))


def _row(pieces: list[Piece], x: float, bottom: float, squeeze: float, ink: Ink) -> list[Markup]:
    parts = []
    for piece in pieces:
        parts.append(_letters(piece, x, bottom, squeeze, ink))
        x += piece.width * squeeze
    return parts


def _letters(piece: Piece, x: float, bottom: float, squeeze: float, ink: Ink) -> Markup:
    """Write letters of an exact height, narrowed, their uprights kept a sixth of the height."""
    outline = piece.height * 1.15 * max(0.0, 1.0 / (6.0 * squeeze) - STEM_OF_CAP)
    size = (piece.height - outline) / CAP_HEIGHT_EM
    return el(
        "text",
        piece.words,
        transform=f"translate({x:.3f} {bottom - outline / 2.0:.3f}) scale({squeeze:.3f} 1)",
        font_size=size,
        font_weight="700",
        fill=ink.ink,
        stroke=ink.ink,
        stroke_width=outline,
        stroke_linejoin="round",
    )


def _small(x: float, y: float, words: str, size: float, ink: Ink) -> Markup:
    return el("text", words, x=x, y=y, font_size=size, font_weight="700", fill=ink.ink)


def _edges(plan: Plan, ink: Ink, date: str | None) -> Markup:
    """Write along both edges what is read in the garage: what it is for, and the caution."""
    room = HEIGHT_MM - 2.0 * MARGIN_MM
    parts = [shorten(words, 26.0, 2.2, "bold") for words in (plan.car_name, plan.circuit_name)]
    left = "  ·  ".join([*parts, date or "date ________"])
    right = f"{direction_of(plan.adjuster.higher_means)}.  {caution_short()}"
    return group(_upright(left, 2.9, ink, room), _upright(right, WIDTH_MM - 1.3, ink, room))


def _upright(words: str, x: float, ink: Ink, room: float) -> Markup:
    size = min(2.2, 2.2 * room / text_width(words, 2.2, "bold"))
    return el(
        "text",
        words,
        transform=f"translate({x:.2f} {HEIGHT_MM - MARGIN_MM:.2f}) rotate(-90)",
        font_size=size,
        font_weight="700",
        fill=ink.ink,
    )
