"""What somebody has said of the columns of one log or of several: mapping files, and words on top.

Of one log everything that is said has to fit it.
Of several, each takes its own; what fits none of them is refused once all have been read.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from foreaft.base.errors import InputError
from foreaft.logs.mapping import check_columns, fitting, read_mapping, typed
from foreaft.logs.read import Log, read_log


class LogWords:
    """Reads logs by what was said of their columns."""

    def __init__(self, mappings: Sequence[Path], maps: Sequence[str], logs: int) -> None:
        self._files = tuple(mappings)
        self._mappings = tuple(read_mapping(one) for one in mappings)
        self._words = typed(maps) if maps else None
        self._alone = logs == 1 and len(mappings) < 2
        self._read: list[Log] = []

    def read(self, file: Path) -> Log:
        """Read one of the logs; errors as for :func:`foreaft.logs.read.read_log`."""
        alone = next(iter(self._mappings), None)
        log = read_log(file, alone if self._alone else self._mappings, self._words)
        if not self._alone:
            self._read.append(log)
        return log

    def check(self) -> None:
        """Refuse, of several logs, a mapping that is of none of them, and a word on no column.

        Raises
        ------
        InputError
            Naming the mapping or the column.
        """
        if not self._read:
            return
        taken = [fitting(self._mappings, one.columns_sha256, one.columns) for one in self._read]
        for file, mapping in zip(self._files, self._mappings, strict=True):
            if not any(one is mapping for one in taken):
                raise _of_none(file, self._read)
        if self._words is not None:
            names = [name for one in self._read for name in one.columns]
            check_columns(self._words, names, Path(self._read[0].file))


def _of_none(file: Path, logs: Sequence[Log]) -> InputError:
    return InputError(
        "None of these logs has the columns that this mapping was written for.",
        code="mapping_of_no_log",
        file=file,
        key="mapping",
        value=file.name,
        allowed="a mapping for the columns of "
        + ", ".join(Path(one.file).name for one in logs[:4])
        + (" ..." if len(logs) > 4 else ""),
        hint="Leave it out, or make one for a log: foreaft read LOG --mapping "
        f"{file.name} --save-mapping NEW.mapping.toml",
    )
