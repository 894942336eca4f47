"""Every error that is meant for the user.

::

    ForeaftError           exit code 1   base; raised only through a subclass
    |-- InputError                   2   a file, an option or a value is wrong
    |-- MissingPart                  3   something that has to be installed is not
    |-- CannotTell                   4   what is known does not decide the question
    |-- NoPlan                       5   no plan meets the limits set
    `-- Cancelled                  130   the user stopped the work

Any other exception that reaches the command line is a bug, and exits with 1.
``as_dict`` gives the machine's form of an error, ``str`` the human's, in one to three lines.
"""

from __future__ import annotations

from math import isfinite
from pathlib import Path
from typing import ClassVar

SCHEMA = "foreaft.error/1"

Plain = str | int | float | bool | None
"""What an error carries as a value: something JSON can hold."""


class ForeaftError(Exception):
    """Base of all errors that are meant for the user.

    Parameters
    ----------
    message : str
        One sentence saying what is wrong.
    code : str
        Stable word for machines, such as ``unknown_key``.
    hint : str
        What the user can do about it.
    """

    exit_code: ClassVar[int] = 1

    def __init__(self, message: str, *, code: str, hint: str) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.hint = hint

    def as_dict(self) -> dict[str, Plain]:
        """Give the error as the object of schema ``foreaft.error/1``; ``None`` where unknown."""
        return {
            "schema": SCHEMA,
            "code": self.code,
            "message": self.message,
            "file": None,
            "line": None,
            "key": None,
            "value": None,
            "allowed": None,
            "unit": None,
            "hint": self.hint,
        }

    def __str__(self) -> str:
        return f"{self.message}\nhint: {self.hint}" if self.hint else self.message

    def __reduce__(self) -> tuple[object, ...]:
        """Survive the way back from another process, keyword-only arguments included."""
        return _rebuild, (type(self), self.args, self.__dict__)


class InputError(ForeaftError):
    """A file, an option or a value is wrong; nothing was repaired and nothing written.

    Parameters
    ----------
    message : str
        One sentence saying what is wrong.
    code : str
        Stable word for machines, such as ``out_of_range``.
    file : path or str, optional
        The file at fault.
    line : int, optional
        Its line, counted from 1.
    key : str, optional
        The key, column or option at fault, such as ``tyre.mu_x``.
    value : optional
        What was found there; anything but text, a number or a truth value is shown as text.
    allowed : str, optional
        What would have been accepted, such as ``0.2 to 2.5``.
    unit : str, optional
        The unit of value and range.
    hint : str
        What the user can do about it.
    """

    exit_code = 2

    def __init__(
        self,
        message: str,
        *,
        code: str,
        file: Path | str | None = None,
        line: int | None = None,
        key: str | None = None,
        value: object = None,
        allowed: str | None = None,
        unit: str | None = None,
        hint: str,
    ) -> None:
        super().__init__(message, code=code, hint=hint)
        self.file = None if file is None else str(file)
        self.line = line
        self.key = key
        self.value = _plain(value)
        self.allowed = allowed
        self.unit = unit

    def as_dict(self) -> dict[str, Plain]:
        """Give the error as the object of schema ``foreaft.error/1``; ``None`` where unknown."""
        return super().as_dict() | {
            "file": self.file,
            "line": self.line,
            "key": self.key,
            "value": self.value,
            "allowed": self.allowed,
            "unit": self.unit,
        }

    def __str__(self) -> str:
        where = self.file or ""
        if self.line is not None:
            where = f"{where}:{self.line}" if where else f"line {self.line}"
        head = f"{where}: {self.message}" if where else self.message
        lines = [head, self._details(), f"hint: {self.hint}" if self.hint else ""]
        return "\n".join(line for line in lines if line)

    def _details(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        found = "" if self.value is None else f"{_shown(self.value)}{unit}"
        if self.key:
            found = f"{self.key} = {found}" if found else self.key
        allowed = f"allowed: {self.allowed}{unit}" if self.allowed else ""
        return "; ".join(part for part in (found, allowed) if part)


class CannotTell(ForeaftError):
    """What is known does not decide the question.

    Parameters
    ----------
    what : str
        What cannot be told.
    because : str
        Why not.
    would_settle : str
        The question or the test that would settle it.
    """

    exit_code = 4

    def __init__(self, what: str, because: str, would_settle: str) -> None:
        message = f"Cannot tell {what}: {because}"
        super().__init__(message, code="cannot_tell", hint=would_settle)
        self.what = what
        self.because = because
        self.would_settle = would_settle


class NoPlan(ForeaftError):
    """No plan meets the limits set."""

    exit_code = 5

    def __init__(self, message: str, *, code: str = "no_plan", hint: str) -> None:
        super().__init__(message, code=code, hint=hint)


class MissingPart(ForeaftError):
    """Something that has to be installed is not."""

    exit_code = 3

    def __init__(self, message: str, *, code: str = "missing_part", hint: str) -> None:
        super().__init__(message, code=code, hint=hint)


class Cancelled(ForeaftError):
    """The user stopped the work; nothing was written."""

    exit_code = 130

    def __init__(self, message: str = "Stopped; nothing was written.") -> None:
        super().__init__(message, code="cancelled", hint="")


def system_refused(error: OSError, allowed: str) -> InputError:
    """What the system said of a file or an output, for the user."""
    return InputError(
        f"The system refuses: {error.strerror or error}.",
        code="system_refused",
        file=error.filename,
        key="file",
        value=error.strerror or str(error),
        allowed=allowed,
        unit="",
        hint="Is the disk full, or was a file moved meanwhile?",
    )


def _rebuild(
    kind: type[ForeaftError], args: tuple[object, ...], state: dict[str, object]
) -> ForeaftError:
    error = kind.__new__(kind, *args)
    error.__dict__.update(state)
    return error


def _plain(value: object) -> Plain:
    if isinstance(value, float) and not isfinite(value):
        return str(value)  # JSON has no NaN and no infinity
    if value is None or isinstance(value, str | bool | int | float):
        return value
    return str(value)


def _shown(value: Plain) -> str:
    return repr(value) if isinstance(value, str) else str(value)
