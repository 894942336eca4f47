"""Everything a debrief is handed over as, in one folder: all of it or nothing."""

from __future__ import annotations

from pathlib import Path

from foreaft.files.atomic import write_folder
from foreaft.jobs.common import to_json
from foreaft.jobs.debrief import Looked
from foreaft.report.words import Units


def hand_over(looked: Looked, folder: Path, units: Units = "metric") -> list[Path]:
    """Write the debrief (JSON), its page as HTML and PDF, and its pictures.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    made: dict[str, bytes | str] = {"debrief.json": to_json(looked.answer)}
    write_folder(folder, made)
    return [folder / name for name in made]
