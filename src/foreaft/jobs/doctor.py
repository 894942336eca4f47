"""The job ``doctor``: versions, what is installed, where files are kept."""

from __future__ import annotations

import os
import platform
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

from foreaft import __version__
from foreaft.base import kernel
from foreaft.base.fonts import FAMILY
from foreaft.files.classes import class_names
from foreaft.files.history import data_folder
from foreaft.jobs.common import MODEL_VERSION, Notes, envelope
from foreaft.model.answers import Envelope, Report

NEEDED: Final = (
    "numpy",
    "scipy",
    "numba",
    "pydantic",
    "clarabel",
    "typst",
    "jinja2",
    "fontpkg-lato",
    "pillow",
    "polars",
)

EXTRAS: Final = {"asammdf": "reads and writes MDF4 logs", "casadi": "the command limit"}


def doctor() -> Envelope[Report]:
    """What this installation is made of; a missing part is named, not raised."""
    notes = Notes()
    lines: list[dict[str, Any]] = [
        {"what": "foreaft", "found": __version__, "note": f"model version {MODEL_VERSION}"},
        {"what": "python", "found": platform.python_version(), "note": sys.executable},
        {"what": "system", "found": platform.platform(), "note": f"{os.cpu_count()} cores"},
    ]
    for name in NEEDED:
        lines.append({"what": name, "found": _version(name), "note": ""})
    for name, use in EXTRAS.items():
        found = _version(name, "not installed")
        lines.append({"what": name, "found": found, "note": f"optional: {use}"})
    folder = kernel.FOLDER
    lines.append(
        {
            "what": "compiled kernels",
            "found": str(folder or "not kept"),
            "note": "writable" if folder and _writable(Path(folder)) else "compiled at each start",
        }
    )
    lines.append({"what": "history of settings", "found": str(data_folder()), "note": ""})
    lines.append({"what": "font", "found": FAMILY, "note": ""})
    lines.append({"what": "car classes", "found": ", ".join(class_names()), "note": ""})
    missing = [line["what"] for line in lines if line["found"] == "missing"]
    for name in missing:
        notes.warn("missing_part", f"{name} is not installed; run the set-up again")
    return envelope("doctor", Report(lines=lines), {}, notes)


def _version(name: str, absent: str = "missing") -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return absent


def _writable(folder: Path) -> bool:
    return folder.is_dir() and os.access(folder, os.W_OK)
