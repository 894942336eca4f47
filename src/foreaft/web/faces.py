"""What the routes of library and overview answer: one type per answer, for the OpenAPI document."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from foreaft.files.library import Kind
from foreaft.model.answers import Answer


class Problem(Answer):
    """An error, schema ``foreaft.error/1``."""

    schema_: Literal["foreaft.error/1"] = Field(alias="schema")
    code: str
    message: str
    file: str | None
    line: int | None
    key: str | None
    value: str | float | bool | None
    allowed: str | None
    unit: str | None
    hint: str


class Item(Answer):
    """One thing of the library; ``problem`` where a job would refuse it as it is."""

    kind: Kind
    id: str
    name: str
    revision: str
    saved_at: str
    bytes: int
    note: str
    problem: dict[str, Any] | None = None


class Damaged(Answer):
    """A file that could not be read and was moved away."""

    kind: str
    id: str
    file: str
    why: str
    kept_as: str


class Listing(Answer):
    """The whole library."""

    items: list[Item]
    damaged: list[Damaged]


class Held(Answer):
    """A thing with what it holds; ``text`` is null for a log.

    ``used`` are the values of a TOML file as a job takes them, with what the file leaves open.
    """

    item: Item
    text: str | None
    value: Any
    used: Any = None


class Saved(Answer):
    """The thing as it now is."""

    item: Item


class PastFace(Answer):
    """A former version."""

    revision: str
    saved_at: str
    refused: bool
    removed: bool


class GoneFace(Answer):
    """A thing that was removed and can be brought back."""

    kind: Kind
    id: str
    revision: str
    removed_at: str


class PastText(Answer):
    """What a former version held."""

    text: str


class ClassFace(Answer):
    """A class of car."""

    name: str
    title: str
    about: str


class SymptomFace(Answer):
    """A symptom and what it is called."""

    symptom: str
    label: str


class About(Answer):
    """What this server is and knows."""

    version: str
    model_version: int
    library: str
    parts: dict[str, bool]
    classes: list[ClassFace]
    levels: list[str]
    symptoms: list[SymptomFace]
    loggers: list[str]
    cautions: list[str]
    compiling: bool
    """The physics is compiled just now, once per machine: the first answers take a while."""


class Key(Answer):
    """One key of a file people edit."""

    key: str
    unit: str
    lower: float | None
    upper: float | None
    typical: str
    meaning: str
    measure: str
    kind: Literal["number", "exact", "whole", "choice", "text", "flag"]
    choices: list[str] | None = None
    required: bool
    many: bool


class WorkId(Answer):
    """The id of a work that was begun."""

    work_id: str


class Change(Answer):
    """One thing of the library has changed; ``revision`` is null where it was removed."""

    kind: Kind
    id: str
    revision: str | None


class Pages(Answer):
    """A product as SVG, one document per page."""

    pages: list[str]
