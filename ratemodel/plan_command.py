"""The command ``ratemodel plan``: what to test next, as a sheet to take to the machine."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ratemodel.errors import InputError
from ratemodel.units import Units

if TYPE_CHECKING:
    from ratemodel.planning import Choice, Effort, Plan

_KINDS: tuple[Literal["svg", "png"], ...] = ("svg", "png")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("campaign", metavar="CAMPAIGN", help="campaign folder")
    asked = parser.add_mutually_exclusive_group()
    asked.add_argument("--use", metavar="NAME", help="use case whose rate is asked about")
    asked.add_argument("--rate", type=_positive, metavar="R", help="strain rate asked about, 1/s")
    parser.add_argument("--series", metavar="NAME", help="product, beside --rate")
    parser.add_argument("--question", choices=("mean", "bound"), default=None,
                        help="mean strength, or the lower bound")  # fmt: skip
    parser.add_argument("--hours", type=_positive, metavar="H",
                        help="machine hours (default 8)")  # fmt: skip
    parser.add_argument("--specimens", type=_whole, metavar="N",
                        help="most specimens (default 15)")  # fmt: skip
    parser.add_argument("--out", metavar="DIR", help="folder for the test sheet and the charts")
    parser.add_argument("--seed", type=_seed, default=0, help="seed of all random numbers")
    parser.add_argument("--units", type=_units, default=None, metavar="U[,U]",
                        help="units of the printed sheet, as lbf,in/min")  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Plan, write what was asked for, and say in a few lines what to test."""
    from ratemodel.planning import Choice
    from ratemodel.report.test_sheet import plan_text

    choice = Choice(args.use, args.rate, args.series, args.question, args.hours, args.specimens)
    if args.out is not None and (not args.out or Path(args.out).is_file()):
        raise InputError(f"--out {args.out!r} is no folder", "a folder, existing or new")
    plan = run_plan(args.campaign, choice, seed=args.seed)
    print(plan_text(plan))
    if args.out is not None:
        files = write_plan(plan, args.out, args.units)
        print(f"Written to {args.out}: " + ", ".join(f.name for f in files))
    return 0


def run_plan(folder: str | Path, choice: Choice | None = None, *, seed: int = 0,
             effort: Effort | None = None) -> Plan:  # fmt: skip
    """Plan the next tests of a campaign folder.

    Parameters
    ----------
    folder : str or Path
        Campaign folder.
    choice : Choice, optional
        Question and budget; what it leaves open comes from the ``[plan]`` table.
    seed : int
        Same seed, same plan.
    effort : Effort, optional
        Numbers of mixture parts and imagined outcomes.
    """
    import numpy as np

    from ratemodel.planning import plan_request, plan_tests
    from ratemodel.records.campaign import read_campaign

    rng = np.random.default_rng(seed)
    request = plan_request(read_campaign(folder, untested=True), choice, rng=rng)
    return plan_tests(request, rng=rng, effort=effort)


def write_plan(plan: Plan, out: str | Path, units: Units | None = None) -> tuple[Path, ...]:
    """Write the sheet (CSV and page) and the charts; each file whole or not at all."""
    from ratemodel.writing import write_folder

    return write_folder(out, render_plan(plan, units))


def render_plan(plan: Plan, units: Units | None = None) -> Mapping[str, bytes]:
    """Content of every file of a plan, by name."""
    from ratemodel.report.test_sheet import sheet_csv, sheet_html

    return {
        **_charts(plan),
        "test-sheet.html": sheet_html(plan, units).encode(),
        "test-sheet.csv": sheet_csv(plan.sheet).encode(),
    }


def _charts(plan: Plan) -> dict[str, bytes]:
    from ratemodel.charts.plan_chart import design_on_rate_axis, interval_against_hours
    from ratemodel.charts.saving import save_figure
    from ratemodel.report.test_sheet import plan_text

    charts = {
        "interval-against-hours": interval_against_hours(plan),
        "design-on-rate-axis": design_on_rate_axis(plan),
    }
    alt = plan_text(plan)
    return {
        f"{name}.{kind}": save_figure(axes, None, alt=alt, fmt=kind)
        for name, axes in charts.items()
        for kind in _KINDS
    }


def _units(text: str) -> Units:
    try:
        return Units.parse(text)
    except InputError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a number above 0")
    return value


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 6 and int(text) > 0):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a whole number above 0")
    return int(text)


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a whole number from 0 up")
    return int(text)
