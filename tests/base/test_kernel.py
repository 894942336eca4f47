"""Where compiled kernels are kept, and that a change of any kernel source is seen."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from foreaft.base import kernel as kn

CALLER = """
from foreaft.base.kernel import FOLDER, kernel, kernels_are_warm
from foreaft.callee import factor

@kernel
def scaled(x: float) -> float:
    return factor() * x

print(kernels_are_warm(scaled), scaled(2.0), kernels_are_warm(scaled), FOLDER)
"""
CALLEE = """
from foreaft.base.kernel import kernel
from foreaft.places import constants as at

@kernel
def factor() -> float:
    return {value} * at.ONE
"""


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A package of the same name with our decorator and two kernels, one calling the other."""
    package = tmp_path / "src" / "foreaft"
    (package / "base").mkdir(parents=True)
    for name in ("__init__.py", "base/__init__.py", "base/kernel.py"):
        (package / name).write_bytes((kn.PACKAGE / name).read_bytes())
    (package / "caller.py").write_text(CALLER)
    (package / "callee.py").write_text(CALLEE.format(value=3.0))
    (package / "places").mkdir()
    (package / "places" / "__init__.py").write_text("")
    (package / "places" / "constants.py").write_text("ONE = 1.0\n")
    (package / "faces.py").write_text(
        "from foreaft.base.kernel import kernels_are_warm\nfrom foreaft.caller import scaled\n"
    )
    return package


def run(package: Path, **environ: str) -> list[str]:
    ours = ("XDG_", "NUMBA_")
    base = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    environ = base | {"PYTHONPATH": str(package.parent), "PYTHONDONTWRITEBYTECODE": "1"} | environ
    command = [sys.executable, "-c", "import foreaft.caller"]
    done = subprocess.run(command, env=environ, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_a_change_in_a_called_kernel_is_seen(copy: Path, tmp_path: Path) -> None:
    cache = str(tmp_path / "cache")
    cold = run(copy, FOREAFT_CACHE=cache)
    warm = run(copy, FOREAFT_CACHE=cache)
    (copy / "callee.py").write_text(CALLEE.format(value=5.0))
    changed = run(copy, FOREAFT_CACHE=cache)
    assert cold[:3] == ["False", "6.0", "True"]
    assert warm[:3] == ["True", "6.0", "True"]
    assert changed[:3] == ["False", "10.0", "True"]
    assert cold[3] == warm[3] != changed[3]
    assert not list(copy.rglob("*.nbi")), "nothing is written beside the sources"


def test_a_change_in_a_constant_of_a_file_without_kernels_is_seen(
    copy: Path, tmp_path: Path
) -> None:
    # numba freezes the globals a kernel reads into its machine code.
    cache = str(tmp_path / "cache")
    assert run(copy, FOREAFT_CACHE=cache)[1] == "6.0"
    (copy / "places" / "constants.py").write_text("ONE = 2.0\n")
    assert run(copy, FOREAFT_CACHE=cache)[:2] == ["False", "12.0"]


def test_a_change_above_the_kernels_compiles_nothing_anew(copy: Path) -> None:
    names = {path.name for path in kn.kernel_sources(copy)}
    assert {"caller.py", "callee.py", "constants.py", "kernel.py"} <= names
    assert "faces.py" not in names


def test_bounds_checks_have_a_cache_of_their_own(copy: Path, tmp_path: Path) -> None:
    cache = str(tmp_path / "cache")
    plain = run(copy, FOREAFT_CACHE=cache)
    assert run(copy, FOREAFT_CACHE=cache, NUMBA_BOUNDSCHECK="1")[3] != plain[3]


def test_it_works_where_nothing_can_be_written(copy: Path, tmp_path: Path) -> None:
    # A file in the place of the folder stops root too, whom no permission would.
    blocker = tmp_path / "blocker"
    blocker.write_text("")
    said = run(copy, FOREAFT_CACHE=str(blocker), HOME=str(blocker))
    assert said == ["False", "6.0", "False", "None"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_home_works(copy: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir(mode=0o500)
    assert run(copy, HOME=str(home), FOREAFT_CACHE="") == ["False", "6.0", "False", "None"]


HOME = Path("somebody")


@pytest.mark.parametrize(
    ("environ", "platform", "expected"),
    [
        ({}, "linux", HOME / ".cache" / "foreaft"),
        ({"XDG_CACHE_HOME": "/elsewhere"}, "linux", Path("/elsewhere/foreaft")),
        ({"XDG_CACHE_HOME": "relative"}, "linux", HOME / ".cache" / "foreaft"),
        ({"FOREAFT_CACHE": "/mine", "XDG_CACHE_HOME": "/elsewhere"}, "linux", Path("/mine")),
        ({}, "darwin", HOME / "Library" / "Caches" / "foreaft"),
        ({"LOCALAPPDATA": "local"}, "win32", Path("local") / "foreaft" / "Cache"),
    ],
)
def test_the_cache_is_where_the_platform_puts_caches(
    environ: dict[str, str], platform: str, expected: Path
) -> None:
    # XDG Base Directory Specification 0.8: $XDG_CACHE_HOME, absolute, else ~/.cache.
    assert kn.cache_root(environ, platform, HOME) == expected


def test_only_old_caches_are_dropped(tmp_path: Path) -> None:
    now = 1e9
    for age in range(10):
        folder = tmp_path / f"kernels-{age}"
        folder.mkdir()
        os.utime(folder, (now, now - age * 0.3 * kn.DAY_S))
    (tmp_path / "other").mkdir()
    kn.drop_old_folders(tmp_path, now)
    # Six are kept whatever their age; of the rest (ages 1.8 to 2.7 days) none is young.
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        *(f"kernels-{age}" for age in range(6)),
        "other",
    ]
    kn.drop_old_folders(tmp_path / "absent", now)


@pytest.mark.parametrize(
    "line",
    [
        "from foreaft.base.kernel import kernel",
        "from foreaft.base.kernel import kernels_are_warm, kernel",
        "from foreaft.base.kernel import (",
        "from foreaft.base import kernel as k",
        "import foreaft.base.kernel",
    ],
)
def test_every_way_to_the_decorator_is_seen(copy: Path, line: str) -> None:
    (copy / "another.py").write_text(line + "\n")
    assert copy / "another.py" in kn.kernel_sources(copy)


def test_every_file_with_a_kernel_is_in_the_key() -> None:
    sources = kn.kernel_sources(kn.PACKAGE)
    users = [f for f in kn.PACKAGE.rglob("*.py") if "\n@kernel" in f.read_text("utf-8")]
    assert set(users) <= set(sources)
