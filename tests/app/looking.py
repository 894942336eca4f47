"""Looking at a page as those do who cannot see it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

AXE = Path(__file__).resolve().parents[2] / "app" / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def violations(page: Any) -> list[str]:
    """What axe-core finds against WCAG 2.2 A and AA, one line each."""
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate("(tags) => axe.run({runOnly: tags}).then((r) => r.violations)", RULES)
    return [
        f"{one['id']}: {one['help']} at {node['target']}" for one in found for node in one["nodes"]
    ]
