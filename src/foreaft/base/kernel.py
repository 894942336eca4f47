"""The one decorator for compiled functions, and where their machine code is kept on disk.

numba keys its cache by the file of each kernel alone, so a change in a kernel or a constant of
another file would go unseen and the old result be returned.
Therefore the cache folder is named by a hash of every source file that kernels draw on, with the
versions of numba and Python: any change leads to another folder, and so to a fresh compilation.

The folder must be chosen before the first function is decorated, which is why this module does so
when imported, and why nothing but kernels may import it.
Where no folder can be written, kernels are compiled anew by each process.

Policy: no ``fastmath`` (it hides NaN), no bounds check unless ``NUMBA_BOUNDSCHECK`` asks for it,
the lock released (``nogil``) so that threads may run over cars, never ``parallel``.
"""

from __future__ import annotations

import hashlib
import inspect
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, ParamSpec, TypeVar, cast

import numba

P = ParamSpec("P")
R = TypeVar("R")

PACKAGE: Final = Path(__file__).resolve().parent.parent
FOLDER_PREFIX: Final = "kernels-"
_IMPORT: Final = re.compile(rb"^\s*(?:from|import)\s+(foreaft[\w.]*)", re.MULTILINE)

_USE: Final = re.compile(
    rb"foreaft\.base(?:\.kernel)? import (?:\(|[^\n]*kernel\b)|import foreaft\.base\.kernel"
)
"""Asking whether kernels are warm is no use of them."""

FOLDERS_KEPT: Final = 6
"""Caches of other sources left in place: switching between versions stays fast."""

DAY_S: Final = 86400.0
"""Younger caches are never deleted: another process may be at work in them."""


def cache_root(environ: Mapping[str, str], platform: str, home: Path) -> Path:
    """Give the per-user folder for things that can be made again.

    Parameters
    ----------
    environ : mapping
        The environment; ``FOREAFT_CACHE`` overrides everything else.
    platform : str
        As ``sys.platform``.
    home : path
        The user's home.
    """
    chosen = environ.get("FOREAFT_CACHE")
    if chosen:
        return Path(chosen)
    if platform == "win32":
        return Path(environ.get("LOCALAPPDATA") or home / "AppData" / "Local") / "foreaft" / "Cache"
    if platform == "darwin":
        return home / "Library" / "Caches" / "foreaft"
    # XDG Base Directory Specification 0.8: a relative path in XDG_CACHE_HOME is to be ignored.
    xdg = Path(environ.get("XDG_CACHE_HOME", ""))
    return (xdg if xdg.is_absolute() else home / ".cache") / "foreaft"


def kernel_sources(package: Path) -> list[Path]:
    """List the files that shape machine code: those that use the decorator, and all they import.

    The latter because numba freezes the globals a kernel reads, wherever they are defined.
    """
    texts = {file: file.read_bytes() for file in package.rglob("*.py")}
    waiting = [file for file, text in texts.items() if _USE.search(text)]
    waiting.append(package / "base" / "kernel.py")
    found: set[Path] = set()
    while waiting:
        file = waiting.pop()
        if file in texts and file not in found:
            found.add(file)
            waiting += _imported_files(package, texts[file])
    return sorted(found)


def _imported_files(package: Path, text: bytes) -> Iterator[Path]:
    """Give the files a source imports from the package; of a package named, all its modules."""
    for name in _IMPORT.findall(text):
        place = package.joinpath(*name.decode().split(".")[1:])
        yield from place.glob("*.py") if place.is_dir() else [place.with_suffix(".py")]


def sources_key(package: Path, sources: Iterable[Path], environ: Mapping[str, str]) -> str:
    """Hash kernel sources with all else that shapes the machine code: 16 hexadecimal digits.

    That is numba, Python and numba's own environment variables: its cache would hand kernels
    without bounds checks to a run with ``NUMBA_BOUNDSCHECK=1``.
    """
    options = sorted(item for item in environ.items() if item[0].startswith("NUMBA_"))
    digest = hashlib.sha256(f"{numba.__version__} {sys.version} {options}".encode())
    for file in sources:
        text = file.read_bytes()
        digest.update(f"\0{file.relative_to(package).as_posix()}\0{len(text)}\0".encode())
        digest.update(text)
    return digest.hexdigest()[:16]


def choose_folder(root: Path, key: str) -> Path | None:
    """Make the cache folder of a key and try to write into it; ``None`` where that fails."""
    folder = root / f"{FOLDER_PREFIX}{key}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
        os.utime(folder)
    except OSError:
        return None
    return folder


def drop_old_folders(root: Path, now_s: float) -> None:
    """Delete cache folders long unused; a failure to do so does not matter."""
    try:
        used = {path: path.stat().st_mtime for path in root.glob(f"{FOLDER_PREFIX}*")}
    except OSError:  # another process deletes at the same time
        return
    for folder in sorted(used, key=lambda path: used[path], reverse=True)[FOLDERS_KEPT:]:
        if now_s - used[folder] > DAY_S:
            shutil.rmtree(folder, ignore_errors=True)


def _home() -> Path:
    try:
        return Path.home()
    except RuntimeError:  # no HOME and no entry for the user
        return Path(tempfile.gettempdir())


def _prepare() -> Path | None:
    root = cache_root(os.environ, sys.platform, _home())
    key = sources_key(PACKAGE, kernel_sources(PACKAGE), os.environ)
    folder = choose_folder(root, key)
    if folder is not None:
        drop_old_folders(root, time.time())
    return folder


FOLDER: Final[Path | None] = _prepare()
"""Where compiled kernels are kept; ``None`` where nothing can be written."""


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function at its first call, under the one policy of the package."""
    return _compiled(function, counted=True)


def lean_kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function that makes no array, without counting references to those it is given.

    Counting costs more than a third of a small kernel's time, because it is atomic.
    Whoever calls holds the arrays; a function that does make one is refused when it is compiled.
    """
    return _compiled(function, counted=False)


def _compiled(function: Callable[P, R], *, counted: bool) -> Callable[P, R]:
    settings: Any = numba.config
    before = settings.CACHE_DIR
    # numba chooses the folder while decorating; other users of numba keep their own.
    settings.CACHE_DIR = str(FOLDER or "")
    options: dict[str, Any] = {} if counted else {"_nrt": False}
    try:
        compiled = numba.njit(
            nogil=True, cache=FOLDER is not None, fastmath=False, error_model="numpy", **options
        )(function)
    finally:
        settings.CACHE_DIR = before
    return cast(Callable[P, R], compiled)


def kernels_are_warm(*kernels: Callable[..., object]) -> bool:
    """Tell whether compiled kernels of these very sources are on disk.

    Parameters
    ----------
    kernels : functions made by :func:`kernel`
        Those that must be there; without any, one of any name is enough.
    """
    if FOLDER is None:
        return False
    patterns = [_index_pattern(one) for one in kernels] or ["*.nbi"]
    return all(any(FOLDER.rglob(pattern)) for pattern in patterns)


def _index_pattern(one: Callable[..., object]) -> str:
    """Name the index files of a kernel as numba 0.68 does: file, function, line."""
    code: Any = inspect.unwrap(one)
    return f"{Path(code.__code__.co_filename).stem}.{code.__name__}-*.nbi"
