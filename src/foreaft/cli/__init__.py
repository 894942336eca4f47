"""The command line: a thin face over :mod:`foreaft.jobs` that computes nothing."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

from foreaft.base.errors import ForeaftError
from foreaft.cli.parser import make_parser

INTERRUPTED = 130
BUG = 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code (docs/reference/command-line.md)."""
    asked = make_parser().parse_args(arguments)
    wants_json = bool(getattr(asked, "json", False))
    try:
        return run(asked)
    except ForeaftError as error:
        _tell(error, wants_json)
        return error.exit_code
    except KeyboardInterrupt:
        print("\nStopped. Nothing was written.", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # whoever read our output has gone; keep the interpreter from complaining at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception:
        return _bug(traceback.format_exc())


def run(asked: object) -> int:
    """Hand the parsed command to its function; loaded now, so that help stays quick."""
    from foreaft.cli import commands

    name = str(getattr(asked, "command", ""))
    return int(getattr(commands, name)(asked))


def _tell(error: ForeaftError, wants_json: bool) -> None:
    if wants_json:
        import json

        print(json.dumps(error.as_dict(), indent=2, ensure_ascii=False))
    print(f"foreaft: {error}", file=sys.stderr)


def _bug(text: str) -> int:
    """Keep the report of a mistake of ours where the user can find it, and say so."""
    import tempfile

    handle, name = tempfile.mkstemp(prefix="foreaft-report-", suffix=".txt")
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        stream.write(" ".join(sys.argv) + "\n\n" + text)
    print(
        "foreaft: this is a mistake in the program, not in your files. Nothing of yours was "
        f"changed.\nA report lies in {Path(name)}; please send it to the maintainers.",
        file=sys.stderr,
    )
    return BUG
