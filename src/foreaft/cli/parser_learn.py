"""What may be typed after ``foreaft learn``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from foreaft.cli.parser_debrief import add_columns


def add_learn(
    commands: argparse._SubParsersAction[Any],
    command: Callable[..., argparse.ArgumentParser],
    car: Callable[[Any], None],
) -> None:
    """Add the command; ``command`` makes one, ``car`` adds the car, as all of them have it."""
    parser = command(
        commands,
        "learn",
        "say what logs show about a car, and write it into a car file",
        """
foreaft learn stops.csv --car car.toml --out learned
foreaft learn stops.csv --car gt-mid --today 54 --higher front --first front --out learned
foreaft learn forward.csv rear.csv --car car.toml --setting 56 50
""",
    )
    parser.add_argument("logs", type=Path, nargs="+", metavar="LOG", help="logs of this car")
    car(parser)
    parser.add_argument("--conditions", type=Path, help="conditions file (dry)")
    parser.add_argument(
        "--setting",
        dest="settings",
        type=float,
        nargs="+",
        default=[],
        metavar="SETTING",
        help="what the adjuster showed, where no channel says it: one for all logs, or one each",
    )
    add_columns(parser)
    parser.add_argument("--seed", type=int, default=1, help="seed of all that is drawn (1)")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="write the car file and its draws there"
    )
    parser.add_argument("--every", action="store_true", help="print what was not learned as well")
