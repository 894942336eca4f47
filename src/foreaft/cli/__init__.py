"""The command line: a thin face over :mod:`foreaft.jobs` that computes nothing."""

from __future__ import annotations

import os
import sys
import threading
import traceback
from collections.abc import Sequence
from io import TextIOWrapper
from pathlib import Path

from foreaft.base.errors import (
    Cancelled,
    ForeaftError,
    InputError,
    MissingPart,
    system_refused,
)
from foreaft.cli.interrupt import kept
from foreaft.cli.parser import make_parser

BUG = 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code (docs/reference/command-line.md)."""
    typed = list(sys.argv[1:] if arguments is None else arguments)
    wants_json = "--json" in typed
    _use_utf8(wants_json)
    with kept() as swallowed:
        return _run_and_tell(typed, wants_json, swallowed)


def _run_and_tell(typed: list[str], wants_json: bool, swallowed: threading.Event) -> int:
    try:
        _refuse_bytes(typed)
        code = run(make_parser().parse_args(typed))
        sys.stdout.flush()  # a full disk or a reader that has gone shows only now
        return code
    except ForeaftError as error:
        return _tell(error, wants_json)
    except KeyboardInterrupt:
        return _tell(Cancelled(), wants_json)
    except BrokenPipeError:
        _drop_output()  # whoever read our output has gone
        return 0
    except OSError as error:
        return _tell(_system_said(error), wants_json)
    except ModuleNotFoundError as error:
        if str(error.name).partition(".")[0] == "foreaft":
            return _bug(traceback.format_exc())
        return _tell(_not_installed(error), wants_json)
    except Exception as error:
        if swallowed.is_set() or _interrupted(error):
            return _tell(Cancelled(), wants_json)
        return _bug(traceback.format_exc())


def _interrupted(error: BaseException) -> bool:
    """Whether Ctrl-C stands behind an error: a library being loaded turns it into its own."""
    cause: BaseException | None = error
    for _ in range(10):
        if cause is None or isinstance(cause, KeyboardInterrupt):
            break
        cause = cause.__cause__ or cause.__context__
    return isinstance(cause, KeyboardInterrupt)


def run(asked: object) -> int:
    """Hand the parsed command to its function; loaded now, so that help stays quick."""
    from foreaft.cli import commands

    name = str(getattr(asked, "command", ""))
    return int(getattr(commands, name)(asked))


def _tell(error: ForeaftError, wants_json: bool) -> int:
    """Say an error in words, and to machines as the error object; give its exit code."""
    print(f"foreaft: {error}", file=sys.stderr)
    if wants_json:
        import json

        try:
            print(json.dumps(error.as_dict(), indent=2, ensure_ascii=False), flush=True)
        except OSError:
            _drop_output()
    return error.exit_code


def _refuse_bytes(typed: Sequence[str]) -> None:
    """Refuse a name that is no text: it could stand in no answer."""
    for word in typed:
        shown = word.encode("utf-8", "backslashreplace").decode()
        if shown != word:
            raise InputError(
                "A word of the command line holds bytes that are not text.",
                code="command_line",
                key="file",
                value=shown,
                allowed="names in UTF-8",
                unit="",
                hint="Rename the file or the folder.",
            )


def _use_utf8(wants_json: bool) -> None:
    """JSON is UTF-8 wherever it goes; what is read by people may lose a letter, never the rest."""
    if isinstance(sys.stdout, TextIOWrapper):
        encoding = "utf-8" if wants_json else None
        sys.stdout.reconfigure(encoding=encoding, errors="replace")


def _drop_output() -> None:
    """Keep the interpreter from trying once more, and complaining, at its exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _system_said(error: OSError) -> InputError:
    if error.filename is None:
        _drop_output()  # it was the output that failed
    return system_refused(error, "files that can be read, and an output that can be written")


def _not_installed(error: ModuleNotFoundError) -> MissingPart:
    return MissingPart(
        f"A part is missing: {error.name} is not installed.",
        hint="Run the set-up again (make demo), or pip install foreaft.",
    )


def _bug(text: str) -> int:
    """Keep the report of a mistake of ours where the user can find it, and say so."""
    import tempfile

    handle, name = tempfile.mkstemp(prefix="foreaft-report-", suffix=".txt")
    with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as stream:
        stream.write(" ".join(sys.argv) + "\n\n" + text)
    print(
        "foreaft: this is a mistake in the program, not in your files. Nothing of yours was "
        f"changed.\nA report lies in {Path(name)}; please send it to the maintainers.",
        file=sys.stderr,
    )
    return BUG
