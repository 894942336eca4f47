"""How slow this machine is just now, as the benchmarks judge it too."""

from __future__ import annotations

from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

_FILE = Path(__file__).resolve().parents[1] / "benchmarks" / "machine.py"


def slowness() -> float:
    """Times slower than a quiet machine; 1 where it is as fast or faster."""
    spec = spec_from_file_location("benchmarks_machine", _FILE)
    assert spec is not None
    assert spec.loader is not None
    found = module_from_spec(spec)
    spec.loader.exec_module(found)
    return float(found.slowness())
