"""ASAM MDF logs, versions 3 and 4, read in a child process that may fail without harm."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np

from foreaft.base.errors import InputError, MissingPart
from foreaft.logs.csv_reader import too_large, unreadable
from foreaft.logs.mdf_child import INDEX
from foreaft.logs.raw import Column, Group, RawLog
from foreaft.logs.recording import Floats

MAGIC: Final = (b"MDF     ", b"UnFinMF ")

PATIENCE_S: Final = 8.0
"""Processor time the child may take, whatever the file's size; a small log takes half a second."""

BUSY: Final = 5.0
"""On the clock it may take so many times longer: others may be using the machine."""

BYTES_PER_S: Final = 20e6
"""And what it must at least get through beyond that: a tenth of what was measured."""

MEMORY_BYTES: Final = 1_500_000_000
"""Address space of the child, 0.5 GB of which are its libraries' before it reads anything."""


def read_mdf(file: Path, size: int) -> RawLog:
    """Read an MDF log.

    Raises
    ------
    InputError
        If it is damaged, too large, or holds no numbers.
    MissingPart
        If the library for MDF is not installed.
    """
    if find_spec("asammdf") is None:
        raise MissingPart(
            "MDF logs need a part that is not installed: asammdf.",
            hint="Run the set-up again, pip install 'foreaft[mdf]', or export the log as CSV.",
        )
    with tempfile.TemporaryDirectory(prefix="foreaft-mdf-", dir=_quick_folder(size)) as name:
        folder = Path(name)
        told = _told(file, folder, size)
        if "too_large" in told:
            raise too_large(file, told["too_large"])
        if "error" in told:
            raise unreadable(file, ValueError(told["error"]))
        groups = tuple(_group(folder, one) for one in told["groups"])
    if not any(group.columns for group in groups):
        raise InputError(
            "The log holds no channel with numbers and a time.",
            code="log_no_table",
            file=file,
            key="channels",
            value=f"{len(told['left_out'])} channels without",
            allowed="groups with a time channel and at least two samples",
            unit="",
            hint="Was the recording stopped before anything came in?",
        )
    left_out = tuple((str(one), str(why)) for one, why in told["left_out"])
    return RawLog(f"MDF {told['version']}", groups, left_out=left_out)


OUT_OF_TIME: Final = 24
"""The signal SIGXCPU, which Windows does not have."""

IN_MEMORY: Final = Path("/dev/shm")
"""Where Linux keeps files in memory: a third of the time goes into writing them to a disk."""


def _quick_folder(size: int) -> Path | None:
    """Files in memory, where they are possible and there is ample room; else the usual place."""
    if not os.access(IN_MEMORY, os.W_OK) or shutil.disk_usage(IN_MEMORY).free < 8 * size + (
        1 << 28
    ):
        return None
    return IN_MEMORY


def _told(file: Path, folder: Path, size: int) -> dict[str, Any]:
    """Let the child work, and give its index."""
    command = [sys.executable, "-P", "-m", "foreaft.logs.mdf_child"]
    patience = PATIENCE_S + size / BYTES_PER_S
    command += [str(file.resolve()), str(folder), str(MEMORY_BYTES + size), f"{patience:.0f}"]
    quiet = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    slow = f"not read within {patience:.0f} s of a processor"
    try:
        done = subprocess.run(
            command,
            env={**os.environ, **quiet},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            timeout=BUSY * patience,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise unreadable(file, TimeoutError(slow)) from error
    try:
        told: dict[str, Any] = json.loads((folder / INDEX).read_text("utf-8"))
    except (OSError, ValueError) as error:
        last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:]
        said = last[0] if last else f"it ended its reader ({done.returncode})"
        said = slow if done.returncode == -OUT_OF_TIME else said
        raise unreadable(file, ValueError(said)) from error
    return told


def _group(folder: Path, told: dict[str, Any]) -> Group:
    columns = tuple(
        Column(str(name), str(unit), _array(folder / array))
        for array, name, unit in told["columns"]
    )
    return Group(columns, clock_s=_array(folder / told["clock"]))


def _array(path: Path) -> Floats:
    """What the child left; mapped where a mapped file may be removed, so that it is not copied."""
    if sys.platform == "win32" or path.stat().st_size == 0:
        return np.fromfile(path)
    return np.asarray(np.memmap(path, np.float64, "r"))
