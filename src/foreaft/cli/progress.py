"""Progress on the terminal: only where somebody looks, only for what takes over a second."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Final, Self

QUIET_S: Final = 1.0


class Progress:
    """A line on standard error that is drawn over itself and wiped at the end."""

    def __init__(self) -> None:
        self._start = time.monotonic()
        self._drawn = False
        self._seen = sys.stderr.isatty()

    def __call__(self, what: str, done: int, of: int) -> None:
        """Show that so many of so many are done."""
        spent = time.monotonic() - self._start
        if not self._seen or spent < QUIET_S:
            return
        left = spent / done * (of - done) if done else 0.0
        print(f"\r{what}: {done} of {of}, {left:.0f} s to go   ", end="", file=sys.stderr)
        self._drawn = True

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._drawn:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr)


def tell_if_cold() -> None:
    """Say that the physics is being compiled, on the first run of a version on a machine."""
    from foreaft.base.kernel import kernels_are_warm
    from foreaft.plan import cost

    if not kernels_are_warm(cost.field):
        print(
            "Compiling the physics for this machine: first run only, about 20 seconds.",
            file=sys.stderr,
            flush=True,
        )
