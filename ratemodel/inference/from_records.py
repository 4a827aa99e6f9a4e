"""From the tables that were read to what the fits of time under load take.

Rows set aside (``excluded``) stay out; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, NotIdentifiedError
from ratemodel.inference.creep_curves import CreepCurve
from ratemodel.inference.cycling import CyclingData
from ratemodel.inference.damage_likelihood import RampData
from ratemodel.inference.life import LifeData
from ratemodel.inference.preload_grid import PreloadData
from ratemodel.records.tables import Series
from ratemodel.records.time_tables import Creep, Cycling
from ratemodel.reduction.record import BreakRecord

_SAME_RATE_DECADES = 0.5


def creep_curves(creep: Creep, series: str) -> tuple[CreepCurve, ...]:
    """Creep curves of one series; readings at the moment of loading are left out."""
    return tuple(
        CreepCurve(r.time_s, r.strain, r.load_N, r.temperature_K, r.specimen or r.file)
        for r in creep.runs
        if r.series == series and np.sum(r.time_s > 0) > 0
    )


def lives(creep: Creep, series: str) -> LifeData:
    """Lives of one series: last reading of each run, a runout where it had not broken."""
    runs = [r for r in creep.runs if r.series == series]
    if not runs:
        raise NotIdentifiedError(f"series {series} has no creep runs")
    return LifeData(
        time_s=np.array([r.time_s[-1] for r in runs]),
        load_N=np.array([r.load_N for r in runs]),
        broke=np.array([r.broke for r in runs]),
        temperature_K=np.array([r.temperature_K for r in runs]),
    )


def cycling_data(cycling: Cycling, series: str) -> CyclingData:
    """Readings per cycle of one series."""
    keep = _kept(cycling, series)
    rows = np.flatnonzero(keep)
    return CyclingData(
        specimen=tuple(cycling.specimen[i] for i in rows),
        cycle=cycling.cycle[keep],
        preload_fraction=cycling.preload_fraction[keep],
        residual_elongation=cycling.residual_elongation[keep],
        stiffness_N=cycling.stiffness_N[keep],
        hysteresis_J=cycling.hysteresis_J[keep],
    )


def cycled_strengths(cycling: Cycling, series: str) -> PreloadData:
    """Strengths after so many cycles, from cycling.csv."""
    keep = _kept(cycling, series) & np.isfinite(cycling.strength)
    broke = np.array(cycling.broke, dtype=np.bool_)
    rows = np.flatnonzero(keep & broke)
    fraction = np.where(cycling.cycle == 0, 0.0, cycling.preload_fraction)
    return PreloadData(
        strength_N=cycling.strength[rows],
        cycles=cycling.cycle[rows],
        fraction=fraction[rows],
        batch=_batches([cycling.batch[i] for i in rows]),
        unbroken=int(np.sum(keep & ~broke)),
    )


def preloaded_breaks(
    series: Series, *, rate_per_s: tuple[float, float] | None = None
) -> PreloadData:
    """Strengths with their preload from the break table, within a narrow range of rates.

    Parameters
    ----------
    series : Series
        With ``preload_cycles`` and ``preload_fraction`` given; cells left empty are no preload
        only where the cycles are given as 0.
    rate_per_s : tuple of float, optional
        Lowest and highest strain rate used; None = all, if they lie within half a decade.

    Raises
    ------
    InputError
        The rates span more than half a decade: an effect of rate would be read as one of preload.
    """
    used = series.used
    rate = used.strain_rate_per_s
    keep = np.isfinite(used.strength) & np.isfinite(used.preload_cycles)
    fraction = np.where(used.preload_cycles == 0, 0.0, used.preload_fraction)
    keep &= np.isfinite(fraction)
    if rate_per_s is not None:
        keep &= (rate >= rate_per_s[0]) & (rate <= rate_per_s[1])
    if not keep.any():
        raise NotIdentifiedError(f"series {series.name} has no break with its preload given")
    span = float(np.log10(np.nanmax(rate[keep]) / np.nanmin(rate[keep])))
    if span > _SAME_RATE_DECADES:
        raise InputError(
            f"the preloaded breaks of {series.name} span {span:.1f} decades of rate",
            "a range of rates of at most half a decade (rate_per_s)",
        )
    rows = np.flatnonzero(keep & used.broke)
    return PreloadData(
        strength_N=used.strength[rows],
        cycles=used.preload_cycles[rows],
        fraction=fraction[rows],
        batch=_batches([used.batch[i] for i in rows]),
        unbroken=int(np.sum(keep & ~used.broke)),
    )


def cycles_from_logs(logs: Sequence[BreakRecord], strength_N: float) -> CyclingData:
    """Readings per cycle from reduced machine logs.

    Parameters
    ----------
    logs : sequence of BreakRecord
        Reduced logs with the free length known.
    strength_N : float
        Strength that preload fractions refer to; levels are rounded to 5 %, so that cycles meant
        to be alike are pooled.
    """
    rows: list[tuple[str, float, float, float, float, float]] = []
    for log in logs:
        if log.cycles and not np.isfinite(log.free_length_m):
            raise InputError(
                f"the free length of {log.name} is not known", "a free length for every log"
            )
        length = log.free_length_m
        for number, c in enumerate(log.cycles, start=1):
            level = round(c.level_N / strength_N * 20) / 20
            rows.append(
                (
                    log.name,
                    float(number),
                    level,
                    c.residual_m / length,
                    c.stiffness_N_per_m * length,
                    c.hysteresis_J,
                )
            )
    if not rows:
        raise NotIdentifiedError("no log holds a preload cycle")
    columns: FloatArray = np.array([r[1:] for r in rows], dtype=np.float64)
    return CyclingData(tuple(r[0] for r in rows), *columns.T)


def ramps(series: Series, stiffness_N: float) -> RampData:
    """Break tests as ramps of force: loading rate = stiffness (EA) times strain rate."""
    used = series.used
    keep = np.isfinite(used.strength) & np.isfinite(used.strain_rate_per_s)
    return RampData(
        strength_N=used.strength[keep],
        loading_rate_N_per_s=stiffness_N * used.strain_rate_per_s[keep],
        broke=used.broke[keep],
    )


def _kept(cycling: Cycling, series: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.array(
        [s == series and not e for s, e in zip(cycling.series, cycling.excluded, strict=True)],
        dtype=np.bool_,
    )


def _batches(names: list[str]) -> tuple[str, ...]:
    return tuple(names) if any(names) else ()
