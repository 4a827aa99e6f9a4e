"""Least-squares curves through a series, one law at a time: the classical answer beside ours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.inference import leastsq
from ratemodel.inference.data import speeds_of
from ratemodel.inference.starts import FitTask
from ratemodel.models.base import RateModel
from ratemodel.models.rate import RATE_MODELS
from ratemodel.records.tables import Series

if TYPE_CHECKING:
    import lmfit

Scale = Literal["ln-strength", "strength"]
Weights = Literal["equal", "n", "n/sd2"]


@dataclass(frozen=True)
class RateTable:
    """Mean, standard deviation and number per tested rate, in the series' own unit.

    Rows published as a summary give back the published mean and standard deviation exactly.
    Specimens that did not break are left out.
    """

    u: FloatArray
    count: FloatArray
    mean: FloatArray
    sd: FloatArray


def rate_table(series: Series) -> RateTable:
    """Summary of a series by tested rate (rates within 12 % of each other are one)."""
    s = series.used
    u = np.log10(s.strain_rate_per_s)
    speed = speeds_of(u)
    rows: list[tuple[float, float, float, float]] = []
    for k in range(int(speed.max()) + 1):
        mine = (speed == k) & s.broke
        if not mine.any():
            continue
        values = s.strength[mine] / series.strength_unit.factor
        n = float(mine.sum())
        if bool(s.summary[mine].all()):
            m, v = float(np.log(values).mean()), float(np.log(values).var(ddof=1)) if n > 1 else 0.0
            mean = float(np.exp(m + v / 2))
            sd = mean * float(np.sqrt(np.expm1(v)))
        else:
            mean, sd = float(values.mean()), float(values.std(ddof=1)) if n > 1 else 0.0
        rows.append((float(u[mine].mean()), n, mean, sd))
    table = np.array(rows)
    return RateTable(table[:, 0], table[:, 1], table[:, 2], table[:, 3])


def best_fit(series: Series, law: str, *, rng: np.random.Generator, scale: Scale = "ln-strength",
             weights: Weights = "equal", user: lmfit.Parameters | None = None
             ) -> leastsq.BestFit:  # fmt: skip
    """One law through the means at the tested rates, by least squares, with lmfit's result.

    Parameters
    ----------
    series : Series
        Specimens that broke are used; spools, machines and censoring play no part.
    law : str
        Name of a rate model, as ``power-law``.
    rng : numpy.random.Generator
        Places further starts of the search.
    scale : {"ln-strength", "strength"}
        Whether residuals are taken on ln S or on S in the series' own unit.
    weights : {"equal", "n", "n/sd2"}
        Weight of each mean.
    user : lmfit.Parameters, optional
        Fixes, bounds or constrains parameters.

    Returns
    -------
    BestFit
        Parameters of the law with ``ln_strength`` (of S in the series' unit) at 1/s.

    Raises
    ------
    InputError
        An unknown law, or weights that the table cannot give.
    """
    kinds = {m.name: m for m in RATE_MODELS}
    if law not in kinds:
        raise InputError(f"rate model {law!r} is not known", "one of " + ", ".join(kinds))
    model = kinds[law](0.0)
    table = rate_table(series)
    if weights == "n/sd2" and bool((table.sd <= 0).any()):
        raise InputError("a rate has one specimen or no scatter", "weights equal or n")
    sd = {"equal": None, "n": table.count**-0.5, "n/sd2": table.sd / np.sqrt(table.count)}[weights]
    if sd is not None and scale == "ln-strength" and weights == "n/sd2":
        sd = sd / table.mean
    names = [p.name for p in (*model.linear, *model.shape)]

    def curve(values: Mapping[str, float]) -> FloatArray:
        row = np.array([[values[n] for n in names]])
        p = len(model.linear)
        ln = model.curve(table.u, row[:, :p], row[:, p:])[0]
        return ln if scale == "ln-strength" else np.asarray(np.exp(ln))

    y = np.log(table.mean) if scale == "ln-strength" else table.mean
    task = FitTask(curve, y, (*model.linear, *model.shape), _guess(model, table), sd)
    return leastsq.best_fit(task, rng=rng, user=user)


def _guess(model: RateModel, table: RateTable) -> dict[str, float]:
    """Level of the data, no slope, steps in the middle of the tested rates."""
    middle = float(table.u.mean())
    start = {"ln_strength": float(np.log(table.mean).mean()), "ln_B": 35.0, "k": 0.01}
    start |= {"place": middle, "corner": middle, "drop": 0.05}
    return {p.name: start.get(p.name, 0.01) for p in (*model.linear, *model.shape)}
