"""Templates of pages for a browser: what is put in is escaped, nothing may be left out."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, Final

TEMPLATES: Final = Path(__file__).with_name("templates")


@cache
def html_template(name: str) -> Any:
    """The page template of that name; an unknown name in it is an error."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    house = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return house.get_template(f"{name}.html")
