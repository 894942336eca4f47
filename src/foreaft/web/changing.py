"""New text for a file of the library: from plain values, or by changing some keys of the old one.

Comments and the order of keys stay (tomlkit); nothing is saved that a job would refuse.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Item

from foreaft.base.errors import InputError
from foreaft.web.things import cell

Table = Any
"""A table of tomlkit; its classes have no common type that is exact."""


def refused(message: str, key: str, value: object, allowed: str, hint: str) -> InputError:
    """Give the error of a body that cannot be used."""
    return InputError(
        message, code="not_allowed", key=key, value=value, allowed=allowed, unit="", hint=hint
    )


def text_from(kind: str, value: Any) -> str:
    """The text of a file from its plain values.

    Raises
    ------
    InputError
        If a thing of this kind cannot be given by values.
    """
    if kind in ("cars", "drivers", "conditions", "mappings") and isinstance(value, dict):
        return _toml(value)
    if kind in ("sheets", "zones") and isinstance(value, dict):
        return _csv(value)
    if kind == "plans" and isinstance(value, dict):
        return json.dumps(value, indent=2, ensure_ascii=False) + "\n"
    raise refused(
        "This cannot be given by values.",
        "value",
        type(value).__name__,
        "an object; for circuits and logs, text or a file",
        "Send text instead.",
    )


def _toml(value: Mapping[str, Any]) -> str:
    try:
        return tomlkit.dumps(_without_none(value))
    except (TOMLKitError, ValueError, TypeError, RecursionError) as error:
        raise refused(
            "These values are no TOML.", "value", str(error)[:80], "plain values", "Correct them."
        ) from error


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_none(one) for key, one in value.items() if one is not None}
    return [_without_none(one) for one in value] if isinstance(value, list) else value


def _csv(value: Mapping[str, Any]) -> str:
    columns, rows = value.get("columns"), value.get("rows")
    right = isinstance(columns, list) and isinstance(rows, list)
    if not right or not all(isinstance(row, dict) for row in rows or []):
        raise refused(
            "A table has columns and rows.",
            "value",
            ", ".join(value)[:80],
            '{"columns": [names], "rows": [{name: cell}]}',
            "Send both.",
        )
    strange = {str(key) for row in rows or [] for key in row} - {str(one) for one in columns or []}
    if strange:
        raise refused(
            "A row has a cell without a column.",
            "rows",
            sorted(strange)[0],
            ", ".join(map(str, columns or [])),
            "Add the column, or leave the cell out.",
        )
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns or [])
    for row in rows or []:
        writer.writerow([_cell(row.get(column)) for column in columns or []])
    return out.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | dict | list):
        raise refused("This is no cell.", "rows", str(value)[:40], "text or a number", "Correct it")
    return cell(value)


# ---------------------------------------------------------------- some keys of a TOML file


def changed(text: str, changes: Mapping[str, Any]) -> str:
    """The text of a TOML file with some keys set, or removed where the new value is None.

    Parameters
    ----------
    changes : mapping
        By dotted key, parts of an array counted from 1: ``tyre.mu_x``.

    Raises
    ------
    InputError
        If a key leads nowhere.
    """
    document = tomlkit.parse(text)
    for key, value in changes.items():
        try:
            _set(document, key.split("."), value)
        except (TOMLKitError, KeyError, TypeError, ValueError, AttributeError) as error:
            raise refused(
                "This key cannot be set.",
                key,
                str(value)[:80],
                "a key of the file, and a value it can hold",
                "See docs/reference/car-keys.md.",
            ) from error
    return tomlkit.dumps(document)


def _set(table: Table, path: list[str], value: Any) -> None:
    for part in path[:-1]:
        if isinstance(table, AoT | list):
            table = table[int(part) - 1]
            continue
        if part not in table:
            if value is None:
                return
            table[part] = tomlkit.table()
        table = table[part]
    last = path[-1]
    if value is None:
        if last in table:
            del table[last]
        return
    table[last] = _like(table.get(last), value)


def _like(old: Any, value: Any) -> Any:
    """A new value that looks like the old one: a source, an inline table and a comment stay."""
    if not isinstance(value, dict):
        made = tomlkit.item(value)
    else:
        made = tomlkit.inline_table()
        made.update({key: one for key, one in value.items() if one is not None})
    if isinstance(old, Item):
        made.trivia.comment, made.trivia.comment_ws = old.trivia.comment, old.trivia.comment_ws
    return made
