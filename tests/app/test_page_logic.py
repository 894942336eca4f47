"""The pages' own tests: what they do with what a user types, without a browser."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

APP = Path(__file__).resolve().parents[2] / "app"
NODE = Path(sys.executable).with_name("node")
VITEST = APP / "node_modules" / "vitest" / "vitest.mjs"


@pytest.mark.slow
def test_page_logic() -> None:
    if not (NODE.exists() and VITEST.exists()):
        pytest.skip("the app's packages are not installed (make app)")
    run = subprocess.run(
        [str(NODE), str(VITEST), "run"],
        cwd=APP,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert run.returncode == 0, run.stdout[-4000:] + run.stderr[-2000:]


def test_the_lock_names_no_address() -> None:
    """Where packages come from is the machine's affair; their hashes are ours."""
    lock = (APP / "package-lock.json").read_text("utf-8")
    assert '"resolved"' not in lock
    assert lock.count('"integrity"') > 50


def test_nothing_is_taken_from_the_network_at_run_time() -> None:
    """No page, style or script names another host; addresses of namespaces ask for nothing."""
    for file in [APP / "index.html", *(APP / "src").rglob("*.ts*"), *(APP / "src").rglob("*.css")]:
        text = file.read_text("utf-8").replace("http://www.w3.org/", "").replace("http://here", "")
        assert "http://" not in text, file.name
        assert "https://" not in text, file.name
