"""The base of everything people edit: strict, frozen models, and numbers with their spread.

The field itself is the one place where a key's unit, limits and meaning stand: error messages, the
reference page of the keys and the limits of the sampling are all read from there.

Pydantic collects what is wrong with a file; :func:`build` turns all of it into one `InputError`.
"""

from __future__ import annotations

import difflib
import hashlib
import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from types import NoneType
from typing import Any, Final, Self, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError, core_schema

from foreaft.base.errors import InputError
from foreaft.base.number import Number

REFUSED: Final = "refused"
"""Type of the errors raised by our own checks; the others are pydantic's."""

NUMBER_FORMS: Final = "a number, { value, sd } or { low, high }, each perhaps with a source"

SLUG: Final = r"^[a-z0-9]+(-[a-z0-9]+)*$"
"""Ids: lower-case words joined by hyphens."""

Lines = Callable[[tuple[str | int, ...]], int | None]
M = TypeVar("M", bound="Model")


def refuse(
    message: str,
    *,
    code: str = "out_of_range",
    key: str = "",
    value: object = None,
    allowed: str,
    unit: str = "",
    hint: str,
) -> PydanticCustomError:
    """Give the error of one failed check, to be raised; ``key`` is relative to the model."""
    told = {"code": code, "key": key, "value": value, "allowed": allowed, "unit": unit}
    return PydanticCustomError(REFUSED, "{text}", {"text": message, "hint": hint, **told})


@dataclass(frozen=True)
class Word:
    """What a key that is no number means."""

    meaning: str
    measure: str = ""
    unit: str = ""
    typical: str = ""

    @property
    def allowed(self) -> str:
        """Empty: the type says what is allowed."""
        return ""


@dataclass(frozen=True)
class Quantity:
    """Unit, physical limits and meaning of a key that holds a number.

    Put it into ``Annotated`` beside ``Number`` (may be uncertain), ``float`` (exact) or ``int``.

    Parameters
    ----------
    unit : str
        As written for people.
    lower, upper : float
        Physical limits; both ends allowed.
    typical : str
        What most racing cars have.
    meaning : str
        What it is, in one line.
    measure : str
        How to find it.
    words : mapping
        Words accepted instead of a number, with the number each stands for.
    """

    unit: str
    lower: float
    upper: float
    typical: str
    meaning: str
    measure: str = ""
    words: Mapping[str, float] = field(default_factory=dict)

    @property
    def allowed(self) -> str:
        """The limits in words."""
        text = f"{self.lower:g} to {self.upper:g}"
        return text + "".join(f', or "{word}"' for word in self.words)

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        """Tell pydantic to leave reading and writing of this field to us."""
        kinds = get_args(source) or (source,)
        optional = NoneType in kinds
        kind = next(one for one in kinds if one is not NoneType)
        read = {Number: self._uncertain, int: self._whole}.get(kind, self._exact)

        def parse(found: Any) -> Any:
            return None if found is None and optional else read(found)

        return core_schema.no_info_plain_validator_function(
            parse,
            serialization=core_schema.plain_serializer_function_ser_schema(plain_number),
        )

    def _uncertain(self, found: Any) -> Number:
        if isinstance(found, str) and found in self.words:
            return Number(value=self.words[found], source=f'"{found}"')
        parts = found if isinstance(found, dict | Number) else {"value": self._finite(found)}
        number = parts if isinstance(parts, Number) else self._number(parts)
        for name in ("value", "low", "high"):
            part = getattr(number, name)
            if part is not None:
                self._within(part, "" if isinstance(found, int | float) else name)
        return number

    def _number(self, parts: dict[str, Any]) -> Number:
        known = ("value", "sd", "low", "high", "source")
        for name, part in parts.items():
            if name not in known:
                raise refuse(
                    f"A number has no part {name!r}.",
                    code="unknown_key",
                    key=name,
                    value=part,
                    allowed=", ".join(known),
                    unit=self.unit,
                    hint=_near(name, known),
                )
            if name == "source" and not isinstance(part, str):
                raise refuse(
                    "A source is text.",
                    code="wrong_type",
                    key=name,
                    value=part,
                    allowed="text in quotes",
                    hint='Write source = "...".',
                )
        sizes = {k: self._finite(v, k) for k, v in parts.items() if k != "source"}
        try:
            return Number(source=parts.get("source"), **sizes)
        except InputError as error:
            raise refuse(
                error.message,
                code=error.code,
                key=error.key or "",
                value=parts.get(error.key or ""),
                allowed=error.allowed or NUMBER_FORMS,
                unit=self.unit,
                hint=error.hint,
            ) from None

    def _exact(self, found: Any) -> float:
        value = self._finite(found)
        self._within(value)
        return value

    def _whole(self, found: Any) -> int:
        value = self._exact(found)
        if not isinstance(found, int):
            raise refuse(
                "A whole number belongs here.",
                code="wrong_type",
                value=found,
                allowed=f"whole numbers, {self.allowed}",
                unit=self.unit,
                hint="Leave out the decimals.",
            )
        return int(value)

    def _finite(self, found: Any, part: str = "") -> float:
        if isinstance(found, bool) or not isinstance(found, int | float):
            raise refuse(
                "A number belongs here.",
                code="wrong_type",
                key=part,
                value=found,
                allowed=self.allowed,
                unit=self.unit,
                hint="Write digits with a decimal point, without quotes and without the unit.",
            )
        try:
            value = float(found)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise refuse(
                "The number is not finite.",
                code="not_finite",
                key=part,
                value=str(value),
                allowed=self.allowed,
                unit=self.unit,
                hint="Leave the key out where the number is unknown, or give a range.",
            )
        return value

    def _within(self, value: float, part: str = "") -> None:
        if not self.lower <= value <= self.upper:
            usual = f"Usual: {self.typical}. " if self.typical else ""
            raise refuse(
                f"{value:g} is outside what is possible.",
                key=part,
                value=value,
                allowed=self.allowed,
                unit=self.unit,
                hint=f"{usual}{self.meaning}".rstrip(". ") + ".",
            )


def plain_number(number: Number | float | None) -> Any:
    """Give a number as a file holds it: bare where it is exact and has no source."""
    if not isinstance(number, Number):
        return number
    names = ("value", "sd", "low", "high", "source")
    parts = {n: getattr(number, n) for n in names if getattr(number, n) is not None}
    return parts["value"] if set(parts) == {"value"} else parts


class Model(BaseModel):
    """Base of what people edit: nothing is converted, nothing unknown passes, nothing changes."""

    model_config = ConfigDict(
        strict=True,
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        arbitrary_types_allowed=True,
    )

    def replace(self, **changes: Any) -> Self:
        """Give a copy with some fields changed, checked like a file.

        Raises
        ------
        InputError
            As for a file.
        """
        fields = type(self).model_fields
        values = {fields[name].alias or name: value for name, value in self}
        return build(type(self), values | changes)


def plain(model: Model) -> dict[str, Any]:
    """Give a model as a file would hold it: plain values, absent keys left out."""
    return model.model_dump(mode="python", exclude_none=True, by_alias=True)


def revision(model: Model) -> str:
    """Give the first 12 hex digits of the SHA-256 of the model's canonical JSON."""
    text = json.dumps(plain(model), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def numbers_of(model: Model, prefix: str = "") -> Iterator[tuple[str, Number, Quantity]]:
    """Yield dotted key, number and quantity of every number that may be uncertain."""
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if isinstance(value, Number):
            yield prefix + name, value, next(m for m in info.metadata if isinstance(m, Quantity))
        elif isinstance(value, Model):
            yield from numbers_of(value, f"{prefix}{name}.")
        elif isinstance(value, tuple):
            for i, item in enumerate(value, start=1):
                if isinstance(item, Model):
                    yield from numbers_of(item, f"{prefix}{name}.{i}.")


# ---------------------------------------------------------------- the keys of a model


@dataclass(frozen=True)
class Entry:
    """One key of a file: where it stands, what it holds, what it means."""

    path: str
    about: Quantity | Word
    kind: Any
    required: bool
    model: type[Model] | None
    many: bool


@cache
def catalogue(kind: type[Model], prefix: str = "") -> dict[str, Entry]:
    """Give every key of a model and of its parts, by dotted path, in the order of the fields."""
    found: dict[str, Entry] = {}
    for name, info in kind.model_fields.items():
        about = next((m for m in info.metadata if isinstance(m, Quantity | Word)), Word(""))
        key = info.alias or name
        inner = [one for one in _flat(info.annotation) if isinstance(one, type)]
        part = next((one for one in inner if issubclass(one, Model)), None)
        entry = Entry(
            prefix + key,
            about,
            info.annotation,
            info.is_required(),
            part,
            tuple in inner or "tuple[" in str(info.annotation),
        )
        found[entry.path] = entry
        if part is not None:
            found |= catalogue(part, entry.path + ".")
    return found


def _flat(annotation: Any) -> Iterator[Any]:
    yield annotation
    for inner in get_args(annotation):
        yield from _flat(inner)


# ---------------------------------------------------------------- from pydantic to InputError


def build(
    kind: type[M],
    data: Mapping[str, Any],
    *,
    file: str | None = None,
    line_of: Lines | None = None,
) -> M:
    """Make a model from plain values.

    Parameters
    ----------
    kind : type of Model
    data : mapping
        As read from a file.
    file : str, optional
        Named in the error.
    line_of : callable, optional
        Gives the line of a path of keys.

    Raises
    ------
    InputError
        With every problem in the message, and the first one in the fields.
    """
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        found = error.errors(include_url=False)
    problems = [_problem(kind, one, line_of) for one in found]
    # A key in a wrong unit explains the one that is missing: it goes first.
    problems.sort(key=lambda p: p["code"] != "unknown_key")
    first = problems[0]
    message = str(first["message"])
    if len(problems) > 1:
        message = "\n".join([f"{len(problems)} things are wrong.", *map(_listed, problems)])
    raise InputError(message, file=file, **{k: v for k, v in first.items() if k != "message"})


def _listed(problem: Mapping[str, Any]) -> str:
    line = f"line {problem['line']}: " if problem["line"] else ""
    return f"- {line}{problem['key']}: {problem['message']} {problem['hint']}".rstrip()


def _problem(kind: type[Model], one: ErrorDetails, line_of: Lines | None) -> dict[str, Any]:
    context: dict[str, Any] = one.get("ctx", {})
    loc = tuple(one["loc"])
    if one["type"] == REFUSED:
        if context["key"]:
            loc += tuple(str(context["key"]).split("."))
        told = {k: context[k] for k in ("code", "value", "allowed", "unit", "hint")}
        told["message"] = context["text"]
    else:
        told = _pydantic_problem(kind, one, loc)
    told["key"] = ".".join(str(p + 1) if isinstance(p, int) else p for p in loc) or "file"
    told["line"] = line_of(loc) if line_of else None
    if isinstance(told["value"], dict | list | tuple | Model):
        told["value"] = _short(told["value"])
    return told


def _pydantic_problem(
    kind: type[Model], one: ErrorDetails, loc: tuple[str | int, ...]
) -> dict[str, Any]:
    path = ".".join(p for p in loc if isinstance(p, str))
    keys = catalogue(kind)
    entry = keys.get(path)
    unit = entry.about.unit if entry else ""
    if one["type"] == "extra_forbidden":
        return _unknown_key(keys, path, one["input"])
    if one["type"] == "missing":
        about = entry.about if entry else Word("")
        return {
            "code": "missing_key",
            "value": None,
            "unit": unit,
            "message": f"The key {path} is missing.",
            "allowed": about.allowed or "a value",
            "hint": f"It is: {about.meaning}."
            + (f" Find it: {about.measure}." if about.measure else ""),
        }
    allowed = one.get("ctx", {}).get("expected") or {
        "bool_type": "true or false",
        "string_type": "text in quotes",
        "tuple_type": "tables, each under [[...]]",
        "model_type": "a table of keys",
        "string_pattern_mismatch": "lower-case words of letters and digits joined by hyphens",
        "string_too_short": "some text",
        "string_too_long": "shorter text",
    }.get(one["type"], "see the reference of the keys")
    return {
        "code": "wrong_type" if one["type"].endswith("_type") else "not_allowed",
        "value": one["input"],
        "unit": unit,
        "allowed": str(allowed),
        "message": "This is not allowed here.",
        "hint": entry.about.meaning + "." if entry and entry.about.meaning else "Correct it.",
    }


def _unknown_key(keys: Mapping[str, Entry], path: str, found: object) -> dict[str, Any]:
    table, _, name = path.rpartition(".")
    depth = path.count(".")
    within = f"{table}." if table else ""
    beside = [k[len(within) :] for k in keys if k.startswith(within) and k.count(".") == depth]
    return {
        "code": "unknown_key",
        "value": found,
        "unit": "",
        "allowed": ", ".join(beside) or "none",
        "message": f"There is no key {name!r} here.",
        "hint": key_hint(keys, path, beside),
    }


_POUND_KG, _FOOT_M, _INCH_M = 0.45359237, 0.3048, 0.0254  # exact, 1959 yard and pound agreement
_UNITS: Final = {
    "lb": ("kg", _POUND_KG),
    "lbs": ("kg", _POUND_KG),
    "t": ("kg", 1000.0),
    "g": ("kg", 1e-3),
    "in": ("m", _INCH_M),
    "ft": ("m", _FOOT_M),
    "cm": ("m", 1e-2),
    "mm": ("m", 1e-3),
    "hp": ("W", 745.69987),
    "kW": ("W", 1000.0),
    "percent": ("frac", 1e-2),
    "pct": ("frac", 1e-2),
    "psi": ("bar", 0.0689476),
    "kN": ("N", 1000.0),
    "mph": ("kmh", 1.609344),
    "m": ("mm", 1000.0),
    "cm2": ("mm2", 100.0),
    "m2": ("mm2", 1e6),
}


def key_hint(keys: Mapping[str, Entry], path: str, beside: list[str]) -> str:
    """Give the hint for an unknown key: another unit, another table, or a near name."""
    name = path.rpartition(".")[2]
    stem, _, suffix = name.rpartition("_")
    twin = next((k for k in beside if stem and k.rpartition("_")[0] == stem), None)
    unit, factor = _UNITS.get(suffix, ("", 0.0))
    if twin and unit and twin.endswith("_" + unit):
        return f"Wrong unit: write {twin} = (value x {factor:g})."
    if twin:
        return f"Did you mean {twin}?"
    elsewhere = next((k for k in keys if k.rpartition(".")[2] == name), None)
    if elsewhere:
        return f"The key {elsewhere} exists: it stands under another table."
    return _near(name, beside)


def _near(name: str, known: tuple[str, ...] | list[str]) -> str:
    close = difflib.get_close_matches(name, known, n=1)
    return f"Did you mean {close[0]}?" if close else "Remove it, or look up the keys."


def _short(value: object) -> str:
    text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
