"""What may be typed: commands, options, examples. Loads nothing but the standard library."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import Any, NoReturn

from foreaft import __version__
from foreaft.base.errors import InputError
from foreaft.cli.parser_app import add_app
from foreaft.cli.parser_debrief import add_debrief
from foreaft.cli.parser_learn import add_learn
from foreaft.cli.parser_trial import add_trial

CAUTION = (
    "For closed circuits. Brake work belongs in qualified hands; the rules of the circuit and of "
    "the series come first."
)

SYMPTOMS = {
    "locked-inside-front": "the inside front wheel locked while turning",
    "locked-both-fronts": "both front wheels locked",
    "loose-on-entry": "the rear moved about on the way in, and was caught",
    "came-round": "the car came round",
    "would-not-turn": "it would not turn in while braking",
    "fine": "nothing of the kind",
}


class ArgumentParser(argparse.ArgumentParser):
    """Refuses with an error of ours, so that machines get an object."""

    def error(self, message: str) -> NoReturn:
        """Say what of the typed line cannot be used.

        Raises
        ------
        InputError
            Always.
        """
        found = re.fullmatch(r"argument ([^:]+): (.*)", message, re.DOTALL)
        key, what = found.groups() if found else (None, message)
        value = re.search(r"'([^']*)'", what)
        usage = " ".join(self.format_usage().split()).removeprefix("usage: ")
        raise InputError(
            f"{key} cannot be used: {what}." if key else f"{what}.".replace("..", "."),
            code="command_line",
            key=key,
            value=value[1] if value else None,
            allowed=next((one.help for one in self._actions if key in one.option_strings), usage),
            hint=f"{self.prog} --help explains each option and shows examples.",
        )


def make_parser() -> ArgumentParser:
    """Build the parser of the whole program."""
    parser = ArgumentParser(
        prog="foreaft",
        description="Plan a racing car's brake balance corner by corner.",
        epilog="Start with: foreaft demo. Exit codes: 0 done, 2 wrong input, 3 a part is missing, "
        f"4 cannot tell from what is known, 5 no plan, 130 stopped, 1 our mistake. {CAUTION}",
    )
    parser.add_argument("--version", action="version", version=f"foreaft {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for add in (
        _plan,
        _stop,
        _ideal,
        _limit,
        _show,
        _advise,
        _trial,
        _zones,
        _read,
        _debrief,
        _learn,
        _record,
        _check,
        _new,
        _classes,
        _demo,
        _app,
        _doctor,
    ):
        add(commands)
    return parser


class _Once(argparse.Action):
    """Keeps one value; a second is refused, not taken in place of the first."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        option_string: str | None = None,
    ) -> None:
        """Keep the value."""
        if getattr(namespace, self.dest) is not None:
            raise argparse.ArgumentError(self, f"it may be given once; '{values}' is one more")
        setattr(namespace, self.dest, values)


class _Help(argparse.RawDescriptionHelpFormatter):
    """Keeps the lines of the examples."""


def _command(
    commands: argparse._SubParsersAction[ArgumentParser], name: str, does: str, examples: str
) -> ArgumentParser:
    parser = commands.add_parser(
        name,
        help=does,
        description=does[0].upper() + does[1:] + ".",
        epilog="examples:\n" + "\n".join("  " + line for line in examples.strip().splitlines()),
        formatter_class=_Help,
        allow_abbrev=False,
    )
    parser.add_argument(
        "--json", action="store_true", help="print the answer as JSON, and nothing else"
    )
    return parser


def _car(parser: ArgumentParser) -> None:
    parser.add_argument("--car", required=True, help="car file, or the name of a class of car")
    quick = parser.add_argument_group(
        "the anchor, for a car of which only the class is known",
        "today's setting, which way the number counts, and which end lets go first in a straight "
        "stop; the answer is then relative to today's setting",
    )
    quick.add_argument("--today", type=float, metavar="SETTING", help="setting run today")
    quick.add_argument("--higher", choices=["front", "rear"], help="a bigger number means more ...")
    quick.add_argument(
        "--first", choices=["front", "rear", "together"], help="which end lets go first"
    )
    quick.add_argument(
        "--mid-corner",
        choices=["pushes", "neutral", "loose"],
        help="balance in the middle of a slow corner, off the brakes",
    )
    quick.add_argument("--lowest", type=float, help="lowest number of the adjuster")
    quick.add_argument("--highest", type=float, help="highest number of the adjuster")
    quick.add_argument("--step", type=float, help="what one click changes")


def _road(parser: ArgumentParser, sheet: bool = True) -> None:
    if sheet:
        where = parser.add_mutually_exclusive_group(required=True)
        where.add_argument("--circuit", type=Path, help="circuit file: CSV or GeoJSON")
        where.add_argument("--sheet", type=Path, help="zone sheet: CSV with one row per corner")
    else:
        parser.add_argument(
            "--circuit", type=Path, required=True, help="circuit file: CSV or GeoJSON"
        )
    _driven(parser)


def _driven(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--zones", type=Path, help="names and depths of zones; zones.csv beside the circuit if any"
    )
    parser.add_argument("--driver", help="driver file, or novice, club, pro (club)")
    parser.add_argument(
        "--line",
        choices=["given", "min-curvature"],
        help="drive the line of the file, or the one of least curvature (the latter where the "
        "file has widths)",
    )


def _conditions(parser: ArgumentParser, many: bool = False) -> None:
    parser.add_argument(
        "--conditions",
        type=Path,
        action="append" if many else "store",
        default=[] if many else None,
        help="conditions file (dry)" + ("; may be given several times" if many else ""),
    )


def _plan(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "plan",
        "choose a setting for each braking zone, and one for a lap nobody adjusts",
        """
foreaft plan --car gt-mid --sheet corners.csv --today 54 --higher front --first front
foreaft plan --car car.toml --circuit circuit.csv --driver club --out plan
foreaft plan --car car.toml --circuit circuit.csv --conditions dry.toml --conditions wet.toml
""",
    )
    _car(parser)
    _road(parser)
    _conditions(parser, many=True)
    _choices(parser)
    parser.add_argument(
        "--depth",
        choices=["driver", "best"],
        default="driver",
        help="how deep each zone is braked: as the driver does (driver), or chosen by the model",
    )
    parser.add_argument("--samples", type=int, default=64, help="cars sampled (64; 0: nominal)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the sampling (1)")
    parser.add_argument("--out", type=Path, metavar="FOLDER", help="write card and figures there")
    parser.add_argument(
        "--units", choices=["metric", "imperial"], default="metric", help="for what is printed"
    )
    parser.add_argument("--date", help="date to print on the card")


def _choices(parser: ArgumentParser) -> None:
    """How often the hand may move, and numbers in place of those of the files."""
    parser.add_argument("--changes", type=int, help="most changes a lap (by the driver's level)")
    parser.add_argument(
        "--change-cost",
        dest="change_cost_s",
        type=float,
        metavar="SECONDS",
        help="attention one change costs (by the driver); 0 shows what the car alone would want",
    )
    for name, field, unit, what in (
        (
            "--grip",
            "grip_scale",
            "FACTOR",
            "grip against dry, instead of that of the (first) conditions",
        ),
        ("--fuel", "fuel_kg", "KG", "fuel aboard, instead of that of conditions and car"),
        ("--scatter", "scatter_scale", "FACTOR", "times the scatter of the driver's braking foot"),
        ("--boldness", "boldness", "FACTOR", "divides the price of mistakes, as in a driver file"),
    ):
        parser.add_argument(name, dest=field, type=float, metavar=unit, help=what)


def _stop(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "stop",
        "stop once in a straight line, at every setting",
        """
foreaft stop --car car.toml --from-kmh 200 --to-kmh 60
foreaft stop --car gt-mid --from-kmh 200 --share 0.68
""",
    )
    _car(parser)
    parser.add_argument("--from-kmh", type=float, required=True, help="speed at the brake point")
    parser.add_argument("--to-kmh", type=float, default=0.0, help="speed at the end (0)")
    parser.add_argument("--share", type=float, help="one front share of the brakes, 0 to 1")
    _conditions(parser)


def _ideal(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "ideal",
        "show the ideal share over deceleration, speed and cornering load",
        """
foreaft ideal --car car.toml --decel-g 0.4 0.8 1.2 --speed-kmh 80 200 --lateral-g 0 0.8
foreaft ideal --car road.toml --model two-axle --road-rule
""",
    )
    _car(parser)
    parser.add_argument(
        "--model",
        choices=["two-axle", "four-wheel"],
        default="four-wheel",
        help="friction ellipse of the handbooks, or the whole car (four-wheel)",
    )
    for name, what, usual in (
        ("--decel-g", "decelerations", [0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4]),
        ("--speed-kmh", "speeds", [100.0]),
        ("--lateral-g", "cornering loads", [0.0]),
        ("--yaw-accel", "yaw accelerations [rad/s2]", [0.0]),
    ):
        parser.add_argument(name, type=float, nargs="+", default=usual, help=what)
    parser.add_argument(
        "--road-rule", action="store_true", help="check the UN R13-H rule for road cars"
    )
    _conditions(parser)


def _limit(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "limit",
        "show what a setting leaves to a balance that is perfect at every metre",
        """
foreaft limit --car car.toml --circuit circuit.csv
foreaft limit --car car.toml --sheet corners.csv --zone "Mill" --points 200
foreaft limit --car car.toml --circuit circuit.csv --plan plan/plan.json
""",
    )
    _car(parser)
    _road(parser)
    _conditions(parser)
    parser.add_argument("--zone", action=_Once, help="id or name of one zone (all)")
    parser.add_argument("--plan", type=Path, help="plan as JSON (made now, by the usual choices)")
    parser.add_argument("--points", type=int, default=100, help="places per zone (100)")
    parser.add_argument("--samples", type=int, default=64, help="cars sampled for the plan (64)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the sampling (1)")


def _show(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "show",
        "drive a zone, or a lap, at right and wrong settings and see what happens",
        """
foreaft show --car car.toml --circuit circuit.csv --zone "Mill" --out mill
foreaft show --car car.toml --sheet corners.csv --zone "Mill" --setting 52 58 --press 1.1
foreaft show --car car.toml --circuit circuit.csv --zone z06 --steps 3 --repeat 200
""",
    )
    _car(parser)
    _road(parser)
    _conditions(parser)
    parser.add_argument("--zone", action=_Once, help="id or name of one zone (the whole lap)")
    parser.add_argument(
        "--setting",
        dest="settings",
        type=float,
        nargs="+",
        action="extend",
        default=[],
        metavar="SETTING",
        help="settings to try beside the planned one (the nearest to either side at which "
        "something goes wrong)",
    )
    parser.add_argument("--steps", type=int, help="try so many steps to either side instead")
    parser.add_argument(
        "--repeat", type=int, default=0, help="drive each setting so often with scatter (0)"
    )
    parser.add_argument(
        "--press",
        dest="press_frac",
        type=float,
        default=1.0,
        metavar="FACTOR",
        help="press the pedal so many times as hard as planned: 1.1 is a tenth harder (1)",
    )
    _choices(parser)
    parser.add_argument(
        "--plan",
        type=Path,
        help="plan as JSON (made now as foreaft plan makes it with the same options; that takes "
        "as long as a plan does, some ten seconds)",
    )
    parser.add_argument("--samples", type=int, default=64, help="cars sampled for the plan (64)")
    parser.add_argument("--seed", type=int, default=1, help="seed of sampling and scatter (1)")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="write the page that plays and its data there"
    )
    parser.add_argument(
        "--no-image",
        dest="image",
        action="store_false",
        help="leave out the moving image, which takes longest; the page plays without it",
    )
    parser.add_argument(
        "--units", choices=["metric", "imperial"], default="metric", help="for what is printed"
    )


def _advise(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "advise",
        "say what a zone did, get the next setting",
        """
foreaft advise --car car.toml --sheet corners.csv --zone "Mill" --symptom loose-on-entry \\
    --setting 54 --times 2 --passes 6
foreaft advise --car car.toml --sheet corners.csv --history
""",
    )
    _car(parser)
    _road(parser)
    _conditions(parser)
    parser.add_argument("--zone", help="id or name of the zone")
    parser.add_argument(
        "--symptom",
        choices=list(SYMPTOMS),
        help="; ".join(f"{key}: {text}" for key, text in SYMPTOMS.items()),
    )
    parser.add_argument("--setting", type=float, help="setting it happened at")
    parser.add_argument("--times", type=int, help="how often (once; every pass for fine)")
    parser.add_argument("--passes", type=int, default=5, help="of how many passes (5)")
    parser.add_argument("--samples", type=int, default=200, help="cars sampled (200)")
    parser.add_argument("--seed", type=int, default=1, help="seed of the sampling (1)")
    parser.add_argument("--forget", action="store_true", help="neither read nor add to the history")
    parser.add_argument("--history", action="store_true", help="list what was changed, and why")
    parser.add_argument(
        "--take-back", metavar="REPORT", help="take a report out of the history, and list the rest"
    )


def _trial(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    add_trial(commands, _command)


def _zones(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "zones",
        "cut a circuit into braking zones",
        "foreaft zones --car gt-mid --circuit circuit.csv",
    )
    parser.add_argument("--car", required=True, help="car file, or the name of a class of car")
    _road(parser, sheet=False)
    _conditions(parser)
    parser.add_argument("--picture", type=Path, metavar="FILE.svg", help="draw the map there")


def _read(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "read",
        "bring in a log, and say what its channels are",
        """
foreaft read friday.csv
foreaft read friday.mf4 --map "Brake=pressure_front_Pa:bar" --save-mapping our.mapping.toml
foreaft read saturday.mf4 --mapping our.mapping.toml
""",
    )
    parser.add_argument("log", type=Path, help="CSV, Parquet or ASAM MDF")
    parser.add_argument(
        "--mapping", type=Path, help="what the columns are (one that lies beside the log, if any)"
    )
    parser.add_argument(
        "--map",
        dest="maps",
        action="append",
        default=[],
        help="what one column is: COLUMN=CHANNEL:UNIT, -CHANNEL where it counts the other way, or "
        "COLUMN=ignored; may be given several times",
    )
    parser.add_argument(
        "--save-mapping",
        type=Path,
        help="write down what was said; NAME.mapping.toml beside the logs is found next time",
    )
    parser.add_argument(
        "--preview",
        action="store_true",
        help="say of each column its least, middle and greatest value",
    )


def _debrief(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    add_debrief(commands, _command)


def _learn(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    add_learn(commands, _command, _car)


def _record(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "record",
        "drive a simulated car and write what a logger would have kept, with the truth beside it",
        """
foreaft record --car car.toml --circuit circuit.csv --laps 5 --setting 54.5 --out logs
foreaft record --car car.toml --circuit circuit.csv --plan plan/plan.json --logger club --out logs
foreaft record --car car.toml --stops 3 --setting 56 52 --effort 0.6 0.9 --format mdf4 --out logs
""",
    )
    _car(parser)
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--circuit", type=Path, help="circuit file: CSV or GeoJSON")
    where.add_argument("--sheet", type=Path, help="zone sheet: CSV with one row per corner")
    where.add_argument(
        "--stops", type=int, help="no road but straight stops: so many at each setting and effort"
    )
    _driven(parser)
    _conditions(parser)
    parser.add_argument(
        "--zone", action=_Once, help="id or name of one zone, passed again and again (laps)"
    )
    parser.add_argument("--laps", type=int, default=3, help="laps at each setting (3)")
    parser.add_argument(
        "--setting",
        dest="settings",
        type=float,
        nargs="+",
        default=[],
        help="settings, one after the other; the driver has practised the first (the lap setting)",
    )
    parser.add_argument("--plan", type=Path, help="plan as JSON: its own setting for each zone")
    parser.add_argument("--from-kmh", type=float, default=150.0, help="speed of a stop (150)")
    parser.add_argument("--to-kmh", type=float, default=30.0, help="speed at its end (30)")
    parser.add_argument(
        "--effort",
        type=float,
        nargs="+",
        default=[0.8],
        help="pedal of a stop, part of what the first axle to let go would take (0.8)",
    )
    parser.add_argument(
        "--no-scatter",
        dest="scatter",
        action="store_false",
        help="every pass as meant, nothing drawn for the driver",
    )
    parser.add_argument(
        "--logger",
        default="full",
        choices=["clean", "club", "full", "dirty"],
        help="clean: every channel as it was; club: satellite receiver and accelerometers; "
        "full: pressures, wheel speeds, pedals, setting; dirty: full, with many faults (full)",
    )
    _log_style(parser)
    parser.add_argument("--seed", type=int, default=1, help="seed of all that is drawn (1)")
    parser.add_argument("--out", type=Path, metavar="FOLDER", required=True, help="write there")


def _log_style(parser: ArgumentParser) -> None:
    parser.add_argument(
        "--format",
        choices=["csv", "long-csv", "parquet", "mdf4"],
        default="csv",
        help="csv: a column per channel; long-csv: a row per sample; mdf4 keeps every rate (csv)",
    )
    parser.add_argument(
        "--headings",
        choices=["words", "names"],
        default="words",
        help="words with the units people read, or names in SI (words)",
    )
    parser.add_argument(
        "--units-in",
        choices=["row", "brackets", "none"],
        default="row",
        help="where the units of a CSV stand (row)",
    )
    parser.add_argument(
        "--delimiter", choices=["comma", "semicolon", "tab"], default="comma", help="of CSV (comma)"
    )
    parser.add_argument("--decimal-comma", action="store_true", help="1,5 instead of 1.5")
    parser.add_argument(
        "--fill",
        choices=["interpolate", "hold"],
        default="interpolate",
        help="how a table shows channels that are slower (interpolate)",
    )
    parser.add_argument(
        "--table-hz", type=float, help="rows a second of a table (100; 25 for the club logger)"
    )


def _check(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "check",
        "validate files you edit",
        "foreaft check car.toml circuit.csv corners.csv",
    )
    parser.add_argument("files", type=Path, nargs="+", metavar="FILE", help="what to look at")


def _new(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "new",
        "write a commented file to start from",
        """
foreaft new sheet corners.csv
foreaft new car car.toml --class gt-mid
""",
    )
    parser.add_argument(
        "kind",
        choices=["car", "driver", "conditions", "circuit", "sheet", "trial-laps"],
        help="what to describe",
    )
    parser.add_argument("file", type=Path, help="where to write it; what exists is left alone")
    parser.add_argument("--class", dest="class_name", help="for a car: start from this class")


def _classes(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    _command(commands, "classes", "list the classes of car", "foreaft classes")


def _demo(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    parser = _command(
        commands,
        "demo",
        "do the main job on an invented car, driver and circuit",
        "foreaft demo --out my-demo",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FOLDER",
        default=Path("foreaft-demo"),
        help="write there (foreaft-demo)",
    )


def _app(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    add_app(commands, _command)


def _doctor(commands: argparse._SubParsersAction[ArgumentParser]) -> None:
    _command(commands, "doctor", "show versions and where files are kept", "foreaft doctor")
