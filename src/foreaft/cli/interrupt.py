"""Ctrl-C that falls into a library's callback from C, where Python prints it and goes on."""

from __future__ import annotations

import _thread
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

AGAIN_S = 0.05
"""Long enough for the callback to be left, too short for anybody to notice."""


@contextmanager
def kept() -> Iterator[threading.Event]:
    """Ask again for a Ctrl-C that was swallowed, until one stops the work.

    Yields an event that is set once one was swallowed: the library whose callback it broke may
    fail because of that before the next arrives.
    """
    swallowed = threading.Event()
    again: list[threading.Timer] = []
    before = sys.unraisablehook

    def hear(lost: sys.UnraisableHookArgs) -> None:
        if not issubclass(lost.exc_type, KeyboardInterrupt):
            before(lost)
            return
        swallowed.set()
        again.append(threading.Timer(AGAIN_S, _ask_again))
        again[-1].daemon = True
        again[-1].start()

    sys.unraisablehook = hear
    try:
        yield swallowed
    finally:
        sys.unraisablehook = before
        for timer in again:
            timer.cancel()


def _ask_again() -> None:
    """Interrupt the main thread, also where it waits, if the system can wake it."""
    main = threading.main_thread().ident
    if main is not None and hasattr(signal, "pthread_kill"):
        signal.pthread_kill(main, signal.SIGINT)
    else:
        _thread.interrupt_main()
