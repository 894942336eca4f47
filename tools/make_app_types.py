"""Write the types of every request and answer as one OpenAPI document, for the app's build.

`openapi-typescript` makes TypeScript of it, so that a page cannot read a field no job answers.
Usage: python tools/make_app_types.py TARGET.json
"""

from __future__ import annotations

import inspect
import json
import sys
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

import foreaft.model
from foreaft.jobs import requests
from foreaft.model.answers import Answer


def answers() -> list[type[BaseModel]]:
    """Every answer of every job, by the modules they stand in."""
    found: list[type[BaseModel]] = []
    for module in iter_modules(foreaft.model.__path__, "foreaft.model."):
        if ".answers" in module.name:
            found += _models(import_module(module.name), Answer)
    return found


def _models(module: Any, base: type[BaseModel]) -> list[type[BaseModel]]:
    """The models a module defines itself; generic ones have no schema of their own."""
    return [
        one
        for _, one in inspect.getmembers(module, inspect.isclass)
        if issubclass(one, base)
        and one.__module__ == module.__name__
        and not one.__pydantic_generic_metadata__["parameters"]
    ]


def document() -> dict[str, Any]:
    """Give an OpenAPI document with schemas only."""
    asked = [(one, "validation") for one in _models(requests, requests.Request)]
    given = [(one, "serialization") for one in answers()]
    _, schema = models_json_schema(
        [*asked, *given],  # type: ignore[list-item]
        ref_template="#/components/schemas/{model}",
    )
    return {
        "openapi": "3.1.0",
        "info": {"title": "Foreaft", "version": "1"},
        "paths": {},
        "components": {"schemas": schema["$defs"]},
    }


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(json.dumps(document(), indent=1) + "\n", "utf-8")
