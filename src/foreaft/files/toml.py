"""TOML files with the line of every key, so that an error can name it; and writing them back.

What kind of file it is stands in its first key: ``schema = "foreaft.car/1"``.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, NoReturn, TypeVar

from foreaft.base.errors import InputError
from foreaft.files.read import read_text
from foreaft.model.car import Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import Model, build, plain

KINDS: Final[dict[str, type[Model]]] = {
    "foreaft.car/1": Car,
    "foreaft.conditions/1": Conditions,
    "foreaft.driver/1": Driver,
}

M = TypeVar("M", bound=Model)
Path_ = tuple[str | int, ...]


def read_car(path: str | os.PathLike[str]) -> Car:
    """Read a car file; ``InputError`` for everything that is wrong with it."""
    return read(path, Car)


def read_conditions(path: str | os.PathLike[str]) -> Conditions:
    """Read a conditions file; ``InputError`` for everything that is wrong with it."""
    return read(path, Conditions)


def read_driver(path: str | os.PathLike[str]) -> Driver:
    """Read a driver file; ``InputError`` for everything that is wrong with it."""
    return read(path, Driver)


def read(path: str | os.PathLike[str], kind: type[M]) -> M:
    """Read a file of one kind.

    Raises
    ------
    InputError
        With file, line, key, value, allowed range, unit and hint.
    """
    file = Path(path)
    text = read_text(file)
    return parse(text, kind, str(file))


def read_any(path: str | os.PathLike[str]) -> Model:
    """Read a TOML file of whatever kind its schema says; ``InputError`` as for :func:`read`."""
    file = Path(path)
    text = read_text(file)
    data = parse_plain(text, str(file))
    return _built(text, data, KINDS[_schema(data, text, str(file), tuple(KINDS))], str(file))


def parse(text: str, kind: type[M], file: str | None = None) -> M:
    """Make a model of one kind from TOML text; ``InputError`` as for :func:`read`."""
    data = parse_plain(text, file)
    wanted = tuple(name for name, one in KINDS.items() if one is kind)
    _schema(data, text, file, wanted)
    return _built(text, data, kind, file)


def _built(text: str, data: Mapping[str, Any], kind: type[M], file: str | None) -> M:
    index = line_index(text)
    return build(kind, data, file=file, line_of=lambda path: line_of(index, path))


def _schema(data: Mapping[str, Any], text: str, file: str | None, wanted: tuple[str, ...]) -> str:
    found = data.get("schema")
    if isinstance(found, str) and found in wanted:
        return found
    family = found.rpartition("/")[0] if isinstance(found, str) else ""
    newer = family in {name.rpartition("/")[0] for name in wanted}
    hint = f'Write schema = "{wanted[0]}" as the first key.'
    if newer:
        hint = "The file was written for another version of this tool."
    raise InputError(
        "The first key, schema, does not say that this is the file wanted.",
        code="schema",
        file=file,
        line=line_of(line_index(text), ("schema",)),
        key="schema",
        value="absent" if found is None else found,
        allowed=" or ".join(wanted),
        unit="",
        hint=hint,
    )


# ---------------------------------------------------------------- reading


def parse_plain(text: str, file: str | None = None) -> dict[str, Any]:
    """Give the plain values of a TOML text; ``InputError`` with the line where it is not TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        _not_toml(text, str(error), file, error)
    except (ValueError, RecursionError, OverflowError) as error:
        _not_toml(text, f"{type(error).__name__}: {error}", file, error)


_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)")


def _not_toml(text: str, said: str, file: str | None, cause: Exception) -> NoReturn:
    lines = text.splitlines() or [""]
    at = _AT.search(said)
    number = int(at[1]) if at and at[1] else len(lines)
    found = lines[min(number, len(lines)) - 1].strip()
    raise InputError(
        f"This is not TOML: {_AT.sub('', said)}.".replace("..", "."),
        code="not_toml",
        file=file,
        line=number,
        key="TOML",
        value=found[:60],
        allowed="key = value, or [table]",
        unit="",
        hint="Text needs quotes, numbers a decimal point, and each key stands once.",
    ) from cause


_TABLE = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_WORD = r"""(?:[\w-]+|"[^"]*"|'[^']*')"""
_KEY = re.compile(rf"^\s*({_WORD}(?:\s*\.\s*{_WORD})*)\s*=")


def line_index(text: str) -> dict[Path_, int]:
    """Give the line of every table and key of a TOML text that parses.

    Tables of an array are numbered from 0, as in the parsed data.
    Keys inside inline tables and arrays stand at the line of the key that holds them.
    """
    index: dict[Path_, int] = {}
    table: Path_ = ()
    counts: dict[Path_, int] = {}
    inside = _Inside()
    for number, line in enumerate(text.splitlines(), start=1):
        if not inside.value:
            head, key = _TABLE.match(line), _KEY.match(line)
            if head:
                table = _table_path(_parts(head[2]), head[1] == "[[", counts)
                index.setdefault(table, number)
            elif key:
                index.setdefault(table + _parts(key[1]), number)
        inside.read(line)
    return index


def _parts(dotted: str) -> Path_:
    found = re.findall(r"""[\w-]+|"[^"]*"|'[^']*'""", dotted)
    return tuple(part.strip("\"'") for part in found)


def _table_path(parts: Path_, many: bool, counts: dict[Path_, int]) -> Path_:
    """Give the path of a table header, with the number of each array of tables it lies in."""
    path: Path_ = ()
    for part in parts:
        path += (part,)
        if path in counts and len(path) - sum(isinstance(p, int) for p in path) < len(parts):
            path += (counts[path],)
    if many:
        counts[path] = counts.get(path, -1) + 1
        path += (counts[path],)
    return path


class _Inside:
    """Whether the next line still belongs to a value begun earlier."""

    def __init__(self) -> None:
        self.quote = ""
        self.depth = 0

    @property
    def value(self) -> bool:
        return bool(self.quote) or self.depth > 0

    _token = re.compile(r"""\"{3}|'{3}|"(?:\\.|[^"\\])*"|'[^']*'|[\[\]{}]|#.*""")

    def read(self, line: str) -> None:
        rest = line
        if not self.value:
            if _TABLE.match(line):
                return
            key = _KEY.match(line)
            rest = line[key.end() :] if key else line
        while rest:
            if self.quote:
                end = rest.find(self.quote)
                if end < 0:
                    return
                rest, self.quote = rest[end + 3 :], ""
            token = self._token.search(rest)
            if token is None:
                return
            rest = rest[token.end() :]
            if token[0] in ('"""', "'''"):
                self.quote = token[0]
            elif token[0] in "[{":
                self.depth += 1
            elif token[0] in "]}":
                self.depth = max(self.depth - 1, 0)


def line_of(index: Mapping[Path_, int], path: Path_) -> int | None:
    """Give the line of a path of keys, or of the nearest table that holds it; else line 1."""
    path = tuple(int(p) - 1 if isinstance(p, str) and p.isdecimal() else p for p in path)
    while path:
        if path in index:
            return index[path]
        path = path[:-1]
    return 1


# ---------------------------------------------------------------- writing


def dump(model: Model) -> str:
    """Give a model as TOML: schema first, plain keys before tables, no comments."""
    return "\n".join(_table_lines(plain(model), ())) + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) and not set(value) <= {"value", "sd", "low", "high", "source"}


def _table_lines(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    lines, later = [], []
    for key, value in table.items():
        if _is_table(value):
            later += ["", f"[{'.'.join((*path, key))}]", *_table_lines(value, (*path, key))]
        elif isinstance(value, list | tuple):
            for one in value:
                name = ".".join((*path, key))
                later += ["", f"[[{name}]]", *_table_lines(one, (*path, key))]
        else:
            lines.append(f"{key} = {_scalar(value)}")
    return lines + later


def _scalar(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_scalar(v)}" for k, v in value.items()) + " }"
    if isinstance(value, str):
        return '"' + "".join(_escaped(c) for c in value) + '"'
    return repr(value)


def _escaped(character: str) -> str:
    if character in '"\\':
        return "\\" + character
    code = ord(character)
    return f"\\u{code:04x}" if code < 0x20 or code == 0x7F else character
