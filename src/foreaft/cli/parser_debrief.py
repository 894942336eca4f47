"""What may be typed after ``foreaft debrief``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any


def add_debrief(
    commands: argparse._SubParsersAction[Any], command: Callable[..., argparse.ArgumentParser]
) -> None:
    """Add the command; ``command`` makes one the way all of them are made."""
    parser = command(
        commands,
        "debrief",
        "say of logged laps what each zone was like, what went wrong, and what to work on",
        """
foreaft debrief friday.csv
foreaft debrief friday.csv --circuit circuit.csv --car car.toml --out debrief
foreaft debrief mine.csv --against his.csv --driver-name Ann --other-name Ben --circuit circuit.csv
foreaft debrief friday.csv --circuit circuit.csv --car car.toml --plan plan/plan.json
""",
    )
    parser.add_argument(
        "logs", type=Path, nargs="+", metavar="LOG", help="logs of one driver on one circuit"
    )
    parser.add_argument("--circuit", type=Path, help="circuit file (made from the log)")
    parser.add_argument(
        "--zones", type=Path, help="names of zones; zones.csv beside the circuit if any"
    )
    parser.add_argument("--car", help="car file, or a class of car: adds the model's use of grip")
    parser.add_argument("--driver", help="driver file or level of the lap the zones are named by")
    parser.add_argument("--conditions", type=Path, help="conditions file (dry)")
    parser.add_argument(
        "--line",
        choices=["given", "min-curvature"],
        help="count places along the line of the file, or the one of least curvature (the latter "
        "where the file has widths)",
    )
    parser.add_argument("--driver-name", help="what the driver is called (the log's name)")
    parser.add_argument("--against", type=Path, metavar="LOG", help="log of another driver")
    parser.add_argument("--other-name", help="what the other driver is called")
    parser.add_argument("--plan", type=Path, help="plan as JSON, held against what was driven")
    add_columns(parser)
    parser.add_argument("--out", type=Path, metavar="FOLDER", help="write page and pictures there")
    parser.add_argument(
        "--units", choices=["metric", "imperial"], default="metric", help="for what is printed"
    )


def add_columns(parser: argparse.ArgumentParser) -> None:
    """What the columns of several logs are."""
    parser.add_argument(
        "--mapping",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="what the columns are, as for foreaft read; may be given again, for other logs",
    )
    parser.add_argument(
        "--map", dest="maps", action="append", default=[], help="one column, as for foreaft read"
    )
