"""Write docs/reference/car-keys.md from the models; a test fails where the page is not fresh.

Usage: python tools/make_car_keys.py
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal, get_args, get_origin

from foreaft.model.car import DEFAULTS, Car
from foreaft.model.conditions import Conditions
from foreaft.model.driver import Driver
from foreaft.model.fields import Entry, Model, Quantity, catalogue
from foreaft.model.zone import SheetRow, ZoneMark

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "car-keys.md"

HEAD = """# Keys of the files people edit

Made from the models by `tools/make_car_keys.py`; do not edit by hand.

Limits are what is physically possible; outside them a file is refused.
"Usual" is common practice, no source.
A key marked * must be there (within its table).
A number marked ~ may be a value, `{ value, sd }` or `{ low, high }`, each with a `source`.
"""

PARTS: list[tuple[str, type[Model]]] = [
    ("Car (`foreaft.car/1`)", Car),
    ("Driver (`foreaft.driver/1`)", Driver),
    ("Conditions (`foreaft.conditions/1`)", Conditions),
    ("Columns of a zone sheet", SheetRow),
    ("Columns of a circuit's zones.csv", ZoneMark),
]


def words(kind: object) -> str:
    """Give the words a key may hold, or its plain type."""
    for one in (kind, *get_args(kind)):
        if get_origin(one) is Literal:
            return ", ".join(f"`{word}`" for word in get_args(one))
    return {"bool": "true or false"}.get(getattr(kind, "__name__", ""), "text")


def row(path: str, entry: Entry) -> str:
    """Give a key's line of the table."""
    about, mark = entry.about, "*" if entry.required else ""
    if isinstance(about, Quantity):
        mark += "~" if "Number" in str(entry.kind) else ""
        limits, unit, usual = about.allowed, about.unit, about.typical
    else:
        limits, unit, usual = words(entry.kind), "", ""
    default = DEFAULTS.get(path)
    if default is not None:
        usual = f"{usual}; assumed if absent: {default.low:g} to {default.high:g}"
    meaning = about.meaning + (f". How: {about.measure}" if about.measure else "")
    return f"| `{path}`{mark} | {unit} | {limits} | {usual} | {meaning} |"


def page() -> str:
    """Give the text of the page."""
    out = [HEAD]
    for title, model in PARTS:
        out += [
            f"## {title}",
            "",
            "| key | unit | allowed | usual | what it is |",
            "|---|---|---|---|---|",
        ]
        keys = catalogue(model)
        out += [
            row(path, entry)
            for path, entry in keys.items()
            if entry.model is None and not path.startswith(("tyre.front.", "tyre.rear."))
        ]
        if model is Car:
            out += [
                "",
                "`[tyre.front]` and `[tyre.rear]` have the keys of `[tyre]`, but for "
                "`rear_grip_frac`.",
            ]
        out.append("")
    return "\n".join(out)


if __name__ == "__main__":
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page(), "utf-8")
