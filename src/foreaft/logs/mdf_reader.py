"""ASAM MDF logs, versions 3 and 4, read in a child process that may fail without harm."""

from __future__ import annotations

import atexit
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from importlib.util import find_spec
from math import ceil
from pathlib import Path
from typing import Any, Final

import numpy as np

from foreaft.base.errors import InputError, MissingPart
from foreaft.logs.csv_reader import too_large, unreadable
from foreaft.logs.mdf_child import INDEX, SAID
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
    """Let a child work, and give its index."""
    patience = PATIENCE_S + size / BYTES_PER_S
    slow = f"not read within {patience:.0f} s of a processor"
    job = [str(file.resolve()), str(folder), MEMORY_BYTES + size, ceil(patience)]
    try:
        status = _asked(job, BUSY * patience)
    except TimeoutError as error:
        raise unreadable(file, TimeoutError(slow)) from error
    try:
        told: dict[str, Any] = json.loads((folder / INDEX).read_text("utf-8"))
    except (OSError, ValueError) as error:
        said = f"it ended its reader ({status})"
        if (folder / SAID).exists():
            lines = (folder / SAID).read_text("utf-8", "replace").strip().splitlines()
            said = lines[-1] if lines else said
        said = slow if status == -OUT_OF_TIME else said
        raise unreadable(file, ValueError(said)) from error
    return told


# ---------------------------------------------------------------- children


class Child:
    """A process that has the library loaded, and opens one file after the other."""

    def __init__(self) -> None:
        """Start it; it loads the library while the job is on its way."""
        quiet = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-P", "-m", "foreaft.logs.mdf_child"],
            env={**os.environ, **quiet},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            process_group=None if sys.platform == "win32" else 0,
        )

    def asked(self, job: list[Any], within_s: float) -> int | None:
        """Do a job; give the status its process ended with, None if the child itself is gone.

        Raises
        ------
        TimeoutError
            If it takes longer; the child is ended then.
        """
        late = threading.Event()

        def stop() -> None:
            late.set()
            self._kill()

        timer = threading.Timer(within_s, stop)
        timer.daemon = True
        timer.start()
        done, told = self.process.stdout, ""
        try:
            if self.process.stdin is not None and done is not None:
                self.process.stdin.write(json.dumps(job) + "\n")
                self.process.stdin.flush()
                told = done.readline()
        except OSError:  # it had ended before
            pass
        except BaseException:  # Ctrl-C: nobody waits for the file any more
            self.end()
            raise
        finally:
            timer.cancel()
        if late.is_set():
            self.end()
            raise TimeoutError
        return int(told) if told.strip() else None

    def _kill(self) -> None:
        """Kill it and the fork that opens a file, if any."""
        with suppress(OSError):
            if sys.platform == "win32":
                self.process.kill()
            elif self.process.returncode is None:
                os.killpg(self.process.pid, signal.SIGKILL)

    def end(self) -> None:
        """End it, and close what it was spoken to by."""
        self._kill()
        with suppress(OSError), self.process:
            pass


_waiting: list[Child] = []
"""At most one child that waits for another file; it ends by itself after a while."""


def _asked(job: list[Any], within_s: float) -> int | None:
    """Let the child that waits do a job; a new one where there is none, or it has just ended."""
    while True:
        try:
            child, new = _waiting.pop(), False
        except IndexError:
            child, new = Child(), True
        status = child.asked(job, within_s)
        if status is not None and not _waiting and sys.platform != "win32":
            _waiting.append(child)
            return status
        child.end()
        if new or status is not None:
            return child.process.returncode if status is None else status


@atexit.register
def end_waiting() -> None:
    """End the child that waits for another file."""
    while _waiting:
        _waiting.pop().end()


if hasattr(os, "register_at_fork"):  # two processes must not speak to one child
    os.register_at_fork(after_in_child=_waiting.clear)


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
