"""From a typst source, data and pictures to PDF and PNG, the same bytes for the same input."""

from __future__ import annotations

import base64
import re
from html import unescape
from typing import Any, Final

from foreaft.base.errors import MissingPart
from foreaft.base.fonts import FAMILY, font_files
from foreaft.report.measure import covered
from foreaft.report.webfont import WEB_FAMILY, face_css

Files = dict[str, bytes]

_PICTURE: Final = re.compile(rb"(?<=data:image/svg\+xml;base64,)[A-Za-z0-9+/=]+")


def to_pdf(files: Files, shown: str) -> bytes:
    """Typeset ``main.typ`` among the files.

    Parameters
    ----------
    files : dict of str to bytes
        The source under ``main.typ``, and everything it reads.
    shown : str
        All text that may appear; only where the typeface lacks a character of it are the
        machine's own fonts looked at, so that the bytes depend on nothing else.
    """
    return _pages(files, shown, "pdf", None)[0]


def to_png(files: Files, shown: str, ppi: float) -> list[bytes]:
    """Typeset ``main.typ`` among the files into one picture per page."""
    return _pages(files, shown, "png", ppi)


def to_svg(files: Files, shown: str) -> list[bytes]:
    """Typeset ``main.typ`` among the files into one SVG per page.

    Text is set as outlines, but a picture stays a picture inside, which no page lends its typeface:
    it carries the letters it shows, or they would be as wide as those of any other typeface.
    """
    return [_PICTURE.sub(_with_letters, page) for page in _pages(files, shown, "svg", None)]


def _with_letters(picture: re.Match[bytes]) -> bytes:
    drawn = base64.b64decode(picture[0]).decode()
    shown = unescape("".join(re.findall(r">([^<]+)<", drawn)))
    drawn = drawn.replace(f'font-family="{FAMILY}', f'font-family="{WEB_FAMILY}, {FAMILY}')
    drawn = drawn.replace(">", f"><style>{face_css(shown)}</style>", 1)
    return base64.b64encode(drawn.encode())


def _pages(files: Files, shown: str, kind: str, ppi: float | None) -> list[bytes]:
    made = _typst().compile(
        files,
        font_paths=[str(font_files()["regular"].parent)],
        ignore_system_fonts=covered(shown),
        format=kind,
        ppi=ppi,
    )
    return list(made) if isinstance(made, list) else [made]


def _typst() -> Any:
    try:
        import typst
    except ImportError as error:
        raise MissingPart(
            "The typesetter for PDF and PNG is not installed.",
            code="missing_typesetter",
            hint="Install the package typst.",
        ) from error
    return typst
