"""A lock between processes: a file that stays, held by whoever has it open.

The system takes it back when the process dies, however it dies.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from foreaft.base.errors import InputError


@contextmanager
def locked(
    lock: Path,
    wait_s: float,
    *,
    unwritable: Callable[[str], InputError],
    busy: Callable[[], InputError],
) -> Iterator[None]:
    """Hold a lock, waiting so long for whoever has it.

    Raises
    ------
    InputError
        ``unwritable`` of what the system said, or ``busy``.
    """
    try:
        descriptor = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as error:
        raise unwritable(error.strerror or str(error)) from error
    try:
        until = time.monotonic() + wait_s
        while not try_lock(descriptor):
            if time.monotonic() > until:
                raise busy()
            time.sleep(0.01)
        yield
    finally:
        os.close(descriptor)


def try_lock(descriptor: int) -> bool:
    """Take the lock of an open file if nobody has it; it goes when the file is closed."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
