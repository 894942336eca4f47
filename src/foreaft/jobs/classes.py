"""The job ``classes``: the classes of car that are good enough to start from."""

from __future__ import annotations

from foreaft.files.classes import class_names, load_class
from foreaft.jobs.common import Notes, envelope
from foreaft.model.answers import Envelope, Report


def classes() -> Envelope[Report]:
    """Names of the packaged classes; all their numbers are ranges of common practice."""
    lines = [{"class": name, "what": load_class(name).name} for name in class_names()]
    return envelope("classes", Report(lines=lines), {}, Notes())
