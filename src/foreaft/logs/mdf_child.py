"""The child that opens an MDF file: ``python -m foreaft.logs.mdf_child FILE FOLDER BYTES S``.

The library that reads MDF can crash the process, or ask for any amount of memory, where a file is
damaged; so it works here, under limits, and leaves arrays and an index in a folder.
"""

from __future__ import annotations

import json
import logging
import sys
from pathlib import Path
from typing import Any, Final

import numpy as np

from foreaft.logs.raw import MAX_CELLS, MAX_COLUMNS

INDEX: Final = "index.json"


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


def main(arguments: list[str]) -> int:
    """Read the file and write the index, or what went wrong, beside the arrays."""
    file, folder = Path(arguments[0]), Path(arguments[1])
    _limit(int(arguments[2]), int(arguments[3]))
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


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
