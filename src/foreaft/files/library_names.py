"""Names of things in the library: slugs, and for logs the file's own name made safe."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from foreaft.base.errors import InputError
from foreaft.model.fields import SLUG

LONGEST: Final = 120
_UNSAFE: Final = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*]+')
_RESERVED: Final = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\.|$)")


def is_id(kind: str, name: str) -> bool:
    """Whether a name can be that of a thing of this kind."""
    if kind == "logs":
        return bool(name) and name == safe_name(name)
    if kind in ("circuits", "zones") and name == "zones":
        return False  # its file would be that of its zones
    return len(name) <= LONGEST and re.fullmatch(SLUG, name) is not None


def safe_name(name: str) -> str:
    """A file name any disk takes, which leads nowhere; ``log`` where nothing is left."""
    text = unicodedata.normalize("NFC", name.encode("utf-8", "replace").decode())
    text = "".join(c for c in text if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co"))
    text = _UNSAFE.sub("-", text).strip(" .")
    if _RESERVED.match(text):
        text = "log-" + text
    while len(text.encode()) > LONGEST:
        stem, dot, ending = text.rpartition(".")
        text = f"{stem[:-1]}{dot}{ending}" if dot and len(ending) < 10 and stem else text[:-1]
    return text.strip(" .") or "log"


def unknown(kind: str, name: str) -> InputError:
    """Give the error of a thing that is not in the library."""
    return InputError(
        "There is no such thing in the library.",
        code="unknown_thing",
        file=f"{kind}/{name}",
        key="id",
        value=f"{kind}/{name}",
        allowed="what /api/library lists",
        unit="",
        hint="It may have been removed or renamed; look at the library.",
    )
