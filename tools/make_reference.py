"""Write the pages and schemas of docs/reference that follow from the code.

A test fails where one of them is not fresh.
Usage: python tools/make_reference.py
"""

from __future__ import annotations

import argparse
import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from foreaft.base import errors
from foreaft.cli.parser import CAUTION, make_parser
from foreaft.jobs import requests
from foreaft.model import (
    answers,
    answers_debrief,
    answers_learn,
    answers_record,
    answers_show,
    answers_trial,
)

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src" / "foreaft"
REFERENCE = ROOT / "docs" / "reference"

NOTE = "Made from the code by `tools/make_reference.py`; do not edit by hand.\n"

EXITS = [
    (0, "done"),
    (1, "a mistake of ours; the message says where the report lies"),
    (2, "a file, an option or a value is wrong"),
    (3, "something that has to be installed is not"),
    (4, "what is known does not decide the question"),
    (5, "no plan meets the limits set"),
    (130, "stopped by the user"),
]

# What each job answers, and what it is asked for where that is a type of its own.
JOBS: dict[str, tuple[type[answers.Answer], type[requests.Request] | None]] = {
    "plan": (answers.Plan, requests.PlanRequest),
    "stop": (answers.Stop, requests.StopRequest),
    "ideal": (answers.Ideal, requests.IdealRequest),
    "limit": (answers.Limit, requests.LimitRequest),
    "show": (answers_show.Show, requests.ShowRequest),
    "zones": (answers.Zones, requests.ZonesRequest),
    "read": (answers.ReadLog, requests.ReadRequest),
    "record": (answers_record.Record, requests.RecordRequest),
    "debrief": (answers_debrief.Debrief, requests.DebriefRequest),
    "learn": (answers_learn.Learn, requests.LearnRequest),
    "advise": (answers.Advice, requests.AdviseRequest),
    "trial": (answers_trial.Trial, requests.TrialRequest),
    "history": (answers.Report, None),
    "check": (answers.Report, None),
    "new": (answers.Report, None),
    "classes": (answers.Report, None),
    "doctor": (answers.Report, None),
}


# ---------------------------------------------------------------- command line


def commands(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """Give the commands of a parser by name; parts of a command by both, as ``trial design``."""
    found: dict[str, argparse.ArgumentParser] = {}
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, one in action.choices.items():
                parts = commands(one)
                found |= {f"{name} {part}": inner for part, inner in parts.items()} or {name: one}
    return found


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def _takes(action: argparse.Action) -> str:
    if action.nargs == 0:
        return ""
    if action.choices is not None:
        return ", ".join(f"`{one}`" for one in action.choices)
    kind = {float: "number", int: "whole number", Path: "file"}.get(action.type, "text")  # type: ignore[call-overload]
    if action.metavar in ("FOLDER", "FILE.svg", "FILE.csv", "SETTING", "SECONDS", "RATE"):
        kind = str(action.metavar).lower()
    if isinstance(action.metavar, tuple):
        kind = " ".join(action.metavar).lower()
    return f"{kind}, one or more" if action.nargs == "+" else kind


def _option_row(action: argparse.Action, in_a_choice: set[str]) -> str:
    name = ", ".join(f"`{one}`" for one in action.option_strings) or f"`{action.dest.upper()}`"
    must = action.required and action.nargs != 0
    mark = "*" if must else ""
    if action.dest in in_a_choice:
        mark = "+"
    return f"| {name}{mark} | {_takes(action)} | {_cell(action.help or '')} |"


def command_section(name: str, parser: argparse.ArgumentParser) -> list[str]:
    """Give the section of one command."""
    choice = {
        action.dest
        for group in parser._mutually_exclusive_groups
        if group.required
        for action in group._group_actions
    }
    shown = [a for a in parser._actions if a.dest != "help"]
    examples = (parser.epilog or "").removeprefix("examples:\n")
    lines = [f"## {name}", "", parser.description or "", ""]
    lines += ["```console"]
    for line in examples.splitlines():
        text = line.removeprefix("  ")
        lines.append(f"$ {text}" if text.startswith("foreaft") else text)
    lines += ["```", "", "| option | takes | what it does |", "|---|---|---|"]
    lines += [_option_row(action, choice) for action in shown]
    return [*lines, ""]


def command_page() -> str:
    """Give docs/reference/command-line.md."""
    parser = make_parser()
    out = ["# Command line", "", NOTE]
    out += [
        f"{parser.description}",
        *re.split(r"(?<=\.) ", CAUTION),
        "",
        "Every command has `--help`, with examples, and `--json`.",
        "With `--json` the answer alone goes to standard output; see [JSON](json.md).",
        "Progress and errors go to standard error.",
        "",
        "An option marked * must be given; of those marked + exactly one.",
        "What stands in brackets is taken where the option is left out.",
        "",
        "## Exit codes",
        "",
        "| code | meaning |",
        "|---|---|",
    ]
    out += [f"| {code} | {meaning} |" for code, meaning in EXITS]
    out += ["", "The words for machines that come with an error: [errors](errors.md).", ""]
    out += [
        "## Environment",
        "",
        "| variable | what it is |",
        "|---|---|",
        "| `FOREAFT_DATA` | folder for the history of `advise`; else the user's data folder |",
        "| `FOREAFT_CACHE` | folder for compiled kernels; else the user's cache folder |",
        "",
        "`foreaft doctor` says where both are.",
        "",
    ]
    for name, one in commands(parser).items():
        out += command_section(name, one)
    return "\n".join(out).rstrip() + "\n"


# ---------------------------------------------------------------- error codes


def _constants(node: ast.expr) -> list[str]:
    """Words an expression may be: a word, or one of two."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.IfExp):
        return _constants(node.body) + _constants(node.orelse)
    return []


def _message(node: ast.expr | None) -> str:
    """A message as text, with an ellipsis for what is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            str(part.value) if isinstance(part, ast.Constant) else "..." for part in node.values
        )
    return ""


def _called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def _helpers(tree: ast.Module) -> dict[str, list[str]]:
    """Give the parameters of the functions of a module that take a code."""
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            names = [arg.arg for arg in (*node.args.posonlyargs, *node.args.args)]
            if "code" in names:
                found[node.name] = names
    return found


def _arguments(node: ast.Call, helpers: dict[str, list[str]]) -> dict[str | None, ast.expr]:
    """Give the arguments of a call by name, as far as the names are known."""
    named = {word.arg: word.value for word in node.keywords}
    positional = zip(helpers.get(_called(node), []), node.args, strict=False)
    return dict(positional) | named


def _codes_of_call(
    node: ast.Call, helpers: dict[str, list[str]]
) -> tuple[list[str], ast.expr | None]:
    """Codes a call carries, and its message."""
    named = _arguments(node, helpers)
    first = node.args[0] if node.args else None
    called = _called(node)
    if called == "warn" and node.args:
        return _constants(node.args[0]), node.args[1] if len(node.args) > 1 else None
    if called == "CannotTell":
        said = ast.Constant("Cannot tell ...: what is known does not decide it.")
        return ["cannot_tell"], said
    if called == "Cancelled":
        return ["cancelled"], ast.Constant("Stopped; nothing was written.")
    if called == "NoPlan" and "code" not in named:
        return ["no_plan"], first
    if called == "refuse" and "code" not in named:
        return ["out_of_range"], first
    if "code" in named:
        said = named.get("text") or named.get("message") or named.get("found") or first
        return _constants(named["code"]), said
    return [], None


def _codes_of_dict(node: ast.Dict) -> tuple[list[str], ast.expr | None]:
    by_key = {_message(key): value for key, value in zip(node.keys, node.values, strict=True)}
    if "code" not in by_key:
        return [], None
    return _constants(by_key["code"]), by_key.get("message")


EXIT_OF = {
    one.__name__: one.exit_code
    for one in (errors.CannotTell, errors.NoPlan, errors.MissingPart, errors.Cancelled)
} | {"warn": 0, "Warn": 0}


def error_uses() -> Iterator[tuple[str, int, str, str]]:
    """Yield code, exit code (0: a warning), module and message of every place in the source."""
    for file in sorted(SOURCE.rglob("*.py")):
        where = ".".join(file.relative_to(SOURCE).with_suffix("").parts)
        tree = ast.parse(file.read_text("utf-8"))
        helpers = _helpers(tree)
        for node in ast.walk(tree):
            codes: list[str] = []
            exit_code, message = 2, None
            if isinstance(node, ast.Call):
                codes, message = _codes_of_call(node, helpers)
                exit_code = EXIT_OF.get(_called(node), 2)
                if _called(node) == "__init__":
                    continue
            elif isinstance(node, ast.Dict):
                codes, message = _codes_of_dict(node)
            for code in codes:
                yield code, exit_code, where, _cell(_message(message))


def _table(rows: dict[str, tuple[set[int], set[str], list[str]]]) -> list[str]:
    out = ["| code | exit | where | what |", "|---|---|---|---|"]
    for code, (exits, places, messages) in sorted(rows.items()):
        said = " / ".join(messages[:3]) + (" / and others" if len(messages) > 3 else "")
        exit_ = ", ".join(str(one) for one in sorted(exits))
        at = ", ".join(f"`{place}`" for place in sorted(places))
        out.append(f"| `{code}` | {exit_} | {at} | {said} |")
    return out


def error_page() -> str:
    """Give docs/reference/errors.md."""
    wrong: dict[str, tuple[set[int], set[str], list[str]]] = {}
    noted: dict[str, tuple[set[int], set[str], list[str]]] = {}
    for code, exit_code, where, message in error_uses():
        exits, places, messages = (wrong if exit_code else noted).setdefault(
            code, (set(), set(), [])
        )
        exits.add(exit_code)
        places.add(where)
        if message and message not in messages:
            messages.append(message)
    out = ["# Errors and warnings", "", NOTE]
    out += [
        "An error ends the command; nothing was repaired, and nothing was written.",
        "With `--json` it is printed as `foreaft.error/1`, see [JSON](json.md).",
        "",
        "## Errors",
        "",
        *_table(wrong),
        "",
        "## Warnings",
        "",
        "A warning stands in the answer, beside the result.",
        "",
        *(
            line.replace("| exit ", "").replace("|---|---|---|---|", "|---|---|---|")
            for line in (re.sub(r"^(\| `[a-z_]+` )\| 0 ", r"\1", row) for row in _table(noted))
        ),
    ]
    return "\n".join(out).rstrip() + "\n"


# ---------------------------------------------------------------- schemas


def answer_schema(job: str, result: type[answers.Answer]) -> dict[str, Any]:
    """Give the JSON Schema of one job's answer."""
    kind: Any = answers.Envelope[result]  # type: ignore[valid-type]
    schema: dict[str, Any] = kind.model_json_schema(mode="serialization")
    schema["properties"]["schema"] = {"const": f"foreaft.{job}/1", "title": "Schema"}
    schema["title"] = f"foreaft.{job}/1"
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema


def request_schema(job: str, request: type[requests.Request]) -> dict[str, Any]:
    """Give the JSON Schema of one job's request."""
    schema: dict[str, Any] = request.model_json_schema()
    schema["title"] = f"foreaft.{job} request"
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema


def error_schema() -> dict[str, Any]:
    """Give the JSON Schema of an error."""
    text, maybe = {"type": "string"}, {"type": ["string", "null"]}
    value = {"type": ["string", "number", "boolean", "null"]}
    properties: dict[str, Any] = {
        "schema": {"const": errors.SCHEMA},
        "code": text,
        "message": text,
        "file": maybe,
        "line": {"type": ["integer", "null"], "minimum": 1},
        "key": maybe,
        "value": value,
        "allowed": maybe,
        "unit": maybe,
        "hint": text,
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": errors.SCHEMA,
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def schemas() -> dict[str, dict[str, Any]]:
    """Give all schemas by file name."""
    made = {"error.schema.json": error_schema()}
    for job, (result, request) in JOBS.items():
        made[f"{job}.schema.json"] = answer_schema(job, result)
        if request is not None:
            made[f"{job}.request.schema.json"] = request_schema(job, request)
    return made


def pages() -> dict[Path, str]:
    """Give every file this writes, with its text."""
    made = {
        REFERENCE / "command-line.md": command_page(),
        REFERENCE / "errors.md": error_page(),
    }
    for name, schema in schemas().items():
        made[REFERENCE / "schemas" / name] = json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
    return made


if __name__ == "__main__":
    for path, text in pages().items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
