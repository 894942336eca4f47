"""The child that opens MDF files: ``python -m foreaft.logs.mdf_child``.

The library that reads MDF can crash the process, or ask for any amount of memory, where a file is
damaged; so it works here, under limits, and leaves arrays and an index in a folder.
Loading the library takes longer than reading most logs: it is loaded once, and each file is then
opened by a fork of this process, which has its own limits and may end as it likes.
Jobs come in as lines of JSON, ``[file, folder, bytes, seconds]``; for each a line goes out with
the status its process ended with.
"""

from __future__ import annotations

import json
import logging
import os
import select
import sys
import traceback
from pathlib import Path
from typing import Any, Final

import numpy as np

from foreaft.logs.raw import MAX_CELLS, MAX_COLUMNS

INDEX: Final = "index.json"
SAID: Final = "said.txt"
"""What a process that opened a file had to say when it failed."""

IDLE_S: Final = 60.0
"""So long the child waits for another file before it gives its memory back."""

NOT_NEEDED: Final = "polars"
"""A library that the one for MDF loads where it can, and that no reading needs."""


def read(file: Path, folder: Path) -> dict[str, Any]:
    """Write the samples of every group as bare float64; give the index of what was written."""
    from asammdf import MDF

    groups, left_out, cells, columns = [], [], 0, 0
    opened: Any = MDF(file)
    with opened as mdf:
        for number, group in enumerate(mdf.groups):
            master = mdf.masters_db.get(number)
            wanted = [i for i in range(len(group.channels)) if i != master]
            cycles = int(group.channel_group.cycles_nr)
            columns += len(wanted)
            if cycles < 2 or master is None or not wanted:
                left_out += [[_name(group, i), "has no samples or no time"] for i in wanted]
                continue
            cells += cycles * len(wanted)
            if cells > MAX_CELLS or columns > MAX_COLUMNS:
                return {"too_large": cells}
            found = _group(mdf, number, wanted, folder)
            groups.append(found["group"])
            left_out += found["left_out"]
        version = str(mdf.version)
    return {"version": version, "groups": groups, "left_out": left_out}


def _group(mdf: Any, number: int, wanted: list[int], folder: Path) -> dict[str, Any]:
    """One group is selected at once, written, and let go."""
    signals = mdf.select(
        [(None, number, i) for i in wanted], ignore_value2text_conversions=True, copy_master=False
    )
    time = np.asarray(signals[0].timestamps, dtype=np.float64)
    time.tofile(folder / str(number))
    columns, left_out = [], []
    for i, signal in zip(wanted, signals, strict=True):
        samples = signal.samples
        if samples.dtype.kind not in "fiub" or samples.shape != time.shape:
            left_out.append([str(signal.name), "holds no numbers"])
            continue
        values = samples.astype(np.float64, copy=False)
        invalid = signal.invalidation_bits
        if invalid is not None:
            values = np.where(np.asarray(invalid, dtype=bool), np.nan, values)
        values.tofile(folder / f"{number}.{i}")
        columns.append([f"{number}.{i}", str(signal.name), str(signal.unit or "")])
    return {"group": {"clock": str(number), "columns": columns}, "left_out": left_out}


def _name(group: Any, i: int) -> str:
    return str(getattr(group.channels[i], "name", f"channel {i}"))


def _limit(most_bytes: int, most_s: int) -> None:
    """Hold this process to so much memory and time of a processor, where the system can."""
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (most_bytes, most_bytes))
        resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s + 1))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def job(file: Path, folder: Path, most_bytes: int, most_s: int) -> int:
    """Open one file under limits; write the index, or what went wrong, beside the arrays."""
    _limit(most_bytes, most_s)
    logging.disable(logging.CRITICAL)
    try:
        told = read(file, folder)
    except MemoryError:
        told = {"error": "it asks for more memory than it may have"}
    except Exception as error:
        said = str(error).strip().splitlines()
        told = {"error": f"{type(error).__name__}: {said[0] if said else ''}"[:160]}
    (folder / INDEX).write_text(json.dumps(told), "utf-8")
    return 0


def apart(file: Path, folder: Path, most_bytes: int, most_s: int) -> int:
    """Do one job in a fork of this process; give the status it ended with, -11 for signal 11."""
    if sys.platform == "win32":
        raise AssertionError("there are no forks on Windows")
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    code = 1
    try:
        out = os.open(folder / SAID, os.O_WRONLY | os.O_CREAT, 0o600)
        os.dup2(out, 1)  # the line to the parent is not for the library to write on
        os.dup2(out, 2)
        code = job(file, folder, most_bytes, most_s)
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(code)


def _waited() -> str:
    """The next line that comes in; nothing at the end, or where none comes for long."""
    if sys.platform != "win32" and not select.select([sys.stdin], [], [], IDLE_S)[0]:
        return ""
    return sys.stdin.readline()


def main() -> int:
    """Do one job after the other; on Windows, which cannot fork, a single one."""
    sys.modules.setdefault(NOT_NEEDED, None)  # type: ignore[arg-type]
    try:
        import asammdf  # noqa: F401
    except Exception:  # told by the job, which loads it again
        logging.getLogger(__name__).debug("not loaded", exc_info=True)
    while line := _waited():
        file, folder, most_bytes, most_s = json.loads(line)
        asked = (Path(file), Path(folder), int(most_bytes), int(most_s))
        status = job(*asked) if sys.platform == "win32" else apart(*asked)
        sys.stdout.write(f"{status}\n")
        sys.stdout.flush()
        if sys.platform == "win32":
            break
    return 0


if __name__ == "__main__":
    sys.exit(main())
