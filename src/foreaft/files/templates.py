"""Commented files to start from; each passes the check as it is written."""

from __future__ import annotations

import math
import os
from importlib.resources import files
from pathlib import Path
from typing import Final, Literal, get_args

from foreaft.base.errors import InputError
from foreaft.files.atomic import write_file
from foreaft.files.classes import class_text

Kind = Literal["car", "driver", "conditions", "circuit", "sheet", "trial-laps"]
KINDS: Final[tuple[str, ...]] = get_args(Kind)

_NAMES: Final[dict[str, str]] = {
    "car": "car.toml",
    "driver": "driver.toml",
    "conditions": "conditions.toml",
    "sheet": "sheet.csv",
    "trial-laps": "trial-laps.csv",
}


def template(kind: str, class_name: str | None = None) -> str:
    """Give the text of a file to start from.

    Parameters
    ----------
    kind : str
        One of ``KINDS``.
    class_name : str, optional
        For a car: start from the ranges of this class.

    Raises
    ------
    InputError
        If there is no such kind or class.
    """
    if kind not in KINDS:
        raise InputError(
            "There is no such kind of file.",
            code="kind_unknown",
            key="kind",
            value=kind,
            allowed=", ".join(KINDS),
            unit="",
            hint="A zone sheet is the quickest start.",
        )
    if class_name is not None:
        if kind != "car":
            raise InputError(
                "Only a car can be started from a class.",
                code="contradiction",
                key="class",
                value=class_name,
                allowed="with the kind car",
                unit="",
                hint="Leave it out.",
            )
        return class_text(class_name)
    if kind == "circuit":
        return _oval()
    folder = files("foreaft") / "data" / "templates"
    return (folder / _NAMES[kind]).read_text("utf-8")


def write_template(path: str | os.PathLike[str], kind: str, class_name: str | None = None) -> Path:
    """Write a file to start from; what exists is never replaced.

    Raises
    ------
    InputError
        As for :func:`template`; or if the file exists or cannot be written.
    """
    file, text = Path(path), template(kind, class_name)
    if file.exists() or file.is_symlink():
        raise InputError(
            "There is a file of this name already; it was left alone.",
            code="file_exists",
            file=file,
            key="file",
            value=file.name,
            allowed="a name not yet used",
            unit="",
            hint="Choose another name.",
        )
    return write_file(file, text)


def _oval() -> str:
    """Give a circuit of two straights and two half circles, a point every 5 m."""
    straight, radius, points = 300.0, 60.0, 195
    half = straight + math.pi * radius
    rows = [
        "x_m,y_m,w_tr_right_m,w_tr_left_m",
        "# The middle of the road in metres, a point every 2 to 10 m, in driving order; x and y",
        "# as on a map. Widths from there to the right and to the left edge, looking ahead.",
        "# The first point is not repeated at the end. A height column, z_m, may be added.",
        "# Without widths (x_m,y_m alone) the points are the line driven.",
    ]
    for i in range(points):
        s = 2.0 * half * i / points
        far, along = s >= half, s % half
        if along <= straight:
            x, y = along, 0.0
        else:
            angle = (along - straight) / radius
            x, y = straight + radius * math.sin(angle), radius * (1.0 - math.cos(angle))
        if far:
            x, y = straight - x, 2.0 * radius - y
        rows.append(f"{x:.2f},{y:.2f},5.0,5.0")
    return "\n".join(rows) + "\n"
