"""From a typst source, data and pictures to PDF and PNG, the same bytes for the same input."""

from __future__ import annotations

from typing import Any

from foreaft.base.errors import MissingPart
from foreaft.base.fonts import font_files
from foreaft.report.measure import covered

Files = dict[str, bytes]


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
    """Typeset ``main.typ`` among the files into one SVG per page."""
    return _pages(files, shown, "svg", None)


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
