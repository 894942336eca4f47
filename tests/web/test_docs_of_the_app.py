"""The script on the page about scripting runs against a server as it is started there."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from web.conftest import serving

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "script-the-app.md"


@pytest.mark.slow
def test_the_script_of_the_page_runs(tmp_path: Path) -> None:
    found = re.search(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert found is not None
    with serving(tmp_path / "library") as served:
        script = found[1].replace("http://127.0.0.1:8765", served.address)
        done = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert float(done.stdout) > 0
    kept = (tmp_path / "library" / "cars" / "halden-gt.toml").read_text()
    assert "mass_kg = { value = 1360" in kept, "undone"
    assert len(list((tmp_path / "library" / ".past" / "cars" / "halden-gt").iterdir())) == 2
