"""The one typeface of everything that is printed or shown: Lato, from its own package.

Its digits share one width without any font feature, so columns of numbers line up in SVG, PDF and
HTML alike; that is not so in its italics, which are therefore not offered.
Licence: SIL Open Font License 1.1, in the package ``fontpkg-lato``.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Final

from foreaft.base.errors import MissingPart

FAMILY: Final = "Lato"

_FILES: Final = {
    "regular": "Lato-Regular.ttf",
    "bold": "Lato-Bold.ttf",
}


def font_files() -> dict[str, Path]:
    """Give the font file of each style: ``regular`` and ``bold``.

    Raises
    ------
    MissingPart
        If the package with the fonts is not installed whole.
    """
    spec = find_spec("fontpkg_lato")
    if spec is None or spec.origin is None:
        raise _missing("The fonts are not installed.")
    folder = Path(spec.origin).parent / "files"
    found = {style: folder / name for style, name in _FILES.items()}
    for path in found.values():
        if not path.is_file():
            raise _missing(f"The font file {path.name} is missing.")
    return found


def _missing(message: str) -> MissingPart:
    return MissingPart(message, code="missing_font", hint="Install the package fontpkg-lato.")
