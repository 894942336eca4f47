"""What the server knows before anything is asked: classes, levels, symptoms, keys of files."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any, Final, Literal, get_args, get_origin

from foreaft import __version__
from foreaft.base.number import Number
from foreaft.files.classes import class_names, class_text, load_class
from foreaft.files.library import Library
from foreaft.jobs.advise import NAMES
from foreaft.jobs.common import MODEL_VERSION
from foreaft.jobs.load import LEVELS
from foreaft.logs.instruments import LOGGERS
from foreaft.model.fields import Entry, Quantity, catalogue
from foreaft.report.words import cautions
from foreaft.web.faces import About, ClassFace, Key, SymptomFace
from foreaft.web.things import MODELS

KeyKind = Literal["number", "exact", "whole", "choice", "text", "flag"]
PARTS: Final = {"mdf": "asammdf", "optimum": "casadi"}


def about(library: Library, compiling: bool) -> About:
    """What this server is and knows."""
    return About(
        version=__version__,
        model_version=MODEL_VERSION,
        library=str(library.root),
        parts={part: find_spec(name) is not None for part, name in PARTS.items()},
        classes=[_class(name) for name in class_names()],
        levels=list(LEVELS),
        symptoms=[SymptomFace(symptom=one, label=label) for one, label in NAMES.items()],
        loggers=list(LOGGERS),
        cautions=cautions(),
        compiling=compiling,
    )


def _class(name: str) -> ClassFace:
    lines = class_text(name).splitlines()
    said = [line.lstrip("# ").strip() for line in lines[: _first_key(lines)]]
    return ClassFace(name=name, title=load_class(name).name, about=" ".join(said[1:]))


def _first_key(lines: list[str]) -> int:
    return next((i for i, line in enumerate(lines) if not line.startswith("#")), len(lines))


def keys(kind: str) -> list[Key]:
    """Every key a file of this kind may hold, tables left out, in the order of the fields."""
    known = catalogue(MODELS[kind])
    many = tuple(f"{path}." for path, one in known.items() if one.model is not None and one.many)
    return [
        _key(path, one, path.startswith(many) if many else False)
        for path, one in known.items()
        if one.model is None
    ]


def _key(path: str, entry: Entry, many: bool) -> Key:
    told, quantity = entry.about, isinstance(entry.about, Quantity)
    kind, choices = _kind(entry.kind, quantity)
    return Key(
        key=path,
        unit=told.unit,
        lower=told.lower if isinstance(told, Quantity) else None,
        upper=told.upper if isinstance(told, Quantity) else None,
        typical=told.typical,
        meaning=told.meaning,
        measure=told.measure,
        kind=kind,
        choices=choices,
        required=entry.required,
        many=many,
    )


def _kind(annotation: Any, quantity: bool) -> tuple[KeyKind, list[str] | None]:
    kinds = (annotation, *get_args(annotation))
    if quantity:
        return "number" if Number in kinds else "whole" if int in kinds else "exact", None
    for one in kinds:
        if get_origin(one) is Literal:
            return "choice", [str(word) for word in get_args(one)]
    return "flag" if bool in kinds else "text", None
