"""Many logs to one break table."""

from __future__ import annotations

import csv
import math
import os
import sys
import tempfile
import threading
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Literal

from ratemodel.errors import InputError, RatemodelError
from ratemodel.records.logfile.read import read_log
from ratemodel.reduction.record import BreakRecord, ReductionSettings
from ratemodel.reduction.reduce import reduce_log

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class LogFailure:
    """A log that gave no record; ``kind`` "bug" is a fault of the program, not of the file."""

    path: str
    message: str
    kind: Literal["input", "bug"] = "input"


@dataclass(frozen=True)
class ReducedTable:
    """Records in the order of the files given, and the files that gave none."""

    records: tuple[BreakRecord, ...]
    failures: tuple[LogFailure, ...]
    settings: ReductionSettings


def reduce_logs(
    paths: Iterable[str | Path],
    *,
    settings: ReductionSettings | None = None,
    workers: int = 1,
    progress: bool = True,
) -> ReducedTable:
    """Read and reduce many logs; a bad one is reported and the rest are done.

    Parameters
    ----------
    paths : iterable of str or Path
        The files.
    settings : ReductionSettings, optional
        Shared by all; free lengths may be given per file.
    workers : int
        Processes to use. Results do not depend on it.
    progress : bool
        Show a progress bar on standard error.
    """
    chosen = settings or ReductionSettings()
    chosen.check()
    chosen.mapping.check()
    if workers < 1:
        raise InputError(f"workers is {workers}", "a whole number from 1 up", column="workers")
    files = [str(p) for p in paths]
    work = partial(_one, settings=chosen)
    results: dict[int, BreakRecord | LogFailure] = {}
    count = min(workers, len(files))
    pairs = _serial(work, files) if count <= 1 else _parallel(work, files, count)
    for index, result in _shown(pairs, len(files), progress):
        results[index] = result
    ordered = [results[i] for i in range(len(files))]
    return ReducedTable(
        records=tuple(r for r in ordered if isinstance(r, BreakRecord)),
        failures=tuple(r for r in ordered if isinstance(r, LogFailure)),
        settings=chosen,
    )


def _one(path: str, *, settings: ReductionSettings) -> BreakRecord | LogFailure:
    try:
        return reduce_log(read_log(path, settings.mapping), settings)
    except RatemodelError as error:
        return LogFailure(path, str(error))
    except Exception as error:  # the other logs still want to be reduced
        return LogFailure(path, f"{Path(path).name}: {type(error).__name__}: {error}", "bug")


def _serial(
    work: partial[BreakRecord | LogFailure], files: Sequence[str]
) -> Iterator[tuple[int, BreakRecord | LogFailure]]:
    for index, path in enumerate(files):
        yield index, work(path)


def _parallel(
    work: partial[BreakRecord | LogFailure], files: Sequence[str], workers: int
) -> Iterator[tuple[int, BreakRecord | LogFailure]]:
    # workers start before a progress bar starts its thread
    pool = ProcessPoolExecutor(workers, mp_context=get_context(_start_method()))
    futures = {pool.submit(work, path): i for i, path in enumerate(files)}
    return _collected(pool, futures, files)


def _collected(
    pool: ProcessPoolExecutor,
    futures: dict[Future[BreakRecord | LogFailure], int],
    files: Sequence[str],
) -> Iterator[tuple[int, BreakRecord | LogFailure]]:
    try:
        for future in as_completed(futures):
            index = futures[future]
            try:
                yield index, future.result()
            except BrokenProcessPool:
                text = f"{Path(files[index]).name}: the worker process died while logs were read"
                yield index, LogFailure(files[index], text, "bug")
    finally:  # an interrupted run does not read the rest first
        pool.shutdown(cancel_futures=True)


def _start_method() -> str:
    """Fork where nothing can be caught in the middle of something, else spawn.

    A fork starts at once, a spawned process first imports for about a second. A process with
    other threads (a notebook) must not be forked; from 3.12 on Python warns of more than that.
    """
    alone = threading.active_count() == 1 and sys.version_info < (3, 12)
    return "fork" if sys.platform == "linux" and alone else "spawn"


def _shown(
    pairs: Iterator[tuple[int, BreakRecord | LogFailure]], total: int, progress: bool
) -> Iterator[tuple[int, BreakRecord | LogFailure]]:
    if not progress:
        return pairs
    from tqdm import tqdm

    return iter(tqdm(pairs, total=total, desc="logs", unit="log"))


def write_reduced(table: ReducedTable, out_path: str | Path) -> Path:
    """Write the break table as CSV, whole or not at all.

    Units stand in the column names; a number that the log can not give is an empty cell; text
    that a spreadsheet would take for a formula is preceded by an apostrophe.
    """
    out = Path(out_path)
    rows = [_row(record, table.settings) for record in table.records]
    _make_unique(rows)
    names = list(rows[0]) if rows else ["specimen", "peak_force_kN", "broke"]
    try:
        handle, temporary = tempfile.mkstemp(dir=out.parent, prefix=f".{out.name}.", suffix=".tmp")
    except OSError as error:
        raise InputError(
            f"can not write there ({error.strerror})", "a folder that exists", file=str(out)
        ) from error
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(_safe(n) for n in names)
            writer.writerows([row[n] for n in names] for row in rows)
        os.chmod(temporary, 0o644)
        os.replace(temporary, out)
    except BaseException as error:
        os.unlink(temporary)
        if isinstance(error, OSError):
            raise InputError(
                f"can not be written ({error.strerror})", "a file name", file=str(out)
            ) from error
        raise
    return out


def _make_unique(rows: Sequence[dict[str, str]]) -> None:
    """Give logs that share a name (in different folders) specimens of their own."""
    taken: set[str] = set()
    for row in rows:
        name, number = row["specimen"], 1
        while row["specimen"] in taken:
            number += 1
            row["specimen"] = f"{name}-{number}"
        taken.add(row["specimen"])


def _safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula, on one line."""
    flat = "".join(c if c.isprintable() else " " for c in text)
    return f"'{flat}" if text.startswith(_FORMULA) else flat


def _number(value: float) -> str:
    return f"{value:.8g}" if math.isfinite(value) else ""


def _row(record: BreakRecord, settings: ReductionSettings) -> dict[str, str]:
    """Cells of one record, keyed by column name."""
    level = record.preload_level_N
    known = settings.rating_N is not None or not record.cycles
    fraction = 0.0 if not record.cycles else level / (settings.rating_N or math.nan)
    labels = {k: _safe(v) for k, v in settings.labels.items()}
    numbers = {
        "peak_force_kN": record.peak_force_N / 1e3,
        "strain_rate_per_s": record.strain_rate_per_s,
        "free_length_mm": record.free_length_m * 1e3,
        "strain_at_break": record.strain_at_break,
        "time_to_peak_s": record.time_to_peak_s,
        "preload_fraction": fraction if known else math.nan,
        "preload_cycles": float(len(record.cycles)),
        "preload_level_kN": level / 1e3,
        "peak_low_by_at_most_kN": record.peak_low_by_at_most_N / 1e3,
        "peak_high_by_at_most_kN": record.peak_high_by_at_most_N / 1e3,
        "force_rate_kN_per_s": record.force_rate_N_per_s / 1e3,
        "effective_speed_mm_per_s": record.speed_m_per_s * 1e3,
        "stiffness_kN": record.stiffness_N / 1e3,
        "stiffness_kN_per_mm": record.stiffness_N_per_m / 1e6,
        "elongation_mm": record.elongation_m * 1e3,
        "energy_J": record.energy_J,
        "slack_mm": record.slack_m * 1e3,
        "partial_breaks": float(len(record.drops)),
        "holds": float(len(record.holds)),
    }
    return {
        "specimen": _safe(Path(record.name).stem),
        **labels,
        "broke": "no" if record.censored else "yes",
        **{name: _number(value) for name, value in numbers.items()},
        "log": _safe(record.name),
        "ended": record.ended,
        "findings": _safe(" ".join(dict.fromkeys(p.code for p in record.findings))),
        "corrections": _safe("; ".join(record.corrections)),
        "log_sha256": record.sha256,
    }
