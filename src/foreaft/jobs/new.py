"""The job ``new``: a commented file to start from."""

from __future__ import annotations

from pathlib import Path

from foreaft.files.templates import write_template
from foreaft.jobs.common import Notes, envelope
from foreaft.model.answers import Envelope, Report


def new(kind: str, file: Path, class_name: str | None = None) -> Envelope[Report]:
    """Write a car, driver, conditions, circuit or sheet file; what exists is left alone.

    Raises
    ------
    InputError
        If the kind or class is unknown, or the file exists or cannot be written.
    """
    written = write_template(file, kind, class_name)
    report = Report(lines=[{"kind": kind, "file": str(written)}])
    asked = {"kind": kind, "class": class_name}
    return envelope("new", report, asked, Notes(), files=[str(written)])
