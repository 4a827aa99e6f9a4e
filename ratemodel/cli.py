"""The command line: arguments to the same calls that a notebook makes.

Exit status 0 done, 2 the input is wrong (one line on standard error, nothing written), 1 a fault of
the program. Heavy libraries are imported inside the commands, so that help comes at once.
"""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NoReturn

from ratemodel import __version__, plan_command
from ratemodel.errors import InputError, RatemodelError
from ratemodel.units import Units

OK, BUG, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130
DRAWS = (1000, 1_000_000)
TRACEBACK = "RATEMODEL_TRACEBACK"


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints are one line."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong, on one line."""
        line = " ".join(message.split())
        self.exit(WRONG_INPUT, f"{self.prog}: {line}; see {self.prog} --help\n")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    arguments = build_parser().parse_args(argv)
    try:
        code: int = arguments.run(arguments)
        return code
    except RatemodelError as error:
        print(f"ratemodel: {error}", file=sys.stderr)
        return WRONG_INPUT
    except KeyboardInterrupt:
        print("ratemodel: stopped; files already written are whole", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:  # whoever read the output has seen enough, as `head` does
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115  (so that the last flush does not fail)
        return OK
    except Exception as error:  # a fault of the program must not look like bad input
        if os.environ.get(TRACEBACK):
            raise
        text = " ".join(str(error).split())
        print(f"ratemodel: a fault in the program ({type(error).__name__}: {text}); "
              f"set {TRACEBACK}=1 for the details and report it", file=sys.stderr)  # fmt: skip
        return BUG


@dataclass(frozen=True)
class Command:
    """One subcommand: its arguments and what it does."""

    name: str
    help: str
    arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


def build_parser() -> argparse.ArgumentParser:
    """Parser of the whole command line."""
    parser = _Parser(
        prog="ratemodel",
        description="Strength of cord, webbing and slings against the rate of loading.",
        epilog="The results are estimates, not a permission to load anything.",
    )
    parser.add_argument("--version", action="version", version=f"ratemodel {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for command in COMMANDS:
        sub = commands.add_parser(command.name, help=command.help, description=command.help)
        command.arguments(sub)
        sub.set_defaults(run=command.run)
    return parser


def add_settings(parser: argparse.ArgumentParser) -> None:
    """Arguments shared by every command that runs an analysis."""
    parser.add_argument("--seed", type=_seed, default=0, help="seed of all random numbers")
    parser.add_argument("--draws", type=_draws, default=20_000, help="joint draws")
    parser.add_argument("--level", type=_level, default=0.90, help="probability in intervals")
    parser.add_argument("--bound", type=_bound, default=(0.95, 0.95), metavar="P/C",
                        help="lower bound: P %% of specimens stronger with C %% confidence "
                        "(default 95/95)")  # fmt: skip
    add_units(parser)


def add_units(parser: argparse.ArgumentParser) -> None:
    """Argument of every command that shows forces or speeds."""
    parser.add_argument("--units", type=_units, default=None, metavar="U[,U]",
                        help="units shown, as lbf,in/min or kgf (default kN,mm/min); files for "
                        "programs keep theirs")  # fmt: skip


def _analyse_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("campaign", metavar="CAMPAIGN", help="campaign folder")
    _out_and_rates(parser)


def _demo_arguments(parser: argparse.ArgumentParser) -> None:
    _out_and_rates(parser)


def _out_and_rates(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", required=True, metavar="DIR", help="folder for the results")
    parser.add_argument("--rate", type=_rate, action="append", default=[], metavar="R",
                        help="strain rate in 1/s wanted exactly; repeatable")  # fmt: skip
    add_settings(parser)


def _reduce_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("logs", nargs="+", metavar="LOG", help="machine logs")
    parser.add_argument("--out", required=True, metavar="FILE", help="break table to write (CSV)")
    parser.add_argument("--free-length-mm", type=_positive, metavar="MM",
                        help="free length between terminations, for the strain rate")  # fmt: skip
    parser.add_argument("--campaign", metavar="DIR",
                        help="campaign whose [logs] table says how to read the logs")  # fmt: skip
    parser.add_argument("--workers", type=_workers, default=1, metavar="N",
                        help="processes to use (default 1)")  # fmt: skip
    parser.add_argument("--pictures", metavar="DIR",
                        help="folder for a picture of each log and what was found")  # fmt: skip
    add_units(parser)


def _report_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("campaign", metavar="CAMPAIGN", help="campaign folder")
    _out_and_rates(parser)
    parser.add_argument("--pdf", action="store_true", help="a PDF as well (extra [pdf])")


def _run_report(arguments: argparse.Namespace) -> int:
    from ratemodel.commands import report_folder

    return report_folder(arguments.campaign, arguments)


def _run_analyse(arguments: argparse.Namespace) -> int:
    from ratemodel.commands import analyse_folder

    return analyse_folder(arguments.campaign, arguments)


def _run_demo(arguments: argparse.Namespace) -> int:
    from ratemodel.commands import demo

    return demo(arguments)


def _run_reduce(arguments: argparse.Namespace) -> int:
    from ratemodel.commands import reduce

    return reduce(arguments)


def _compare_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("campaign", metavar="CAMPAIGN", help="campaign folder")
    parser.add_argument("--series", action="append", required=True, metavar="NAME",
                        help="twice: the yardstick A first, then B, which is judged")  # fmt: skip
    parser.add_argument("--claim", metavar="CLAIM",
                        help="claim of B against A: +20%% is at least 20 %% stronger, -5%% at most "
                        "5 %% weaker (write --claim=-5%%)")  # fmt: skip
    parser.add_argument("--rate", action="append", default=[], metavar="R",
                        help="strain rate in 1/s; repeatable; tested rates by default")  # fmt: skip
    parser.add_argument("--margin", default="5%", metavar="M",
                        help="margin within which means are the same (default 5%%)")  # fmt: skip
    parser.add_argument("--out", metavar="DIR", help="folder for compare.json")
    parser.add_argument("--seed", default="0", help="seed of all random numbers")


def _run_compare(arguments: argparse.Namespace) -> int:
    from ratemodel import compare_command

    return compare_command.run(arguments)


#: Every command; a new one is one row here.
COMMANDS: tuple[Command, ...] = (
    Command("analyse", "campaign in; strength, limits, charts and report out",
            _analyse_arguments, _run_analyse),
    Command("demo", "analyse the invented campaign that comes with the package",
            _demo_arguments, _run_demo),
    Command("report", "campaign in; a post for a blog out, with pictures in two sizes",
            _report_arguments, _run_report),
    Command("reduce", "machine logs in; one row of the break table for each out",
            _reduce_arguments, _run_reduce),
    Command("plan", "what to test next, as a sheet to take to the machine",
            plan_command.add_arguments, plan_command.run),
    Command("compare", "is one product stronger than another at the same rate",
            _compare_arguments, _run_compare),
)  # fmt: skip


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None


def _units(text: str) -> Units:
    try:
        return Units.parse(text)
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _positive(text: str) -> float:
    value = _number(text)
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a number above 0")
    return value


def _rate(text: str) -> float:
    value = _number(text)
    if not 1e-12 <= value <= 1e6:
        raise argparse.ArgumentTypeError(f"{text!r}; expected a strain rate from 1e-12 to 1e6 /s")
    return value


def _level(text: str) -> float:
    value = _number(text)
    if not 0.5 <= value <= 0.999:
        raise argparse.ArgumentTypeError(f"{text!r}; expected a level from 0.5 to 0.999")
    return value


def _seed(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,18}", text):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a whole number from 0 up")
    return int(text)


def _draws(text: str) -> int:
    low, high = DRAWS
    if not re.fullmatch(r"[0-9]{1,9}", text) or not low <= int(text) <= high:
        raise argparse.ArgumentTypeError(f"{text!r}; expected a whole number {low} to {high}")
    return int(text)


def _workers(text: str) -> int:
    if not re.fullmatch(r"[1-9][0-9]?", text):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a whole number from 1 to 99")
    return int(text)


def _bound(text: str) -> tuple[float, float]:
    match = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)/([0-9]+(?:\.[0-9]+)?)", text)
    parts = [float(x) / 100 for x in match.groups()] if match else [0.0, 0.0]
    if not all(0.5 <= x <= 0.9999 for x in parts):
        raise argparse.ArgumentTypeError(
            f"{text!r}; expected fraction/confidence in per cent, as 95/95 or 99/95"
        )
    return parts[0], parts[1]


__all__ = ["COMMANDS", "Command", "InputError", "add_settings", "add_units", "build_parser", "main"]
