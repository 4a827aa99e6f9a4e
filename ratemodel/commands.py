"""What the commands do: read, analyse, write, and say in a few lines what was found."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from ratemodel.analysis import Analysis, analyse
from ratemodel.demo import demo_folder
from ratemodel.errors import InputError
from ratemodel.inference.average import Settings
from ratemodel.inference.ratefit import Bound
from ratemodel.records.campaign import read_campaign
from ratemodel.report.files import write_report
from ratemodel.report.show import text
from ratemodel.shown import one_line, rate_text
from ratemodel.units import Units
from ratemodel.words import CAUTION, number_text, slugs

if TYPE_CHECKING:
    from ratemodel.reduction import BreakRecord, ReducedTable, ReductionSettings


def settings_of(arguments: argparse.Namespace) -> Settings:
    """Settings of an analysis from the shared arguments."""
    return Settings(draws=arguments.draws, level=arguments.level, bound=Bound(*arguments.bound))


def analyse_folder(folder: str | Path, arguments: argparse.Namespace) -> int:
    """Analyse a campaign folder and write everything into ``--out``."""
    check_out(arguments.out)
    campaign = read_campaign(folder)
    analysis = analyse(
        campaign, rates=arguments.rate, seed=arguments.seed, settings=settings_of(arguments)
    )
    files = write_report(analysis, arguments.out, arguments.units)
    print(_said(analysis, files, arguments.units))
    return 0


def report_folder(folder: str | Path, arguments: argparse.Namespace) -> int:
    """Analyse a campaign folder and write a post for a blog into ``--out``."""
    from ratemodel.report.pdf import check_pdf
    from ratemodel.report.post import write_post

    check_out(arguments.out)
    if arguments.pdf:
        check_pdf()
    analysis = analyse(read_campaign(folder), rates=arguments.rate, seed=arguments.seed,
                       settings=settings_of(arguments))  # fmt: skip
    files = write_post(analysis, arguments.out, units=arguments.units, pdf=arguments.pdf)
    print(_said(analysis, files, arguments.units))
    return 0


def demo(arguments: argparse.Namespace) -> int:
    """Analyse the invented campaign that comes with the package."""
    analyse_folder(demo_folder(), arguments)
    page = Path(arguments.out) / "report.html"
    print(f"\nThe campaign is invented. The report is {page}: open it in a browser.\n"
          "The notebooks, in a copy of the project: jupyter lab notebooks")  # fmt: skip
    print(f"\nCaution: {CAUTION}")
    return 0


def reduce(arguments: argparse.Namespace) -> int:
    """Reduce machine logs to rows of a break table; a bad log is reported and the rest are done."""
    from ratemodel.reduction import ReductionSettings, reduce_logs, write_reduced

    settings = ReductionSettings()
    if arguments.campaign is not None:
        table = read_campaign(arguments.campaign).options.get("logs")
        if isinstance(table, dict):
            settings = ReductionSettings.from_table(table)
    if arguments.free_length_mm is not None:
        from dataclasses import replace

        settings = replace(settings, free_length_m=arguments.free_length_mm / 1e3)
    if arguments.pictures is not None:
        check_out(arguments.pictures)
    done = reduce_logs(arguments.logs, settings=settings, workers=arguments.workers,
                       progress=len(arguments.logs) > 5)  # fmt: skip
    bug = next((f for f in done.failures if f.kind == "bug"), None)
    if bug is not None:
        raise RuntimeError(bug.message)
    if done.failures and not done.records:
        raise _none(done)
    path = write_reduced(done, arguments.out)
    for record in done.records:
        print(_record_line(record, arguments.units or Units()))
    for failure in done.failures:
        print(one_line(f"ratemodel: left out: {failure.message}"), file=sys.stderr)
    if arguments.pictures is not None:
        left_out = {f.path for f in done.failures}
        logs = [log for log in arguments.logs if str(log) not in left_out]
        _draw_logs(dict(zip(logs, done.records, strict=True)), settings,
                   Path(arguments.pictures), arguments.units)  # fmt: skip
    print(f"{len(done.records)} rows written to {path}. Each is the force one specimen was tested "
          "at, not a working load.")  # fmt: skip
    return 0


def _none(done: ReducedTable) -> InputError:
    """No log gave a record: the first one's complaint, and how many more there are."""
    first, more = done.failures[0].message, len(done.failures) - 1
    rest = f" (and {more} more that give no record)" if more else ""
    return InputError(f"{first}{rest}", "at least one log that can be reduced")


def _draw_logs(records: Mapping[str, BreakRecord], settings: ReductionSettings, folder: Path,
               units: Units | None) -> None:  # fmt: skip
    """Draw every log that gave a record, with what was found in it."""
    from ratemodel.charts import log_chart, save_figure
    from ratemodel.records.logfile import read_log
    from ratemodel.writing import write_folder

    stems = {path: Path(path).stem for path in records}
    own = stems if len(set(stems.values())) == len(stems) else {path: path for path in records}
    words = slugs(own.values())
    names = {path: words[own[path]] for path in records}
    for path, record in records.items():
        chart = log_chart(read_log(path, settings.mapping), record, units=units)
        write_folder(folder, {f"{names[path]}.png": save_figure(chart, None, fmt="png")})
    print(f"{len(records)} pictures written to {folder}.")


def _record_line(record: BreakRecord, units: Units) -> str:
    """One reduced log in one line, with what was found."""
    held = "held at least" if record.censored else "broke at"
    rate = record.strain_rate_per_s
    at = f" at {rate_text(rate)}" if rate == rate else ", strain rate not known"
    found = "; ".join(f"{p.severity}: {p.message}" for p in record.findings)
    force = number_text(record.peak_force_N / units.force.factor, 4)
    return one_line(
        f"{record.name}: {held} {force} {units.force.symbol}{at}{f' ({found})' if found else ''}"
    )


def check_out(out: str) -> None:
    """Refuse an output folder that is a file before any work is done."""
    path = Path(out)
    nearest = next((p for p in (path, *path.parents) if p.exists()), None)
    if not out or (nearest is not None and not nearest.is_dir()):
        raise InputError(f"--out {out!r} is no folder", "a folder, existing or new")


def _said(analysis: Analysis, files: tuple[Path, ...], units: Units | None) -> str:
    names = ", ".join(f.name for f in files)
    folder = files[0].parent if files else Path()
    return f"{text(analysis, units)}\n\nWritten to {folder}: {names}"
