"""What may be typed after ``foreaft trial``."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

Command = Callable[..., argparse.ArgumentParser]


def add_trial(commands: argparse._SubParsersAction[Any], command: Command) -> None:
    """Add the command and its parts; ``command`` makes one the way all of them are made."""
    parser = commands.add_parser(
        "trial",
        help="design and judge a test of two or more settings",
        description="Design and judge a test of two or more settings, and the stops before it.",
        epilog="foreaft trial design --help, foreaft trial judge --help and foreaft trial stops "
        "--help show examples.",
        allow_abbrev=False,
    )
    parts = parser.add_subparsers(dest="part", metavar="PART", required=True)
    _stops(parts, command)
    _design(parts, command)
    _judge(parts, command)


def _stops(parts: argparse._SubParsersAction[Any], command: Command) -> None:
    parser = command(
        parts,
        "stops",
        "say from straight stops between which settings the crossover lies",
        """
foreaft trial stops --higher front --stop 56 front --stop 55 front --stop 54 rear
foreaft trial stops stops.csv --car car.toml
""",
    )
    parser.add_argument(
        "file",
        type=Path,
        nargs="?",
        metavar="STOPS",
        help="the stops (CSV): a row each, setting,first (typed with --stop)",
    )
    parser.add_argument(
        "--stop",
        dest="stops",
        action="append",
        nargs=2,
        default=[],
        metavar=("SETTING", "FIRST"),
        help="one stop: the setting, and which end locked first: front, rear, together or none; "
        "given once for each stop, in the order driven",
    )
    parser.add_argument(
        "--higher", choices=["front", "rear"], help="a bigger number means more ..."
    )
    parser.add_argument("--car", help="car file: knows the settings and which way they count")


def _design(parts: argparse._SubParsersAction[Any], command: Command) -> None:
    parser = command(
        parts,
        "design",
        "make a run sheet: which setting on which lap, how many laps, and what that can show",
        """
foreaft trial design --settings 56 53 --higher front --driver club
foreaft trial design --settings 56 53 --higher front --endpoint slip_difference_frac 0.003 0.001 \\
    --endpoint z03_time_s 0.03 0.06 --out laps.csv
foreaft trial design --settings 56 53 --car car.toml --endpoint z03_time_s 0.03 \\
    --scatter-from earlier-laps.csv
""",
    )
    parser.add_argument(
        "--settings", type=float, nargs="+", required=True, help="two to five settings to compare"
    )
    parser.add_argument(
        "--higher", choices=["front", "rear"], help="a bigger number means more ..."
    )
    parser.add_argument("--car", help="car file: knows the settings and which way they count")
    parser.add_argument("--driver", help="driver file, or novice, club, pro (club)")
    parser.add_argument(
        "--endpoint",
        action="append",
        nargs="+",
        default=[],
        metavar=("NAME", "NUMBER"),
        help="something measured on every lap, named with its unit (z03_time_s), the smallest "
        "difference worth seeing, and its scatter from lap to lap; may be given several times, "
        "the one that matters first",
    )
    parser.add_argument(
        "--scatter-from",
        type=Path,
        help="sheet of laps (CSV), or debrief.json of a log, to take scatters from that are not "
        "given",
    )
    parser.add_argument(
        "--lap-difference",
        dest="lap_difference_s",
        type=float,
        default=0.10,
        metavar="SECONDS",
        help="difference of lap time worth seeing (0.10)",
    )
    parser.add_argument(
        "--incidents",
        type=float,
        nargs=2,
        metavar="RATE",
        help="two rates of incidents per pass to tell apart, such as 0.20 0.05",
    )
    _level(parser)
    _day(parser)


def _day(parser: argparse.ArgumentParser) -> None:
    """What the day has, and what laps cost besides those that count."""
    parser.add_argument("--stints", type=int, default=3, help="stints at most (3)")
    parser.add_argument(
        "--stint-laps", type=int, default=13, help="laps of a stint, out-lap to in-lap (13)"
    )
    parser.add_argument(
        "--settle-laps", type=int, help="laps after a change that do not count (1; novice 2)"
    )
    parser.add_argument(
        "--warm-laps", type=int, default=1, help="laps to temperature after the out-lap (1)"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE.csv", help="write the sheet there, to be filled in"
    )


def _judge(parts: argparse._SubParsersAction[Any], command: Command) -> None:
    parser = command(
        parts,
        "judge",
        "say what the laps show: effects with their intervals, incidents, and the plan",
        """
foreaft trial judge laps.csv
foreaft trial judge debrief/debrief.json --plan plan/plan.json
foreaft trial judge laps.csv --primary slip_difference_frac --plan plan/plan.json
foreaft trial judge laps.csv --pool deep_time_s z02_time_s z05_time_s
""",
    )
    parser.add_argument(
        "laps", type=Path, help="the laps as driven (CSV), or debrief.json of their log"
    )
    parser.add_argument(
        "--against", type=float, help="setting the others are compared with (the first driven)"
    )
    parser.add_argument(
        "--primary",
        help="the column the trial was made for; it is judged by itself (of a debrief: front minus "
        "rear slip, where the log shows it)",
    )
    parser.add_argument(
        "--pool",
        action="append",
        nargs="+",
        default=[],
        metavar=("NAME", "COLUMN"),
        help="judge the mean of columns of one kind under a new name; may be given several times",
    )
    _level(parser)
    parser.add_argument(
        "--settle-laps",
        type=int,
        default=1,
        help="laps after a change that do not count, for a file without a column keep (1)",
    )
    parser.add_argument("--plan", type=Path, help="plan as JSON: what the trial does to it")
    parser.add_argument("--seed", type=int, default=1, help="seed of the shuffling (1)")


def _level(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--level",
        type=float,
        default=0.05,
        help="chance of calling a difference where there is none (0.05)",
    )
    parser.add_argument(
        "--power", type=float, default=0.8, help="chance of showing a true difference (0.8)"
    )
