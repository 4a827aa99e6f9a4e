"""Fit thousands of series on any executor, with the same answer whichever it is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from ratemodel.errors import InputError
from ratemodel.inference.average import Settings
from ratemodel.many import checkpoint
from ratemodel.many.result import ManyFailure, ManyResult
from ratemodel.many.work import Cell, Job, Outcome, key_of, run_chunk
from ratemodel.records.tables import Campaign, Series
from ratemodel.words import CAUTION

if TYPE_CHECKING:
    import pandas as pd

Named: TypeAlias = tuple[str, Series]


@dataclass(frozen=True)
class ManyRun:
    """How a large run is carried out; none of it changes a number.

    Attributes
    ----------
    progress : bool
        Show a progress bar on standard error.
    chunk : int
        Series per task: more is less traffic, fewer is finer progress and checkpoints.
    checkpoint : str or Path, optional
        Folder that keeps finished series. A run that was stopped goes on from there; give the
        same folder again.
    """

    progress: bool = True
    chunk: int = 8
    checkpoint: str | Path | None = None


def fit_many(series: Mapping[str, Series] | Iterable[Series] | Campaign, *, seed: int,
             rates: Sequence[float], settings: Settings | None = None,
             executor: Executor | None = None, run: ManyRun | None = None
             ) -> ManyResult:  # fmt: skip
    """Strength of many series at given strain rates, as one table.

    Parameters
    ----------
    series : mapping of str to Series, iterable of Series, or Campaign
        What to fit. Names must differ. A campaign brings its machines and priors along.
    seed : int
        Seed of all random numbers. Each series has a stream of its own that follows from the seed
        and its name, so executor, order and company change nothing.
    rates : sequence of float
        Strain rates of the table, 1/s.
    settings : Settings, optional
        Draws, level, bound, models.
    executor : concurrent.futures.Executor, optional
        Runs the tasks: a ``ProcessPoolExecutor``, ``Client.get_executor()`` of a Dask cluster, or
        any other; without it they run here, one after another. Threads gain nothing.
    run : ManyRun, optional
        Progress bar, series per task, checkpoint.

    Returns
    -------
    ManyResult
        A series that can not be fitted stands in ``failures`` with the reason; the others stay.

    Raises
    ------
    InputError
        Names twice, no or impossible rates, a chunk below 1, a checkpoint that is a file.

    Examples
    --------
    >>> import numpy as np
    >>> from ratemodel.simulate import Design, Label, Truth, simulate_series
    >>> design = Design((-3.0, 0.0), machines=("slow", "fast"))
    >>> some = [simulate_series(Truth(), design, np.random.default_rng(i), label=Label(f"cord-{i}"))
    ...         for i in range(2)]
    >>> result = fit_many(some, seed=1, rates=[1.0], run=ManyRun(progress=False))
    >>> list(result.table["series"]), result.failures
    (['cord-0', 'cord-1'], ())
    """
    run = run or ManyRun()
    if run.chunk < 1:
        raise InputError(f"chunk is {run.chunk}", "a whole number from 1 up", column="chunk")
    named = _named(series)
    given = (series.options, series.sha256) if isinstance(series, Campaign) else ({}, "")
    job = Job(seed, _rates(rates), settings or Settings(), *given)
    folder = None if run.checkpoint is None else Path(run.checkpoint)
    kept = _kept(named, job, folder)
    left = [(name, one) for name, one in named if name not in kept]
    chunks = [left[i : i + run.chunk] for i in range(0, len(left), run.chunk)]
    done = dict(kept)
    for outcomes in _shown(_run(chunks, job, executor), (len(named), len(kept)), run.progress):
        done |= {o.name: o for o in outcomes}
        if folder is not None:
            checkpoint.keep(folder, outcomes)
    ordered = [done[name] for name, _ in named]
    failures = tuple(ManyFailure(o.name, o.message, o.kind) for o in ordered if not o.rows)
    return ManyResult(_table(ordered), failures, seed, job.rates, job.settings, len(kept))


def _named(series: Mapping[str, Series] | Iterable[Series] | Campaign) -> list[Named]:
    if isinstance(series, Campaign):
        return list(series.series.items())
    if isinstance(series, Mapping):
        return list(series.items())
    named = [(one.name, one) for one in series]
    seen: set[str] = set()
    for name, _ in named:
        if name in seen:
            raise InputError(f"series {name!r} stands twice", "a name of its own for each series")
        seen.add(name)
    return named


def _rates(rates: Sequence[float]) -> tuple[float, ...]:
    values = tuple(float(r) for r in rates)
    if not values:
        raise InputError("no strain rate is asked for", "at least one, in 1/s", column="rates")
    for value in values:
        if not (math.isfinite(value) and 1e-12 <= value <= 1e6):
            raise InputError(f"strain rate {value}", "from 1e-12 to 1e6 /s", column="rates")
    return values


def _kept(named: Sequence[Named], job: Job, folder: Path | None) -> dict[str, Outcome]:
    """Outcomes of the checkpoint that belong to these very series and settings."""
    if folder is None:
        return {}
    there = checkpoint.finished(folder)
    keys = {name: key_of(name, series, job) for name, series in named}
    return {name: there[key] for name, key in keys.items() if key in there}


def _run(chunks: Sequence[Sequence[Named]], job: Job, executor: Executor | None
         ) -> Iterator[list[Outcome]]:  # fmt: skip
    if executor is None:
        for chunk in chunks:
            yield run_chunk(chunk, job)
        return
    futures: dict[Future[list[Outcome]], Sequence[Named]] = {}
    try:
        for chunk in chunks:
            try:
                futures[executor.submit(run_chunk, chunk, job)] = chunk
            except BrokenExecutor as error:  # died before every chunk was handed over
                yield _lost(chunk, error)
        for future in as_completed(list(futures)):
            yield _result(future, futures.pop(future))
    finally:
        for future in futures:
            future.cancel()


def _result(future: Future[list[Outcome]], chunk: Sequence[Named]) -> list[Outcome]:
    try:
        return future.result()
    except (Exception, CancelledError) as error:  # the executor failed, not the series
        return _lost(chunk, error)


def _lost(chunk: Sequence[Named], error: BaseException) -> list[Outcome]:
    why = " ".join(f"{type(error).__name__}: {error}".split())
    text = f"its worker was lost ({why}); run again, with a checkpoint only what is missing is done"
    return [Outcome(name, "", message=text, kind="lost") for name, _ in chunk]


def _shown(results: Iterator[list[Outcome]], counts: tuple[int, int], progress: bool
           ) -> Iterator[list[Outcome]]:  # fmt: skip
    if not progress:
        yield from results
        return
    from tqdm import tqdm

    total, already = counts
    with tqdm(total=total, initial=already, desc="series", unit="series") as bar:
        for outcomes in results:
            yield outcomes
            bar.update(len(outcomes))


def _table(outcomes: Sequence[Outcome]) -> pd.DataFrame:
    import pandas as pd

    rows: list[dict[str, Cell]] = [row for outcome in outcomes for row in outcome.rows]
    table = pd.DataFrame(rows) if rows else pd.DataFrame(columns=["series", "strain_rate_per_s"])
    table["caution"] = CAUTION
    return table
