"""One function per use case: a typed request in, a typed answer out. This is the public Python API.

The command line and whatever else may stand in front compute nothing.
Names are imported on first use, so that ``import foreaft.jobs`` loads no compiler.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any, Final

_WHERE: Final = {
    "plan": "plan",
    "stop": "stop",
    "ideal": "ideal_share",
    "zones": "zones",
    "advise": "advise",
    "check": "check",
    "new": "new",
    "demo": "demo",
    "doctor": "doctor",
}

__all__ = ["advise", "check", "demo", "doctor", "ideal", "new", "plan", "stop", "zones"]


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(name)
    return getattr(import_module(f"foreaft.jobs.{_WHERE[name]}"), name)
