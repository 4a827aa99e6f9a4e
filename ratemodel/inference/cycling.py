"""What is read from cycle to cycle: residual elongation, stiffness, hysteresis energy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, NotIdentifiedError, Problem
from ratemodel.inference.leastsq import BestFit, best_fit
from ratemodel.inference.starts import FitTask
from ratemodel.models.preload import CYCLE_CURVES, CycleCurve

if TYPE_CHECKING:
    import lmfit


@dataclass(frozen=True)
class CyclingData:
    """Readings per cycle, one entry per row; NaN where nothing was read.

    Attributes
    ----------
    specimen : tuple of str
        Which specimen.
    cycle : ndarray, shape (n,)
        Number of the cycle, from 1.
    preload_fraction : ndarray, shape (n,)
        Level of the cycle.
    residual_elongation : ndarray, shape (n,)
        Strain left after unloading.
    stiffness_N : ndarray, shape (n,)
        Force per unit strain.
    hysteresis_J : ndarray, shape (n,)
        Energy lost in the cycle.
    """

    specimen: tuple[str, ...]
    cycle: FloatArray
    preload_fraction: FloatArray
    residual_elongation: FloatArray
    stiffness_N: FloatArray
    hysteresis_J: FloatArray

    def __post_init__(self) -> None:
        n = len(self.specimen)
        for name in ("cycle", "preload_fraction", *QUANTITIES):
            column = np.array(getattr(self, name), dtype=np.float64)
            if column.shape != (n,):
                raise InputError(f"column {name} has {column.size} rows", f"{n} rows")
            object.__setattr__(self, name, column)


QUANTITIES = ("residual_elongation", "stiffness_N", "hysteresis_J")
_TITLES = {
    "residual_elongation": "residual elongation",
    "stiffness_N": "stiffness",
    "hysteresis_J": "hysteresis energy",
}


@dataclass(frozen=True)
class CycleFit:
    """One quantity at one level, by every curve.

    Attributes
    ----------
    quantity : str
        Column that was fitted.
    preload_fraction : float
        Level.
    curves : tuple of CycleCurve
        Curves tried.
    fits : tuple of BestFit
        Their fits, with lmfit's own results.
    weights : ndarray, shape (m,)
        Akaike weights with small-sample correction.
    change : tuple of float
        Estimate and 95 % interval of the last tested cycle's value over the first's, by the best
        curve.
    problems : tuple of Problem
        What limits its use.

    References
    ----------
    Burnham & Anderson, Model Selection and Multimodel Inference (2002), sections 2.4 and 2.9.
    """

    quantity: str
    preload_fraction: float
    curves: tuple[CycleCurve, ...]
    fits: tuple[BestFit, ...]
    weights: FloatArray
    change: tuple[float, float, float]
    problems: tuple[Problem, ...]

    @property
    def best(self) -> int:
        """Index of the curve with the highest weight."""
        return int(np.argmax(self.weights))


def fit_cycling(
    data: CyclingData,
    quantity: str,
    *,
    rng: np.random.Generator,
    user: Mapping[str, lmfit.Parameters] | None = None,
) -> tuple[CycleFit, ...]:
    """Fit one quantity against the number of cycles, level by level.

    Specimens at one level are pooled after each was scaled to the common mean: a thicker specimen
    is not a change by cycling.

    Parameters
    ----------
    data : CyclingData
        Readings.
    quantity : str
        One of `QUANTITIES`.
    rng : numpy.random.Generator
        Places the starts.
    user : mapping of str to lmfit.Parameters, optional
        Per curve name: parameters fixed, bounded or constrained by the user.

    Raises
    ------
    NotIdentifiedError
        Nothing was read, or at fewer than three cycles.
    """
    if quantity not in QUANTITIES:
        raise InputError(f"there is no quantity {quantity}", "one of " + ", ".join(QUANTITIES))
    values: FloatArray = getattr(data, quantity)
    known = np.isfinite(values) & np.isfinite(data.cycle) & (data.cycle >= 1)
    out = []
    for level in np.unique(data.preload_fraction[known]):
        rows = known & (data.preload_fraction == level)
        if len(np.unique(data.cycle[rows])) >= 3:
            names = np.array(data.specimen)[rows]
            y = _scaled(values[rows], names, data.cycle[rows])
            out.append(_one_level(quantity, float(level), (data.cycle[rows], y), rng, user or {}))
    if not out:
        raise NotIdentifiedError(
            f"{_TITLES[quantity]} was read at fewer than three cycles; read it at cycle 1, about 3 "
            "and the last"
        )
    return tuple(out)


def _scaled(y: FloatArray, specimen: np.ndarray, cycle: FloatArray) -> FloatArray:
    """Scale specimens read at the same cycles to the common level; leave others as they are."""
    names = sorted(set(specimen.tolist()))
    shared = set.intersection(*({float(c) for c in cycle[specimen == n]} for n in names))
    at = np.isin(cycle, sorted(shared))
    if len(names) < 2 or not shared or np.any(y[at] <= 0):
        return y
    means = {n: float(y[at & (specimen == n)].mean()) for n in names}
    common = float(np.mean(list(means.values())))
    return np.asarray(y * np.array([common / means[n] for n in specimen.tolist()]))


def _one_level(
    quantity: str,
    level: float,
    xy: tuple[FloatArray, FloatArray],
    rng: np.random.Generator,
    user: Mapping[str, lmfit.Parameters],
) -> CycleFit:
    cycle, y = xy
    unit = float(np.abs(y).mean()) or 1.0
    curves, fits = [], []
    for curve in CYCLE_CURVES:
        if len(y) <= len(curve.parameters):
            continue
        task = FitTask(
            lambda v, c=curve: c.curve(v, cycle),  # type: ignore[misc]
            y,
            curve.parameters,
            curve.guess(cycle, y),
        )
        curves.append(curve)
        fits.append(best_fit(task, rng=rng, user=user.get(curve.name)))
    scores = np.array([_aicc(f, unit) for f in fits])
    weights = np.exp(-0.5 * (scores - scores.min()))
    weights /= weights.sum()
    best = int(np.argmax(weights))
    problems = list(fits[best].problems)
    if quantity == "stiffness_N":
        problems.append(
            Problem(
                "stiffness-gain-may-fade",
                "A gain of stiffness by cycling may vanish at rest: for an HMPE braid it was there "
                "after 2 min and gone after 24 h (Prado-Novoa et al. 2022). Count on it only if "
                "the line is used at once.",
                "note",
            )
        )
    change = _change(curves[best], fits[best], (float(cycle.min()), float(cycle.max())))
    return CycleFit(quantity, level, tuple(curves), tuple(fits), weights, change, tuple(problems))


def _aicc(fit: BestFit, unit: float) -> float:
    n, k = fit.degrees_of_freedom + len(fit.free), len(fit.free) + 1
    rss = max(fit.sum_of_squares, 1e-24 * unit**2 * n)
    correction = 2 * k * (k + 1) / (n - k - 1) if n > k + 1 else 1e6
    return float(n * np.log(rss / n) + 2 * k + correction)


def _change(
    curve: CycleCurve, fit: BestFit, ends: tuple[float, float]
) -> tuple[float, float, float]:
    """Ratio last over first with its interval, by first-order propagation of the covariance."""
    from scipy.special import stdtrit

    from ratemodel.inference.covariance import jacobian

    at = np.array([fit.values[n] for n in fit.free])

    def ratio_of(p: FloatArray) -> FloatArray:
        values = {**fit.values, **dict(zip(fit.free, p, strict=True))}
        first, last = curve.curve(values, np.array(ends))
        return np.array([last / first])

    ratio = float(ratio_of(at)[0])
    gradient = jacobian(ratio_of, at)[0]
    sd = float(np.sqrt(max(float(gradient @ fit.covariance @ gradient), 0.0)))
    t = float(stdtrit(max(fit.degrees_of_freedom, 1), 0.975))
    return ratio, ratio - t * sd, ratio + t * sd
