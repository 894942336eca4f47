"""Mapping files: what the columns of one kind of log are, said once by somebody who knows.

A mapping is TOML; ``columns_sha256`` names the columns it was written for, so that it is found
again beside the next log with the same ones.
"""

from __future__ import annotations

import difflib
import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from foreaft.base.errors import InputError
from foreaft.files.atomic import write_file
from foreaft.files.read import read_text
from foreaft.files.toml import dump, line_index, line_of, parse_plain
from foreaft.logs.names import KINDS, UNITLESS
from foreaft.logs.units import UNITS, parse_unit
from foreaft.model.fields import Model, Quantity, Word, build, refuse

ENDING: Final = ".mapping.toml"
IGNORED: Final = "ignored"
MOST_BESIDE: Final = 200
"""So many mapping files beside a log are looked at."""


class MappedColumn(Model):
    """What one column is."""

    column: Annotated[str, Word("name of the column, as the log has it"), Field(min_length=1)]
    channel: Annotated[str, Word("a channel of the catalogue, or ignored")]
    unit: Annotated[str, Word("the unit it was recorded in; empty for a bare number")] = ""
    sign: Annotated[Literal[-1, 1], Word("-1 where it counts the other way than ISO 8855")] = 1
    scale: Annotated[
        float, Quantity("", 1e-6, 1e6, "1", "multiplies what was recorded, before its unit")
    ] = 1.0

    @model_validator(mode="after")
    def _means_something(self) -> Self:
        if self.channel == IGNORED:
            return self
        if self.channel not in KINDS:
            near = difflib.get_close_matches(self.channel, KINDS, n=1)
            raise refuse(
                f"There is no channel {self.channel!r}.",
                code="channel_unknown",
                key="channel",
                value=self.channel,
                allowed=", ".join((*KINDS, IGNORED)),
                hint=f"Did you mean {near[0]}?" if near else "Take one of these.",
            )
        unit = parse_unit(self.unit)
        fits = unit is not None and unit.kind in KINDS[self.channel]
        if not fits and not (self.channel in UNITLESS and self.unit == ""):
            raise refuse(
                f"{self.unit or 'No unit'} is no unit of {self.channel}.",
                code="unit_unknown",
                key="unit",
                value=self.unit,
                allowed=", ".join(units_of(self.channel)),
                hint="Write the unit the column was recorded in.",
            )
        return self


class LogMapping(Model):
    """A mapping file."""

    schema_: Annotated[Literal["foreaft.mapping/1"], Word("first key of the file")] = Field(
        alias="schema", default="foreaft.mapping/1"
    )
    columns_sha256: Annotated[
        str, Word("fingerprint of the columns it was written for"), Field(max_length=64)
    ] = ""
    column: Annotated[
        tuple[MappedColumn, ...],
        Word("the columns somebody has named"),
        Field(strict=False, max_length=1000),
    ] = ()

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        for what, names in (
            ("column", [one.column for one in self.column]),
            ("channel", [one.channel for one in self.column if one.channel != IGNORED]),
        ):
            twice = [name for name, count in Counter(names).items() if count > 1]
            if twice:
                raise refuse(
                    f"This {what} stands there twice.",
                    code="repeated",
                    key="column",
                    value=twice[0],
                    allowed=f"each {what} once",
                    hint="Keep the one that is right; the other column may be ignored.",
                )
        return self


def units_of(channel: str) -> tuple[str, ...]:
    """Units a channel may be recorded in."""
    return tuple(one.text for one in UNITS.values() if one.kind in KINDS[channel])


def columns_key(columns: Iterable[tuple[str, str]]) -> str:
    """Give the fingerprint of columns, each with its unit; their order does not matter."""
    text = "\n".join(sorted(f"{name}\t{unit}" for name, unit in columns))
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:12]


def read_mapping(path: Path) -> LogMapping:
    """Read a mapping file.

    Raises
    ------
    InputError
        With file, line, key, value, what is allowed and a hint.
    """
    text = read_text(path)
    data = parse_plain(text, str(path))
    index = line_index(text)
    return build(LogMapping, data, file=str(path), line_of=lambda keys: line_of(index, keys))


def write_mapping(path: Path, mapping: LogMapping) -> Path:
    """Write a mapping file whole or not at all."""
    return write_file(path, dump(mapping))


def beside(log: Path, key: str) -> tuple[Path, LogMapping] | None:
    """Find the mapping for these columns in the folder of a log, by name of the file.

    One that cannot be read says nothing about this log, and is passed over.
    """
    for path in sorted(log.parent.glob(f"*{ENDING}"))[:MOST_BESIDE]:
        try:
            mapping = read_mapping(path)
        except InputError:
            continue
        if mapping.columns_sha256 == key:
            return path, mapping
    return None


def typed(words: Sequence[str]) -> LogMapping:
    """Make a mapping from words such as ``Brake=pressure_front_Pa:bar`` or ``Ay=-accel_y_mps2:g``.

    Raises
    ------
    InputError
        If a word cannot be understood.
    """
    columns = []
    for word in words:
        column, equals, meaning = word.rpartition("=")
        channel, _, unit = meaning.partition(":")
        if not equals or not column.strip() or not channel.strip():
            raise InputError(
                "--map cannot be understood.",
                code="map_unclear",
                key="map",
                value=word,
                allowed="COLUMN=CHANNEL:UNIT, COLUMN=-CHANNEL:UNIT or COLUMN=ignored",
                unit="",
                hint='For example --map "Brake=pressure_front_Pa:bar".',
            )
        name = channel.strip()
        columns.append(
            {
                "column": column.strip(),
                "channel": name.removeprefix("-"),
                "unit": unit.strip(),
                "sign": -1 if name.startswith("-") else 1,
            }
        )
    return build(LogMapping, {"column": columns})


def joined(old: LogMapping | None, new: LogMapping, key: str) -> LogMapping:
    """Give a mapping in which the new word on a column or a channel replaces the old one."""
    columns = {one.column for one in new.column}
    channels = {one.channel for one in new.column} - {IGNORED}
    kept = [
        one
        for one in (old.column if old else ())
        if one.column not in columns and one.channel not in channels
    ]
    return build(LogMapping, {"columns_sha256": key, "column": [*kept, *new.column]})


def fitting(mappings: Sequence[LogMapping], key: str, names: Sequence[str]) -> LogMapping | None:
    """Pick the mapping of a log out of those of several.

    That is the one written for its columns, else one that says of no columns whose it is and names
    none but these.
    A mapping of other columns is never taken: of the same name they may have another unit.
    """
    own = [one for one in mappings if one.columns_sha256 == key]
    free = [
        one
        for one in mappings
        if not one.columns_sha256 and {each.column for each in one.column} <= set(names)
    ]
    return next(iter([*own, *free]), None)


def check_columns(mapping: LogMapping, names: Sequence[str], file: Path) -> None:
    """Refuse a mapping that names a column the log does not have.

    Raises
    ------
    InputError
        Naming the column, and the nearest of the log.
    """
    for one in mapping.column:
        if one.column not in names:
            near = difflib.get_close_matches(one.column, names, n=1)
            raise InputError(
                f"The log has no column {one.column!r}.",
                code="log_column_unknown",
                file=file,
                key="map",
                value=one.column,
                allowed=", ".join(names[:12]) + (" ..." if len(names) > 12 else ""),
                unit="",
                hint=f"Did you mean {near[0]!r}?" if near else "foreaft read lists the columns.",
            )
