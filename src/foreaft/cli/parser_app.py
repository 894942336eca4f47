"""What may be typed after ``foreaft app``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any


def add_app(
    commands: argparse._SubParsersAction[Any], command: Callable[..., argparse.ArgumentParser]
) -> None:
    """Add the command; ``command`` makes one the way all of them are made."""
    parser = command(
        commands,
        "app",
        "open the whole job in the browser, on this machine",
        """
foreaft app
foreaft app --library season --port 9000 --no-browser
foreaft app --address 0.0.0.0 --token
""",
    )
    parser.add_argument(
        "--library", type=Path, metavar="FOLDER", help="where cars, circuits and logs are kept"
    )
    parser.add_argument("--port", type=int, help="port (the first free one from 8765)")
    parser.add_argument(
        "--address",
        default="127.0.0.1",
        help="address to listen at (127.0.0.1: this machine only); any other needs --token",
    )
    parser.add_argument(
        "--token", action="store_true", help="ask for a token, made anew at each start"
    )
    parser.add_argument("--no-browser", action="store_true", help="open no browser")
    parser.add_argument(
        "--largest-log-MB", type=int, default=512, metavar="MB", help="largest log taken in (512)"
    )
