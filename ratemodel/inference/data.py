"""The numbers a likelihood needs, taken from a validated series."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray, IntArray
from ratemodel.records.tables import Series, Specimens


@dataclass(frozen=True)
class Cells:
    """Sufficient statistics of cells of equal rate, spool, machine and covariates.

    ``first`` is a specimen of each cell, ``within`` the sum of squares about its mean.
    """

    u: FloatArray
    first: IntArray
    count: FloatArray
    mean: FloatArray
    within: FloatArray


@dataclass(frozen=True)
class RateData:
    """Specimens as arrays; ``group`` and ``speed`` gather what was pulled alike.

    Attributes
    ----------
    u : ndarray, shape (n,)
        log10 of the strain rate in 1/s.
    y : ndarray, shape (n,)
        ln of the strength in the SI unit of the series.
    broke : ndarray of bool, shape (n,)
        False: held at least this much (right-censored).
    batch, machine : ndarray of int, shape (n,)
        Index into the name tuples; 0 throughout where there is one or none.
    covariates : ndarray, shape (n, k)
        ``cycled`` (1 for a specimen cycled before the pull, where the series has both kinds) and
        ``temperature`` (kelvin above the reference, where temperatures differ by over 5 K).
    reading_sd : ndarray, shape (n,)
        Standard deviation of ln S from what the log may have missed of the peak; 0 where that is
        below `READING_FLOOR` of the peak or not known.
    group : ndarray of int, shape (n,)
        Cell of equal rate (to 1e-4 decade), spool, machine and covariates: one row of the
        likelihood, entered through number, mean and sum of squares.
    speed : ndarray of int, shape (n,)
        Index into ``rates``: specimens pulled alike, up to what logs scatter in their rate.
    """

    u: FloatArray
    y: FloatArray
    broke: BoolArray
    batch: IntArray
    machine: IntArray
    group: IntArray
    speed: IntArray
    batches: tuple[str, ...]
    machines: tuple[str, ...]
    covariates: FloatArray
    covariate_names: tuple[str, ...] = ()
    temperature_K: float = float("nan")
    reading_sd: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __len__(self) -> int:
        return int(self.y.size)

    @cached_property
    def centre(self) -> float:
        """Mean log10 rate: the reference at which intercepts are defined."""
        return float(self.u.mean())

    @cached_property
    def pure_error_dof(self) -> int:
        """Broken specimens beyond one per cell of equal speed, spool, machine and covariates."""
        table = np.column_stack([self.speed, self.batch, self.machine, self.covariates])
        broken = table[self.broke]
        return int(broken.shape[0] - np.unique(broken, axis=0).shape[0])

    @cached_property
    def pure_error(self) -> float:
        """Standard deviation of ln S within cells of specimens tested alike; NaN without any."""
        if self.pure_error_dof < 1:
            return float("nan")
        alike = np.column_stack([self.speed, self.batch, self.machine, self.covariates])
        cell = np.unique(alike[self.broke], axis=0, return_inverse=True)[1].reshape(-1)
        y = self.y[self.broke]
        mean = np.bincount(cell, weights=y) / np.bincount(cell)
        return float(np.sqrt(((y - mean[cell]) ** 2).sum() / self.pure_error_dof))

    @cached_property
    def scatter_seen(self) -> bool:
        """Whether replicates show a scatter; identical readings do not."""
        return self.pure_error > SMALLEST_SCATTER

    @cached_property
    def cells(self) -> Cells:
        """Number, mean and within sum of squares of each ``group``."""
        groups, first = np.unique(self.group, return_index=True)
        count = np.bincount(self.group, minlength=groups.size).astype(float)
        mean = np.bincount(self.group, weights=self.y, minlength=groups.size) / count
        squares = (self.y - mean[self.group]) ** 2
        within = np.bincount(self.group, weights=squares, minlength=groups.size).astype(np.float64)
        return Cells(self.u[first], first.astype(np.int64), count, mean, within)

    @cached_property
    def rates(self) -> FloatArray:
        """Mean log10 rate of each tested speed, ascending, shape (number of speeds,)."""
        return np.bincount(self.speed, weights=self.u) / np.bincount(self.speed)


#: A scatter of ln S below this (0.05 %) is the resolution of the readings, not of the line.
SMALLEST_SCATTER = 5e-4
#: Rates of successive specimens within this many decades (12 %) belong to one speed.
SAME_SPEED_DECADES = 0.05
#: and one speed spans no more than this.
WIDEST_SPEED_DECADES = 0.2


def speeds_of(u: FloatArray) -> IntArray:
    """Index of the tested speed of each specimen: rates in one chain of small gaps are one speed.

    Effective rates reduced from logs differ by a per cent or so between specimens pulled alike.

    Examples
    --------
    >>> speeds_of(np.log10(np.array([1.0, 0.01, 1.02, 0.0101])))
    array([1, 0, 1, 0])
    """
    order = np.argsort(u, kind="stable")
    out = np.empty(u.size, dtype=np.int64)
    speed, first = -1, -np.inf
    last = -np.inf
    for i in order.tolist():
        # many speeds close together would otherwise chain into one
        if u[i] - last > SAME_SPEED_DECADES or u[i] - first > WIDEST_SPEED_DECADES:
            speed, first = speed + 1, u[i]
        out[i], last = speed, u[i]
    return out


def rate_data(series: Series) -> RateData:
    """Arrays of the specimens of a series that are used.

    Rows are put into a fixed order first, so that the order in the file cannot change a result.
    """
    s = series.used
    order = sorted(
        range(len(s)),
        key=lambda i: (
            float(s.strain_rate_per_s[i]),
            s.batch[i],
            s.machine[i],
            float(s.strength[i]),
            bool(s.broke[i]),
        ),
    )
    u = np.log10(s.strain_rate_per_s[order])
    batches, batch = _codes([s.batch[i] for i in order])
    machines, machine = _codes([s.machine[i] for i in order])
    names, covariates, reference = _covariates(s, order)
    # Rates from position / length differ in the last digits between rows; cells use 4 decimals.
    reading = _reading_sd(s, order)
    own = np.where(reading > 0, 1 + np.arange(reading.size), 0)
    cells = np.column_stack([np.round(u, 4), batch, machine, np.round(covariates, 2), own])
    group = np.unique(cells, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)
    return RateData(
        u, np.log(s.strength[order]), s.broke[order], batch, machine, group, speeds_of(u),
        batches, machines,
        covariates, names, reference, reading,
    )  # fmt: skip


#: Peaks that may be read low by less than this share are taken as read: beside a scatter of a few
#: per cent it does not show.
READING_FLOOR = 0.01


def _reading_sd(s: Specimens, order: list[int]) -> FloatArray:
    """Bound over root three: evenly spread up to the bound, about the reading itself.

    Strength is not credited with what the log may have missed; only the uncertainty is.
    """
    bounds = s.extra.get("peak_low_by_at_most_kN", ())
    out = np.zeros(len(order))
    for k, i in enumerate(order):
        try:
            bound = float(bounds[i]) * 1e3
        except (IndexError, ValueError):
            continue
        share = bound / float(s.strength[i])
        if READING_FLOOR < share < np.inf:
            out[k] = np.log1p(share) / np.sqrt(3.0)
    return out


def _covariates(s: Specimens, order: list[int]) -> tuple[tuple[str, ...], FloatArray, float]:
    """Columns for preload cycling and temperature where they differ within the series."""
    names: list[str] = []
    columns: list[FloatArray] = []
    cycles = np.nan_to_num(s.preload_cycles[order], nan=0.0)
    cycled = (cycles > 0).astype(float)
    if 0 < cycled.sum() < cycled.size:
        names.append("cycled")
        columns.append(cycled)
    temperature = s.temperature_K[order]
    known = np.isfinite(temperature)
    reference = float(np.median(temperature[known])) if known.any() else float("nan")
    if known.any() and float(np.ptp(temperature[known])) > 5.0:
        names.append("temperature")
        columns.append(np.where(known, temperature - reference, 0.0))
    table = np.column_stack(columns) if columns else np.zeros((len(order), 0))
    return tuple(names), table, reference


def subset(data: RateData, keep: BoolArray) -> RateData:
    """The same data with some rows left out (for leave-one-rate-out checks)."""
    return RateData(
        data.u[keep],
        data.y[keep],
        data.broke[keep],
        data.batch[keep],
        data.machine[keep],
        np.unique(data.group[keep], return_inverse=True)[1].reshape(-1).astype(np.int64),
        speeds_of(data.u[keep]),
        data.batches,
        data.machines,
        data.covariates[keep],
        data.covariate_names,
        data.temperature_K,
        data.reading_sd[keep] if data.reading_sd.size else data.reading_sd,
    )


def _codes(names: list[str]) -> tuple[tuple[str, ...], IntArray]:
    """Names in alphabetical order and the index of each entry."""
    known = sorted(set(names))
    lookup = {name: i for i, name in enumerate(known)}
    return tuple(known), np.array([lookup[n] for n in names], dtype=np.int64)
